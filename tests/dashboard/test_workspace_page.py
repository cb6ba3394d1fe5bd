"""The way in, in a real browser: create a building, bring in three files, say what is in them, check, analyse; and the facts page.

Fails, and does not skip, where Debian's chromium is missing.
"""

import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path

import polars as pl
import pytest
import waitress
from playwright.sync_api import expect

from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.workspace import Workspace, analyses, buildings, files, uploads
from dashboard.workspace.keeper import Keeper
from tests.building import office_days
from tests.dashboard.conftest import answering
from tests.dashboard.test_axe import RULES, breaches
from tests.dashboard.waiting import until
from tests.dashboard.workspaces import ANNA, analysed

pytestmark = pytest.mark.browser


@contextmanager
def serving(ws, *, worker=False):
    """Serve a workspace on a free port, with a worker beside it if asked; gives the address."""
    keeper = Keeper(ws)
    if worker:
        keeper.start()
    try:
        with answering(create_app(WorkspaceStores(ws)).server) as url:
            yield url
    finally:
        if worker:
            keeper.close()


def exports(folder):
    """Three files as an export gives them: two months of wide CSV in local time, and a long Parquet of another room."""
    log = (
        pl.DataFrame(office_days(days=12))
        .sort("time")
        .with_columns(pl.col("time").dt.convert_time_zone("Europe/Copenhagen"))
    )
    made = []
    for name, first, last in (("Trend Jan A.csv", 0, 6), ("Trend Jan B.csv", 6, 12)):
        start = log["time"].min().replace(hour=0, minute=0, second=0)
        part = log.filter(
            pl.col("time")
            .dt.ordinal_day()
            .is_between(start.timetuple().tm_yday + first, start.timetuple().tm_yday + last - 1)
        )
        wide = part.select(
            pl.col("time").dt.strftime("%d.%m.%Y %H:%M:%S").alias("Zeit"),
            pl.when(pl.col("quantity") == "motion").then("value").cast(pl.Int8).alias("AHU2/101/PIR"),
            pl.when(pl.col("quantity") == "output").then("value").cast(pl.Int16).alias("AHU2/101/DIM"),
            pl.lit("21,5").alias("Supply temp"),
        )
        (folder / name).write_text(wide.write_csv(separator=";"), encoding="utf-8")
        made.append(folder / name)
    other = pl.DataFrame(office_days(days=12)).with_columns(room=pl.lit("hall"))
    other.write_parquet(folder / "hall.parquet")
    return [*made, folder / "hall.parquet"]


def fits(page):
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def no_barrier(page):
    assert breaches(page, page.url, RULES) == []


@pytest.mark.timeout(280)
def test_from_nothing_to_an_analysed_building(page, tmp_path):
    ws = Workspace(tmp_path / "w")
    paths = exports(tmp_path)
    with serving(ws, worker=True) as address:
        page.goto(address)
        expect(page.get_by_text("No building yet")).to_be_visible()
        assert fits(page)
        no_barrier(page)
        page.get_by_label("Name", exact=True).fill("Harbour House")
        page.get_by_role("button", name="Create building").click()
        expect(page.locator("#new-told")).to_contain_text("say who you are")

        page.get_by_label("Your name").fill("Anna")
        page.get_by_role("combobox", name="Time zone").or_(page.get_by_role("textbox", name="Time zone")).first.fill(
            "Copenhagen"
        )
        page.get_by_role("option", name="Europe/Copenhagen").click()
        page.get_by_role("button", name="Create building").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Logs")
        expect(page.get_by_text("Bring in files first.")).to_be_visible()
        page.locator("#file-choice").set_input_files(paths)

        for path in paths:
            expect(page.get_by_role("button", name=f"Take out {path.name}")).to_be_visible()
        expect(page.get_by_role("heading", name="Trend Jan A.csv, Trend Jan B.csv")).to_be_visible()
        expect(page.locator("#mapping-check")).to_contain_text("This reads.")
        assert fits(page)
        no_barrier(page)
        page.get_by_label("Room of AHU2/101/DIM").fill("")
        expect(page.locator("#mapping-check tr", has_text="101")).not_to_contain_text("output")
        for column in ("PIR", "DIM"):
            page.get_by_label(f"Room of AHU2/101/{column}").fill("r101")
        expect(page.locator("#mapping-check tr", has_text="r101").locator("td")).to_have_count(2)
        page.get_by_role("button", name="Use this mapping").click()
        expect(page.get_by_text("In use, and being analysed.")).to_be_visible()

        page.get_by_role("link", name="Look at the rooms").click(timeout=120_000)
        expect(page.get_by_role("heading", level=1)).to_have_text("Harbour House")
        expect(page.get_by_role("link", name="r101 main")).to_be_visible()
        assert page.complaints == []
        assert page.outside == []
    newest = analyses.latest(ws, "harbour-house")
    assert [(c.room, c.channel) for c in analyses.summary(ws, "harbour-house", newest.id).channels] == [
        ("hall", "main"),
        ("r101", "main"),
    ]
    rooms = buildings.site(ws, "harbour-house").rooms
    assert rooms["r101"].channels["main"].control == "switched"
    found = analyses.full_channel(ws, "harbour-house", newest.id, "r101", "main")
    assert found.usable_days > 10
    assert found.observed_hold_off_s == pytest.approx(300, abs=2)
    ws.close()


@pytest.mark.parametrize("page", [(1280, 900)], indirect=True, ids=["1280 px"])
def test_an_upload_goes_on_after_the_server_was_killed(page, tmp_path):
    folder, port = tmp_path / "w", free_port()
    server = start(folder, port)
    try:
        page.goto(f"http://127.0.0.1:{port}")
        page.get_by_label("Your name").fill("Anna")
        page.get_by_label("Name", exact=True).fill("Harbour House")
        page.get_by_role("button", name="Create building").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Logs")
        big = tmp_path / "big.csv"
        big.write_bytes(b"time,room,channel,quantity,value\n" + b"2026-01-05T10:00:00Z,r5,,motion,1\n" * 3_000_000)
        page.locator("#file-choice").set_input_files(big)
        until(page, "(document.querySelector('.coming progress') || {value: 0}).value > 0.1")
        os.kill(server.pid, signal.SIGKILL)
        server.wait()
        expect(page.locator(".coming")).to_contain_text("the server does not answer, trying again")

        server = start(folder, port)

        expect(page.get_by_role("button", name="Take out big.csv")).to_be_visible(timeout=60_000)
        ws = Workspace(folder)
        (file,) = files.all_of(ws, "harbour-house")
        assert (files.uploaded(ws, "harbour-house") / file.stored).read_bytes() == big.read_bytes()
        assert uploads.unfinished(ws, "harbour-house") == []
        ws.close()
    finally:
        server.kill()
        server.wait()


@pytest.mark.width_by_turns
def test_a_removed_building_is_brought_back(page, tmp_path):
    ws, building, _ = analysed(tmp_path / "w")
    with serving(ws) as address:
        page.goto(address)
        page.get_by_label("Your name").fill("Anna")
        page.get_by_role("button", name="Remove Harbour House").click()
        expect(page.get_by_text("No building yet")).to_be_visible()
        assert buildings.all_of(ws) == []
        page.get_by_text("1 removed").click()
        no_barrier(page)
        page.get_by_role("button", name="Bring back Harbour House").click()
        page.get_by_role("link", name="Harbour House").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Harbour House")
        assert page.complaints == []
    assert buildings.info(ws, building).id == building
    ws.close()


def free_port():
    server = waitress.create_server(lambda *_: [], host="127.0.0.1", port=0)
    port = server.effective_port
    server.close()
    return port


def start(folder, port):
    """The command itself, in a process that can be killed."""
    server = subprocess.Popen(
        [sys.executable, "-m", "tuning.cli", "serve", str(folder), "--port", str(port)], stdout=subprocess.PIPE
    )
    assert server.stdout.readline().startswith(b"holdoff: ")
    server.stdout.close()
    time.sleep(0.1)
    return server


def test_a_server_that_is_asked_to_end_ends_its_worker_too(tmp_path):
    server = start(tmp_path / "w", free_port())
    children = Path(f"/proc/{server.pid}/task/{server.pid}/children")
    workers = [int(pid) for task in children.parent.parent.glob("*/children") for pid in task.read_text().split()]

    server.terminate()

    assert server.wait(timeout=30) == 0
    assert len(workers) == 1
    assert not Path(f"/proc/{workers[0]}").exists()


@pytest.mark.width_by_turns
def test_facts_are_edited_seen_by_others_and_taken_back(page, tmp_path):
    ws, building, _ = analysed(tmp_path / "w")
    with serving(ws) as address:
        page.goto(f"{address}/building/{building}/facts")
        page.get_by_label("Your name").fill("Anna")
        price = page.get_by_label("Electricity [per kWh]")
        expect(price).to_have_attribute("placeholder", "0.3")
        assert fits(page)
        no_barrier(page)
        price.fill("dear")
        page.get_by_role("button", name="Save changes").click()
        expect(page.locator("#facts-told")).to_contain_text("'dear' is not a number")

        price.fill("0,41")
        page.get_by_role("button", name="Save changes").click()
        expect(page.locator("#facts-told")).to_have_text("Saved.")
        expect(page.get_by_text("Electricity not given → 0.41 per kWh")).to_be_visible()
        assert buildings.site(ws, building).site.electricity_price == 0.41

        page.goto(f"{address}/building/{building}")
        expect(page.get_by_text("Since then: Electricity 0.3 → 0.41 per kWh.")).to_be_visible()
        page.go_back()
        page.get_by_role("button", name="Undo the change of").click()
        expect(page.locator("#facts-told")).to_have_text("Taken back.")
        assert buildings.site(ws, building).site.electricity_price == 0.30

        page.goto(f"{address}/building/{building}/facts?room=r101")
        load = page.get_by_label("Load at full output [W]").first
        expect(load).to_have_value("320")
        buildings.edit(ws, building, {("rooms", "r101", "channels", "wall", "load_w"): 400}, by="Ben", revision=None)
        load.fill("500")
        page.get_by_role("button", name="Save changes").click()
        expect(page.locator("#facts-told")).to_contain_text(
            "Nothing was saved, because somebody was faster: Ben changed rooms.r101.channels.wall.load_w"
        )
        assert page.complaints == []
    assert buildings.history(ws, building)[0].by != ANNA
    ws.close()

"""The whole job in a real browser, against the command itself: from nothing to a printed sheet, and all of it there after a new start.

Fails, and does not skip, where Debian's chromium is missing.
"""

import re
import time

import polars as pl
import pytest
from playwright.sync_api import expect

from dashboard.workspace import Workspace, analyses, decisions, verdicts
from tests.building import office_days
from tests.dashboard.test_workspace_page import free_port, start
from tests.dashboard.waiting import until, whole

pytestmark = pytest.mark.browser
BUILDING = "harbour-house"
WIDE_ROOMS = ["r101", "r102", "r103", "r104", "r105"]


def exports(folder):
    """Two weeks of five rooms as two wide CSV files in local time, and of a sixth as a long Parquet file."""
    log = pl.DataFrame(office_days(days=14)).sort("time")
    local = pl.col("time").dt.convert_time_zone("Europe/Copenhagen").dt.strftime("%d.%m.%Y %H:%M:%S").alias("Zeit")
    columns = [
        pl.when(pl.col("quantity") == quantity).then("value").cast(pl.Int16).alias(f"{room}/{word}")
        for room in WIDE_ROOMS
        for quantity, word in (("motion", "PIR"), ("output", "DIM"))
    ]
    middle = len(log) // 2
    for name, part in (("Trend A.csv", log[:middle]), ("Trend B.csv", log[middle:])):
        (folder / name).write_text(part.select(local, *columns).write_csv(separator=";"), encoding="utf-8")
    log.with_columns(room=pl.lit("hall")).write_parquet(folder / "hall.parquet")
    return [folder / "Trend A.csv", folder / "Trend B.csv", folder / "hall.parquet"]


@pytest.mark.timeout(290)
@pytest.mark.parametrize("page", [(1280, 900)], indirect=True, ids=["1280 px"])
def test_from_nothing_to_a_sheet_that_survives_a_new_start(page, tmp_path):
    folder, port = tmp_path / "w", free_port()
    here = f"http://127.0.0.1:{port}/building/{BUILDING}"
    server = start(folder, port)
    ws = Workspace(folder)
    try:
        # Create a building, bring in three files, map, check, analyse.
        page.goto(f"http://127.0.0.1:{port}")
        page.get_by_label("Your name").fill("Anna")
        page.get_by_label("Name", exact=True).fill("Harbour House")
        page.get_by_role("button", name="Create building").click()
        expect(page.get_by_role("heading", level=1)).to_have_text("Logs")
        page.locator("#file-choice").set_input_files(exports(tmp_path))
        expect(page.get_by_role("button", name="Take out hall.parquet")).to_be_visible()
        for room in (*WIDE_ROOMS, "hall"):
            expect(page.locator("#mapping-check tr", has_text=room)).to_be_visible()
        expect(page.locator("#mapping-check")).to_contain_text("This reads.")
        page.get_by_role("button", name="Use this mapping").click()
        page.get_by_role("link", name="Look at the rooms").click(timeout=120_000)
        for room in (*WIDE_ROOMS, "hall"):
            expect(page.get_by_role("link", name=f"{room} main")).to_be_visible()

        # Review a switch-off: the word enters the estimate.
        first = analyses.latest(ws, BUILDING).id
        page.goto(f"{here}/room/r101?channel=main")
        whole(page)
        page.get_by_role("button", name="Somebody was there").click()
        expect(page.locator("#room-off-facts")).to_contain_text("somebody was there, says Anna")
        # The line of news is empty before the analysis is asked for, too: the analysis itself is waited for.
        end = time.monotonic() + 60
        while (newest := analyses.latest(ws, BUILDING).id) == first:
            assert time.monotonic() < end, "the word started no analysis"
            page.wait_for_timeout(100)
        until(page, "!document.querySelector('#news').textContent", timeout=60_000)
        (word,) = verdicts.standing(ws, BUILDING)
        offs = analyses.full_channel(ws, BUILDING, newest, "r101", "main").switch_offs
        assert offs.filter(pl.col("time") == word.time)["review"].to_list() == ["present"]

        # Adjust a setting, accept five rooms at once.
        page.goto(f"{here}/room/r101?channel=main&hold=900")
        panel = page.get_by_label("Decision", exact=True)
        panel.get_by_role("button", name=re.compile("^Adjust to 15.min")).click()
        expect(panel).to_contain_text("Adjusted by Anna")
        five = [*WIDE_ROOMS[1:], "hall"]
        page.goto(f"{here}?sel={'~'.join(f'{room}/main' for room in five)}")
        page.get_by_role("button", name="Accept", exact=True).click()
        expect(page.get_by_label("Selected rooms")).to_contain_text("5 channels accepted.")

        # Print the sheet, undo one.
        page.goto(f"{here}/settings.html")
        for room in (*WIDE_ROOMS, "hall"):
            expect(page.locator("tr", has_text=room).first).to_be_visible()
        assert page.pdf(format="A4").startswith(b"%PDF")
        page.goto(f"{here}/room/r102?channel=main")
        panel.get_by_role("button", name="Undo").click()
        expect(panel).to_contain_text("Nothing decided yet.")
        assert page.complaints == []

        # Restart the server, find all of it again.
        server.terminate()
        server.wait(timeout=30)
        page.goto("about:blank")
        page.complaints.clear()
        server = start(folder, port)
        page.goto(here)
        expect(page.locator(".stand.accept")).to_have_count(4)
        expect(page.locator(".stand.adjust")).to_have_count(1)
        expect(page.get_by_label("Your name")).to_have_value("Anna")
        page.goto(f"{here}/room/r101?channel=main")
        whole(page)
        expect(page.locator("#room-off-list")).to_contain_text("somebody was there, says Anna")
        page.goto(f"{here}/facts")
        expect(page.get_by_text("How the logs are read")).to_be_visible()
        page.goto(f"{here}/logs")
        expect(page.get_by_role("button", name="Take out Trend B.csv")).to_be_visible()
        assert page.complaints == []
        assert page.outside == []
        stands = {room: s.decision for (room, _), s in decisions.states(ws, BUILDING).items()}
        assert {room for room, d in stands.items() if d} == {"r101", "r103", "r104", "r105", "hall"}
        assert stands["r101"].settings.hold_off_s == 900
    finally:
        ws.close()
        server.kill()
        server.wait()

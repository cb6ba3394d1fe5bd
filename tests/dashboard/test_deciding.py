"""Deciding in a real browser: one room and many, undo, refusals, a word on a switch-off, set on site; two people at once; a new start.

Fails, and does not skip, where Debian's chromium is missing.
"""

import datetime as dt
import re
import socket
import subprocess
import sys
from contextlib import closing, contextmanager

import pytest
from playwright.sync_api import expect

from dashboard.desk import WorkspaceStores
from dashboard.serve import demo_folder
from dashboard.workspace import Workspace, buildings, decisions, jobs, verdicts
from dashboard.workspace.decisions import Choice
from dashboard.workspace.importing import import_folder
from tests.dashboard.conftest import serving
from tests.dashboard.waiting import whole
from tests.dashboard.workspaces import ANNA, BEN, analysed

pytestmark = [pytest.mark.browser, pytest.mark.width_by_turns]


@pytest.fixture
def made(tmp_path):
    ws, building, number = analysed(tmp_path / "ws")
    with serving(WorkspaceStores(ws)) as url:
        yield ws, building, number, f"{url}/building/{building}"
    ws.close()


def sign(page, name=ANNA):
    page.get_by_label("Your name").fill(name)


def standing(made, room, channel):
    state = decisions.states(made[0], made[1]).get((room, channel))
    return state.decision if state else None


def test_all_channels_are_accepted_at_once_and_taken_back_with_one_click(page, made):
    page.goto(made[3])
    sign(page)
    expect(page.get_by_role("link", name="Seminar room all")).to_be_visible()
    page.get_by_role("checkbox", name="Select all rooms shown").check()

    page.get_by_role("button", name="Accept", exact=True).click()

    bar = page.get_by_label("Selected rooms")
    expect(bar).to_contain_text("4 channels accepted.")
    # One has no log: nobody would know what to set.
    expect(bar).to_contain_text("Left out, because the log tells no settings:")
    expect(bar).to_contain_text("fan.")
    expect(page.locator(".stand.accept")).to_have_count(4)
    found = [standing(made, r, c) for r, c in (("r101", "wall"), ("r102", "all"))]
    assert [(d.kind, d.by, d.analysis) for d in found] == [("accept", ANNA, made[2])] * 2
    assert len({d.batch for d in found}) == 1
    assert standing(made, "r104", "fan") is None

    page.get_by_role("button", name="Undo").click()
    expect(bar).to_contain_text("4 decisions taken back.")
    assert standing(made, "r101", "wall") is None
    assert page.complaints == []


def test_nobody_decides_without_a_name_nor_rejects_without_a_reason(page, made):
    page.goto(f"{made[3]}?sel=r101/wall")
    bar = page.get_by_label("Selected rooms")
    page.get_by_role("button", name="Accept", exact=True).click()
    expect(bar.get_by_role("alert")).to_contain_text(re.compile("name", re.IGNORECASE))

    sign(page)
    page.get_by_role("button", name="Reject").click()
    expect(bar.get_by_role("alert")).to_contain_text("A reason is needed.")
    bar.get_by_label("Reason").fill("being refurbished")
    page.get_by_role("button", name="Reject").click()

    expect(bar).to_contain_text("1 channel rejected.")
    assert standing(made, "r101", "wall").reason == "being refurbished"


def test_one_hold_off_for_many_says_first_what_it_costs(page, made, channel):
    page.goto(f"{made[3]}?sel=r101/wall~r101/window")
    sign(page)
    bar = page.get_by_label("Selected rooms")
    bar.get_by_role("combobox", name="Hold-off for all selected").or_(
        bar.get_by_role("textbox", name="Hold-off for all selected")
    ).click()
    page.get_by_role("option", name=re.compile("^15.min$")).click()
    # Of the made-up curve 15 min costs less than the 10 min that both channels are advised.
    cost = {p.hold_off_s: p.cost for p in channel.delay_curve}
    expect(bar).to_contain_text(f"{2 * (cost[600] - cost[900]):.2f} a week less than the recommendation")

    page.get_by_role("button", name="Adjust", exact=True).click()

    expect(bar).to_contain_text("2 channels adjusted.")
    assert standing(made, "r101", "window").settings.hold_off_s == 900


def test_a_tried_setting_is_adjusted_to_with_its_price_and_can_be_undone(page, made):
    page.goto(f"{made[3]}/room/r101?channel=wall&hold=900")
    sign(page)
    panel = page.get_by_label("Decision", exact=True)

    panel.get_by_role("button", name=re.compile("^Adjust to 15.min")).click()

    expect(panel).to_contain_text(re.compile("Adjusted; EUR.[0-9.]+ a week less than the recommendation."))
    expect(panel).to_contain_text(f"Adjusted by {ANNA}")
    done = standing(made, "r101", "wall")
    assert (done.settings.hold_off_s, done.kind) == (900, "adjust")
    panel.get_by_role("button", name="Undo").click()
    expect(panel).to_contain_text("Nothing decided yet.")
    assert standing(made, "r101", "wall") is None
    assert page.complaints == []


def test_on_an_outdated_analysis_nothing_is_decided_and_what_changed_is_said(page, made):
    ws, building, _, address = made
    buildings.edit(ws, building, {("site", "max_hold_off_s"): 600}, by=ANNA, revision=None)
    # The limit is a fact that the estimate rests on: what was found before is outdated, and says so.
    page.goto(f"{address}/room/r101?channel=wall&hold=900")
    sign(page)
    panel = page.get_by_label("Decision", exact=True)
    expect(panel).to_contain_text("This analysis is outdated.")
    panel.get_by_role("button", name=re.compile("^Adjust to")).click()
    expect(panel.get_by_role("alert")).to_contain_text("The analysis is outdated.")
    expect(panel.get_by_role("alert")).to_contain_text("600")
    assert standing(made, "r101", "wall") is None


def test_beyond_the_code_limit_a_reason_is_asked_for(page, made):
    page.goto(f"{made[3]}/room/r102?hold=1800")
    sign(page)
    panel = page.get_by_label("Decision", exact=True)
    panel.get_by_role("button", name=re.compile("^Adjust to 30.min")).click()
    expect(panel.get_by_role("alert")).to_contain_text("beyond the code limit of 20 min")

    panel.get_by_label("Reason").fill("approved by the authority")
    panel.get_by_role("button", name=re.compile("^Adjust to 30.min")).click()

    expect(panel).to_contain_text("Marked as an exception on the sheet.")
    assert standing(made, "r102", "all").marks == ("beyond-code-limit",)


def test_who_was_faster_is_named_and_nobody_is_overwritten(page, made):
    ws, building, number, address = made
    page.goto(f"{address}/room/r101?channel=wall")
    sign(page)
    panel = page.get_by_label("Decision", exact=True)
    expect(panel).to_contain_text("Nothing decided yet.")
    decisions.decide(ws, building, [Choice("r101", "wall", "reject", 0, None, "mine")], analysis=number, by=BEN)

    panel.get_by_role("button", name="Accept").click()

    expect(panel.get_by_role("alert")).to_contain_text(f"{BEN} rejected it")
    expect(panel).to_contain_text(f"Rejected by {BEN}")
    assert standing(made, "r101", "wall").by == BEN


def test_a_word_on_a_switch_off_is_noted_changed_and_taken_back(page, made):
    page.goto(f"{made[3]}/room/r101?channel=wall")
    sign(page)
    whole(page)
    page.get_by_role("button", name="Somebody was there").click()
    expect(page.locator("#room-off-facts")).to_contain_text(f"somebody was there, says {ANNA}")
    page.get_by_role("button", name="Nobody was there").click()
    expect(page.locator("#room-off-facts")).to_contain_text(f"nobody was there, says {ANNA}")
    assert [v.present for v in verdicts.standing(made[0], made[1])] == [False]

    page.get_by_role("button", name="Take back").click()

    expect(page.locator("#room-off-facts")).not_to_contain_text("says")
    assert verdicts.standing(made[0], made[1]) == []
    assert page.complaints == []


def test_what_was_set_on_site_is_marked_on_the_sheet_and_all_survives_a_new_start(page, made):
    ws, building, number, address = made
    decisions.decide(ws, building, [Choice("r101", "wall", "accept", 0)], analysis=number, by=BEN)
    page.goto(f"{address}/settings")
    sign(page)
    page.get_by_role("checkbox", name="Set Reading room, wall").check()
    page.get_by_label("Set at").fill("2026-04-14 10:30")
    page.get_by_role("button", name="Mark as set").click()
    expect(page.get_by_text("the verification begins 14 Apr 2026, 10:30")).to_be_visible()

    again = Workspace(ws.folder)
    with serving(WorkspaceStores(again)) as url:
        page.goto(f"{url}/building/{building}/settings")
        expect(page.get_by_role("row", name=re.compile("Reading room"))).to_contain_text(f"{ANNA}, 14 Apr 2026, 10:30")
        page.goto(f"{url}/building/{building}?decided=accept")
        expect(page.locator(".stand")).to_have_text("Set on site")
    visit = decisions.states(again, building)["r101", "wall"].visit
    assert visit.set_at == dt.datetime(2026, 4, 14, 8, 30, tzinfo=dt.UTC)
    again.close()
    assert page.outside == []


@contextmanager
def started(folder):
    """The command itself in a process of its own, killed without a warning at the end; gives its address."""
    port = free_port()
    command = [sys.executable, "-m", "tuning.cli", "serve", str(folder), "--port", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.PIPE)
    try:
        assert server.stdout.readline().startswith(b"holdoff: ")
        yield f"http://127.0.0.1:{port}"
    finally:
        server.kill()
        server.wait()
        server.stdout.close()


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


FIVE = (
    "Seminar room wall",
    "Seminar room window",
    "Instrument store ceiling",
    "Corridor ground floor ceiling",
    "Toilets ventilation",
)


@pytest.mark.timeout(600)
def test_the_whole_job_after_an_analysis_and_all_of_it_is_found_after_the_server_was_killed(page, tmp_path):
    page.set_default_timeout(120_000)
    with closing(Workspace(tmp_path / "ws")) as ws:
        building = import_folder(ws, demo_folder(), by=ANNA)
        jobs.ask(ws, building, "analyse", by=ANNA)
        with started(ws.folder) as url:
            address = f"{url}/building/{building}"
            page.goto(address)
            expect(page.get_by_role("link", name="Office north ceiling")).to_be_visible(timeout=120_000)
            sign(page)

            # Look at a switch-off and say who was there; the room is analysed again by itself.
            page.goto(f"{address}/room/office_north?hold=900")
            whole(page)
            page.get_by_role("button", name="Nobody was there").click()
            expect(page.locator("#room-off-facts")).to_contain_text(f"nobody was there, says {ANNA}", timeout=60_000)
            panel = page.get_by_label("Decision", exact=True)
            expect(panel).to_contain_text("Rests on analysis 2", timeout=120_000)

            # Adjust a setting.
            panel.get_by_role("button", name=re.compile("^Adjust to 15.min")).click()
            expect(panel).to_contain_text(f"Adjusted by {ANNA}", timeout=60_000)

            # Accept five channels at once.
            page.goto(address)
            for name in FIVE:
                page.get_by_role("checkbox", name=f"Select {name}").check()
            page.get_by_role("button", name="Accept", exact=True).click()
            expect(page.get_by_label("Selected rooms")).to_contain_text("5 channels accepted.", timeout=60_000)

            # Print the sheet.
            page.goto(f"{address}/settings")
            expect(page.get_by_role("link", name="Print or save as PDF")).to_have_attribute(
                "href", re.compile(r"settings\.html$")
            )
            page.goto(f"{address}/settings.html")
            expect(page.locator("tbody tr:not(.exception)")).to_have_count(6)
            assert page.pdf(prefer_css_page_size=True).startswith(b"%PDF")

            # Undo one.
            page.goto(f"{address}/room/corridor")
            panel.get_by_role("button", name="Undo").click()
            expect(panel).to_contain_text("Nothing decided yet.", timeout=60_000)

        with started(ws.folder) as url:
            address = f"{url}/building/{building}"
            page.goto(f"{address}/settings")
            expect(page.locator(".settings-sheet tbody tr")).to_have_count(5, timeout=60_000)
            expect(page.get_by_role("row", name=re.compile("Office north"))).to_contain_text(re.compile("15.min"))
            page.goto(f"{address}/room/office_north")
            whole(page)
            expect(page.locator("#room-off-facts")).to_be_visible(timeout=60_000)
            expect(page.locator(".offs")).to_contain_text(f"nobody was there, says {ANNA}")
            page.goto(f"{address}/room/corridor")
            expect(panel).to_contain_text("Nothing decided yet.", timeout=60_000)
            expect(panel).to_contain_text("History (1)")
    assert page.outside == []

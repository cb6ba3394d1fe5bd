"""The settings sheet: only what was decided, exceptions marked, safe in a spreadsheet, self-contained, and set on site."""

import csv
import io
import json
import re
from dataclasses import replace

import pytest

from dashboard import sheet
from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.pages.sheet.callbacks import mark_set, unset
from dashboard.store import Desk
from dashboard.workspace import buildings, decisions
from dashboard.workspace.decisions import Choice
from dashboard.workspace.errors import RefusedError
from tests.dashboard import synthetic
from tests.dashboard.workspaces import ANNA, analysed
from tuning.results import Settings


@pytest.fixture
def made(tmp_path):
    ws, building, number = analysed(tmp_path / "ws")
    yield ws, building, number
    ws.close()


def decide(made, *choices):
    ws, building, number = made
    return decisions.decide(ws, building, choices, analysis=number, by=ANNA)


ACCEPT = Choice("r101", "wall", "accept", 0)
SHORT = Choice("r102", "all", "adjust", 0, Settings(5.0, 500.0, "auto-on"), "=HYPERLINK(tenant asked)")
REJECT = Choice("r103/b", "all", "reject", 0, None, "being refurbished")


def test_only_decided_channels_stand_on_it_with_old_and_new_settings_and_codes(made):
    decide(made, ACCEPT, REJECT)

    found = sheet.sheet_of(made[0], made[1])

    (row,) = found.rows
    assert (row.now, row.new) == (Settings(300.0, 500.0, "auto-on"), Settings(600.0, 400.0, "auto-on"))
    assert (row.code_now, row.code_new) == (30, 60)
    assert [(r.room, r.reason) for r in found.rejected] == [("r103/b", "being refurbished")]
    assert found.undecided == 3
    assert [s.id for s in found.sources] == [made[2]]


def test_a_setting_below_the_floor_is_marked_with_its_reason(made):
    decide(made, SHORT)

    found = sheet.sheet_of(made[0], made[1])

    assert "below the safety floor" in sheet.exception(found.rows[0])
    assert "tenant asked" in sheet.exception(found.rows[0])
    page = sheet.page(found)
    assert "EXCEPTION" in page
    assert page.index("EXCEPTION") > page.index("Seminar room")


def test_the_csv_runs_no_formula_and_the_json_says_the_same(made):
    ws, building, _ = made
    buildings.edit(ws, building, {("rooms", "r101", "name"): "@SUM(A1)"}, by=ANNA, revision=None)
    decide(made, ACCEPT, SHORT)
    found = sheet.sheet_of(ws, building)

    rows = list(csv.DictReader(io.StringIO(sheet.csv(found))))
    plain = json.loads(sheet.as_json(found))

    assert [r["room_name"] for r in rows] == ["'@SUM(A1)", "Seminar room"]
    assert rows[1]["reason"] == "'=HYPERLINK(tenant asked)"
    assert not [v for r in rows for v in r.values() if re.match(r"[=+\-@\t\r]", v)]
    assert [r["room_name"] for r in plain["settings"]] == ["@SUM(A1)", "Seminar room"]
    assert [r["new_hold_timer_code"] for r in plain["settings"]] == [60, 1]
    assert plain["analyses"][0]["id"] == made[2]


def test_a_hostile_name_stays_text_and_nothing_is_loaded(made):
    ws, building, _number = made
    decide(made, Choice("r103/b", "all", "accept", 0))

    page = sheet.page(sheet.sheet_of(ws, building))

    assert "<script" not in page
    assert "&lt;script&gt;alert(1)" in page
    assert not re.search(r"(src|href)=|url\(|@import", page)
    assert "size:A4" in page


def test_the_sheet_says_that_its_analysis_is_outdated_and_what_changed(made):
    ws, building, _ = made
    decide(made, ACCEPT)
    buildings.edit(ws, building, {("rooms", "r101", "use"): "corridor"}, by=ANNA, revision=None)

    found = sheet.sheet_of(ws, building)

    assert len(found.sources[0].changes) == 1
    assert "Outdated since." in sheet.page(found)


def test_before_anything_is_decided_the_sheet_says_so(made):
    found = sheet.sheet_of(made[0], made[1])

    assert found.rows == ()
    assert "Nothing has been decided yet" in sheet.page(found)
    assert sheet.csv(found).startswith("room,")


def test_marking_as_set_takes_the_buildings_clock_and_can_be_taken_back(made):
    ws, building, number = made
    (done,) = decide(made, ACCEPT)
    desk = Desk(ws, building, number)

    mark_set(desk, [done.id], "2026-04-14 10:30", ANNA, "", ANNA)

    visit = sheet.sheet_of(ws, building).rows[0].visit
    assert visit.set_at.isoformat() == "2026-04-14T08:30:00+00:00"
    unset(desk, visit.id, ANNA)
    assert sheet.sheet_of(ws, building).rows[0].visit is None


@pytest.mark.parametrize(
    ("picked", "at", "said"), [([], "2026-04-14 10:30", "Tick the channels"), ([1], "soon", "is no time")]
)
def test_what_cannot_be_marked_is_said(made, picked, at, said):
    with pytest.raises(RefusedError, match=said):
        mark_set(Desk(*made), picked, at, ANNA, "", ANNA)


def test_the_files_answer_and_an_unknown_building_or_kind_does_not(made):
    decide(made, ACCEPT)
    client = create_app(WorkspaceStores(made[0])).server.test_client()

    html, table, plain = (client.get(f"/building/{made[1]}/settings.{k}") for k in ("html", "csv", "json"))

    assert (html.status_code, table.status_code, plain.status_code) == (200, 200, 200)
    assert "attachment" in table.headers["Content-Disposition"]
    assert html.mimetype == "text/html"
    assert client.get(f"/building/{made[1]}/settings.exe").status_code == 404
    assert client.get("/building/nowhere/settings.csv").status_code == 404


def test_a_trial_is_only_a_trial_where_the_recommended_one_was_accepted(tmp_path):
    analysis = synthetic.analysis()
    on_trial = tuple(replace(c, trial_days=14) if c.decision == "trial" else c for c in analysis.channels)
    ws, building, number = analysed(tmp_path / "ws", replace(analysis, channels=on_trial))

    decisions.decide(ws, building, [Choice("r102", "all", "accept", 0)], analysis=number, by=ANNA)
    assert sheet.sheet_of(ws, building).rows[0].trial_days == 14
    again = Choice("r102", "all", "adjust", 1, Settings(600.0, 400.0, "auto-on"))
    decisions.decide(ws, building, [again], analysis=number, by=ANNA)

    assert sheet.sheet_of(ws, building).rows[0].trial_days is None
    ws.close()

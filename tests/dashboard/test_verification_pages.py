"""From a mark on the settings sheet to the word on what came of it: folder, job, pages."""

import dataclasses
import datetime as dt
import uuid

import pytest

from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.pages.calibration import callbacks as calibration
from dashboard.pages.verification import callbacks as page
from dashboard.pages.verification import parts
from dashboard.workspace import Workspace, analyses, decisions, files, importing, jobs, saved, verifications, worker
from dashboard.workspace.decisions import Choice
from dashboard.workspace.history import with_visits
from tests.dashboard.workspaces import ANNA, analysed
from tests.simulation.building import write_building
from tests.simulation.room import simulate
from tuning.results import Settings
from tuning.site import read_site
from tuning.verification import SetCheck, Verification, verify_folder

CHANGED = dt.datetime(2025, 10, 26, 23, 30, tzinfo=dt.UTC)
"""Some hours after the simulated change, in the night."""


def work(ws):
    """Do all jobs that wait."""
    name = uuid.uuid4().hex
    while (job := jobs.claim(ws, name)) is not None:
        worker.run(ws, job, name)
        assert jobs.get(ws, job.id).state == "done", jobs.get(ws, job.id).error


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    """A workspace with a room that was set from 3 to 15 min in the middle of its log, and marked so."""
    shared = {"documented": True, "mode": "auto-on", "first_monday": dt.date(2025, 10, 6)}
    room = simulate(
        41,
        "office",
        weeks=6,
        hold_off_s=180,
        with_truth=False,
        room="r1",
        hold_off_changes=((21, 900),),
        said_changes=(),
        **shared,
    )
    folder = tmp_path_factory.mktemp("changed")
    write_building(room, folder)
    ws = Workspace(tmp_path_factory.mktemp("ws") / "ws")
    building = importing.import_folder(ws, folder, by=ANNA)
    jobs.ask(ws, building, "analyse", by=ANNA)
    work(ws)
    number = analyses.latest(ws, building).id
    channel = analyses.summary(ws, building, number).channels[0]
    chosen = Settings(900.0, channel.current.target_lx, channel.current.mode)
    [made] = decisions.decide(
        ws, building, [Choice("r1", channel.channel, "adjust", 0, chosen, "a test")], analysis=number, by=ANNA
    )
    yield ws, building, channel.channel, made
    ws.close()


def mark(ws, building, made):
    decisions.mark_set(ws, building, {made.id: CHANGED}, set_by=ANNA, by=ANNA)
    return verifications.set_anew(ws, building, [CHANGED], by=ANNA)


def test_a_mark_on_the_sheet_leads_to_a_verification(desk):
    ws, building, channel, made = desk
    assert verifications.latest(ws, building) is None

    assert mark(ws, building, made)
    work(ws)

    [change] = verifications.latest(ws, building).changes
    assert (change.room, change.channel) == ("r1", channel)
    assert (change.was.hold_off_s, change.said.hold_off_s) == (pytest.approx(180, rel=0.02), 900)
    assert change.set_check.status == "as-said"
    assert change.quantities["false_offs"].change.value < 0
    # The laid-out folder says the same to the command.
    laid = files.lay_out(ws, building)
    [entry] = read_site(laid).rooms["r1"].channels[channel].settings_history
    assert entry.hold_off_s == 900
    [again] = verify_folder(laid).changes
    assert again.verdict == change.verdict
    assert again.quantities["cost"].change.value == pytest.approx(change.quantities["cost"].change.value)
    # The pages tell it.
    told = str(page.body(ws, building))
    assert "What it rests on" in told
    assert "15\\xa0min" in told
    assert "Predicted and happened" in str(calibration.body(ws, "dark"))
    assert "1 change in 1 building," in str(calibration.body(ws, "light"))
    app = create_app(WorkspaceStores(ws))
    client = app.server.test_client()
    for way in ("/predictions", f"/building/{building}/verification"):
        assert client.get(way).status_code == 200


def test_a_room_whose_log_cannot_tell_stands_apart_with_what_would(desk):
    ws, building, channel, _ = desk
    found = verifications.latest(ws, building)
    unclear = SetCheck(
        "cannot-tell", "Cannot be told from this log: it could be either.", to_do="Read it at the detector."
    )
    told = dataclasses.replace(found, changes=(dataclasses.replace(found.changes[0], set_check=unclear),))

    def apart(verification):
        laid = parts.page("House", building, verification, [])
        return [str(part) for part in laid if getattr(part, "aria-label", "") == "Cannot be told from this log"]

    assert apart(found) == []
    [section] = apart(told)
    assert "it could be either" in section
    assert "Read it at the detector." in section
    assert channel in section
    # What was kept by an analysis is read again with it.
    assert saved.decoded(saved.encoded(told), Verification) == told


def test_a_mark_outdates_no_analysis(desk):
    ws, building, _, _ = desk

    assert analyses.changes_since(ws, building, analyses.latest(ws, building).id) == []


def test_nothing_set_is_said_so(tmp_path):
    ws, building, _ = analysed(tmp_path / "ws")

    assert "Nothing was set on site yet" in str(page.body(ws, building))
    assert "No prediction has met its outcome yet" in str(calibration.body(ws, "light"))
    assert "Not here" in str(page.body(ws, "nowhere"))
    ws.close()


def test_a_log_that_ends_before_the_change_is_too_early(tmp_path):
    ws, building, number = analysed(tmp_path / "ws")
    [made] = decisions.decide(ws, building, [Choice("r101", "wall", "accept", 0)], analysis=number, by=ANNA)
    when = dt.datetime.now(dt.UTC)
    decisions.mark_set(ws, building, {made.id: when}, set_by=ANNA, by=ANNA)

    assert not verifications.set_anew(ws, building, [when], by=ANNA)
    assert "Too early" in str(page.body(ws, building))
    assert "r101/wall" in str(page.body(ws, building))
    ws.close()


def test_what_was_in_force_before_the_visit_stands_before_it():
    document = {"rooms": {"a": {"channels": {"main": {"hold_off_s": 600, "load_w": 100}}}}}
    visits = [
        {
            "room": "a",
            "channel": "main",
            "set_at": "2026-03-20T09:00:00+00:00",
            "was": {"hold_off_s": 300, "target_lx": None, "mode": "auto-on"},
            "settings": {"hold_off_s": 600, "target_lx": None, "mode": "auto-on"},
        },
        {"room": "gone", "channel": "main", "set_at": "2026-03-20T09:00:00+00:00", "was": {}, "settings": {}},
    ]

    channel = with_visits(document, visits)["rooms"]["a"]["channels"]["main"]

    assert channel["hold_off_s"] == 300
    assert channel["settings_history"] == [{"from": "2026-03-20T09:00:00+00:00", "hold_off_s": 600, "mode": "auto-on"}]
    assert document["rooms"]["a"]["channels"]["main"] == {"hold_off_s": 600, "load_w": 100}

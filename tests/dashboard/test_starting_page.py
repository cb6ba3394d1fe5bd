"""Rooms without a log in a workspace: where to start stands on the building page, can be taken and taken back, and is marked on the sheet."""

from dataclasses import replace

import pytest

from dashboard import sheet
from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.pages.building import starting
from dashboard.store import Desk
from dashboard.workspace import Workspace, analyses, beginning, buildings, decisions, jobs
from dashboard.workspace import worker as work
from dashboard.workspace.decisions import Choice
from dashboard.workspace.errors import ConflictError, OutdatedError, RefusedError
from tests.dashboard.workspaces import ANNA, BEN
from tuning.results import Settings

FACTS = {
    "site": {"name": "New house", "time_zone": "Europe/Copenhagen"},
    "rooms": {
        "hall": {"name": "Hall", "use": "corridor", "channels": {"all": {"load_w": 120, "control": "switched"}}},
        "desk": {
            "name": "Desk",
            "use": "office",
            "channels": {
                "lamp": {
                    "load_w": 200,
                    "hold_off_s": 300,
                    "target_lx": 500,
                    "spot_readings": [{"output_pct": 100, "task_lx": 800, "detector_lx": 400}],
                }
            },
        },
    },
}


@pytest.fixture
def made(tmp_path):
    """A building with no log at all, after "Settings to start with" was pressed."""
    with_workspace = Workspace(tmp_path / "ws")
    building = buildings.create(with_workspace, FACTS, by=ANNA)
    jobs.ask(with_workspace, building, "analyse", by=ANNA)
    job = jobs.claim(with_workspace, "me")
    work.run(with_workspace, job, "me")
    assert jobs.get(with_workspace, job.id).error is None
    yield Desk(with_workspace, building, analyses.latest(with_workspace, building).id)
    with_workspace.close()


def texts(component):
    """All texts of a component, in order."""
    if component is None or isinstance(component, bool | int | float):
        return []
    if isinstance(component, str):
        return [component]
    if isinstance(component, list | tuple):
        return [t for c in component for t in texts(c)]
    return texts(getattr(component, "children", None))


def shown(desk):
    return " ".join(texts(starting.section(WorkspaceStores(desk.ws).of(desk.building))))


def test_a_building_without_any_log_shows_where_to_start(made):
    text = shown(made)

    assert "where to start" in text
    assert "Hall" in text
    assert "Desk" in text
    assert "starting point, not a measurement" in text
    assert "14 days" in text
    assert "Take all 2" in text


def test_what_was_taken_stands_on_the_sheet_marked_as_a_starting_point(made):
    told = starting.taken(made, "desk\nlamp", ANNA)

    assert told.startswith("1 starting setting taken")
    (row,) = sheet.sheet_of(made.ws, made.building).rows
    advised = {s.room: s for s in beginning.starts(made.ws, made.building, made.analysis)}["desk"]
    assert row.kind == "starting"
    assert row.new == advised.settings
    # 500 lx at the task are 250 lx at the detector, by the reading taken by hand: no exception, though 250 is below the floor of 300 at the task.
    assert row.new.target_lx == 250
    assert row.marks == ()
    assert "Expected a week" in row.reason
    assert "STARTING POINT" in sheet.page(sheet.sheet_of(made.ws, made.building))
    assert sheet.table(sheet.sheet_of(made.ws, made.building))["decision"].to_list() == ["starting"]
    assert "Take all" not in shown(made), "one is left, and has a button of its own"


def test_all_are_taken_at_once_and_one_is_taken_back(made):
    starting.taken(made, starting.ALL_OF_THEM, ANNA)
    states = decisions.states(made.ws, made.building)
    assert {s.decision.kind for s in states.values()} == {"starting"}

    starting.undone(made, states["hall", "all"].decision.id, BEN)

    assert decisions.states(made.ws, made.building)["hall", "all"].decision is None
    assert len(decisions.history(made.ws, made.building)) == 2, "nothing is lost"
    with pytest.raises(ConflictError):
        starting.undone(made, states["hall", "all"].decision.id, BEN)


def test_what_is_decided_already_is_not_decided_again_by_taking_all(made):
    starting.taken(made, starting.ALL_OF_THEM, ANNA)

    with pytest.raises(RefusedError, match="left to decide"):
        starting.taken(made, starting.ALL_OF_THEM, BEN)


def test_on_changed_facts_nothing_is_taken(made):
    buildings.edit(made.ws, made.building, {("rooms", "hall", "use"): "office"}, by=BEN, revision=None)

    with pytest.raises(OutdatedError):
        starting.taken(made, "hall\nall", ANNA)


def test_a_target_below_the_floor_is_still_marked_without_readings_by_hand(made):
    low = Choice("desk", "lamp", "starting", 0, Settings(900.0, 100.0, "auto-on"), "tried")
    (done,) = decisions.decide(made.ws, made.building, [low], analysis=made.analysis, by=ANNA)

    assert "below-target-floor" in done.marks


def test_other_buildings_of_the_workspace_teach(made, analysis):
    channel = analysis.channels[0]
    office = tuple(replace(channel, room=f"x{i}", use="corridor", control="switched") for i in range(4))
    facts = {
        "site": FACTS["site"],
        "rooms": {f"x{i}": {"use": "corridor", "channels": {channel.channel: {}}} for i in range(4)},
    }
    other = buildings.create(made.ws, facts, by=ANNA)
    with made.ws.reading() as session:
        from dashboard.workspace import inputs as given  # noqa: PLC0415 - only here

        inputs = given.present(session, other)
    before = {s.room: s for s in beginning.starts(made.ws, made.building, made.analysis)}
    analyses.keep(made.ws, other, replace(analysis, channels=office), inputs, by=ANNA)

    after = {s.room: s for s in beginning.starts(made.ws, made.building, made.analysis)}

    assert (before["hall"].own_rooms, after["hall"].own_rooms) == (0, 4)
    assert after["hall"].weight > 0.3
    assert after["desk"].own_rooms == 0


def test_the_page_answers(made):
    client = create_app(WorkspaceStores(made.ws)).server.test_client()

    assert client.get(f"/building/{made.building}").status_code == 200

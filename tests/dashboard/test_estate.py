"""The list of buildings tells where to begin; facts are not lost unsaved; seconds are not minutes; what is in force is not asked for again."""

from dataclasses import replace

import pytest

from dashboard.pages.buildings import callbacks as page
from dashboard.pages.facts import callbacks as facts
from dashboard.pages.room.layout import layout as room_layout
from dashboard.workspace import Workspace, analyses, buildings, decisions, mapping
from dashboard.workspace.decisions import Choice
from dashboard.workspace.fields import CHANNEL, read
from dashboard.workspace.importing import import_folder
from tests.building import office_days, write
from tests.dashboard import synthetic
from tests.dashboard.workspaces import ANNA, analysed, analysed_again
from tests.dashboard.workspaces import facts as given_facts

AREA = ("rooms", "r101", "area_m2")


@pytest.fixture
def space(tmp_path):
    ws, building, number = analysed(tmp_path / "w")
    yield ws, building, number
    ws.close()


def test_buildings_come_in_the_order_of_what_tuning_is_worth(space):
    ws, small, _ = space
    given = synthetic.analysis()
    more = replace(given, channels=tuple(replace(c, target_saving=c.target_saving + 50) for c in given.channels))
    large = buildings.create(ws, given_facts(), by=ANNA)
    analysed_again(ws, large, more)
    bare = buildings.create(ws, {"site": {"name": "Aalto", "time_zone": "UTC"}}, by=ANNA)

    found = page.lines(ws)

    assert [x.info.id for x in found] == [large, small, bare]
    for x in found[:2]:
        advised = [
            c for c in analyses.summary(ws, x.info.id, x.newest.id).channels if c.decision in ("change", "trial")
        ]
        assert x.totals.worth == pytest.approx(sum(c.worth_per_week for c in advised))
    assert found[2].totals is None
    assert [x.info.id for x in page.lines(ws, "aal")] == [bare]
    assert "No building matches" in str(page.table(ws, "zebra"))


def test_what_is_left_to_decide_is_counted(space):
    ws, building, number = space
    (before,) = page.lines(ws)
    assert before.undecided == before.info.channels
    done = decisions.decide(
        ws,
        building,
        [Choice("r101", "wall", "accept", 0), Choice("r102", "all", "accept", 0)],
        analysis=number,
        by=ANNA,
    )
    assert page.lines(ws)[0].undecided == before.undecided - 2
    decisions.undo(ws, building, [done[0].id], by=ANNA)

    assert page.lines(ws)[0].undecided == before.undecided - 1
    assert f"/building/{building}?decided=none" in str(page.table(ws))


def test_unsaved_facts_hold_whoever_goes_on_to_another_room(space):
    ws, building, _ = space
    assert facts.unsaved(ws, building, {}) is None
    assert facts.unsaved(ws, building, {AREA: ""}) is None

    room, told = facts.unsaved(ws, building, {AREA: "42", ("rooms", "r101", "note"): "by the door"})

    assert room == "r101"
    assert told.startswith("2 changes are not saved yet. Save or discard")
    assert facts.unsaved(ws, building, {AREA: "many"})[0] == "r101"
    assert facts.unsaved(ws, building, {("rooms", "gone", "area_m2"): "3"}) is None


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("600", 600), ("10 min", 600), ("10min", 600), ("1,5 min", 90), ("0.5 h", 1800), ("45 s", 45)],
)
def test_a_hold_off_may_be_written_in_minutes(text, seconds):
    field = next(f for f in CHANNEL if f.key == "hold_off_s")

    assert read(field, text) == seconds


@pytest.mark.parametrize("text", ["min", "ten min", "10 minutes or so", "10 kW"])
def test_what_is_no_length_of_time_is_refused(text):
    with pytest.raises(ValueError, match="is not a number"):
        read(next(f for f in CHANNEL if f.key == "hold_off_s"), text)


def test_a_mapping_that_is_in_force_is_known_as_such(tmp_path):
    folder = tmp_path / "office"
    folder.mkdir()
    write(folder, office_days(days=2), name="log.csv")
    ws = Workspace(tmp_path / "w")
    building = import_folder(ws, folder, by=ANNA)
    draft = mapping.propose(ws, building)
    assert mapping.is_in_force(buildings.document(ws, building)[0], draft)
    bare = {"site": {"name": "n", "time_zone": "UTC"}}
    assert not mapping.is_in_force(bare, draft)

    mapping.save(ws, building, draft, by=ANNA)

    assert mapping.is_in_force(buildings.document(ws, building)[0], mapping.propose(ws, building))
    ws.close()


def test_every_jump_on_the_room_page_lands_on_a_heading():
    text = str(room_layout(building="b", room="r"))
    (jump,) = [
        part for part in room_layout(building="b", room="r").children if getattr(part, "className", "") == "jump"
    ]

    assert len(jump.children) >= 4
    for link in jump.children:
        assert f"id='{link.href[1:]}'" in text

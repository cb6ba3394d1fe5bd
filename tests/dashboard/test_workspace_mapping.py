"""What files seem to be, what a person makes of it, and that it reads: drafts against files made by hand."""

import pytest

from dashboard.pages.logs.callbacks import started
from dashboard.pages.logs.mapping import corrected
from dashboard.workspace import Workspace, buildings, files, jobs, mapping, uploads
from dashboard.workspace.errors import WrongValueError
from tests.dashboard.workspaces import ANNA
from tuning.logs import read_logs
from tuning.site import read_site

WIDE = """Datum;Zeit;r101/PIR;r101/wall/LX;r101/wall/DIM;Corridor/Motion;Outdoor temp;r102/dim;r104/dim
05.01.2026;08:00:00;1;412,5;60;0;3,2;;0
05.01.2026;08:05:00;0;410,0;55;1;3,3;;50
05.01.2026;08:10:00;1;409,1;0;1;3,4;;100
"""
LONG = "time,room,channel,quantity,value\n" + "".join(
    f"2026-01-05T10:{m:02}:00Z,r5,,motion,{m % 2}\n" for m in range(60)
)


@pytest.fixture
def space(tmp_path):
    ws = Workspace(tmp_path / "w")
    yield ws, buildings.create(ws, {"site": {"name": "B", "time_zone": "Europe/Copenhagen"}}, by=ANNA)
    ws.close()


def bring(ws, building, tmp_path, name, text):
    (tmp_path / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    uploads.take(ws, building, tmp_path / name, by=ANNA)


def test_a_draft_becomes_logs_and_rooms_that_read(space, tmp_path):
    ws, building = space
    bring(ws, building, tmp_path, "Trend 1.csv", WIDE)
    bring(ws, building, tmp_path, "Trend 2.csv", WIDE.replace("05.01", "06.01"))
    bring(ws, building, tmp_path, "other.csv", LONG)
    draft = mapping.propose(ws, building)

    tried = mapping.check(ws, building, draft)
    mapping.save(ws, building, draft, by=ANNA)

    assert tried.problem == ""
    assert tried.rooms["r101"] == {"motion": 6, "illuminance": 6, "output": 6}
    document, _ = buildings.document(ws, building)
    assert document["rooms"]["r101"]["channels"] == {"wall": {"control": "dimmed"}}
    assert document["rooms"]["corridor"]["use"] == "corridor"
    folder = files.lay_out(ws, building)
    series = read_logs(folder, read_site(folder)).series
    assert set(series["room"]) == {"r101", "corridor", "r104", "r5"}
    assert series["rows"].sum() == 18 + 6 + 6 + 60
    buildings.undo_edit(ws, building, buildings.history(ws, building)[0].id, by=ANNA)
    assert buildings.document(ws, building)[0] == {"site": {"name": "B", "time_zone": "Europe/Copenhagen"}, "rooms": {}}


def test_corrections_hold_and_are_proposed_the_next_time(space, tmp_path):
    ws, building = space
    bring(ws, building, tmp_path, "Trend 1.csv", WIDE)
    draft = mapping.propose(ws, building)
    names = [c["name"] for c in draft["tables"][0]["columns"]]
    cells = [{"at": f"0.{names.index('r101/PIR')}", "field": f} for f in ("room", "quantity")]
    cells += [{"at": f"0.{names.index('r101/wall/LX')}", "field": "quantity"}]

    now = corrected(draft, cells, [" lobby ", "occupied", "left out"], [{"room": "lobby"}], ["reception"])
    mapping.save(ws, building, now, by=ANNA)

    document, _ = buildings.document(ws, building)
    assert document["rooms"]["lobby"] == {
        "name": "lobby",
        "use": "reception",
        "channels": {"main": {"control": "switched"}},
    }
    assert "r101/wall/LX" not in document["logs"][0]["columns"]
    again = mapping.propose(ws, building)["tables"][0]["columns"][names.index("r101/PIR")]
    assert (again["room"], again["quantity"], again["reasons"][0]) == ("lobby", "occupied", "As you said before.")
    assert draft["tables"][0]["columns"][names.index("r101/PIR")]["room"] == "r101", (
        "a draft is not changed behind one's back"
    )


def test_a_draft_that_does_not_read_says_so_by_the_names_people_know(space, tmp_path):
    ws, building = space
    bring(ws, building, tmp_path, "März.csv", WIDE.replace("412,5", "plenty"))
    draft = mapping.propose(ws, building)
    lux = next(c for c in draft["tables"][0]["columns"] if c["name"] == "r101/wall/LX")
    lux.update(quantity="illuminance", room="r101", channel="wall")

    found = mapping.check(ws, building, draft)

    assert found.problem.startswith("März.csv, row 2, column r101/wall/LX: 'plenty'")
    for c in draft["tables"][0]["columns"]:
        c["quantity"] = None
    assert "say of one column at least" in mapping.check(ws, building, draft).problem
    with pytest.raises(WrongValueError):
        mapping.save(ws, building, draft, by=ANNA)


@pytest.mark.parametrize(("content", "told"), [("hello", "notes-"), (None, "no log in this folder")])
def test_where_nothing_can_be_made_of_the_files_that_is_told(space, tmp_path, content, told):
    ws, building = space
    if content:
        bring(ws, building, tmp_path, "notes.csv", content)

    draft = mapping.propose(ws, building)

    assert draft["tables"] == []
    assert told in draft["problems"][0]


def test_a_live_check_reads_only_the_beginnings_of_large_files(space, tmp_path, monkeypatch):
    ws, building = space
    monkeypatch.setattr(mapping, "TRIED_ROWS", 20)
    bring(ws, building, tmp_path, "long.csv", LONG)
    draft = mapping.propose(ws, building)

    found = mapping.check(ws, building, draft)

    assert not found.whole
    assert 0 < found.rooms["r5"]["motion"] < 60


def test_without_a_room_there_is_nothing_to_analyse(space):
    ws, building = space

    assert "Say first what is in the files" in started(ws, building, ANNA, stop=False)
    assert jobs.last(ws, building) is None

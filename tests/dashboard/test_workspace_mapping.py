"""What files seem to be, what a person makes of it, and that it reads: drafts against files made by hand."""

import gzip

import pytest

from dashboard.pages.logs.mapping import corrected
from dashboard.workspace import Workspace, buildings, files, mapping, uploads
from dashboard.workspace.errors import WrongValueError
from dashboard.workspace.looking import look
from tests.dashboard.workspaces import ANNA
from tuning.logs import read_logs
from tuning.site import read_site

WIDE = """Datum;Zeit;AHU2/101/PIR;AHU2/101/LX;AHU2/101/wall/DIM;Corridor 1/Motion;Outdoor temp;AHU2/102/dim;r103_output
05.01.2026;08:00:00;1;412,5;60;0;3,2;;250
05.01.2026;08:05:00;0;410,0;55;1;3,3;;260
05.01.2026;08:10:00;1;409,1;0;1;3,4;;270
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


def columns(tmp_path, text, rooms=()):
    (tmp_path / "x.csv").write_text(text, encoding="utf-8")
    (table,) = look(tmp_path, rooms).tables
    return table, {c.name: c for c in table.columns}


def test_names_and_values_tell_quantity_room_and_channel_and_say_why(tmp_path):
    table, found = columns(tmp_path, WIDE)

    assert (table.layout, table.time) == ("wide", ("Datum", "Zeit"))
    assert {n: (c.quantity, c.room, c.channel) for n, c in found.items() if c.quantity} == {
        "AHU2/101/PIR": ("motion", "101", ""),
        "AHU2/101/LX": ("illuminance", "101", "main"),
        "AHU2/101/wall/DIM": ("output", "101", "wall"),
        "Corridor 1/Motion": ("motion", "corridor-1", ""),
        "AHU2/102/dim": ("output", "102", "main"),
    }
    assert found["AHU2/101/PIR"].reasons == ("The name says motion.", "Values 0 to 1.")
    assert found["AHU2/101/PIR"].sure
    assert found["Outdoor temp"].sure, "nobody need look at a temperature"
    assert (found["AHU2/102/dim"].sure, found["AHU2/102/dim"].reasons[1]) == (False, "No value in the rows looked at.")
    assert "outside of what output can be" in found["r103_output"].reasons[1]
    assert not found["r103_output"].sure


def test_a_known_room_is_found_in_any_name(tmp_path):
    _, found = columns(tmp_path, "time,North wing.motion\n2026-01-05T10:00:00Z,1\n2026-01-05T10:01:00Z,0\n", ["north"])

    assert found["North wing.motion"].room == "north"


@pytest.mark.parametrize(
    ("header", "first", "time"),
    [
        ("Timestamp,A/1/PIR", "2026-01-05 10:00:00,1", ("Timestamp",)),
        ("A/1/PIR,when", "1,1767607200", ("when",)),
        ("Date,Time,A/1/PIR", "05/01/2026,10:00,1", ("Date", "Time")),
        ("A/1/PIR,B/2/PIR", "1,0", ()),
    ],
)
def test_the_time_is_found_by_its_values(tmp_path, header, first, time):
    assert columns(tmp_path, f"{header}\n{first}\n")[0].time == time


def test_rooms_that_turn_up_late_in_a_long_log_are_found(tmp_path):
    late = LONG + "".join(f"2026-01-06T10:00:{s:02}Z,r5,,motion,1\n" for s in range(60)) * 100
    (tmp_path / "long.csv").write_text(late + "2026-01-07T10:00:00Z,attic,main,output,80\n", encoding="utf-8")

    (table,) = look(tmp_path).tables

    assert table.layout == "long"
    assert {(c.room, c.channel, c.quantity) for c in table.columns} == {
        ("r5", "", "motion"),
        ("attic", "main", "output"),
    }


def test_what_cannot_be_read_is_told_and_the_rest_is_looked_at(tmp_path):
    (tmp_path / "a.csv").write_text("hello", encoding="utf-8")
    (tmp_path / "b.parquet").write_bytes(b"no parquet")
    (tmp_path / "c.csv.gz").write_bytes(gzip.compress(WIDE.encode()))

    found = look(tmp_path)

    assert len(found.problems) == 2
    assert found.tables[0].files == ("c.csv.gz",)


def test_a_draft_becomes_logs_and_rooms_that_read(space, tmp_path):
    ws, building = space
    bring(ws, building, tmp_path, "Trend 1.csv", WIDE)
    bring(ws, building, tmp_path, "Trend 2.csv", WIDE.replace("05.01", "06.01"))
    bring(ws, building, tmp_path, "other.csv", LONG)
    draft = mapping.propose(ws, building)

    tried = mapping.check(ws, building, draft)
    mapping.save(ws, building, draft, by=ANNA)

    assert tried.problem == ""
    assert tried.rooms["101"] == {"motion": 6, "illuminance": 6, "output": 6}
    document, _ = buildings.document(ws, building)
    assert sorted(layout["files"] for layout in document["logs"]) == ["other-*.csv", "trend-*.csv"]
    assert document["rooms"]["101"]["channels"] == {"main": {"control": "switched"}, "wall": {"control": "dimmed"}}
    folder = files.lay_out(ws, building)
    series = read_logs(folder, read_site(folder)).series
    assert set(series["room"]) == {"101", "corridor-1", "r5"}
    assert series["rows"].sum() == 18 + 6 + 60
    buildings.undo_edit(ws, building, buildings.history(ws, building)[0].id, by=ANNA)
    assert buildings.document(ws, building)[0] == {"site": {"name": "B", "time_zone": "Europe/Copenhagen"}, "rooms": {}}


def test_corrections_hold_and_are_proposed_the_next_time(space, tmp_path):
    ws, building = space
    bring(ws, building, tmp_path, "Trend 1.csv", WIDE)
    draft = mapping.propose(ws, building)
    names = [c["name"] for c in draft["tables"][0]["columns"]]
    cells = [{"at": f"0.{names.index('AHU2/101/PIR')}", "field": f} for f in ("room", "quantity")]
    cells += [{"at": f"0.{names.index('AHU2/101/LX')}", "field": "quantity"}]

    now = corrected(draft, cells, [" lobby ", "occupied", "left out"], [{"room": "lobby"}], ["reception"])
    mapping.save(ws, building, now, by=ANNA)

    document, _ = buildings.document(ws, building)
    assert document["rooms"]["lobby"] == {
        "name": "lobby",
        "use": "reception",
        "channels": {"main": {"control": "switched"}},
    }
    assert "AHU2/101/LX" not in document["logs"][0]["columns"]
    again = mapping.propose(ws, building)["tables"][0]["columns"][names.index("AHU2/101/PIR")]
    assert (again["room"], again["quantity"], again["reasons"][0]) == ("lobby", "occupied", "As you said before.")
    assert draft["tables"][0]["columns"][names.index("AHU2/101/PIR")]["room"] == "101", (
        "a draft is not changed behind one's back"
    )


def test_a_draft_that_does_not_read_says_so_by_the_names_people_know(space, tmp_path):
    ws, building = space
    bring(ws, building, tmp_path, "März.csv", WIDE.replace("412,5", "plenty"))
    draft = mapping.propose(ws, building)
    lux = next(c for c in draft["tables"][0]["columns"] if c["name"] == "AHU2/101/LX")
    lux.update(quantity="illuminance", room="101", channel="main")

    found = mapping.check(ws, building, draft)

    assert found.problem.startswith("März.csv, row 2, column AHU2/101/LX: 'plenty'")
    for c in draft["tables"][0]["columns"]:
        c["quantity"] = None
    assert "say of one column at least" in mapping.check(ws, building, draft).problem
    with pytest.raises(WrongValueError):
        mapping.save(ws, building, draft, by=ANNA)


def test_a_live_check_reads_only_the_beginnings_of_large_files(space, tmp_path, monkeypatch):
    ws, building = space
    monkeypatch.setattr(mapping, "TRIED", 1000)
    bring(ws, building, tmp_path, "long.csv", LONG)
    draft = mapping.propose(ws, building)

    found = mapping.check(ws, building, draft)

    assert not found.whole
    assert 0 < found.rooms["r5"]["motion"] < 60

"""A mapping goes into site.toml as a person would write it: what stands there stays."""

import tomllib

import pytest

from tests.tuning.log_files import put
from tuning.errors import FolderError, SiteError
from tuning.mapping import MappedRoom, Mapping, check_mapping, mapped_site, to_confirm, write_mapping
from tuning.site import LogLayout, read_site
from tuning.toml_text import joined, sections

OLD = '''# Our building
[site]
name = "Harbour House"   # as on the door
time_zone = "Europe/Copenhagen"
electricity_price = 0.41

# Ground floor
[rooms.r101]
use = "meeting room"
note = """
[logs]
is no table here
"""

[rooms.r101.channels.wall]
load_w = 320  # from the plan
allowed_hold_off_s = [
  60,
  [300][0],
]

# First floor
[rooms.r201]
[rooms.r201.channels.main]

# old export
[[logs]]
files = "old_*.csv"
layout = "wide"
[logs.columns]
"A" = { room = "r101", quantity = "motion" }

# Attic, at the end
[rooms.r301]
[rooms.r301.channels.main]
'''.replace("  [300][0],\n", "  300,\n")
NEW = LogLayout.model_validate(
    {
        "files": "trend_*.csv",
        "layout": "wide",
        "time": ["Date", "Clock"],
        "time_format": "%d.%m.%y %H:%M",
        "columns": {
            '101 "PIR" \\ é': {"room": "r101", "quantity": "motion"},
            "101 LX": {"room": "r101", "channel": "wall", "quantity": "illuminance", "detector": "2"},
            "102": {"room": "r102", "channel": "main", "quantity": "output", "scale": 100},
        },
    }
)
MAPPING = Mapping(
    logs=(NEW,),
    rooms={
        "r101": MappedRoom(channels={"wall": "dimmed", "window": "switched"}),
        "r102": MappedRoom(name="Büro", use="office", channels={"main": "dimmed"}),
    },
    confirm=("102",),
)


def test_what_stands_in_the_file_stays(tmp_path):
    put(tmp_path, "site.toml", OLD)

    write_mapping(tmp_path, MAPPING)

    text = (tmp_path / "site.toml").read_text(encoding="utf-8")
    site = read_site(tmp_path)
    assert site.logs == (NEW,)
    assert site.rooms["r101"].channels["wall"].load_w == 320
    assert site.rooms["r101"].channels["window"].control == "switched"
    assert site.rooms["r102"].name == "Büro"
    assert list(site.rooms) == ["r101", "r201", "r301", "r102"]
    for line in OLD.splitlines():
        if line not in ('files = "old_*.csv"', '"A" = { room = "r101", quantity = "motion" }'):
            assert line in text, line
    assert "old_*.csv" not in text
    assert "# First floor\n[rooms.r201]" in text
    assert "# Attic, at the end\n[rooms.r301]" in text


def test_writing_twice_changes_nothing_more(tmp_path):
    put(tmp_path, "site.toml", OLD)
    write_mapping(tmp_path, MAPPING)
    once = (tmp_path / "site.toml").read_bytes()

    write_mapping(tmp_path, MAPPING)

    assert (tmp_path / "site.toml").read_bytes() == once
    assert [p.name for p in tmp_path.iterdir()] == ["site.toml"]


def test_what_was_assumed_is_to_be_confirmed(tmp_path):
    write_mapping(tmp_path, MAPPING.model_copy(update={"time_zone": "Europe/Berlin"}))

    told = to_confirm(tmp_path)

    assert 'site.time_zone = "Europe/Berlin"' in told
    assert 'rooms.r102.use = "office"' in told
    assert 'rooms.r101.channels.window.control = "switched"' in told
    assert sum(line.startswith("logs.columns.102 =") for line in told) == 1
    assert not any("101 LX" in line for line in told)


def test_a_new_file_needs_a_time_zone(tmp_path):
    with pytest.raises(SiteError, match=r"^site\.toml, site\.time_zone: the key is missing\. .*give the zone"):
        write_mapping(tmp_path, MAPPING)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "text",
    [
        'logs = [ { files = "*.csv" } ]\n[site]\ntime_zone = "UTC"\n[rooms.r101.channels.wall]\n',
        '[site]\ntime_zone = "UTC"\n[rooms]\nr101 = { use = "office", channels = { wall = {} } }\n',
        "[site\n",
        '[site]\ntime_zone = "UTC"\nnonsense = 1\n[rooms.r101.channels.wall]\n',
    ],
)
def test_a_file_that_cannot_be_changed_is_left_as_it_is(tmp_path, text):
    path = put(tmp_path, "site.toml", text)

    with pytest.raises(SiteError, match=r"^site\.toml, .*\.$"):
        write_mapping(tmp_path, MAPPING)

    assert path.read_text(encoding="utf-8") == text
    assert [p.name for p in tmp_path.iterdir()] == ["site.toml"]


def test_no_folder(tmp_path):
    with pytest.raises(FolderError, match="no such folder"):
        mapped_site(tmp_path / "none", MAPPING)


def test_a_mapping_without_logs_keeps_those_of_the_file(tmp_path):
    put(tmp_path, "site.toml", OLD)

    assert mapped_site(tmp_path, Mapping(rooms=MAPPING.rooms)).logs[0].files == "old_*.csv"


def test_a_mapping_goes_through_json():
    assert Mapping.model_validate_json(MAPPING.model_dump_json()) == MAPPING


def test_sections_joined_are_the_text():
    parts = sections(OLD)

    assert "".join(part.text for part in parts) == OLD == joined(parts)
    assert [part.path for part in parts if part.path[:1] == ("logs",)] == [("logs",), ("logs", "columns")]
    assert tomllib.loads(joined(parts)) == tomllib.loads(OLD)


LOG = ["Date,Clock,Room 1 PIR,Room 1 LX"] + [f"02.03.2026,08:{m:02d},{m % 2},{m}" for m in range(60)]


def test_the_live_check_says_what_would_be_read(tmp_path):
    put(tmp_path, "a.csv", LOG)
    columns = {
        "Room 1 PIR": {"room": "r1", "quantity": "motion"},
        "Room 1 LX": {"room": "r1", "quantity": "illuminance"},
    }
    layout = {"files": "a.csv", "layout": "wide", "time": ["Date", "Clock"], "columns": columns}
    mapping = Mapping.model_validate(
        {
            "logs": [layout],
            "rooms": {"r1": {"channels": {"main": "dimmed"}}, "r2": {"channels": {"main": "dimmed"}}},
            "time_zone": "UTC",
        }
    )

    found = check_mapping(tmp_path, mapping)
    part = check_mapping(tmp_path, mapping, most_rows=10)

    assert (found.reads, found.problem, found.rows, found.silent, found.whole) == (True, None, 120, ("r2",), True)
    assert found.rooms[0].rows == {"illuminance": 60, "motion": 60}
    assert found.rooms[0].usable
    assert (part.rows, part.whole) == (20, False)
    assert not (tmp_path / "site.toml").exists()


def test_the_live_check_says_why_it_does_not_read(tmp_path):
    put(tmp_path, "a.csv", LOG)
    columns = {"Room 2 PIR": {"room": "r1", "quantity": "motion"}}
    layout = {"files": "a.csv", "layout": "wide", "time": ["Date", "Clock"], "columns": columns}
    mapping = Mapping.model_validate(
        {"logs": [layout], "rooms": {"r1": {"channels": {"main": "dimmed"}}}, "time_zone": "UTC"}
    )

    found = check_mapping(tmp_path, mapping)

    assert not found.reads
    assert found.problem is not None
    assert found.problem.startswith("a.csv: no column 'Room 2 PIR' among 'Date', 'Clock', 'Room 1 PIR'")

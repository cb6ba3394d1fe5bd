"""What a proposal must do on files made by hand; how often it is right on many is measured in ``tests/benchmarks``."""

import datetime as dt

import pytest

from tests.tuning.bad_logs import CASES
from tests.tuning.log_files import put
from tuning.errors import FolderError, SiteError, TuningError
from tuning.mapping import Mapping, check_mapping, propose, write_mapping

START = dt.datetime(2026, 3, 2)  # noqa: DTZ001  local


def rows(columns, minutes=2880, *, form="%d.%m.%Y %H:%M:%S", delimiter=";"):
    """A wide table: functions of the minute by column name."""
    times = [(START + dt.timedelta(minutes=m)).strftime(form) for m in range(minutes)]
    table = ([time, *(str(f(m)) for f in columns.values())] for m, time in enumerate(times))
    return [delimiter.join(row) for row in (["Zeit", *columns], *table)]


def seen(m):
    return int(480 < m % 1440 < 1000 and (m * 2654435761 >> 9) % 10 < 4)


def held(m):
    return int(480 < m % 1440 < 1000 and m % 90 < 70)


def lux(m):
    return max(0, 600 - abs(m % 1440 - 720)) + m % 3


def only(proposal, name):
    return next(c for t in proposal.tables for c in t.columns if c.name == name)


def test_an_office_is_proposed_whole(tmp_path):
    put(
        tmp_path,
        "export.csv",
        rows(
            {
                "OG/R 2.14/Bewegung": seen,
                "OG/R 2.14/Helligkeit [lx]": lux,
                "OG/R 2.15/Präsenz": held,
                "OG/Flur/Temp": lux,
            }
        ),
    )

    proposal = propose(tmp_path)
    mapping = Mapping.model_validate(proposal.mapping().model_dump(mode="json") | {"time_zone": "Europe/Berlin"})
    found = check_mapping(tmp_path, mapping)
    write_mapping(tmp_path, mapping)

    assert [(c.quantity, c.room, c.sure) for c in proposal.tables[0].columns] == [
        ("motion", "r2_14", True),
        ("illuminance", "r2_14", True),
        ("occupied", "r2_15", True),
        (None, None, True),
    ]
    assert proposal.tables[0].time.columns == ("Zeit",)
    assert found.reads
    assert found.rows == 3 * 2880
    again = propose(tmp_path)
    assert {c.reasons[0] for c in again.tables[0].columns if c.meaning} == {"site.toml says so"}
    assert again.mapping().logs == mapping.logs


def test_a_name_that_its_values_contradict_is_never_sure(tmp_path):
    put(tmp_path, "a.csv", rows({"R1 Präsenz": seen, "R1 Helligkeit": seen, "R2 Bewegung": lux, "R2 Dimmwert": lux}))

    proposal = propose(tmp_path)

    assert not any(c.sure for c in proposal.tables[0].columns)
    assert "but its values look like motion" in only(proposal, "R1 Präsenz").reasons
    assert only(proposal, "R1 Präsenz").alternatives[0] == "motion"


def test_a_name_that_says_nothing_is_never_sure(tmp_path):
    put(tmp_path, "a.csv", rows({"BI-1": seen, "AI-2": lux, "XYZ": held}))

    assert not any(c.sure and c.role == "reading" for c in propose(tmp_path).tables[0].columns)


def test_a_file_per_point_is_known_by_its_name(tmp_path):
    for name, values in {"R101 PIR": seen, "R101 Lux": lux, "R102 PIR": seen}.items():
        put(tmp_path, f"{name}.csv", rows({"Value": values}, delimiter=","))

    proposal = propose(tmp_path)

    told = {t.files[0]: (t.columns[0].room, t.columns[0].quantity) for t in proposal.tables}
    assert told == {
        "R101 PIR.csv": ("r101", "motion"),
        "R101 Lux.csv": ("r101", "illuminance"),
        "R102 PIR.csv": ("r102", "motion"),
    }
    assert check_mapping(tmp_path, proposal.mapping().model_copy(update={"time_zone": "UTC"})).rows == 3 * 2880


def test_files_one_after_another_are_one_log(tmp_path):
    lines = rows({"R1 PIR": seen, "R1 Lux": lux})
    put(tmp_path, "log_1.csv", lines[:1000])
    put(tmp_path, "log_2.csv", [lines[0], *lines[1000:]])
    put(tmp_path, "notes.txt", "not a log")

    (table,) = propose(tmp_path).tables

    assert (table.files, table.patterns) == (("log_1.csv", "log_2.csv"), ("log_*.csv",))


def test_a_share_of_one_becomes_percent(tmp_path):
    put(tmp_path, "a.csv", rows({"R1 PIR": seen, "R1 Dim": lambda m: held(m) * 0.8 if m % 200 else 1.0}))

    column = only(propose(tmp_path), "R1 Dim")

    assert column.scale == 100
    assert not column.sure


def test_rooms_of_site_toml_are_used(tmp_path):
    put(tmp_path, "site.toml", '[site]\ntime_zone = "UTC"\n[rooms.lib]\nname = "Room 12"\n[rooms.lib.channels.north]\n')
    put(tmp_path, "a.csv", rows({"B/R12/PIR": seen, "B/R12/Lux": lux, "B/R13/PIR": seen}))

    proposal = propose(tmp_path)

    assert only(proposal, "B/R12/Lux").room == "lib"
    assert only(proposal, "B/R12/Lux").channel == "north"
    assert [(r.id, r.known) for r in proposal.rooms] == [("lib", True), ("r13", False)]


def test_a_date_that_may_be_either_is_said(tmp_path):
    put(tmp_path, "a.csv", ["Date,R1 PIR", *(f"02/02/2026 08:{m:02d},{m % 2}" for m in range(60))])

    time = propose(tmp_path).tables[0].time

    assert not time.sure
    assert "no date tells day from month beyond doubt" in time.reasons


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "a.csv: the file is empty. "),
        (["02.03.2026 08:00;1", "02.03.2026 08:01;0"], "a.csv: no header among its first 100 lines. "),
        (b"\x00\x01\x02" * 99, "a.csv: the content is binary. "),
        (["a;b", *["x;y"] * 9], "a.csv: no header among its first 100 lines. "),
    ],
)
def test_a_file_of_which_nothing_can_be_made_is_one_line(tmp_path, content, told):
    put(tmp_path, "a.csv", content)

    proposal = propose(tmp_path)

    assert proposal.tables == ()
    assert [line[: len(told)] for line in proposal.problems] == [told]


@pytest.mark.timeout(20)
@pytest.mark.parametrize("make", [case[1] for case in CASES], ids=[case[0] for case in CASES])
def test_a_bad_input_ends_in_a_proposal_or_one_line(tmp_path, make):
    make(tmp_path)

    try:
        proposal = propose(tmp_path)
    except TuningError as error:
        assert str(error).isprintable()
    else:
        assert all(line.isprintable() for line in proposal.problems)
        assert proposal.document()


def test_nothing_to_look_at(tmp_path):
    with pytest.raises(FolderError, match="no log in this folder"):
        propose(tmp_path)
    put(tmp_path, "site.toml", "[[")
    with pytest.raises(SiteError, match=r"^site\.toml, the file: not valid TOML"):
        propose(tmp_path)


def test_the_document_is_json(tmp_path):
    put(tmp_path, "a.csv", rows({"R1 PIR": seen}))

    document = propose(tmp_path).document()

    assert document["tables"][0]["columns"][0]["sure"] is True
    assert document["tables"][0]["columns"][0]["preview"]["start"] == "2026-03-02T00:00:00"

"""Long and wide logs of any container become the same readings; each problem is one clear line."""

import codecs
import datetime as dt
import gzip
import shutil
import zipfile

import polars as pl
import pytest

from tests.tuning.log_files import (
    HEADER,
    MOTION,
    codes,
    long_lines,
    put,
    read,
    site,
    times_of,
    values_of,
    workbook,
)
from tuning.errors import FolderError, LogError
from tuning.logs import read_frame, read_logs
from tuning.schemas import READINGS

LUX = "2026-03-02T08:01:00Z,r101,wall,illuminance,431.5"
WIDE = """
[[logs]]
files = "log*"
layout = "wide"
time = "Timestamp"
[logs.columns]
"101/PIR" = { room = "r101", quantity = "motion" }
"101/LX" = { room = "r101", channel = "wall", quantity = "illuminance" }
"""


def one_line(error):
    text = str(error.value)
    assert text.isprintable()
    return text


# What a log gives ------------------------------------------------------------------------------------------------


def test_readings_of_a_room_are_sorted_and_its_own(tmp_path):
    logs = read(
        tmp_path, long_lines(LUX, "2026-03-02T07:00:00Z,r102,,motion,1", "2026-03-02T07:30:00Z,r101,,motion,0,")
    )
    readings = logs.readings("r101")

    assert readings.schema == READINGS
    assert readings["time"].is_sorted()
    assert readings.select("channel", "quantity", "value").rows() == [
        (None, "motion", 0.0),
        (None, "motion", 1.0),
        ("wall", "illuminance", 431.5),
    ]
    assert logs.start == dt.datetime(2026, 3, 2, 7, tzinfo=dt.UTC)
    assert logs.end == dt.datetime(2026, 3, 2, 8, 1, tzinfo=dt.UTC)
    assert logs.readings("nowhere").schema == READINGS
    assert logs.readings("nowhere").is_empty()


def test_the_series_are_told(tmp_path):
    logs = read(tmp_path, long_lines(LUX))

    assert logs.series.columns == [
        "series",
        "room",
        "channel",
        "detector",
        "quantity",
        "rows",
        "first",
        "last",
        "stamp",
    ]
    assert logs.series.schema["series"] == pl.UInt16
    assert logs.series.select("series", "room", "channel", "quantity", "rows", "stamp").rows() == [
        (0, "r101", None, "motion", 1, "start"),
        (1, "r101", "wall", "illuminance", 1, "start"),
    ]


def test_detectors_of_a_room_are_told_apart(tmp_path):
    lines = [
        HEADER + ",detector",
        "2026-03-02T08:00:00Z,r101,,motion,1,north",
        "2026-03-02T08:00:00Z,r101,,motion,0,south",
    ]

    readings = read(tmp_path, lines).readings("r101")

    assert readings.select("detector", "value").rows() == [("north", 1.0), ("south", 0.0)]


def test_names_and_words_may_carry_blanks_and_capitals(tmp_path):
    logs = read(tmp_path, [" Time ,ROOM,Channel, quantity,Value", "2026-03-02T08:00:00Z, r101 , ,Motion, 1 "])

    assert values_of(logs) == [1.0]


def test_progress_goes_from_nothing_to_everything(tmp_path):
    put(tmp_path, "a.csv", long_lines())
    put(tmp_path, "b.csv", long_lines())
    seen = []

    read_logs(tmp_path, site(), progress=lambda share, what: seen.append((share, what)))

    shares = [share for share, _ in seen]
    assert shares == sorted(shares)
    assert shares[0] == 0.0
    assert shares[-1] == 1.0
    assert {what for _, what in seen} == {"reading a.csv", "reading b.csv"}


# Rows that are there twice, or in disorder ---------------------------------------------------------------------


def test_a_row_that_stands_twice_counts_once(tmp_path):
    logs = read(tmp_path, long_lines(MOTION, LUX, LUX))

    assert logs.readings("r101").height == 2
    assert codes(logs) == {"duplicate-rows": 2}


def test_of_two_values_at_one_time_the_last_stands(tmp_path):
    logs = read(tmp_path, long_lines(LUX, LUX.replace("431.5", "7")))

    assert values_of(logs, quantity="illuminance") == [7.0]
    assert codes(logs) == {"conflicting-rows": 1}


def test_rows_in_disorder_are_sorted_and_counted(tmp_path):
    minutes = [f"2026-03-02T08:{m:02d}:00Z,r101,,motion,{m % 2}" for m in range(60)]
    ordered = read(tmp_path, [HEADER, *minutes])

    logs = read(tmp_path, [HEADER, *minutes[::-1]])

    assert logs.readings("r101").equals(ordered.readings("r101"))
    assert codes(logs) == {"out-of-order": 59}


def test_overlapping_files_are_one_log(tmp_path):
    minutes = [f"2026-03-02T08:{m:02d}:00Z,r101,,motion,{m % 2}" for m in range(60)]
    put(tmp_path, "a.csv", [HEADER, *minutes[:40]])
    put(tmp_path, "b.csv", [HEADER, *minutes[20:]])

    logs = read_logs(tmp_path, site())

    assert times_of(logs) == [f"2026-03-02T08:{m:02d}:00" for m in range(60)]
    assert codes(logs)["duplicate-rows"] == 20


# Wide ------------------------------------------------------------------------------------------------------------


def test_a_wide_log_says_the_same_as_a_long_one(tmp_path):
    lines = ["Timestamp;101/LX;101/PIR;Fan", "2026-03-02 09:00:00;431,5 lx;on;3", "2026-03-02 09:01:00;;off;3"]

    logs = read(tmp_path, lines, logs=WIDE)

    assert logs.readings("r101").select("channel", "quantity", "value").rows() == [
        (None, "motion", 1.0),
        ("wall", "illuminance", 431.5),
        (None, "motion", 0.0),
    ]
    assert times_of(logs) == ["2026-03-02T08:00:00", "2026-03-02T08:01:00"]
    assert {f.code: f.message for f in logs.findings} == {
        "unmapped-columns": "columns that site.toml does not map are left out: Fan."
    }


def test_two_columns_for_one_thing_are_two_detectors(tmp_path):
    layout = WIDE.replace(
        '"101/LX" = { room = "r101", channel = "wall", quantity = "illuminance" }',
        '"101/PIR2" = { room = "r101", quantity = "motion" }',
    )

    readings = read(tmp_path, ["Timestamp,101/PIR,101/PIR2", "2026-03-02 09:00:00,1,0"], logs=layout).readings("r101")

    assert readings.select("detector", "value").rows() == [("101/PIR", 1.0), ("101/PIR2", 0.0)]


def test_the_real_log_with_date_and_time_columns(real_log, tmp_path):
    """10,129 rows; the first is 2017/12/22 10:49:41 and S1_Light there is 121 lx, as the file's second line says."""
    shutil.copy(real_log("room_occupancy_estimation.csv"), tmp_path / "log.csv")
    layout = """
    [[logs]]
    files = "log.csv"
    layout = "wide"
    time = ["Date", "Time"]
    [logs.columns]
    S6_PIR = { room = "r101", quantity = "motion" }
    S7_PIR = { room = "r101", quantity = "motion" }
    S1_Light = { room = "r101", channel = "wall", quantity = "illuminance" }
    """

    logs = read_logs(tmp_path, site(layout, zone="Asia/Kolkata"))

    assert logs.series["rows"].to_list() == [10129, 10129, 10129]
    assert logs.start == dt.datetime(2017, 12, 22, 10, 49, 41, tzinfo=dt.timezone(dt.timedelta(hours=5.5)))
    assert values_of(logs, quantity="illuminance")[0] == 121
    assert {f.code for f in logs.findings} == {"unmapped-columns"}


# What the stamp means ----------------------------------------------------------------------------------------------


def minutes(stamp, n=60, detector=""):
    lines = [HEADER, *(f"2026-03-02T08:{m:02d}:00Z,r101,,motion,{m % 2}" for m in range(n))]
    return lines, f'[[logs]]\nfiles = "log*"\nstamp = "{stamp}"'


def test_a_time_that_closes_its_interval_is_moved_to_its_start(tmp_path):
    lines, layout = minutes("end")

    logs = read(tmp_path, lines, logs=layout)

    assert times_of(logs)[:2] == ["2026-03-02T07:59:00", "2026-03-02T08:00:00"]
    assert logs.series["stamp"].to_list() == ["end"]
    assert logs.start == dt.datetime(2026, 3, 2, 7, 59, tzinfo=dt.UTC)


def test_events_are_not_moved_by_the_stamp(tmp_path):
    lines, layout = minutes("end", n=3)

    logs = read(tmp_path, lines, logs=layout)

    assert times_of(logs)[0] == "2026-03-02T08:00:00"
    assert codes(logs) == {"stamp-unused": 3}


def test_files_of_both_stamps_meet_in_one_series(tmp_path):
    lines, _ = minutes("end")
    put(tmp_path, "late.csv", lines[:31])
    put(tmp_path, "early.csv", [HEADER, *(line.replace("08:", "07:", 1) for line in lines[1:])])

    logs = read_logs(tmp_path, site('[[logs]]\nfiles = "late.csv"\nstamp = "end"\n[[logs]]\nfiles = "early.csv"'))

    assert times_of(logs)[58:62] == [f"2026-03-02T{t}:00" for t in ("07:58", "07:59", "08:00", "08:01")]
    assert codes(logs) == {"conflicting-rows": 1}


# Containers, encodings, delimiters ------------------------------------------------------------------------------


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_any_encoding_and_delimiter(tmp_path, encoding, delimiter):
    text = "\r\n".join(
        long_lines("2026-03-02T08:01:00Z,r101,wall,illuminance,12 lx", "2026-03-02T09:00:00Z,Café é,,motion,1")
    )

    logs = read(tmp_path, text.replace(",", delimiter).encode(encoding))

    assert values_of(logs, quantity="illuminance") == [12.0]
    assert [f.evidence.get("what") for f in logs.findings] == ["Café é"]


def test_a_decimal_comma_in_a_quoted_field(tmp_path):
    logs = read(tmp_path, long_lines('2026-03-02T08:01:00Z,"r101","wall",illuminance,"12,5 lx"'))

    assert values_of(logs, quantity="illuminance") == [12.5]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_line_end_and_none_at_the_end(tmp_path, end):
    logs = read(tmp_path, end.join(long_lines(LUX)).encode())

    assert logs.readings("r101").height == 2


def test_titles_above_the_header_and_headers_inside_are_no_rows(tmp_path):
    lines = ["Trend report;", "Building;Harbour House", "", *long_lines(HEADER, LUX, ",,,,", "  ")]

    logs = read(tmp_path, lines)

    assert logs.readings("r101").height == 2
    assert codes(logs) == {"repeated-header": 1}


def test_delimiters_at_the_end_of_rows_are_no_fields(tmp_path):
    assert read(tmp_path, long_lines(LUX + ",,")).readings("r101").height == 2


def test_a_row_with_missing_fields_is_told(tmp_path):
    logs = read(tmp_path, long_lines("2026-03-02T09:00:00Z,r101,,motion"))

    assert codes(logs) == {"short-rows": 1, "empty-values": 1}


def test_a_last_row_that_is_cut_off_is_left_out_and_told(tmp_path):
    logs = read(tmp_path, "\n".join(long_lines(LUX, "2026-03-02T09:0")))

    assert logs.readings("r101").height == 2
    assert codes(logs) == {"cut-off": 1}


def test_gzip_zip_and_parquet_inside_them(tmp_path):
    expected = read(tmp_path, long_lines(LUX)).readings("r101")
    content = (tmp_path / "log.csv").read_bytes()
    pl.DataFrame(
        [dict(zip(HEADER.split(","), line.split(","), strict=True)) for line in long_lines(LUX)[1:]]
    ).write_parquet(tmp_path / "log.parquet")
    (tmp_path / "log.csv").unlink()
    for name, inner in (("log.parquet", None), ("a.csv.gz", content), ("b.zip", "x.csv"), ("c.zip", "log.parquet")):
        folder = tmp_path / name.replace(".", "_")
        folder.mkdir()
        if name.endswith("gz"):
            put(folder, name, gzip.compress(content))
        elif inner is None:
            shutil.copy(tmp_path / name, folder)
        else:
            with zipfile.ZipFile(folder / name, "w", zipfile.ZIP_DEFLATED) as archive:
                archive.writestr(f"deep/{inner}", content if inner == "x.csv" else (tmp_path / inner).read_bytes())
                archive.writestr("__MACOSX/._x.csv", b"\x00\x01")
        assert read_logs(folder, site()).readings("r101").equals(expected), name


def test_a_workbook(tmp_path):
    noon = dt.datetime(2026, 3, 2, 9)  # noqa: DTZ001  Excel knows no zones
    rows = [
        ["Trend report"],
        [],
        HEADER.split(","),
        [noon, "r101", None, "motion", True],
        [noon + dt.timedelta(seconds=61.5), "r101", "wall", "illuminance", 431.5],
        [noon + dt.timedelta(minutes=2), "r101", "wall", "illuminance", ("=", "E5*2", 863)],
        [noon + dt.timedelta(minutes=3), "r101", "wall", "illuminance", ("#", "#N/A")],
    ]
    workbook(tmp_path / "log.xlsx", rows)

    readings = read_logs(tmp_path, site()).readings("r101")

    assert readings.select("quantity", "value").rows() == [
        ("motion", 1.0),
        ("illuminance", 431.5),
        ("illuminance", 863.0),
    ]
    assert readings["time"][1] == dt.datetime(2026, 3, 2, 8, 1, 1, 500_000, tzinfo=dt.UTC)


def test_a_workbook_with_date_and_time_cells(tmp_path):
    layout = WIDE.replace('"Timestamp"', '["Day", "Clock"]')
    rows = [["Day", "Clock", "101/PIR", "101/LX"], [dt.date(2026, 3, 2), dt.time(9, 0, 1), 1, 12.5]]
    workbook(tmp_path / "log.xlsx", rows)

    assert times_of(read_logs(tmp_path, site(layout))) == ["2026-03-02T08:00:01"]


@pytest.mark.parametrize("unit", ["ms", "us", "ns"])
@pytest.mark.parametrize("zone", [None, "UTC", "America/New_York"])
def test_timestamps_of_any_unit_and_zone(unit, zone):
    when = pl.Series([dt.datetime(2026, 3, 2, 9)]).cast(pl.Datetime(unit)).dt.replace_time_zone(zone)  # noqa: DTZ001
    frame = pl.DataFrame({"time": when, "room": ["r101"], "channel": [None], "quantity": ["motion"], "value": [1]})

    expected = {None: "08", "UTC": "09", "America/New_York": "14"}[zone]
    assert times_of(read_frame(frame, site())) == [f"2026-03-02T{expected}:00:00"]


def test_a_room_may_be_called_by_a_number():
    rooms = '[rooms.101]\nuse = "office"\n[rooms.101.channels.1]'
    frame = pl.DataFrame({"time": [1772359200], "room": [101], "channel": [1], "quantity": ["motion"], "value": [True]})

    logs = read_frame(frame, site(rooms=rooms, zone="UTC"))

    assert logs.readings("101").select("room", "channel", "value").rows() == [("101", "1", 1.0)]


# What is unknown ---------------------------------------------------------------------------------------------------


def test_rooms_and_channels_that_the_site_does_not_name(tmp_path):
    logs = read(
        tmp_path, long_lines("2026-03-02T09:00:00Z,r999,,motion,1", "2026-03-02T09:00:00Z,r101,roof,output,100")
    )

    assert codes(logs) == {"unknown-room": 1, "unknown-channel": 1}
    assert {f.message for f in logs.findings} == {
        "1 row of rooms that site.toml does not name (r999); left out (log.csv).",
        "1 row of channel r101/roof, which site.toml does not name; they count for no channel.",
    }


def test_what_other_rooms_log_does_not_matter(tmp_path):
    assert values_of(read(tmp_path, long_lines("2026-03-02T09:00:00Z,r999,,mood,merry"))) == [1.0]


# Errors, each with its full text -----------------------------------------------------------------------------------


def test_an_empty_folder(tmp_path):
    with pytest.raises(FolderError) as caught:
        read_logs(tmp_path, site())

    assert one_line(caught) == (
        f"{tmp_path}: no log in this folder (looked for *.csv, *.tsv, *.parquet, *.xlsx, *.csv.gz, *.tsv.gz, *.zip). "
        "Put the exports beside site.toml, or mend [[logs]]."
    )


def test_a_missing_column(tmp_path):
    with pytest.raises(LogError) as caught:
        read(tmp_path, ["time,room,channel,quantity", "2026-03-02T08:00:00Z,r101,,motion"])

    assert one_line(caught) == (
        "log.csv: no column 'value' among 'time', 'room', 'channel', 'quantity'. Long logs have time, room, channel, quantity and value. "
        "Name the columns in [[logs]] of site.toml, or export them."
    )


def test_a_missing_column_of_a_wide_log(tmp_path):
    with pytest.raises(LogError) as caught:
        read(tmp_path, ["Timestamp,101/PIR", "2026-03-02 09:00:00,1"], logs=WIDE)

    assert one_line(caught) == (
        "log.csv: no column '101/LX' in any file of its [[logs]]. Every column of [logs.columns] must be in a file. "
        "Correct its name in site.toml."
    )


def test_a_column_that_only_some_files_lack(tmp_path):
    put(tmp_path, "log1.csv", ["Timestamp,101/PIR", "2026-03-02 09:00:00,1"])
    put(tmp_path, "log2.csv", ["Timestamp,101/LX", "2026-03-02 09:00:00,400"])

    logs = read_logs(tmp_path, site(WIDE))

    assert {f.message for f in logs.findings} == {
        "column 101/LX is not in 1 file.",
        "column 101/PIR is not in 1 file.",
    }


def test_a_log_without_motion(tmp_path):
    with pytest.raises(FolderError) as caught:
        read(tmp_path, [HEADER, LUX])

    assert one_line(caught) == (
        f"{tmp_path}: the logs hold no motion and no occupancy of a room in site.toml, only illuminance. "
        "Export the motion of the detectors too, as quantity motion or occupied."
    )


def test_a_log_of_other_rooms(tmp_path):
    with pytest.raises(FolderError) as caught:
        read(tmp_path, [HEADER, MOTION.replace("r101", "R 101")])

    assert one_line(caught) == (
        f"{tmp_path}: none of the rooms in the logs (R 101) is in site.toml, which has r101, r102. "
        "Name the rooms alike in site.toml and in the logs."
    )


def test_a_stray_line_is_named(tmp_path):
    with pytest.raises(LogError, match=r"^log.csv, row 3, column time: '--- connection lost ---' is no time\. "):
        read(tmp_path, long_lines("--- connection lost ---", LUX))


def test_a_row_with_too_many_fields_is_named(tmp_path):
    with pytest.raises(LogError) as caught:
        read(tmp_path, long_lines(LUX, LUX + ",7"))

    assert one_line(caught) == (
        "log.csv, row 4: 6 fields where the header has 5. Every row has as many fields as the header. Mend or delete that row."
    )


def test_a_quantity_that_is_none(tmp_path):
    with pytest.raises(LogError) as caught:
        read(tmp_path, long_lines("2026-03-02T09:00:00Z,r101,,movement,1"))

    assert one_line(caught) == (
        "log.csv, row 3, column quantity: 'movement' is no quantity. A quantity is one of motion, occupied, illuminance, output, power, "
        "override. Correct the export, or leave out such rows."
    )


def test_a_row_without_a_time(tmp_path):
    with pytest.raises(LogError, match=r"^log.csv, row 3, column time: the time is empty\. "):
        read(tmp_path, long_lines(",r101,,motion,1"))


def test_the_row_is_right_after_blank_lines_titles_and_quoted_line_ends(tmp_path):
    lines = [
        "Title",
        "",
        HEADER,
        "",
        MOTION,
        '2026-03-02T08:01:00Z,"r101","wall",illuminance,"12\n"',
        "",
        "oops,r101,,motion,1",
    ]

    with pytest.raises(LogError, match=r"^log.csv, row 9, column time: 'oops'"):
        read(tmp_path, lines)


def test_the_row_is_right_deep_in_a_large_file(tmp_path):
    """More than one block of 8 MiB."""
    row = "2026-03-02T08:00:00Z,r101,wall,illuminance,431.50000000000000000000000000000000000000"
    lines = [HEADER, *[row] * 150_000]
    lines[130_000] = "oops" + row

    with pytest.raises(LogError, match=r"^log.csv, row 130001, column time: 'oops"):
        read(tmp_path, lines)


def test_a_parquet_file_cut_in_half(tmp_path):
    pl.DataFrame({"time": [1] * 1000, "room": ["r101"] * 1000}).write_parquet(tmp_path / "log.parquet")
    content = (tmp_path / "log.parquet").read_bytes()
    put(tmp_path, "log.parquet", content[: len(content) // 2])

    with pytest.raises(LogError) as caught:
        read_logs(tmp_path, site())

    assert one_line(caught).startswith("log.parquet: not a whole Parquet file (")
    assert one_line(caught).endswith("A file must be complete to be read. Copy it again, it may be cut off or damaged.")


@pytest.mark.parametrize("files", ["/etc/*", "../*", "a/../../*", ""])
def test_only_files_inside_the_folder_are_read(tmp_path, files):
    with pytest.raises(FolderError, match="Name files inside the building folder"):
        read_logs(tmp_path, site(f'[[logs]]\nfiles = "{files}"'))


def test_a_pattern_without_files_is_told(tmp_path):
    logs = read(tmp_path, long_lines(), logs='[[logs]]\nfiles = "log*"\n[[logs]]\nfiles = "trend*"')

    assert codes(logs) == {"unmatched-files": 1}


def test_a_byte_order_mark_alone_is_an_empty_file(tmp_path):
    with pytest.raises(LogError, match=r"^log.csv: the file is empty\. "):
        read(tmp_path, codecs.BOM_UTF8)

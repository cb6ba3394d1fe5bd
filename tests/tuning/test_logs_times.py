"""Every form of time is read as the instant it names; both changes of clock are exact."""

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tuning.log_files import HEADER, codes, long_lines, put, read, site, times_of
from tuning.errors import LogError
from tuning.logs import read_logs, sampling_interval_s
from tuning.logs.times import TimeColumn, day_is_first, read_times
from tuning.logs.zones import read_local

NOON = "2026-03-01T10:00:00"


def parsed(*texts, time_format=None, day_first=True):
    how = TimeColumn(Path("x.csv"), "time", lambda i: i + 2, time_format, lambda: day_first)
    times = read_times(pl.Series(texts, dtype=pl.String), how)
    return [
        dt.datetime.fromtimestamp(us / 1e6, dt.UTC).isoformat() + (" local" if local else "")
        for us, local in zip(times.us.tolist(), times.local.tolist(), strict=True)
    ]


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-01T10:00:00Z",
        "2026-03-01 10:00:00Z",
        "2026-03-01T10:00:00+00:00",
        "2026-03-01T11:00:00+01:00",
        "2026-03-01T11:00:00+0100",
        "2026-03-01 11:00:00+01",
        "2026-03-01 11:00:00 +01:00",
        "2026-03-01T10:00:00.000Z",
        "2026-03-01T10:00:00,000000Z",
        "2026-03-01 10:00:00 UTC",
        "2026-03-01T10:00Z",
        "20260301T100000Z",
        "1772359200",
        "1772359200000",
        "1772359200000000",
        "1772359200000000000",
        "1772359200.0",
        " 2026-03-01T10:00:00Z ",
        "01.03.2026 10:00:00 GMT",
    ],
)
def test_forms_with_an_offset_name_an_instant(text):
    assert parsed(text) == [NOON + "+00:00"]


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-01T10:00:00",
        "2026-03-01 10:00:00",
        "2026-03-01 10:00",
        "2026-03-01T10:00:00.000",
        "2026/03/01 10:00:00",
        "2026-3-1 10:00",
        "01.03.2026 10:00",
        "1.3.2026 10:00:00",
        "01/03/2026 10:00:00",
        "1/3/2026 10:00:00 AM",
        "01-03-2026 10:00",
        "01-Mar-2026 10:00:00",
        "20260301T100000",
    ],
)
def test_forms_without_an_offset_are_local(text):
    assert parsed(text) == [NOON + "+00:00 local"]


def test_a_date_alone_is_its_midnight():
    assert parsed("2026-03-01") == ["2026-03-01T00:00:00+00:00 local"]


def test_forms_may_differ_from_row_to_row():
    mixed = parsed("2026-03-01T10:00:00.25Z", "2026-03-01T10:00:00Z", "2026-03-01T10:00:00.25", "1772359200")

    assert mixed == [
        "2026-03-01T10:00:00.250000+00:00",
        "2026-03-01T10:00:00+00:00",
        "2026-03-01T10:00:00.250000+00:00 local",
        "2026-03-01T10:00:00+00:00",
    ]


def test_a_given_form_is_taken_at_its_word():
    assert parsed("03/01/2026 10:00", time_format="%m/%d/%Y %H:%M") == [NOON + "+00:00 local"]
    assert parsed("2026-03-01 11:00 +0100", time_format="%Y-%m-%d %H:%M %z") == [NOON + "+00:00"]


@given(st.datetimes(dt.datetime(1990, 1, 1), dt.datetime(2099, 12, 31)), st.sampled_from(["T", " "]))  # noqa: DTZ001
def test_python_and_the_reader_agree_on_iso_times(when, between):
    text = when.isoformat(sep=between)

    assert parsed(text) == [when.replace(tzinfo=dt.UTC).isoformat() + " local"]


@pytest.mark.parametrize(
    "text", ["yesterday", "2026-02-30 10:00", "2026-13-01", "10:00", "1/2/3", "2026-03-01T10:00:00+99:00"]
)
def test_what_is_no_time_is_named_with_its_row(text):
    with pytest.raises(LogError) as caught:
        parsed("2026-03-01T10:00:00Z", text)

    assert str(caught.value) == (
        f"x.csv, row 3, column time: {text!r} is no time. Times are ISO 8601, epoch seconds or milliseconds, or dates such as 31/12/2026 "
        'with a time. Mend that row, or give time_format in [[logs]] of site.toml, for example "%d/%m/%Y %H:%M:%S".'
    )


@pytest.mark.parametrize(
    ("dates", "expected"),
    [
        ({(13, 2, 2026), (1, 3, 2026)}, True),
        ({(2, 13, 2026), (3, 1, 2026)}, False),
        ({(3, 1, 2026), (3, 2, 2026), (3, 3, 2026), (3, 4, 2026)}, False),
        ({(1, 3, 2026), (2, 3, 2026), (3, 3, 2026), (4, 3, 2026)}, True),
        ({(3, 3, 2026)}, None),
        ({(3, 2, 2026)}, None),
    ],
)
def test_which_number_is_the_day(dates, expected):
    assert day_is_first(dates) is expected


def test_the_order_of_a_date_is_found_over_all_files(tmp_path):
    """The first file alone could be read either way; the second one settles it."""
    put(tmp_path, "a.csv", [HEADER, "03/02/2026 10:00,r101,,motion,1"])
    put(tmp_path, "b.csv", [HEADER, "03/14/2026 10:00,r101,,motion,1"])

    logs = read_logs(tmp_path, site())

    assert times_of(logs) == ["2026-03-02T09:00:00", "2026-03-14T09:00:00"]
    assert "date-order" not in codes(logs)


def test_an_assumed_order_of_a_date_is_told(tmp_path):
    logs = read(tmp_path, [HEADER, "03/02/2026 10:00,r101,,motion,1"])

    assert times_of(logs) == ["2026-02-03T09:00:00"]
    assert codes(logs) == {"date-order": 1}


ZONES = [
    "Europe/Copenhagen",
    "America/New_York",
    "Australia/Lord_Howe",
    "Asia/Kolkata",
    "UTC",
    "Africa/Casablanca",
    "America/Sao_Paulo",
]


@pytest.fixture(scope="module")
def walls():
    """Three years of half hours, and the same since 1970 [µs] as if they were UTC."""
    walls = [dt.datetime(2016, 1, 1) + dt.timedelta(minutes=30 * i) for i in range(48 * 365 * 3)]  # noqa: DTZ001
    return walls, np.array([round(w.replace(tzinfo=dt.UTC).timestamp()) * 1_000_000 for w in walls])


@pytest.mark.parametrize("name", ZONES)
def test_local_times_equal_those_of_the_standard_library(name, walls):
    """Fold 0 and 1 are the two readings of a double hour (PEP 495)."""
    zone = ZoneInfo(name)
    walls, epoch = walls

    read_ = read_local(epoch, name)

    early = [round(w.replace(tzinfo=zone).timestamp()) * 1_000_000 for w in walls]
    late = [round(w.replace(tzinfo=zone, fold=1).timestamp()) * 1_000_000 for w in walls]
    assert read_.utc.tolist() == early
    twice = read_.twice > 0
    assert (read_.utc + read_.twice)[twice].tolist() == np.array(late)[twice].tolist()
    assert ((np.array(early) != np.array(late)) == (twice | read_.skipped)).all()


def local_rows(*times, room="r101"):
    return [f"{t},{room},,motion,{i % 2}" for i, t in enumerate(times, 1)]


def test_the_double_hour_is_told_apart_by_the_step_back(tmp_path):
    """25 October 2026, 3:00 summer time is 2:00 winter time in Copenhagen."""
    walls = [
        "2026-10-25 01:30",
        "2026-10-25 02:10",
        "2026-10-25 02:40",
        "2026-10-25 02:10",
        "2026-10-25 02:40",
        "2026-10-25 03:10",
    ]

    logs = read(tmp_path, [HEADER, *local_rows(*walls)])

    assert times_of(logs) == [
        f"2026-10-{d}:00" for d in ("24T23:30", "25T00:10", "25T00:40", "25T01:10", "25T01:40", "25T02:10")
    ]
    assert codes(logs) == {"clock-back": 4}


def test_a_step_back_in_another_series_of_a_log_in_order_counts(tmp_path):
    """One room is heard in the second of the two hours only; the order of the whole file tells."""
    rows = [
        *local_rows("2026-10-25 01:30"),
        *local_rows("2026-10-25 02:50", room="r102"),
        *local_rows("2026-10-25 02:20"),
        *local_rows("2026-10-25 03:10", room="r102"),
    ]

    assert times_of(read(tmp_path, [HEADER, *rows])) == ["2026-10-24T23:30:00", "2026-10-25T01:20:00"]


def test_a_log_sorted_by_room_is_followed_room_by_room(tmp_path):
    walls = ["2026-10-25 01:30", "2026-10-25 02:30", "2026-10-25 02:00", "2026-10-25 03:30"]
    rows = local_rows(*walls) + local_rows(*walls, room="r102")

    logs = read(tmp_path, [HEADER, *rows])

    assert times_of(logs) == times_of(logs, "r102")
    assert times_of(logs)[1:3] == ["2026-10-25T00:30:00", "2026-10-25T01:00:00"]


def test_a_log_with_the_newest_row_first_is_followed_backward(tmp_path):
    walls = [
        "2026-10-25 01:30",
        "2026-10-25 02:10",
        "2026-10-25 02:40",
        "2026-10-25 02:10",
        "2026-10-25 02:40",
        "2026-10-25 03:10",
    ]
    forward = read(tmp_path, [HEADER, *local_rows(*walls)])

    backward = read(tmp_path, [HEADER, *reversed(local_rows(*walls))])

    assert backward.readings("r101").equals(forward.readings("r101"))


def test_a_log_split_inside_the_double_hour_is_one_log(tmp_path):
    rows = local_rows("2026-10-25 02:10", "2026-10-25 02:50", "2026-10-25 02:20", "2026-10-25 03:20")
    put(tmp_path, "a.csv", [HEADER, *rows[:2]])
    put(tmp_path, "b.csv", [HEADER, *rows[2:]])

    assert times_of(read_logs(tmp_path, site())) == [f"2026-10-25T{t}:00" for t in ("00:10", "00:50", "01:20", "02:20")]


def test_without_a_step_back_the_earlier_hour_is_taken(tmp_path):
    logs = read(tmp_path, [HEADER, *local_rows("2026-10-25 02:10", "2026-10-25 02:40")])

    assert times_of(logs) == ["2026-10-25T00:10:00", "2026-10-25T00:40:00"]


def test_the_skipped_hour_is_read_as_after_the_change(tmp_path):
    """29 March 2026, 2:00 winter time is 3:00 summer time in Copenhagen."""
    logs = read(tmp_path, [HEADER, *local_rows("2026-03-29 01:30", "2026-03-29 02:30", "2026-03-29 03:45")])

    assert times_of(logs) == ["2026-03-29T00:30:00", "2026-03-29T01:30:00", "2026-03-29T01:45:00"]
    assert codes(logs) == {"clock-forward": 1}


def test_offsets_need_no_guess(tmp_path):
    logs = read(tmp_path, [HEADER, *local_rows("2026-10-25 02:30:00+01:00", "2026-10-25 02:30:00+02:00")])

    assert times_of(logs) == ["2026-10-25T00:30:00", "2026-10-25T01:30:00"]
    assert codes(logs) == {}


@pytest.mark.parametrize("text", ["0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "1970-01-01 00:00:07", "12"])
def test_times_of_an_unset_clock_are_left_out_and_counted(tmp_path, text):
    logs = read(tmp_path, long_lines(f"{text},r101,,motion,1"))

    assert times_of(logs) == ["2026-03-02T08:00:00"]
    assert codes(logs) == {"impossible-times": 1}


def test_a_log_of_nothing_but_impossible_times_is_refused(tmp_path):
    with pytest.raises(LogError, match=r"^log.csv, column time: no row has a time from 1990 to 2099\. "):
        read(tmp_path, [HEADER, "0001-01-01T00:00:00Z,r101,,motion,1"])


def regular(seconds, n=200, start=dt.datetime(2026, 3, 1, tzinfo=dt.UTC)):
    return pl.Series([start + dt.timedelta(seconds=seconds * i) for i in range(n)])


@pytest.mark.parametrize("interval", [10, 30, 60, 300, 900])
def test_a_regular_interval_is_found(interval):
    assert sampling_interval_s(regular(interval)) == interval


def test_jitter_lost_rows_and_breaks_do_not_hide_the_interval():
    rng = np.random.default_rng(1)
    seconds = np.cumsum(60 + rng.integers(-2, 3, 500)) + np.where(np.arange(500) > 250, 86400 * 15, 0)
    kept = seconds[rng.random(500) > 0.05]
    times = pl.Series([dt.datetime(2026, 3, 1, tzinfo=dt.UTC) + dt.timedelta(seconds=int(s)) for s in kept])

    assert sampling_interval_s(times) == pytest.approx(60, abs=0.5)


def test_events_have_no_interval():
    rng = np.random.default_rng(2)
    seconds = np.cumsum(rng.exponential(60, 500))
    times = pl.Series([dt.datetime(2026, 3, 1, tzinfo=dt.UTC) + dt.timedelta(seconds=float(s)) for s in seconds])

    assert sampling_interval_s(times) is None

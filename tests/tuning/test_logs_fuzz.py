"""Whatever bytes or words a file is made of, reading ends in a result or in one line; a log that is in order is read as it was written."""

import datetime as dt
import tempfile
from pathlib import Path

import polars as pl
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tests.tuning.log_files import HEADER, MOTION, put, site
from tuning.errors import TuningError
from tuning.logs import read_frame, read_logs

SITE = site()
WIDE = site('[[logs]]\nfiles = "*"\nlayout = "wide"\n[logs.columns]\na = { room = "r101", quantity = "motion" }')
quick = settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])

cell = st.one_of(
    st.sampled_from(
        [
            "",
            "r101",
            "motion",
            "output",
            "1",
            "0",
            "on",
            "12,5 %",
            "NaN",
            '"',
            '""',
            '"a',
            "2026-03-02T08:00:00Z",
            "13/02/2026",
        ]
    ),
    st.sampled_from(
        [
            "2026-10-25 02:30",
            "2026-03-29 02:30",
            "1772438400",
            "-1",
            "1e400",
            "9" * 30,
            "\x00",
            "\ufeff",
            "=1+1",
            "3.14.15",
        ]
    ),
    st.text(max_size=12),
    st.floats().map(str),
    st.datetimes().map(str),
)
line = st.lists(cell, max_size=7).map(",".join)


def ends_well(content, building, name="log.csv"):
    with tempfile.TemporaryDirectory() as folder:
        put(Path(folder), name, content)
        try:
            logs = read_logs(Path(folder), building)
        except TuningError as error:
            assert str(error).isprintable()
        else:
            readings = logs.readings("r101")
            assert readings["time"].is_sorted()
            assert readings["value"].is_finite().all()
            assert readings.height == sum(logs.series.filter(pl.col("room") == "r101")["rows"])


@quick
@given(st.binary(max_size=400), st.sampled_from(["log.csv", "log.parquet", "log.xlsx", "log.zip", "log.csv.gz"]))
@example(b"\xff\xfe", "log.csv")
@example(b"PK\x05\x06" + bytes(18), "log.xlsx")
@example(b"PK\x05\x06" + bytes(18), "log.zip")
@example(b"\x1f\x8b", "log.csv.gz")
def test_any_bytes(content, name):
    ends_well(content, SITE, name)


@quick
@given(st.lists(line, max_size=12), st.sampled_from(["\n", "\r\n", "\r"]))
def test_any_rows_of_a_long_log(lines, end):
    ends_well(end.join([HEADER, MOTION, *lines]).encode("utf-8", errors="surrogatepass"), SITE)


@quick
@given(st.lists(line, max_size=12), st.sampled_from([";", "\t", "|", ","]))
def test_any_rows_of_a_wide_log(lines, delimiter):
    text = "\n".join(["time,a,b", "2026-03-02 08:00,1,2", *lines]).replace(",", delimiter)
    ends_well(text.encode("utf-8", errors="surrogatepass"), WIDE)


@quick
@given(
    st.lists(
        st.tuples(
            st.datetimes(dt.datetime(2000, 1, 1), dt.datetime(2090, 1, 1)),  # noqa: DTZ001
            st.sampled_from([("", "motion"), ("wall", "illuminance")]),
            st.integers(0, 1),
        ),
        min_size=1,
        max_size=40,
        unique_by=lambda row: (row[0], row[1]),
    )
)
def test_a_log_in_order_is_read_as_it_was_written(rows):
    log = pl.DataFrame(
        {
            "time": [time for time, _, _ in rows],
            "room": ["r101"] * len(rows),
            "channel": [channel for _, (channel, _), _ in rows],
            "quantity": [quantity for _, (_, quantity), _ in rows],
            "value": [float(value) for _, _, value in rows],
        },
        schema_overrides={"time": pl.Datetime("us", "UTC")},
    )
    expected = log.with_columns(pl.col("channel").replace("", None)).sort("time", pl.col("channel").fill_null(""))

    readings = read_frame(log, SITE).readings("r101")

    assert readings.select(log.columns).equals(expected)
    text = log.with_columns(pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S%.fZ"))
    assert read_frame(text, SITE).readings("r101").equals(readings)


@pytest.mark.parametrize("seed", range(3))
def test_the_order_of_the_rows_does_not_matter(seed):
    time = pl.datetime_range(dt.datetime(2026, 3, 1), dt.datetime(2026, 3, 3), "7m", eager=True, time_zone="UTC")  # noqa: DTZ001
    log = pl.DataFrame({"time": time}).with_columns(
        room=pl.lit("r101"),
        channel=pl.lit(None, dtype=pl.String),
        quantity=pl.lit("motion"),
        value=pl.int_range(pl.len()) % 2,
    )

    shuffled = read_frame(log.sample(fraction=1, shuffle=True, seed=seed), SITE)

    assert shuffled.readings("r101").equals(read_frame(log, SITE).readings("r101"))
    assert shuffled.series.equals(read_frame(log, SITE).series)

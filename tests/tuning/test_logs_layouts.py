"""One building written in many layouts gives the same readings to the last digit.

The log covers the night of 25 October 2026, when clocks in Copenhagen go back from 3:00 to 2:00.
"""

import datetime as dt
import io

import numpy as np
import polars as pl
import pytest

from tests.tuning.log_files import site
from tests.tuning.log_layouts import KEYS, LAYOUTS, START, WIDE_COLUMNS, ZONE, newest_first_by_series
from tuning.logs import read_logs

MINUTES = 3 * 1440


def building():
    """Sampled motion, occupancy and lux once a minute, output and power by change; one row per reading, in order of time."""
    rng = np.random.default_rng(5)
    frames = []
    for room, channel, quantity in WIDE_COLUMNS.values():
        sampled = quantity in ("motion", "occupied", "illuminance")
        at = np.arange(MINUTES) if sampled else np.sort(rng.choice(MINUTES, 200, replace=False))
        value = {
            "motion": rng.integers(0, 2, len(at)),
            "occupied": rng.integers(0, 2, len(at)),
            "illuminance": np.round(rng.uniform(0, 900, len(at)), 1),
            "output": np.round(rng.uniform(0, 100, len(at)), 2),
            "power": np.round(rng.uniform(0, 320, len(at)), 3),
        }[quantity]
        time = pl.Series(at * 60_000_000 + round(START.timestamp()) * 1_000_000).cast(pl.Datetime("us", "UTC"))
        frame = pl.DataFrame({"time": time, "value": value.astype(float)})
        names = {"room": room, "channel": channel, "quantity": quantity}
        frames.append(frame.with_columns(pl.lit(v).alias(k) for k, v in names.items()))
    return pl.concat(frames).sort("time", maintain_order=True).select("time", *KEYS, "value")


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda f: f.__name__)
def test_the_layout_does_not_change_the_readings(tmp_path, layout):
    log = building()
    changes = log.filter(pl.col("quantity").is_in(["output", "power"]))
    # By changes of value alone nothing tells the two hours apart; such a log must carry offsets or be in order with others.
    in_double_hour = changes.filter(
        pl.col("time").is_between(START + dt.timedelta(hours=24), START + dt.timedelta(hours=26))
    )
    if layout is newest_first_by_series:
        log = log.join(in_double_hour, on=log.columns, how="anti", maintain_order="left")

    logs = read_logs(tmp_path, site(layout(tmp_path, log) or "", zone=ZONE))

    for room in ("r101", "r102"):
        mine = log.filter(pl.col("room") == room).with_columns(pl.col("channel").replace("", None))
        expected = mine.sort("time", pl.col("channel").fill_null(""), "quantity").select(
            "time", "room", "channel", "quantity", "value"
        )
        readings = logs.readings(room)
        assert readings["detector"].null_count() == readings.height
        assert readings.drop("detector").equals(expected)
    assert logs.series["series"].to_list() == list(range(5))
    assert not {f.code for f in logs.findings} & {"conflicting-rows", "impossible-values", "empty-values", "short-rows"}


def test_columns_of_the_log_in_any_order(tmp_path):
    log = building()
    buffer = io.StringIO()
    log.select("value", "quantity", "channel", "time", "room").with_columns(pl.col("time").dt.epoch("us")).write_csv(
        buffer
    )
    (tmp_path / "log.csv").write_text(buffer.getvalue(), encoding="utf-8")

    logs = read_logs(tmp_path, site(zone=ZONE))

    assert sum(logs.series["rows"]) == log.height

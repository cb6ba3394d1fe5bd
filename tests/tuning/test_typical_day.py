"""The reading over a typical day, against a fortnight worked out by hand."""

from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from tuning.light.typical_day import typical_day

ZONE = ZoneInfo("Europe/Copenhagen")
START_US = 1_767_225_600_000_000  # Thursday 1 January 2026, 00:00 UTC; 01:00 in Copenhagen
HOUR, DAY = 3600, 86_400


def frame(t_s, daylight, lamps):
    at = pl.Series(START_US + np.round(np.asarray(t_s) * 1e6).astype(np.int64)).cast(pl.Datetime("us", "UTC"))
    return pl.DataFrame({"time": at, "daylight_lx": daylight, "lamps_lx": lamps}).cast(
        {"daylight_lx": pl.Float64, "lamps_lx": pl.Float64}
    )


def test_means_by_the_local_time_of_day_over_the_days_with_light():
    """Ten days: 100 lx of daylight from 10 to 14 h UTC on even days, 300 on odd ones; lamps of 400 lx at 8 to 9 h on the first eight."""
    t = np.arange(0, 10 * DAY, 300.0)
    hour, day = t / HOUR % 24, t // DAY
    daylight = np.where((hour >= 10) & (hour < 14), np.where(day % 2 == 0, 100.0, 300.0), 0.0)
    lamps = np.where((hour >= 8) & (hour < 9) & (day < 8), 400.0, 0.0)

    found = typical_day(frame(t, daylight, lamps), zone=ZONE, held=False)

    by = {m: row for m, *row in found.iter_rows()}
    # 11:15 UTC is 12:15 in Copenhagen in winter
    assert by[12 * 60 + 15][:3] == [pytest.approx(200), pytest.approx(100), pytest.approx(300)]
    assert by[9 * 60 + 15][3] == pytest.approx(400)
    assert by[10 * 60 + 15][3] == 0
    assert max(row[4] for row in by.values()) == 8


def test_a_log_of_changes_stands_until_the_next_and_a_sampled_one_does_not():
    # one value at 6 h and the next at 12 h, every day; lamps burn at 12 h
    t = np.concatenate([d * DAY + np.array([6, 12]) * HOUR for d in range(6)])
    table = frame(t, np.tile([50.0, 200.0], 6), np.tile([0.0, 100.0], 6))
    nine = 9 * 60 + 15  # local: 08:15 UTC

    changes = typical_day(table, zone=ZONE, held=True)
    sampled = typical_day(table, zone=ZONE, held=False)

    assert changes.filter(pl.col("minute") == nine)["daylight_lx"].to_list() == [50.0]
    assert sampled.filter(pl.col("minute") == nine).is_empty()


def test_where_the_lamps_never_burnt_there_is_no_typical_day():
    t = np.arange(0, DAY, 600.0)
    assert typical_day(frame(t, np.ones(t.size), np.zeros(t.size)), zone=ZONE, held=False) is None

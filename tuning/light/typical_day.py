"""The reading over a typical day: daylight and lamps by the time of day, for people to see what the split says."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from tuning.motion import US, Ints, times_us

STEP_S = 300
CELL_MIN = 30
HOLD_SAMPLED_US, HOLD_CHANGES_US = 1800 * US, 86_400 * US
"""How long a value stands: half an hour in a sampled log, a day in a log of changes."""


def typical_day(daylight: pl.DataFrame, *, zone: ZoneInfo, held: bool) -> pl.DataFrame | None:
    """Mean daylight and mean lamps in a reading by time of day, over the days on which the lamps burnt.

    Parameters
    ----------
    daylight
        ``time``, ``daylight_lx``, ``lamps_lx`` as of :class:`~tuning.light.split.LightSplit`.
    zone
        The building's zone; times of day are local.
    held
        Whether the log is one of changes.

    Returns
    -------
    Frame ``minute`` of the local day (the middle of each half hour), ``daylight_lx``, ``daylight_low_lx``, ``daylight_high_lx`` (10th and 90th
    percentile), ``lamps_lx``, ``days`` (how many), or ``None`` where the lamps never burnt.
    """
    known = daylight.drop_nulls(["daylight_lx", "lamps_lx"])
    if known.height < 2:
        return None
    t = times_us(known)
    at = np.arange(t[0] // US // STEP_S + 1, t[-1] // US // STEP_S + 1, dtype=np.int64) * STEP_S * US
    index = np.searchsorted(t, at, side="right") - 1
    near = at - t[index] <= (HOLD_CHANGES_US if held else HOLD_SAMPLED_US)
    at, index = at[near], index[near]
    if at.size == 0:
        return None
    local = at + _offset_us(t, zone)
    day, cell = local // (86_400 * US), local // (CELL_MIN * 60 * US) % (24 * 60 // CELL_MIN)
    lamps = known["lamps_lx"].to_numpy()[index]
    first = np.flatnonzero(np.append(True, np.diff(day) > 0))
    burnt = np.repeat(np.maximum.reduceat(lamps, first) > 0, np.diff(np.append(first, day.size)))
    if not burnt.any():
        return None
    frame = pl.DataFrame(
        {
            "day": day[burnt],
            "minute": (cell * CELL_MIN + CELL_MIN // 2)[burnt],
            "daylight_lx": known["daylight_lx"].to_numpy()[index[burnt]],
            "lamps_lx": lamps[burnt],
        }
    )
    light = pl.col("daylight_lx")
    return (
        frame.group_by("minute")
        .agg(
            light.mean(),
            light.quantile(0.1).alias("daylight_low_lx"),
            light.quantile(0.9).alias("daylight_high_lx"),
            pl.col("lamps_lx").mean(),
            pl.col("day").n_unique().alias("days"),
        )
        .sort("minute")
    )


def _offset_us(t_us: Ints, zone: ZoneInfo) -> int:
    """UTC offset in the middle of the log. [µs]."""
    middle = dt.datetime.fromtimestamp(int(t_us[len(t_us) // 2]) / US, tz=zone).utcoffset()
    return round((middle or dt.timedelta()).total_seconds()) * US

"""Readings that no longer move although what they see does."""

from __future__ import annotations

import numpy as np
import polars as pl

from tuning.motion import US, Ints, times_us

LEAST_H = 24.0
"""A dark room reads the same value through a night and longer; a day is needed to speak of stuck. Chosen by us."""
SWITCHINGS = 6
"""So often must the lamps have gone on or off between readings meanwhile, without moving the reading. Chosen by us."""
DAYS_WITHOUT_LAMPS = 4.0
"""Where no lamp can tell, so long a stand-still is believed. Chosen by us: a dark room over a long week-end is shorter."""


def stuck_stretches(reading: pl.DataFrame, output: pl.DataFrame) -> Ints:
    """Stretches in which a reading stood still.

    Parameters
    ----------
    reading
        ``time``, ``value`` of one series.
    output
        ``time``, ``value`` [%] of the lamps that it sees, of one or more channels; may be empty.

    Returns
    -------
    ``(n, 2)`` UTC epoch. [µs]
    """
    t, value = times_us(reading), reading["value"].to_numpy()
    none = np.empty((0, 2), dtype=np.int64)
    if len(t) < 2:
        return none
    first = np.flatnonzero(np.append(True, value[1:] != value[:-1]))
    last = np.append(first[1:], len(t)) - 1
    runs = np.stack([t[first], t[last]], axis=1)[last > first + 1]
    long = runs[runs[:, 1] - runs[:, 0] >= LEAST_H * 3600 * US]
    if len(long) == 0:
        return none
    if output.is_empty():
        return long[long[:, 1] - long[:, 0] >= DAYS_WITHOUT_LAMPS * 86400 * US]
    at, on = times_us(output), output["value"].to_numpy() > 0
    # Only lamps that were lit or dark at the very readings can have moved them.
    index = np.searchsorted(at, t, side="right") - 1
    lit = (index >= 0) & on[np.maximum(index, 0)]
    changed = np.append(0, np.cumsum(lit[1:] != lit[:-1]))
    low, high = np.searchsorted(t, long[:, 0]), np.searchsorted(t, long[:, 1])
    return long[changed[high] - changed[low] >= SWITCHINGS]

"""How often a series samples."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning.schemas import TIME

MIN_ROWS = 20
JITTER_SHARE, JITTER_S = 0.1, 2.0
"""A step counts as regular when within a tenth, or two seconds, of the interval. Chosen by us: loggers drift by a second or so."""
REGULAR_SHARE = 0.8
"""Share of the steps that must be regular; the rest are lost rows and breaks. Chosen by us."""


def _steps_s(times: pl.Series) -> npt.NDArray[np.float64]:
    return np.diff(times.cast(TIME).cast(pl.Int64).to_numpy()) / 1e6


def sampling_interval_s(times: pl.Series) -> float | None:
    """Return the regular interval of a series' rows. [s]; ``None`` where rows come as they please.

    Robust against jitter of some seconds, lost rows and long breaks.

    Parameters
    ----------
    times
        Times of one series, sorted, ``Datetime``.

    Examples
    --------
    >>> import datetime as dt
    >>> minute = pl.datetime_range(dt.datetime(2026, 1, 1), dt.datetime(2026, 1, 2), "1m", eager=True)
    >>> sampling_interval_s(minute)
    60.0
    >>> sampling_interval_s(minute.head(5)) is None
    True
    """
    if len(times) < MIN_ROWS:
        return None
    step = _steps_s(times)
    step = step[step > 0]
    if len(step) < MIN_ROWS // 2:
        return None
    interval = float(np.median(step))
    regular = np.abs(step - interval) <= max(JITTER_SHARE * interval, JITTER_S)
    # A jitter as large as the interval itself is no regularity.
    if interval <= JITTER_S or regular.mean() < REGULAR_SHARE:
        return None
    return float(np.mean(step[regular]).round(3))


REPEATED_SHARE = 0.1
"""Share of the rows of a sampled output that repeat the one before; a log of changes has none. Chosen by us."""


def looked_at_every_s(series: pl.DataFrame) -> float | None:
    """Return how often an output is looked at. [s]; ``None`` where it is written when it changes, even if it does so by the clock.

    Parameters
    ----------
    series
        ``time``, ``value``, sorted.
    """
    if len(series) < MIN_ROWS:
        return None
    value = series["value"].to_numpy()
    return sampling_interval_s(series["time"]) if np.mean(value[1:] == value[:-1]) >= REPEATED_SHARE else None


LONGEST_HEARTBEAT_S = 4 * 3600.0
"""Longer regular silences are the building's nights. Chosen by us."""
HEARTBEAT_SHARE, LATE_SHARE = 0.01, 0.005
"""A log of changes with a heartbeat is never silent for longer than that; so many of its steps are one heartbeat, so many later. Chosen by us."""


def longest_wait_s(times: pl.Series) -> float | None:
    """Return how long a series that keeps coming is silent at most: its sampling interval, or its heartbeat. [s].

    ``None`` where silence means nothing, as in a log of changes without a heartbeat.

    Examples
    --------
    >>> import datetime as dt
    >>> minute = pl.datetime_range(dt.datetime(2026, 1, 1), dt.datetime(2026, 1, 2), "1m", eager=True)
    >>> longest_wait_s(minute)
    60.0
    """
    interval = sampling_interval_s(times)
    if interval is not None or len(times) < 10 * MIN_ROWS:
        return interval
    step = _steps_s(times)
    # Heartbeats are rare among busy changes but take much of the time: weigh by length.
    order = np.sort(step)
    until = np.cumsum(order)
    for share in (0.5, 0.75, 0.9):
        beat = float(order[np.searchsorted(until, share * until[-1])])
        slack = max(0.03 * beat, 15.0)
        on_beat, late = np.abs(step - beat) <= slack, step > beat + slack
        if JITTER_S < beat <= LONGEST_HEARTBEAT_S and on_beat.mean() >= HEARTBEAT_SHARE and late.mean() <= LATE_SHARE:
            return beat
    return None

"""Does lit time follow from movement and hold-off? The model behind the adjustment, held against the log day by day."""

from __future__ import annotations

import numpy as np

from tuning.channel.analyse import Examined
from tuning.motion import US, Floats, times_us
from tuning.verification.results import Replay

DAY_US = 86_400 * US
MOST_NMBE, MOST_CV_RMSE = 0.10, 0.30
"""ASHRAE Guideline 14-2014 for hourly data (seen second-hand): bias within 10 %, scatter within 30 %. Days lie between its hours and its months
(5 % and 15 %)."""


def replay_of(found: Examined, *, offset_us: int) -> Replay | None:
    """Hold the lit hours of every whole day, as they follow from movement and the hold-off in force, against the logged output.

    Parameters
    ----------
    found
        A channel over a stretch of log.
    offset_us
        UTC offset of the building. [µs]
    """
    gaps, motion, around = found.gaps, found.motion, found.around
    if found.output.is_empty() or not len(motion.covered_us):
        return None
    first = -(-(int(motion.covered_us[0, 0]) + offset_us) // DAY_US)
    last = (int(motion.covered_us[-1, 1]) + offset_us) // DAY_US
    days = int(last - first)
    if days < 3:
        return None
    midnight = (first + np.arange(days + 1)) * DAY_US - offset_us
    logged = np.diff(_lit_until(found, midnight))
    hold = found.in_force.at(gaps.start_us)
    lit_s = around.lit * np.minimum(gaps.gap_s, hold)
    replayed = _by_day(gaps.start_us, lit_s, midnight)
    moving = (motion.end_us - motion.start_us) / US
    replayed += _by_day(motion.start_us, moving, midnight) * _lit_share(found)
    mean = float(logged.mean())
    if mean < 60.0:
        return None
    error = replayed - logged
    # One parameter (the hold-off) is fitted.
    rmse = float(np.sqrt((error**2).sum() / max(days - 1, 1)))
    return Replay(float(error.sum() / max(days - 1, 1) / mean), rmse / mean, days)


def _lit_until(found: Examined, at_us: np.ndarray[tuple[int], np.dtype[np.int64]]) -> Floats:
    """Logged lit seconds up to given times."""
    t, on = times_us(found.output), (found.output["value"].to_numpy() > 0).astype(float)
    since = np.concatenate([[0.0], np.cumsum(on[:-1] * np.diff(t) / US)])
    i = np.clip(np.searchsorted(t, at_us, side="right") - 1, 0, None)
    return np.asarray(since[i] + on[i] * np.maximum(at_us - t[i], 0) / US)


def _by_day(
    t_us: np.ndarray[tuple[int], np.dtype[np.int64]],
    value: Floats,
    midnight_us: np.ndarray[tuple[int], np.dtype[np.int64]],
) -> Floats:
    day = np.searchsorted(midnight_us, t_us, side="right") - 1
    inside = (day >= 0) & (day < len(midnight_us) - 1)
    return np.bincount(day[inside], weights=value[inside], minlength=len(midnight_us) - 1).astype(np.float64)


def _lit_share(found: Examined) -> float:
    lit, length = found.around.lit, np.minimum(found.gaps.gap_s, 60.0)
    return float((lit * length).sum() / max(length.sum(), 1e-9))

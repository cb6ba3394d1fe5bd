"""Detectors that fall silent for good: what comes after their last movement is no absence."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tuning.motion import US, MotionLog

SILENT_DAYS = 4.0
"""No motion for longer than this at the end of the log is suspicious. Chosen by us: longer than a long week-end."""
SILENT_TIMES = 2.5
"""And for so many times the longest silence before. Chosen by us."""
LEAST_MOTIONS = 20


def last_alive_us(motion: MotionLog, span_us: tuple[int, int]) -> int | None:
    """Time of the last movement where the detectors are dead from then on. UTC epoch [µs]; ``None`` where they live.

    Parameters
    ----------
    motion
        Movements of all detectors of a channel.
    span_us
        First and last time of the building's log. UTC epoch [µs]
    """
    start = motion.start_us
    if len(start) < LEAST_MOTIONS:
        return None
    silent = (span_us[1] - start[-1]) / US / 86_400
    before = float(np.max(np.diff(start))) / US / 86_400
    return int(motion.end_us[-1]) if silent > max(SILENT_DAYS, SILENT_TIMES * before) else None


def while_alive(motion: MotionLog, span_us: tuple[int, int]) -> MotionLog:
    """The motion log, trusted only as long as its detectors live."""
    last = last_alive_us(motion, span_us)
    if last is None:
        return motion
    covered = np.minimum(motion.covered_us, last + 1)
    return replace(motion, covered_us=covered[covered[:, 1] > covered[:, 0]])

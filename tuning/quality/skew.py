"""Clock skew between motion and light: lamps that come on at the wrong moment after every movement.

Automatic light comes on with the first movement after a pause, so the lag of the switch-on behind such a movement is the same every time: the
skew of the two clocks. It is found as the lag that most switch-ons share, among all pairs of a switch-on and a movement near it.
The lag of switch-*offs* cannot tell, because the hold-off is in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from tuning.logs import looked_at_every_s
from tuning.motion import US, Floats, Ints, times_us

FRESH_S = 45.0
"""A movement after a pause of so long may have switched the light on. Chosen by us: shorter than any hold-off that can be set."""
REACH_S = 5400.0
"""Skews up to an hour and a half are looked for: a wrong change of clocks makes a whole hour. Chosen by us."""
TOLERANCE_S = 3
"""Telegrams and loggers stamp one moment up to so far apart. Chosen by us."""
LEAST_SWITCH_ONS = 15
MOST_SWITCH_ONS = 1500
"""More switch-ons than this say nothing new. Chosen by us."""
SHARE, AHEAD = 0.3, 1.8
"""The lag must be shared by this much of the switch-ons, and by so many times more than any other lag. Chosen by us, looking at simulated
rooms: switch-ons by a person or by dusk have no lag in common."""
NOTABLE_S = 10.0
"""Smaller skews matter less than the resolution of people's reactions. Chosen by us."""


@dataclass(frozen=True)
class Skew:
    """How late the light is stamped against motion [s, positive: late], and the share of switch-ons that show it."""

    late_s: float
    share: float
    switch_ons: int


def switch_ons(output: pl.DataFrame) -> tuple[Ints, Ints]:
    """Bounds of the moment of every switch-on. UTC epoch [µs]; equal where the output is logged on change."""
    t, on = times_us(output), output["value"].to_numpy() > 0
    if len(t) < 2:
        return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    at = np.flatnonzero(on[1:] & ~on[:-1]) + 1
    interval = looked_at_every_s(output)
    if interval is None:
        return t[at], t[at]
    # Across a break of the log the moment is not known.
    at = at[t[at] - t[at - 1] <= 1.5 * interval * US]
    return t[at - 1], t[at]


def _fresh(moved_us: Ints, end_us: Ints) -> Ints:
    """Movements after a pause."""
    paused = np.append(True, moved_us[1:] - end_us[:-1] >= FRESH_S * US)
    return moved_us[paused]


def _shared_lags(low: Ints, high: Ints, moved_us: Ints, resolution_s: float) -> Floats:
    """How many switch-ons have a movement at every lag from −REACH_S to REACH_S, by second."""
    reach = round(REACH_S * US)
    first = np.searchsorted(moved_us, low - reach)
    count = np.searchsorted(moved_us, high + reach, side="right") - first
    which = np.repeat(np.arange(len(low)), count)
    index = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + first[which]
    size = round(2 * REACH_S) + 1

    def second(lag_us: Ints) -> Ints:
        return np.clip(np.round(lag_us / US + REACH_S).astype(np.int64), 0, size)

    # A motion sample says only that somebody moved within it.
    sample = round(resolution_s * US)
    begins = np.bincount(second(low[which] - moved_us[index] - sample), minlength=size + 1)
    ends = np.bincount(second(high[which] - moved_us[index]), minlength=size + 1)
    # A lag known to within an interval counts at every second of it.
    return np.cumsum(begins - np.append(0, ends[:-1]))[:size].astype(float)


def clock_skew(output: pl.DataFrame, start_us: Ints, end_us: Ints, *, resolution_s: float = 0.0) -> Skew | None:
    """Find how late the light is stamped against motion.

    Parameters
    ----------
    output
        ``time``, ``value`` [%] of one channel.
    start_us, end_us
        Movements of the channel's detectors, disjoint and sorted. UTC epoch [µs]
    resolution_s
        How finely the motion log can tell times. [s]

    Returns
    -------
    The skew, however small; ``None`` where switch-ons and movements share no lag.
    """
    low, high = switch_ons(output)
    if len(low) < LEAST_SWITCH_ONS or len(start_us) < LEAST_SWITCH_ONS:
        return None
    keep = slice(None, None, 1 + len(low) // MOST_SWITCH_ONS)
    low, high = low[keep], high[keep]
    counts = _shared_lags(low, high, _fresh(start_us, end_us), resolution_s)
    # Several movements at one lag of the same switch-on cannot be: a fresh one has a pause before it.
    near = np.convolve(counts, np.ones(2 * TOLERANCE_S + 1), mode="same")
    known_to_us = np.median(high - low) + resolution_s * US
    if known_to_us > 0:
        near = counts
    best = int(np.argmax(near))
    width = round(float(known_to_us) / US)
    away = np.abs(np.arange(len(near)) - best) > 4 * TOLERANCE_S + 2 * width + 15
    share = min(float(near[best] / len(low)), 1.0)
    if share < SHARE or near[best] < AHEAD * np.max(near[away], initial=0.0):
        return None
    plateau = np.flatnonzero(near >= 0.98 * near[best])
    plateau = plateau[np.abs(plateau - best) <= 2 * TOLERANCE_S + width]
    around = slice(max(int(plateau[0]) - TOLERANCE_S, 0), int(plateau[-1]) + TOLERANCE_S + 1)
    weight = counts[around]
    lag = float(np.average(np.arange(len(counts))[around], weights=weight)) - REACH_S
    return Skew(lag, share, len(low))

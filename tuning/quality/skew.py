"""Clock skew between motion and light: lamps that come on at the wrong moment after every movement.

Automatic light comes on with the first movement after a pause, so the lag of the switch-on behind such a movement is the same every time: the
skew of the two clocks. It is found as the lag that most switch-ons share, among all pairs of a switch-on and a movement near it.
The lag of switch-*offs* cannot tell, because the hold-off is in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

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
AS_WELL = 0.98
"""Clocks that agree explain a sampled output as well as a skew does where they explain this share of the switch-ons that it explains. Chosen by
us: a first movement in fifty goes unseen."""


STEADY_SHARE = 0.8
"""Where so many switch-ons share one lag, the clocks ran side by side. Chosen by us."""
PIECE_SWITCH_ONS, LEAST_PIECES, MOST_PIECES, PIECE_SHARE = 20, 4, 120, 0.5
"""Otherwise the log is looked at in pieces of so many switch-ons, each with a lag that so many of them share. Chosen by us: a day or two."""
ON_THE_LINE_S = 4.0
"""Lags of the pieces that lie so near a line are a clock that runs fast or slow. Chosen by us."""
JUMP_S = 15.0
"""Pieces that differ by more than this lie on two sides of a clock that was set. Chosen by us."""


@dataclass(frozen=True)
class Skew:
    """How late the light is stamped against motion, over the log.

    Attributes
    ----------
    at_us, late_s
        Times [µs] and lateness [s, positive: late] at each; one of each where it is the same all along.
    share, switch_ons
        Share of the switch-ons that show it, and their number.
    way
        ``steady``; ``drift``: between the times on a line; ``jumps``: from each time on.
    """

    at_us: Ints
    late_s: Floats
    share: float
    switch_ons: int
    way: Literal["steady", "drift", "jumps"] = "steady"

    @property
    def most_s(self) -> float:
        """The largest lateness in absolute terms, with its sign. [s]."""
        return float(self.late_s[np.argmax(np.abs(self.late_s))])

    def at(self, t_us: Ints) -> Floats:
        """Lateness at given times of the light's clock. [s]."""
        if self.way == "drift":
            slope = (self.late_s[-1] - self.late_s[0]) / (self.at_us[-1] - self.at_us[0])
            return np.asarray(self.late_s[0] + slope * (t_us - self.at_us[0]))
        index = np.searchsorted(self.at_us, t_us, side="right") - 1
        return self.late_s[np.maximum(index, 0)]


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

    Notes
    -----
    A clock that runs fast or slow, or was set inside the log, has no one lag: the log is then looked at in pieces.
    """
    low, high = switch_ons(output)
    if len(low) < LEAST_SWITCH_ONS or len(start_us) < LEAST_SWITCH_ONS:
        return None
    fresh = _fresh(start_us, end_us)
    keep = slice(None, None, 1 + len(low) // MOST_SWITCH_ONS)
    whole = _lag(low[keep], high[keep], fresh, resolution_s)
    if whole is not None and whole[1] >= STEADY_SHARE:
        return Skew(low[:1], np.array([whole[0]]), whole[1], len(low))
    moving = _in_pieces(low, high, fresh, resolution_s)
    if moving is not None:
        return moving
    return None if whole is None else Skew(low[:1], np.array([whole[0]]), whole[1], len(low))


def _lag(low: Ints, high: Ints, fresh: Ints, resolution_s: float) -> tuple[float, float] | None:
    """Lag that most switch-ons share [s], and the share that does; ``None`` where none stands out."""
    counts = _shared_lags(low, high, fresh, resolution_s)
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
    lag = float(np.average(np.arange(len(counts))[around], weights=counts[around])) - REACH_S
    if known_to_us > 0:
        # People move more often after a switch-on than before it, so that the lag with most movements lies before the true one by up to a
        # sample. Clocks are said to differ only where agreeing ones leave switch-ons without any movement.
        agreeing = _with_movement(low, high, fresh, resolution_s, 0.0)
        if agreeing >= AS_WELL * _with_movement(low, high, fresh, resolution_s, lag):
            return 0.0, share
    return lag, share


def _with_movement(low: Ints, high: Ints, fresh: Ints, resolution_s: float, lag_s: float) -> int:
    """Number of switch-ons with a movement where it must be if the light is stamped so late."""
    lag_us, slack_us = round(lag_s * US), TOLERANCE_S * US
    first = np.searchsorted(fresh, low - lag_us - round(resolution_s * US) - slack_us, side="left")
    last = np.searchsorted(fresh, high - lag_us + slack_us, side="right")
    return int((last > first).sum())


def _in_pieces(low: Ints, high: Ints, fresh: Ints, resolution_s: float) -> Skew | None:
    """Lateness that changes over the log: on a line where a clock runs fast or slow, in steps where it was set."""
    at, late, share, count = [], [], [], 0
    length = max(PIECE_SWITCH_ONS, len(low) // MOST_PIECES)
    for first in range(0, len(low) - length // 2, length):
        piece = slice(first, first + length)
        count += 1
        found = _lag(low[piece], high[piece], fresh, resolution_s)
        if found is not None and found[1] >= PIECE_SHARE:
            at.append(int(np.median(low[piece])))
            late.append(found[0])
            share.append(found[1])
    if len(at) < max(LEAST_PIECES, count / 2):
        return None
    t, lag = np.array(at, dtype=np.int64), np.array(late)
    seen = float(np.mean(share))
    from scipy.stats import theilslopes  # noqa: PLC0415 - slow to import

    slope, start, *_ = theilslopes(lag, (t - t[0]) / US)
    ends = np.array([low[0], low[-1]], dtype=np.int64)
    line = start + slope * (ends - t[0]) / US
    off = np.abs(lag - start - slope * (t - t[0]) / US)
    if np.quantile(off, 0.75) <= ON_THE_LINE_S:
        return None if np.ptp(line) < NOTABLE_S else Skew(ends, line, seen, len(low), "drift")
    return _jumps(t, lag, seen, len(low))


def _jumps(t: Ints, lag_s: Floats, share: float, count: int) -> Skew | None:
    """Steps between stretches of at least two pieces that agree."""
    stretch = np.cumsum(np.append(0, np.abs(np.diff(lag_s)) > JUMP_S))
    size = np.bincount(stretch)
    keep = size[stretch] >= 2
    if keep.mean() < 0.8 or len(np.unique(stretch[keep])) < 2:
        return None
    numbers = np.unique(stretch[keep])
    levels = np.array([np.median(lag_s[stretch == n]) for n in numbers])
    begins = [int(t[stretch == n][0]) for n in numbers]
    ends = [int(t[stretch == n][-1]) for n in numbers]
    # Somewhere between the last piece before and the first after.
    edges = [begins[0], *((a + b) // 2 for a, b in zip(ends[:-1], begins[1:], strict=True))]
    return Skew(np.array(edges, dtype=np.int64), levels, share, count, "jumps")

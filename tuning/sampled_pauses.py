"""Recorded pauses of a sampled motion log → pauses as they probably were.

A sample of 1 says only that somebody moved within it. A recorded pause of k empty samples lay between a movement somewhere in the sample before
it and one somewhere in the sample behind it, so it lasted k to k + 2 samples, and which of these lengths is likely follows a triangle. Read as
they are, recorded pauses are a sample too short on average: nearly every pause that a reaction to the dark ended looks as if it had ended just
before the switch-off, and false-offs vanish.

What the output shows narrows it: the light went off one hold-off after the last movement and came back with the next, so that a switch-off
bounds the one and a switch-on the other; a pause through which the light stayed on was no longer than the hold-off, unless it was ended by a
reaction that came too soon for the dark to be sampled. That last case is left to the classification (:mod:`tuning.presence.stillness`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from tuning.gaps import ENDED_BY_MOTION, Bools, Gaps
from tuning.logs import looked_at_every_s
from tuning.motion import US, Floats, Ints, MotionLog, times_us

SLACK_S = 3.0
"""Telegrams and loggers stamp motion and output up to some seconds apart. Chosen by us."""
SLOPED_TO = 30
"""Beyond so many samples the number of pauses changes too little within two samples to matter. Chosen by us."""
GRID = 64
"""Points at which the triangle is looked at. Chosen by us."""
TOO_COARSE = "sampled-too-coarsely"
"""Code of the finding that says so."""
TELLABLE_SAMPLES = 2.0
"""A hold-off of two samples or more leaves an empty one in every pause that outlasts it; of a shorter one some leave no trace."""
TELLING_SAMPLES, FINE_S = 3.0, 60.0
"""A hold-off in force of three samples or more leaves two in nearly every pause that a reaction ended, so that those with one tell how many
there would be without reactions. Of a shorter one there is nothing to tell them by. That does up to so long a sample [s]."""
TELLING_COARSE_SAMPLES, COARSEST_S = 5.0, 120.0
"""The same for longer samples up to this [s]; with still longer ones short absences and stillness look alike. Chosen by us, looking at rooms
sampled every one, two and five minutes: half the false-offs under three and a half samples of two minutes, many times too many in rooms that people
pass through at five."""
READ_TO = 0.02
"""The hold-off in force is read off a log to a second or two. Chosen by us."""
JITTER = 1.05
"""Loggers drift: a sample may be so many times as long."""


def tellable_from_s(motion: MotionLog) -> float:
    """Shortest hold-off whose false-offs a motion log can tell [s]; 0 where movement is logged as it happens."""
    return TELLABLE_SAMPLES * motion.resolution_s / JITTER if motion.kind == "samples" else 0.0


def telling_from_s(motion: MotionLog) -> float:
    """Shortest hold-off in force under which a motion log tells false-offs [s]; 0 for movement logged as it happens, infinite where none will do."""
    if motion.kind != "samples":
        return 0.0
    if motion.resolution_s > JITTER * COARSEST_S:
        return float("inf")
    return (TELLING_SAMPLES if motion.resolution_s <= JITTER * FINE_S else TELLING_COARSE_SAMPLES) * motion.resolution_s


def too_coarse(motion: MotionLog, hold_off_s: float) -> str:
    """Say why a motion log cannot tell false-offs under a hold-off in force [s], and what would; nothing where it can."""
    if not np.isfinite(hold_off_s) or hold_off_s >= (1.0 - READ_TO) * telling_from_s(motion):
        return ""
    return (
        f"Motion is sampled every {motion.resolution_s:.0f} s and the light goes off after {hold_off_s:.0f} s: whether somebody moved just before "
        "that or just after it, in the dark, such a log cannot tell. Log movement as it happens, or sample it every "
        f"{min(hold_off_s / TELLING_SAMPLES, FINE_S):.0f} s or more often, for two weeks."
    )


def as_they_were(gaps: Gaps, motion: MotionLog, *, output: pl.DataFrame, hold_off_s: Floats, seed: int) -> Gaps:
    """Draw the length of each pause of a sampled log from what it can have been.

    Parameters
    ----------
    gaps, motion
        Recorded pauses and movement of a channel.
    output
        ``time``, ``value`` [%], sorted; may be empty.
    hold_off_s
        Hold-off in force in each pause, infinite where nothing switches off. [s]
    seed
        Of the draws.

    Returns
    -------
    ``gaps`` itself where movement is not sampled. Else ``recorded_s`` holds the recorded lengths, ``dark`` marks pauses in which the light was
    seen dark, and ``told`` those whose length the output tells to some seconds.
    """
    if motion.kind != "samples" or motion.resolution_s <= 0 or not len(gaps):
        return gaps
    rng = np.random.default_rng([seed, 5])
    h, recorded, complete = motion.resolution_s, gaps.gap_s, gaps.end_kind == ENDED_BY_MOTION
    edges = _Edges.of(gaps, output, hold_off_s, h)
    length = _drawn(recorded, hold_off_s, h, edges, rng)
    # Movement before and behind, each anywhere between its bounds, relative to the recorded ends.
    before = edges.before_low + (edges.before_high - edges.before_low) * rng.random(len(gaps))
    behind = edges.behind_low + (edges.behind_high - edges.behind_low) * rng.random(len(gaps))
    bounded = np.maximum(recorded + behind - before, np.where(np.isfinite(hold_off_s), hold_off_s, 0.0) + 0.5)
    length = np.where(edges.dark, bounded, length)
    # Where the log breaks off the end is known.
    length = np.where(complete, length, recorded + h * rng.random(len(gaps)))
    width = np.maximum(edges.before_high - edges.before_low, edges.behind_high - edges.behind_low)
    told = edges.dark & complete & (width <= 2 * SLACK_S)
    return replace(gaps, gap_s=length, recorded_s=recorded, dark=edges.dark, told=told)


def with_people_placed(
    gaps: Gaps, hold_off_s: Floats, *, still: Floats, reaction: Floats, reaction_s: float, step_s: float
) -> Gaps:
    """Give pauses that a reaction probably ended the length of one, and those of people who moved in the light no more than the hold-off.

    Parameters
    ----------
    gaps
        Pauses as :func:`as_they_were` returns them.
    hold_off_s
        Hold-off in force in each. [s]
    still, reaction
        Probability of each that somebody was there, and that a reaction ended it.
    reaction_s
        Usual time of a reaction. [s]
    step_s
        Sampling interval of the motion. [s]
    """
    if gaps.recorded_s is None or gaps.dark is None:
        return gaps
    hold = np.where(np.isfinite(hold_off_s), hold_off_s, 0.0)
    placed = ~gaps.dark & (gaps.recorded_s < hold) & (hold < gaps.recorded_s + 2 * step_s)
    length = gaps.gap_s
    in_light = np.where(length > hold, (gaps.recorded_s + hold) / 2, length)
    ended = reaction * (hold + reaction_s) + np.clip(still - reaction, 0, 1) * in_light + (1 - still) * length
    return replace(gaps, gap_s=np.where(placed, ended, length))


class _Edges:
    """What the output says about each pause: bounds of the movements at its ends, relative to the recorded ends. [s]."""

    def __init__(self, n: int, h: float) -> None:
        self.before_low, self.before_high = np.full(n, -h), np.zeros(n)
        self.behind_low, self.behind_high = np.zeros(n), np.full(n, h)
        self.dark = np.zeros(n, dtype=bool)
        """The light was seen to go off a hold-off after the movement before."""
        self.lit_through = np.zeros(n, dtype=bool)
        """The light was on, and never seen dark."""
        self.unseen_s = 0.0
        """A dark of so many seconds or more is seen; of shorter ones the fewer, the shorter."""

    @classmethod
    def of(cls, gaps: Gaps, output: pl.DataFrame, hold_off_s: Floats, h: float) -> _Edges:
        """Read the edges off the output."""
        n = len(gaps)
        found = cls(n, h)
        if len(output) < 2:
            return found
        t, lit = times_us(output), output["value"].to_numpy() > 0
        found.unseen_s = interval_s = looked_at_every_s(output) or 0.0
        off = np.flatnonzero(~lit[1:] & lit[:-1]) + 1
        on = np.flatnonzero(lit[1:] & ~lit[:-1]) + 1
        back = on[np.minimum(np.searchsorted(on, off), max(len(on) - 1, 0))] if len(on) else off
        comes_back = back > off
        hold_us = np.round(np.where(np.isfinite(hold_off_s), hold_off_s, 0.0) * US).astype(np.int64)
        step, slack = round(h * US), round(SLACK_S * US)
        start, end = gaps.start_us, gaps.start_us + np.round(gaps.gap_s * US).astype(np.int64)
        if len(off):
            off_high, off_low = t[off], t[off - 1] if interval_s else t[off]
            at = np.searchsorted(off_high, start - step + hold_us - slack)
            known = (at < len(off)) & np.isfinite(hold_off_s)
            at = np.minimum(at, len(off) - 1)
            found.dark = known & (off_low[at] <= start + hold_us + slack) & (off_low[at] < end + step)
            low, high = (off_low[at] - hold_us - start) / US, (off_high[at] - hold_us - start) / US
            found._narrow_before(low, high, h)
            back_low, back_high = (t[back - 1] if interval_s else t[back])[at], t[back][at]
            returns = found.dark & comes_back[at] & (back_low <= end + step + slack) & (back_high >= end - slack)
            found._narrow_behind(returns, (back_low - end) / US, (back_high - end) / US, h)
        # Lit somewhere in the sample before, where the last movement was: the light was the hold-off's to switch.
        i = np.searchsorted(t, start, side="right") - 1
        was_lit = (i >= 0) & lit[np.maximum(i, 0)]
        found.lit_through = ~found.dark & was_lit
        return found

    def _narrow_before(self, low: Floats, high: Floats, h: float) -> None:
        self.before_low = np.where(self.dark, np.clip(low, -h, 0.0), self.before_low)
        self.before_high = np.where(self.dark, np.clip(high, -h, 0.0), self.before_high)

    def _narrow_behind(self, returns: Bools, low: Floats, high: Floats, h: float) -> None:
        self.behind_low = np.where(returns, np.clip(low, 0.0, h), self.behind_low)
        self.behind_high = np.where(returns, np.clip(high, 0.0, h), self.behind_high)


def _drawn(recorded_s: Floats, hold_off_s: Floats, h: float, edges: _Edges, rng: np.random.Generator) -> Floats:
    """Lengths from the triangle above each recorded one, sloped as the number of pauses falls.

    Where the light was never seen dark, lengths beyond the hold-off count as far as their dark goes unseen.
    """
    samples = np.rint(recorded_s / h).astype(np.int64)
    fall = _fall(samples)
    cut = np.where(edges.lit_through & np.isfinite(hold_off_s), (hold_off_s - recorded_s) / h, 2.0)
    # A light that stays on beyond the hold-off by more than that was not switched by it.
    cut = np.where((cut <= 0.0) | (cut > 2.0), 2.0, cut)
    unseen = max(edges.unseen_s / h, 1e-6)
    u = rng.random(len(recorded_s))
    kinds, which = np.unique(np.column_stack([np.minimum(samples, SLOPED_TO + 1), cut]), axis=0, return_inverse=True)
    beyond = np.empty(len(recorded_s))
    order = np.argsort(which.ravel(), kind="stable")
    ends = np.append(0, np.cumsum(np.bincount(which.ravel(), minlength=len(kinds))))
    for (k, to), first, last in zip(kinds, ends[:-1], ends[1:], strict=True):
        rows = order[first:last]
        x = np.unique(np.append(np.linspace(0.0, 2.0, GRID + 1), to))
        middle = (x[1:] + x[:-1]) / 2
        weight = np.diff(x) * np.minimum(middle, 2.0 - middle) * (k + middle) ** -fall[min(int(k), SLOPED_TO + 1)]
        weight *= np.clip(1.0 - (middle - to) / unseen, 0.0, 1.0)
        share = np.append(0.0, np.cumsum(weight))
        beyond[rows] = np.interp(u[rows] * share[-1], share, x)
    return np.asarray(recorded_s + h * beyond)


def _fall(samples: Ints) -> Floats:
    """Power by which the number of pauses falls with their length, by number of empty samples: a parabola in the logarithms of both."""
    counts = np.bincount(np.minimum(samples, SLOPED_TO + 1), minlength=SLOPED_TO + 2)[1:-1].astype(float)
    fall = np.zeros(SLOPED_TO + 2)
    if (counts > 0).sum() < 4:
        return fall
    x = np.log(np.arange(1, SLOPED_TO + 1) + 1.0)
    curve = np.polynomial.Polynomial.fit(x, np.log(counts + 0.5), 2, w=np.sqrt(counts + 0.5))
    fall[1:-1] = np.clip(-curve.deriv()(x), 0.0, 10.0)
    return fall

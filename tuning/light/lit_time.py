"""Lit occupied time as moments: what daylight, other channels and the lamps gave at each, and how the control behaved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from tuning.gaps import Bools, Gaps
from tuning.light.lamp_steps import MOVED
from tuning.light.split import LightSplit, daylight_at
from tuning.motion import US, Floats, Ints, MotionLog, times_us

GRID_S = 300.0
"""Step at which lit occupied time is looked at [s]. Chosen by us: daylight moves slower than that on the whole."""
FEW = 20
"""Fewer moments than this tell nothing. Chosen by us: less than two hours."""
DAY_US = 86_400 * US
AROUND_S = 15.0
"""Whoever comes or leaves is there so long around a movement. Chosen by us. [s]"""
UNSEEN_LOWEST = 0.01
"""Least output assumed where the log never shows it: nothing is lit that was not asked for. Chosen by us."""


@dataclass(frozen=True)
class Moments:
    """Lit occupied time on a grid; arrays of one length.

    ``daylight`` and ``neighbours`` (other channels' lamps) at the detector [lx], ``output`` in force (0…1), ``weight`` [s] that a moment
    stands for, ``day`` as a number, ``t_us`` UTC.
    """

    daylight: Floats
    neighbours: Floats
    output: Floats
    weight: Floats
    day: Ints
    t_us: Ints

    @property
    def others(self) -> Floats:
        """What the detector sees without the channel's own lamps. [lx]."""
        return self.daylight + self.neighbours


@dataclass(frozen=True)
class Presence:
    """Expected time with somebody there, as a line through ``t_us`` (increasing) and the seconds ``since_s`` that have come together by then."""

    t_us: Ints
    since_s: Floats

    def between(self, start_us: Ints, end_us: Ints) -> Floats:
        """Expected time with somebody there. [s]."""
        return np.asarray(np.interp(end_us, self.t_us, self.since_s) - np.interp(start_us, self.t_us, self.since_s))


def presence_of(gaps: Gaps, motion: MotionLog, *, even_s: float, slope: float) -> Presence:
    """When somebody was there, as far as the length of each pause tells: in a corridor, lit time is mostly empty by day and less so at night.

    Parameters
    ----------
    gaps, motion
        The channel's gaps and motions.
    even_s, slope
        What the use makes believe: the length at which a pause is as likely an absence as a stillness [s], and the fall of the log-odds of
        stillness per e-fold of length.
    """
    # Up to that length it is all the same whether somebody kept still or came and left.
    long = np.flatnonzero(gaps.gap_s > AROUND_S)
    gap_s = gaps.gap_s[long]
    still = 1 / (1 + (gap_s / even_s) ** slope)
    there = np.zeros(len(motion.start_us))
    there[gaps.motion_before] = gaps.gap_s
    there[gaps.motion_before[long]] = still * gap_s + (1 - still) * AROUND_S
    moving = (motion.end_us - motion.start_us) / US
    until = np.concatenate([[0.0], np.cumsum(moving + there)])[:-1]
    knots = np.stack([motion.start_us, motion.end_us], axis=1).ravel()
    return Presence(knots, np.stack([until, until + moving], axis=1).ravel())


def moments_of(
    split: LightSplit,
    occupied: pl.DataFrame,
    output: pl.DataFrame,
    *,
    own_lx: float,
    offset_us: int = 0,
    there: Presence | None = None,
) -> Moments:
    """Look at lit occupied time every five minutes, at least once in each stretch.

    Parameters
    ----------
    split
        The reading taken apart.
    occupied
        ``start``, ``end`` of stretches in which somebody was there and the channel was to be lit.
    output
        ``time``, ``value`` [%] of the channel.
    own_lx
        The channel's own lamps at full output, to tell them from its neighbours'. [lx]
    offset_us
        UTC offset of the building, so that days are local. [µs]
    there
        When somebody was there; throughout the stretches without it.
    """
    start, end = times_us(occupied, "start"), times_us(occupied, "end")
    count = np.maximum(((end - start) / (GRID_S * US)).astype(np.int64), 1)
    first = np.repeat(np.cumsum(count) - count, count)
    step = np.arange(count.sum()) - first
    length = np.repeat((end - start) / count, count)
    t = np.repeat(start, count) + np.round((step + 0.5) * length).astype(np.int64)
    level = held(output, t) / 100
    daylight = daylight_at(split, t)
    keep = np.isfinite(daylight)
    if there is None:
        weight = np.maximum(length / US, 1.0)  # a stretch of one instant still lasted a moment
    else:
        begin = np.repeat(start, count) + np.round(step * length).astype(np.int64)
        # half of a visit's surroundings lie before its first and after its last movement
        weight = (
            there.between(begin, begin + np.round(length).astype(np.int64))
            + AROUND_S / count[np.repeat(np.arange(len(count)), count)]
        )
    neighbours = neighbours_at(split, output, own_lx, t)
    day = (t + offset_us) // DAY_US
    return Moments(daylight[keep], neighbours[keep], level[keep], weight[keep], day[keep], t[keep])


def held(series: pl.DataFrame, at: Ints) -> Floats:
    """Value in force at given times, 0 before the first."""
    t, v = times_us(series), series["value"].to_numpy()
    if len(t) == 0:
        return np.zeros(len(at))
    index = np.searchsorted(t, at, side="right") - 1
    return np.where(index >= 0, v[np.maximum(index, 0)], 0.0)


def neighbours_at(split: LightSplit, output: pl.DataFrame, own_lx: float, at: Ints) -> Floats:
    """Other channels' lamps in the reading, from the last moment at which all outputs were certain. [lx]."""
    lamps = split.known
    if lamps.is_empty() or len(split.lamps) < 2:
        return np.zeros(len(at))
    t = times_us(lamps)
    index = np.clip(np.searchsorted(t, at, side="right") - 1, 0, len(t) - 1)
    own = own_lx * held(output, t[index]) / 100
    return np.maximum(lamps["lamps_lx"].to_numpy()[index] - own, 0.0)


@dataclass(frozen=True)
class Loop:
    """How a dimming control behaved in the log.

    ``lowest`` is the least output that it holds while lit (0…1), ``level_lx`` the reading that it held, ``out_above`` the multiple of the
    target at which daylight puts the lamps out; infinite where they stay on at the lowest output.
    """

    lowest: float
    level_lx: float | None
    out_above: float

    def output(self, target_lx: Floats, others_lx: Floats, k: float) -> Floats:
        """Output under targets, shape (moments, targets), 0…1."""
        wanted = np.clip((target_lx[None, :] - others_lx[:, None]) / k, self.lowest, 1.0)
        if not np.isfinite(self.out_above):
            return np.asarray(wanted)
        return np.asarray(np.where(others_lx[:, None] > self.out_above * target_lx[None, :], 0.0, wanted))


def loop_of(moments: Moments, *, k: float, target_lx: float | None) -> Loop:
    """Learn from the log how the control dims.

    Parameters
    ----------
    moments
        Lit occupied time.
    k
        The channel's lamps at full output. [lx]
    target_lx
        Target in force where known. [lx]
    """
    lit = moments.output > 0
    level = target_lx if target_lx is not None else _held_level(moments, k)
    if level is None or lit.sum() < FEW:
        return Loop(UNSEEN_LOWEST, level, np.inf)
    ratio = moments.others / level
    # only where daylight alone reaches the target does the control go down to its lowest
    bright = moments.output[lit & (ratio > 1.0)]
    lowest = float(np.quantile(bright, 0.1)) if len(bright) >= FEW else UNSEEN_LOWEST
    return Loop(lowest, level, _out_above(ratio, ~lit))


def _held_level(moments: Moments, k: float) -> float | None:
    """Reading that the control held while it dimmed between its ends, where it did. [lx]."""
    between = (moments.output > MOVED) & (moments.output < 0.98)
    if between.sum() < FEW:
        return None
    return float(np.median((moments.others + k * moments.output)[between]))


def _out_above(ratio: Floats, out: Bools) -> float:
    """Multiple of the target that best parts lamps out from lamps on by daylight; infinite where bright light leaves them on."""
    bright = ratio > 1.0
    if bright.sum() < FEW or out[bright].mean() < 0.3:
        return np.inf
    order = np.argsort(ratio[bright])
    sorted_ratio, sorted_out = ratio[bright][order], out[bright][order]
    # wrong below the cut: out though dim; wrong above it: on though bright
    wrong = np.append(0, np.cumsum(sorted_out)) + np.append(np.cumsum(~sorted_out[::-1])[::-1], 0)
    cut = int(np.argmin(wrong))
    return float(sorted_ratio[min(cut, len(sorted_ratio) - 1)])

"""What every target would have brought: time without enough light, far too much of it, and power, for all targets at once.

A moment is lit from one target on and lacks light up to another, so two marks a moment and a running sum over the targets do what a walk
through all moments for every target would.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from tuning.gaps import Bools
from tuning.light.lit_time import Loop, Moments
from tuning.motion import Floats, Ints
from tuning.power import power_of_output
from tuning.results import TargetPoint
from tuning.site import Channel
from tuning.target.task import HOURS_PER_WEEK, OVER_LIT, SLACK_LX, Task, settable_of


@dataclass(frozen=True)
class Shares:
    """Seconds of lit occupied time, and of those in which the task lacks light, by day and target; shape (days, targets)."""

    targets: Floats
    dark_s: Floats
    lit_s: Floats

    @property
    def under_share(self) -> Floats:
        """Share of lit occupied time in which the task lacks light; 1 where it is never lit."""
        return share_of(self.dark_s.sum(axis=0), self.lit_s.sum(axis=0))


def share_of(dark_s: Floats, lit_s: Floats) -> Floats:
    """Share of lit time that lacks light; 1 where it is never lit."""
    return np.where(lit_s > 0, dark_s / np.maximum(lit_s, 1e-9), 1.0)


def shares_of(moments: Moments, targets: Floats, loop: Loop, task: Task) -> Shares:
    """Lit and lacking time under all targets at once.

    Every moment is lit from one target on and lacks light up to another, so two marks a moment and a running sum over the targets do it.
    """
    others = moments.others
    lack = task.need_lx - SLACK_LX - task.ratios.daylight * moments.daylight - task.ratios.electric * moments.neighbours
    wanted = lack / task.ratios.electric  # what the own lamps must give at the detector
    enough_at = np.where(wanted <= loop.lowest * task.k, -np.inf, np.where(wanted > task.k, np.inf, others + wanted))
    lit_at = others / loop.out_above if np.isfinite(loop.out_above) else np.full(others.size, -np.inf)
    first, last = np.searchsorted(targets, lit_at), np.searchsorted(targets, enough_at)
    _, day = np.unique(moments.day, return_inverse=True)
    size = targets.size + 1
    count = (int(day.max()) + 1) * size

    def marks(at: Ints, weight: Floats) -> Floats:
        return np.bincount(day * size + at, weights=weight, minlength=count).astype(np.float64)

    lacks = moments.weight * (last > first)
    lit = marks(first, moments.weight)
    dark = marks(first, lacks) - marks(last, lacks)
    running = (np.cumsum(part.reshape(-1, size), axis=1)[:, :-1] for part in (dark, lit))
    return Shares(targets, *running)


def points_of(
    moments: Moments, shares: Shares, shown: Bools, loop: Loop, task: Task, channel: Channel
) -> tuple[TargetPoint, ...]:
    """The target curve at the targets shown."""
    rest_kwh = channel.standby_w * max(HOURS_PER_WEEK - task.hours, 0.0) / 1000
    targets = shares.targets[shown]
    settable = settable_of(targets, channel)
    mean_w = mean_power_w(moments, targets, loop, task, channel)
    over = over_share(moments, targets, loop, task)
    columns = (targets, mean_w * task.hours / 1000 + rest_kwh, shares.under_share[shown], over, mean_w, settable)
    return tuple(TargetPoint(*row) for row in zip(*(column.tolist() for column in columns), strict=True))


def mean_power_w(moments: Moments, targets: Floats, loop: Loop, task: Task, channel: Channel) -> Floats:
    """Mean power in lit occupied time under all targets at once. [W].

    Power is a line between the knots of its curve, and output a line in the other light: sums over the moments between two knots, sorted by the
    other light, give the mean exactly.
    """
    order = np.argsort(moments.others)
    others, weight = moments.others[order], moments.weight[order]
    seconds, lux_s = (np.append(0.0, np.cumsum(part)) for part in (weight, weight * others))
    bends = [x / 100 for x, _ in channel.power_curve or ()]
    knots = np.array(sorted({loop.lowest, *(x for x in bends if loop.lowest < x < 1), 1.0}))
    watts = power_of_output(100 * knots, channel, channel.power_w)
    out_w = float(power_of_output(np.zeros(1), channel, channel.power_w)[0])
    # moments up to the first place are at full output, beyond the last at the lowest, and further still put out by daylight
    place = np.searchsorted(others, targets[:, None] - task.k * knots[None, :], side="right")
    put_out = np.searchsorted(others, loop.out_above * targets, side="right")
    total = watts[-1] * seconds[place[:, -1]] + watts[0] * (seconds[put_out] - seconds[place[:, 0]])
    total += out_w * (seconds[-1] - seconds[put_out])
    for j in range(knots.size - 1):
        slope = (watts[j + 1] - watts[j]) / (knots[j + 1] - knots[j])
        lit, lux = (part[place[:, j]] - part[place[:, j + 1]] for part in (seconds, lux_s))
        total += watts[j] * lit + slope * ((targets / task.k - knots[j]) * lit - lux / task.k)
    return np.asarray(total / weight.sum())


def over_share(moments: Moments, targets: Floats, loop: Loop, task: Task) -> Floats:
    """Share of lit time in which the lamps, not the sun, give the task far more than it needs, under all targets at once."""
    spare = (
        OVER_LIT * task.need_lx - task.ratios.daylight * moments.daylight - task.ratios.electric * moments.neighbours
    )
    output = np.maximum(spare / (task.ratios.electric * task.k), loop.lowest + 0.02)
    lit_at = moments.others / loop.out_above if np.isfinite(loop.out_above) else np.full(output.size, -np.inf)
    over_at = np.where(output >= 1, np.inf, np.maximum(moments.others + task.k * output, lit_at))

    def reached(at: Floats, side: Literal["left", "right"]) -> Floats:
        order = np.argsort(at)
        return np.append(0.0, np.cumsum(moments.weight[order]))[np.searchsorted(at[order], targets, side=side)]

    return np.asarray(reached(over_at, "left") / np.maximum(reached(lit_at, "right"), 1e-9))

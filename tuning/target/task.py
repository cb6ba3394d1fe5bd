"""What the task gets from light at the detector, what it needs, and which targets are looked at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from tuning.gaps import Bools
from tuning.light.lit_time import Moments
from tuning.motion import Floats
from tuning.results import LightResult
from tuning.site import Channel
from tuning.target.calibration import Ratios

LIT_SHARE = 0.95
"""Share of lit occupied time in which the task must have what it needs. From the method."""
SLACK_LX = 0.5
"""Half a lux: at night the task sits exactly at the target, and rounding must not call that too dark."""
OVER_LIT = 1.5
"""A task that gets this many times what it needs is over-lit. Chosen by us: about one step of the standard's scale (300, 500, 750 lx)."""
GRID = ((20.0, 2.0), (100.0, 5.0), (300.0, 10.0))
"""From a target on, the step of the targets looked at where site.toml does not list what can be set: about 2 %. Chosen by us. [lx]"""
HOURS_PER_WEEK = 168.0


@dataclass(frozen=True)
class Task:
    """What turns light at the detector into light at the task, and what the task needs. [lx]."""

    k: float
    ratios: Ratios
    need_lx: float
    floor_lx: float
    hours: float
    """Lit occupied hours a week."""

    def illuminance(self, moments: Moments, output: Floats) -> Floats:
        """Task illuminance at given outputs (0…1). [lx]."""
        lamps = self.k * output + moments.neighbours
        return self.ratios.daylight * moments.daylight + self.ratios.electric * lamps


def candidates_lx(channel: Channel, *, highest_lx: float) -> Floats:
    """Targets to look at: what can be set, else a grid up to what the room can need; and the one in force. [lx]."""
    values = set(channel.allowed_target_lx or grid_lx(highest_lx).tolist())
    if channel.target_lx:
        values.add(channel.target_lx)
    return np.array(sorted(values))


def grid_lx(highest_lx: float) -> Floats:
    """Fine grid of targets. [lx]."""
    ends = [*(start for start, _ in GRID[1:]), max(highest_lx, GRID[-1][0]) + GRID[-1][1]]
    return np.concatenate([np.arange(start, end, step) for (start, step), end in zip(GRID, ends, strict=True)])


def weighted_quantile(values: Floats, weight: Floats, share: float) -> float:
    """Least value that at least ``share`` of the weight does not exceed."""
    order = np.argsort(values)
    reached = np.cumsum(weight[order]) / weight.sum()
    return float(values[order][min(int(np.searchsorted(reached, share)), len(values) - 1)])


def settable_of(targets: Floats, channel: Channel) -> Bools:
    """Which of the targets can be set; all where site.toml does not say."""
    if not channel.allowed_target_lx:
        return np.ones(len(targets), dtype=bool)
    return np.isin(targets, np.array(channel.allowed_target_lx))


def lit_frame(moments: Moments, task: Task) -> pl.DataFrame:
    """Task illuminance in lit occupied time as it was: ``task_lx``, ``lit``."""
    return pl.DataFrame({"task_lx": task.illuminance(moments, moments.output), "lit": moments.output > 0})


def trust(light: LightResult) -> str:
    """What to add to a figure at the task that no spot reading bears out."""
    return "" if light.calibrated else " (uncalibrated: the detector's reading is taken for the task's)"

"""What the light was doing in each gap: lit or not, how much daylight, and whether anybody would have minded the dark."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
import polars as pl

from tuning.gaps import Bools, Gaps
from tuning.light.split import LightSplit, daylight_at
from tuning.light.who_minds import Need
from tuning.logs import sampling_interval_s
from tuning.motion import US, Floats, Ints, times_us
from tuning.power import power_of_output
from tuning.readings import RoomReadings
from tuning.site import Channel
from tuning.stretches import spread


class Elsewhere(Protocol):
    """Daylight at a channel's detector, estimated from another one: see :mod:`tuning.light.other_daylight`."""

    @property
    def spread(self) -> float:
        """Log-spread of the estimate."""

    @property
    def task_per_daylight(self) -> float:
        """Task illuminance per lx."""

    def at(self, t_us: Ints) -> Floats:
        """Daylight at times, UTC epoch [µs]. [lx]."""


SETTLE_S = 5.0
"""A switch-on is logged up to this long after the motion that caused it [s]. Chosen by us."""


@dataclass(frozen=True)
class Circumstances:
    """Per gap.

    Attributes
    ----------
    lit
        Probability that the light was on when the gap began.
    daylight_lx
        Daylight in the detector's reading at the switch-off, NaN where unknown. [lx]
    minds
        Probability that a present person would mind the dark then.
    power_w
        Power while the light stayed on after the last motion. [W]
    in_own_reading
        Whether ``daylight_lx`` is in the reading that the channel's light was worked out in; if not, it is an estimate from another detector.
    need
        What ``minds`` rests on; ``None`` where nothing is known of it.
    """

    lit: Floats
    daylight_lx: Floats
    minds: Floats
    power_w: Floats
    in_own_reading: bool = True
    need: Need | None = None

    def with_need(self, need: Need) -> Circumstances:
        """The same with another need, and who minds after it."""
        return replace(self, minds=need.minds(), need=need)


def output_of(readings: RoomReadings, name: str, channel: Channel, load_w: float) -> pl.DataFrame:
    """Light output of a channel as ``time``, ``value`` [%]; from its power where no output is logged."""
    rows = readings.own("output", name)
    if rows.is_empty():
        power = readings.own("power", name)
        span = max(load_w - channel.standby_w, 1.0)
        # Below a twentieth of the load it is standby and metering noise.
        share = (pl.col("value") - channel.standby_w) / span
        rows = power.with_columns(value=pl.when(share < 0.05).then(0.0).otherwise((share * 100).clip(0, 100)))
    return rows


MIN_STEPS, ALTERNATING = 4, 0.8
"""Steps of the reading that must be seen, and the share that must go up and down in turn, before they are believed to be the lamps'. Chosen
by us: a cloud does not keep to turns."""


def output_from_steps(steps: pl.DataFrame) -> pl.DataFrame:
    """Light on or off as ``time``, ``value`` [%] from the switching steps in the reading, where no output is logged.

    Parameters
    ----------
    steps
        ``time``, ``step_lx``.

    Returns
    -------
    Empty where the steps are few or do not take turns.
    """
    nothing = pl.DataFrame(schema={"time": steps.schema["time"], "value": pl.Float64})
    up = steps["step_lx"].to_numpy() > 0
    if len(up) < MIN_STEPS or np.mean(up[1:] != up[:-1]) < ALTERNATING:
        return nothing
    before = steps.select(pl.col("time").first() - pl.duration(days=3650), value=pl.lit(0.0 if up[0] else 100.0))
    after = steps.select("time", value=pl.when(pl.col("step_lx") > 0).then(100.0).otherwise(0.0))
    return pl.concat([before, after])


def value_at(frame: pl.DataFrame, t_us: Ints) -> Floats:
    """Value of a series at sorted times: that of the last row at or before, NaN before the first."""
    return spread(np.append(np.nan, frame["value"].to_numpy()), times_us(frame), t_us)


LEAVING_S = 15.0
"""Whoever presses off on leaving may still be seen for so long, before or after [s]. Chosen by us."""
PRESS_GAP_S = 120.0
"""A longer pause after a press to off is an absence: people press off when they leave. Chosen by us."""


def pressed_off(gaps: Gaps, off_us: Ints) -> Bools:
    """Long gaps that begin with a person's press to off: they left.

    Parameters
    ----------
    gaps
        The channel's gaps.
    off_us
        Times of presses to off, sorted, UTC epoch. [µs]
    """
    if len(off_us) == 0:
        return np.zeros(len(gaps), dtype=bool)
    slack = round(LEAVING_S * US)
    first = np.searchsorted(off_us, gaps.start_us - slack, side="left")
    near = (first < len(off_us)) & (off_us[np.minimum(first, len(off_us) - 1)] <= gaps.start_us + slack)
    return near & (gaps.gap_s > PRESS_GAP_S)


def circumstances(
    gaps: Gaps,
    *,
    hold_off_s: Floats,
    output: pl.DataFrame,
    split: LightSplit | None,
    channel: Channel,
    load_w: float,
    task_per_daylight: float,
    required_lx: float | None,
    task_spread: float = 0.0,
    elsewhere: Elsewhere | None = None,
) -> Circumstances:
    """Look up the light at each gap.

    Parameters
    ----------
    gaps
        The channel's gaps.
    hold_off_s
        Hold-off in force in each. [s]
    output
        ``time``, ``value`` [%]; may be empty.
    split
        The split of the reading, or ``None`` without illuminance.
    channel, load_w
        For the power.
    task_per_daylight
        Task illuminance per lx of daylight at the detector.
    required_lx
        What the task needs. [lx]; ``None`` if nothing is known or no light is governed.
    task_spread
        Log-spread of ``task_per_daylight``.
    elsewhere
        Daylight from another detector, where the split tells none.
    """
    n = len(gaps)
    if output.is_empty():
        lit, level = np.ones(n), np.full(n, 100.0)
    else:
        level = _level_at_start(gaps, output)
        level[np.isnan(level)] = 100.0
        lit = (level > 0).astype(float)
    off_us = gaps.start_us + np.round(np.minimum(gaps.gap_s, hold_off_s) * US).astype(np.int64)
    daylight, doubt = np.full(n, np.nan), task_spread
    if split is not None:
        daylight = daylight_at(split, off_us)
    elif elsewhere is not None:
        daylight, task_per_daylight = elsewhere.at(off_us), elsewhere.task_per_daylight
        doubt = elsewhere.spread
    need = None
    if required_lx is not None:
        need = Need(np.log(required_lx / np.maximum(task_per_daylight * daylight, 0.1)), doubt)
    minds = np.ones(n) if need is None else need.minds()
    own = split is not None or elsewhere is None
    return Circumstances(lit, daylight, minds, power_of_output(level, channel, load_w), own, need)


def _level_at_start(gaps: Gaps, output: pl.DataFrame) -> Floats:
    """Output just after each gap's start [%]; where it is sampled coarsely, the larger of the samples around."""
    after = gaps.start_us + np.round(np.minimum(SETTLE_S, gaps.gap_s / 2) * US).astype(np.int64)
    level = value_at(output, after)
    interval = sampling_interval_s(output["time"])
    if interval is not None and interval > 2 * SETTLE_S:
        later = value_at(output, gaps.start_us + round(interval * US))
        level = np.fmax(level, np.where(gaps.gap_s > interval, later, 0.0))
        # Too short to be sampled: whoever just moved had the light that the control gives.
        unseen = (level <= 0) & (gaps.gap_s < interval)
        level = np.where(unseen, np.nan, level)
    return level

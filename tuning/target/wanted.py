"""What people ask for: the level they choose when they press."""

from __future__ import annotations

import numpy as np
import polars as pl

from tuning.light.lit_time import held
from tuning.light.split import LightSplit, daylight_at
from tuning.motion import times_us
from tuning.results import Finding, WantedLevel
from tuning.target.calibration import Ratios

ASKED_DIFFERENTLY_PCT = 5.0
"""A press that moves the output by less says nothing about the level. Chosen by us. [%]"""
ENOUGH_PRESSES = 5
"""Fewer presses are single people's moods. Chosen by us."""
MOSTLY_ONE_WAY = 0.8


def wanted_level(
    overrides: pl.DataFrame, split: LightSplit, *, channel: str, output: pl.DataFrame, ratios: Ratios
) -> WantedLevel | None:
    """Read people's wishes off their presses.

    Parameters
    ----------
    overrides
        ``time``, ``value`` [%]: the output that each press asked for, 0 = off.
    split
        The reading taken apart, for the daylight at the presses.
    channel
        The channel pressed.
    output
        ``time``, ``value`` [%] of the channel, to tell up from down.
    ratios
        To tell what the task got.

    Returns
    -------
    WantedLevel, or ``None`` where nobody asked for another level. Presses that switch on or off are no wish for a level.
    """
    lamp = split.lamps.get(channel)
    if lamp is None or overrides.is_empty():
        return None
    t, asked = times_us(overrides), overrides["value"].to_numpy()
    before = held(output, t - 1)
    # a switch-on just before belongs to the same hand: what it gave is what was not wanted
    level = (asked > 0) & (before > 0) & (np.abs(asked - before) >= ASKED_DIFFERENTLY_PCT)
    if not level.any():
        return None
    daylight = daylight_at(split, t[level])
    lamps = lamp.at_full_lx * asked[level] / 100
    known = np.isfinite(daylight)
    if not known.any():
        return None
    detector = (daylight + lamps)[known]
    task = (ratios.daylight * daylight + ratios.electric * lamps)[known]
    up = int((asked[level] > before[level]).sum())
    low, middle, high = np.quantile(task, [0.1, 0.5, 0.9])
    return WantedLevel(
        ups=up,
        downs=int(level.sum()) - up,
        detector_lx=float(np.median(detector)),
        task_lx=float(middle),
        task_low_lx=float(low),
        task_high_lx=float(high),
    )


def wanted_finding(wanted: WantedLevel, *, need_lx: float) -> list[Finding]:
    """Report what people choose, where enough of them do."""
    presses = wanted.ups + wanted.downs
    if presses < ENOUGH_PRESSES:
        return []
    way = (
        "down"
        if wanted.downs >= MOSTLY_ONE_WAY * presses
        else "up"
        if wanted.ups >= MOSTLY_ONE_WAY * presses
        else "both ways"
    )
    text = (
        f"People asked for another level {presses} times ({wanted.ups} up, {wanted.downs} down). What they chose gave the task about "
        f"{wanted.task_lx:.0f} lx ({wanted.task_low_lx:.0f} to {wanted.task_high_lx:.0f} lx); it is said to need {need_lx:.0f} lx."
    )
    evidence = {"ups": wanted.ups, "downs": wanted.downs, "task_lx": round(wanted.task_lx), "way": way}
    return [Finding("people-choose", "info", text, evidence)]

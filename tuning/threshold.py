"""Switched light: the daylight below which it is wanted, the dead band it needs, and hunting.

A switched channel goes on when somebody is there and the daylight is below a threshold, and off when the reading rises above it by the
dead band. The lamps' own light is in that reading: a dead band narrower than what they add makes the light switch itself
off, see the dark, and switch itself on again.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from tuning.lit_time import Moments
from tuning.motion import US, times_us
from tuning.power import power_of_output
from tuning.results import Finding, LightResult, TargetPoint
from tuning.site import Channel
from tuning.task import (
    HOURS_PER_WEEK,
    LIT_SHARE,
    OVER_LIT,
    SLACK_LX,
    Task,
    candidates_lx,
    lit_frame,
    settable_of,
    trust,
)

BAND_MARGIN = 1.1
"""The dead band should exceed the lamps' own light by a tenth. Chosen by us: above the noise of a reading."""
CYCLE_S = 900.0
"""Cycles of on and off longer than a quarter of an hour are no hunting. Chosen by us. [s]"""
CYCLES_IN_A_ROW = 3
SHORT_OF_HOLD_OFF = 0.9
UNKNOWN_HOLD_OFF_S = 120.0
"""Where the hold-off is not known: detectors are seldom set shorter (common practice, no source). [s]"""


def threshold_result(
    light: LightResult, moments: Moments, channel: Channel, *, task: Task, output: pl.DataFrame
) -> LightResult:
    """Find the least threshold that keeps the task lit, and say what the lamps' own light does to it.

    Parameters
    ----------
    light
        What is known so far.
    moments
        Lit occupied time.
    channel
        The channel's entry in site.toml.
    task
        What the task gets and needs.
    output
        ``time``, ``value`` [%] of the channel, for hunting.
    """
    findings = [*light.findings, *_lamps_alone(light, task), *_hunting(output, channel, task)]
    seen = replace(light, task_lx_lit=lit_frame(moments, task), findings=tuple(findings))
    targets = candidates_lx(channel, highest_lx=task.need_lx / task.ratios.daylight + 100)
    # Where daylight alone keeps the lamps off, it must give the safety floor by itself, in brighter seasons than the log's, too.
    safe = task.ratios.daylight * targets >= task.floor_lx - SLACK_LX
    if not safe.any() or float(np.quantile(moments.daylight, 0.95)) < targets[safe][0]:
        # Daylight never reaches any threshold: the light is on whenever somebody is there, and no threshold changes that.
        return seen
    share = moments.weight / moments.weight.sum()
    watts = power_of_output(np.array([0.0, 100.0]), channel, channel.power_w)
    rest_kwh = channel.standby_w * max(HOURS_PER_WEEK - task.hours, 0.0) / 1000
    curve, enough = [], np.zeros(len(targets), dtype=bool)
    for i, target in enumerate(targets.tolist()):
        on = moments.others < target
        gets = task.illuminance(moments, on.astype(float))
        under = float(share[gets < task.need_lx - SLACK_LX].sum())
        over = float(share[on & (gets > OVER_LIT * task.need_lx)].sum())
        mean_w = float(watts[0] + (watts[1] - watts[0]) * share[on].sum())
        curve.append(TargetPoint(target, mean_w * task.hours / 1000 + rest_kwh, under, over, mean_w))
        enough[i] = under <= 1 - LIT_SHARE
    enough &= settable_of(targets, channel) & safe
    if not enough.any():
        return replace(seen, target_curve=tuple(curve))
    recommended = float(targets[enough][0])
    band = _dead_band(recommended, moments, light, task)
    return replace(seen, recommended_target_lx=recommended, target_curve=tuple(curve), findings=(*findings, band))


def _lamps_alone(light: LightResult, task: Task) -> list[Finding]:
    """Say where switched lamps alone give the task too little, or far more than it needs."""
    at_full = task.ratios.electric * task.k
    if at_full < task.need_lx - SLACK_LX:
        text = (
            f"The lamps alone give the task {at_full:.0f} lx of the {task.need_lx:.0f} lx it needs{trust(light)}. Look for aged or dirty "
            "luminaires, a wrong load, or furniture in the way; a setting cannot mend it."
        )
        evidence = {"missing_lx": round(task.need_lx - at_full, 1), "required_lx": task.need_lx}
        return [Finding("not-reachable", "warning", text, evidence)]
    if light.calibrated and at_full > OVER_LIT * task.need_lx:
        text = (
            f"The lamps alone give the task {at_full:.0f} lx, which needs {task.need_lx:.0f} lx. Switched light cannot be set lower; fewer or "
            "smaller lamps, or dimming, would do."
        )
        return [Finding("over-lit", "warning", text, {"task_lx": round(at_full), "required_lx": task.need_lx})]
    return []


def _dead_band(threshold_lx: float, moments: Moments, light: LightResult, task: Task) -> Finding:
    needed = BAND_MARGIN * max(light.electric_high or task.k, task.k)
    between = (moments.others > threshold_lx - task.k) & (moments.others < threshold_lx)
    at_risk = float(moments.weight[between].sum() / moments.weight.sum())
    text = (
        f"Switched light: set the dead band above the threshold wider than the {task.k:.0f} lx that the lamps add at the detector, so that the "
        f"light goes off at {threshold_lx + needed:.0f} lx at the earliest. With a narrower one it would switch itself off and on in up to "
        f"{100 * at_risk:.0f} % of the occupied time."
    )
    evidence = {"lamps_lx": round(task.k, 1), "dead_band_lx": round(needed), "share_at_risk": round(at_risk, 3)}
    return Finding("dead-band", "info", text, evidence)


def hunting_times(output: pl.DataFrame, *, hold_off_s: float | None) -> np.ndarray:
    """Switch-offs that are part of hunting, as UTC epoch microseconds.

    Parameters
    ----------
    output
        ``time``, ``value`` [%].
    hold_off_s
        Hold-off in force. A light that goes off sooner after it came on was not switched off by absence. [s]

    Returns
    -------
    Times of switch-offs in runs of at least three short cycles one after the other.
    """
    t, lit = times_us(output), output["value"].to_numpy() > 0
    change = np.flatnonzero(np.diff(lit.astype(np.int8), prepend=0) != 0)
    t, lit = t[change], lit[change]
    off = np.flatnonzero(~lit[1:]) + 1
    off = off[lit[off - 1]]
    on_s = (t[off] - t[off - 1]) / US
    limit = SHORT_OF_HOLD_OFF * hold_off_s if hold_off_s is not None else UNKNOWN_HOLD_OFF_S
    short = on_s < limit
    if off.size < CYCLES_IN_A_ROW:
        return np.empty(0, dtype=np.int64)
    # a cycle belongs to the one before if that was short, too, and not long ago
    joined = short[1:] & short[:-1] & (np.diff(t[off]) < CYCLE_S * US)
    run = np.cumsum(np.append(0, (~joined).astype(np.int64)))
    size = np.bincount(run, weights=short)
    return np.asarray(t[off][short & (size[run] >= CYCLES_IN_A_ROW)])


def _hunting(output: pl.DataFrame, channel: Channel, task: Task) -> list[Finding]:
    at = hunting_times(output, hold_off_s=channel.hold_off_s)
    if at.size == 0:
        return []
    days = len(np.unique(at // (86_400 * US)))
    stamps = pl.Series(at).cast(pl.Datetime("us", "UTC")).dt.strftime("%Y-%m-%dT%H:%M:%SZ").to_list()
    text = (
        f"The light switched itself off and on again: {at.size} times on {days} days it went off sooner than any absence could make it. Its own "
        f"{task.k:.0f} lx at the detector exceed the dead band; widen it, or raise the threshold at which the light goes off."
    )
    return [Finding("hunting", "warning", text, {"switch_offs": int(at.size), "days": days, "times": stamps[:50]})]

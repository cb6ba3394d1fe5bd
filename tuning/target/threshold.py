"""Switched light: the daylight below which it is wanted, and the dead band it needs.

A switched channel goes on when somebody is there and the daylight is below a threshold, and off when the reading rises above it by the
dead band. The lamps' own light is in that reading: a dead band narrower than what they add makes the light switch itself
off, see the dark, and switch itself on again.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tuning.light.lit_time import Moments
from tuning.motion import Floats
from tuning.power import power_of_output
from tuning.results import Finding, LightResult, TargetPoint
from tuning.site import Channel
from tuning.target.task import (
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
from tuning.target.year import with_year

BAND_MARGIN = 1.1
"""The dead band should exceed the lamps' own light by a tenth. Chosen by us: above the noise of a reading."""


def threshold_result(
    light: LightResult, moments: Moments, channel: Channel, *, task: Task, year: Moments | None = None
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
    year
        Lit occupied time of a year, where known.
    """
    findings = [*light.findings, *_lamps_alone(light, task)]
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
    settable = settable_of(targets, channel)
    curve, enough = [], np.zeros(len(targets), dtype=bool)
    for i, target in enumerate(targets.tolist()):
        on = moments.others < target
        gets = task.illuminance(moments, on.astype(float))
        under = float(share[gets < task.need_lx - SLACK_LX].sum())
        over = float(share[on & (gets > OVER_LIT * task.need_lx)].sum())
        mean_w = float(watts[0] + (watts[1] - watts[0]) * share[on].sum())
        energy_kwh = mean_w * task.hours / 1000 + rest_kwh
        curve.append(TargetPoint(target, energy_kwh, under, over, mean_w, bool(settable[i])))
        enough[i] = under <= 1 - LIT_SHARE
    enough &= settable & safe
    if not enough.any():
        return replace(seen, target_curve=tuple(curve))
    recommended = float(targets[enough][0])
    band = _dead_band(recommended, moments, light, task)
    told = replace(seen, recommended_target_lx=recommended, target_curve=tuple(curve), findings=(*findings, band))
    return told if year is None else _over_a_year(told, year, channel, task, targets[settable & safe])


def _over_a_year(light: LightResult, year: Moments, channel: Channel, task: Task, targets: Floats) -> LightResult:
    """Add other months; a task without enough light counts whenever somebody is there, lamps on or off."""
    lacking = np.zeros((12, len(targets)))
    every = np.bincount(year.day, year.weight, 13)[1:]
    for i, target in enumerate(targets.tolist()):
        gets = task.illuminance(year, (year.others < target).astype(float))
        lacking[:, i] = np.bincount(year.day, year.weight * (gets < task.need_lx - SLACK_LX), 13)[1:]
    output = (year.others < (light.recommended_target_lx or 0.0)).astype(float)
    share = lacking / np.maximum(every, 1e-9)[:, None]
    counted = np.ones(output.size, dtype=bool)
    return with_year(light, year, output, channel, task=task, counted=counted, targets=targets, under_share=share)


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

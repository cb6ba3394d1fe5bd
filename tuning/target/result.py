"""Daylight and lamps → the target illuminance that keeps the task lit, and what each target would have cost.

Under a target T a dimmed channel gives ``output = clip((T − daylight − neighbours)/k, lowest, 1)``, where ``lowest`` and whether bright
daylight puts the lamps out are learned from the log; the task gets ``a_d·daylight + a_e·lamps``. Recommended is the smallest target that
can be set, from which on the task has what it needs in 95 % of lit occupied time. No target is recommended under which the lamps alone
would leave the task below the safety floor of the room's use, however much daylight the log happened to hold. Where full output
cannot give what is needed, that is said instead. For switched control see :mod:`tuning.target.threshold`.
"""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from tuning.gaps import Bools
from tuning.light.borrowed import beside_the_detector
from tuning.light.lit_time import FEW, Loop, Moments, Presence, loop_of, moments_of
from tuning.light.split import Contribution, LightSplit
from tuning.light.typical_day import typical_day
from tuning.motion import US, Floats
from tuning.place import place_of_zone
from tuning.power import with_measured_power
from tuning.results import Finding, LightResult
from tuning.site import Channel, Room
from tuning.target.calibration import missing_readings, parted_by_spots, task_ratios
from tuning.target.curve import Shares, points_of, share_of, shares_of
from tuning.target.season import year_moments
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
    weighted_quantile,
)
from tuning.target.threshold import threshold_result
from tuning.target.wanted import wanted_finding, wanted_level
from tuning.target.year import with_year

HELD_TOO_HIGH = 1.25
"""A target that holds this many times what the task needs is worth a word. Chosen by us: half such a step."""
DRAWS = 200
FINE_FROM_LX, FINE_SHARE = 20.0, 0.005
"""The interval is found on a grid of half percents. [lx]"""
LITTLE_DAYLIGHT = 0.05
"""Daylight below this share of the lamps needs no daylight reading. Chosen by us."""


def light_result(
    split: LightSplit,
    *,
    channel: str,
    room: Room,
    output: pl.DataFrame,
    occupied: pl.DataFrame,
    usable_days: float,
    zone: ZoneInfo,
    seed: int,
    power: pl.DataFrame | None = None,
    overrides: pl.DataFrame | None = None,
    place: tuple[float, float] | None = None,
    there: Presence | None = None,
) -> LightResult:
    """Work out what the lamps give, what the task gets, and which target is enough.

    Parameters
    ----------
    split
        The reading of the channel's detector taken apart.
    channel, room
        The channel's name and the room's entry in site.toml.
    output
        ``time``, ``value`` [%].
    occupied
        ``start``, ``end`` of stretches in which the channel was lit and somebody was there.
    usable_days
        For rates per week.
    zone
        The building's zone.
    seed
        For the resampled days.
    power
        ``time``, ``value`` [W] as measured, where it was; else the given curve or a straight line counts.
    overrides
        ``time``, ``value`` [%]: what people asked for.
    place
        Latitude and longitude [deg], for other seasons; near enough is the place of the time zone.
    there
        When somebody was there within the occupied stretches.
    """
    lamp = split.lamps.get(channel)
    if lamp is None or lamp.at_full_lx <= 0:
        return LightResult(daylight=split.daylight)
    chan = with_measured_power(room.channels[channel], output, power)
    lamp = parted_by_spots(lamp, chan.spot_readings)
    if split.borrowed_from is not None and not beside_the_detector(chan.spot_readings, at_full_lx=lamp.at_full_lx):
        return _lamps_only(lamp, split, channel, zone)
    ratios = task_ratios(chan.spot_readings, at_full_lx=lamp.at_full_lx, split=split, zone=zone)
    base = LightResult(
        electric_lx_at_full=lamp.at_full_lx,
        electric_low=lamp.low_lx,
        electric_high=lamp.high_lx,
        steps=lamp.steps,
        neighbours={n: c.at_full_lx for n, c in split.lamps.items() if n != channel},
        task_per_daylight=ratios.daylight,
        task_per_electric=ratios.electric,
        task_per_daylight_spread=ratios.daylight_spread,
        task_per_electric_spread=ratios.electric_spread,
        daylight=split.daylight,
        typical_day=typical_day(split.known, zone=zone, held=split.held),
        findings=ratios.findings,
    )
    required = room.required_lx
    moments = moments_of(
        split, occupied, output, own_lx=lamp.at_full_lx, offset_us=_offset_us(occupied, zone), there=there
    )
    if required is None or len(moments.daylight) < FEW:
        return base
    little = float(np.quantile(moments.daylight, 0.9)) < LITTLE_DAYLIGHT * lamp.at_full_lx
    calibrated = ratios.electric_readings > 0 and (ratios.daylight_readings > 0 or little)
    uncalibrated = missing_readings(ratios, little_daylight=little)
    told = base.findings if uncalibrated is None else (*base.findings, uncalibrated)
    floor = room.beliefs.minimum_target_lx
    hours = float(moments.weight.sum() / 3600 / max(usable_days / 7, 1e-9))
    task = Task(lamp.at_full_lx, ratios, max(required, floor), floor, min(hours, HOURS_PER_WEEK))
    wanted = (
        None if overrides is None else wanted_level(overrides, split, channel=channel, output=output, ratios=ratios)
    )
    if wanted is not None:
        told = (*told, *wanted_finding(wanted, need_lx=task.need_lx))
    base = replace(base, calibrated=calibrated, findings=told, wanted=wanted, required_lx=task.need_lx)
    known = place if place is not None else place_of_zone(zone.key)
    year = None if known is None else year_moments(split, moments, latitude=known[0], longitude=known[1], zone=zone)
    if chan.control == "switched":
        return threshold_result(base, moments, chan, task=task, year=year)
    return _dimmed(base, moments, chan, task=task, seed=seed, year=year)


def _lamps_only(lamp: Contribution, split: LightSplit, channel: str, zone: ZoneInfo) -> LightResult:
    """What is known in a reading that nothing ties to the channel's own target."""
    return LightResult(
        electric_lx_at_full=lamp.at_full_lx,
        electric_low=lamp.low_lx,
        electric_high=lamp.high_lx,
        steps=lamp.steps,
        neighbours={n: c.at_full_lx for n, c in split.lamps.items() if n != channel},
        daylight=split.daylight,
        typical_day=typical_day(split.known, zone=zone, held=split.held),
    )


def _offset_us(occupied: pl.DataFrame, zone: ZoneInfo) -> int:
    """UTC offset in the middle of the log. [µs]."""
    if occupied.is_empty():
        return 0
    middle = occupied["start"][occupied.height // 2].astimezone(zone).utcoffset()
    return round((middle.total_seconds() if middle is not None else 0.0) * US)


def _dimmed(
    light: LightResult, moments: Moments, channel: Channel, *, task: Task, seed: int, year: Moments | None
) -> LightResult:
    loop = loop_of(moments, k=task.k, target_lx=channel.target_lx)
    full = task.illuminance(moments, np.ones(len(moments.daylight)))
    usual = float(np.quantile(moments.others, 0.9))
    highest = max(task.need_lx / min(task.ratios.daylight, task.ratios.electric), task.k + min(usual, task.k))
    shown_targets = candidates_lx(channel, highest_lx=highest)
    top = max(highest, float(shown_targets[-1]), FINE_FROM_LX + 1)
    fine = np.exp(np.arange(np.log(FINE_FROM_LX), np.log(top) + FINE_SHARE, FINE_SHARE))
    targets = np.unique(np.concatenate([shown_targets, fine]))
    shares = shares_of(moments, targets, loop, task)
    shown = np.isin(targets, shown_targets)
    points = points_of(moments, shares, shown, loop, task, channel)
    seen = replace(
        light,
        target_curve=points,
        task_lx_lit=lit_frame(moments, task),
        lowest_output=loop.lowest,
        held_level_lx=loop.level_lx,
        out_above=loop.out_above if np.isfinite(loop.out_above) else None,
    )
    lacking = float((moments.weight * (full < task.need_lx - SLACK_LX)).sum() / moments.weight.sum())
    if lacking > 1 - LIT_SHARE:
        missing = task.need_lx - weighted_quantile(full, moments.weight, 1 - LIT_SHARE)
        return replace(seen, findings=(*seen.findings, _not_reachable(missing, task, light)))
    settable = shown & settable_of(targets, channel) & (task.ratios.electric * targets >= task.floor_lx - SLACK_LX)
    index = _smallest(shares.under_share[None, :] <= 1 - LIT_SHARE, settable)[0]
    if index < 0:
        return replace(seen, findings=(*seen.findings, _none_settable(targets[settable], task)))
    low, high = _interval(shares, light, seed=seed, floor_lx=task.floor_lx / task.ratios.electric)
    recommended = float(targets[index])
    result = replace(seen, recommended_target_lx=recommended, target_low_lx=low, target_high_lx=high)
    findings = (*seen.findings, *_over_lit(light, moments, channel, loop, task, recommended))
    result = replace(result, findings=findings)
    if year is None:
        return result
    out = loop.output(np.array([recommended]), year.others, task.k)[:, 0]
    curve = shares_of(year, targets[settable], loop, task)
    by_month = share_of(curve.dark_s, curve.lit_s)
    return with_year(
        result, year, out, channel, task=task, counted=out > 0, targets=curve.targets, under_share=by_month
    )


def _smallest(enough: Bools, settable: Bools) -> np.ndarray:
    """Index of the first settable target from which on every target is enough, by row; −1 where there is none."""
    from_here = np.logical_and.accumulate(enough[:, ::-1], axis=1)[:, ::-1] & settable[None, :]
    return np.where(from_here.any(axis=1), from_here.argmax(axis=1), -1)


def _interval(curve: Shares, light: LightResult, *, seed: int, floor_lx: float) -> tuple[float | None, float | None]:
    """90 % interval of the smallest sufficient target, by resampled days and the spread of the spot readings."""
    days = curve.dark_s.shape[0]
    rng = np.random.default_rng(seed)
    weights = rng.multinomial(days, np.full(days, 1 / days), size=DRAWS).astype(float)
    share = share_of(weights @ curve.dark_s, weights @ curve.lit_s)
    index = _smallest(share <= 1 - LIT_SHARE, np.ones(len(curve.targets), dtype=bool))
    found = index >= 0
    if found.mean() < 0.5:
        return None, None
    # the target stands for the need divided by the lamps' ratio
    factor = 1 + light.task_per_electric_spread * rng.standard_normal(int(found.sum()))
    least = np.maximum(curve.targets[index[found]], floor_lx) * factor
    return float(np.quantile(least, 0.05)), float(np.quantile(least, 0.95))


def _not_reachable(missing_lx: float, task: Task, light: LightResult) -> Finding:
    text = (
        f"Even at full output the task lacks {missing_lx:.0f} lx of the {task.need_lx:.0f} lx it needs when daylight is "
        f"least{trust(light)}. Look for aged or dirty luminaires, a wrong load, or furniture in the way; a setting cannot mend it."
    )
    return Finding("not-reachable", "warning", text, {"missing_lx": round(missing_lx, 1), "required_lx": task.need_lx})


def _none_settable(allowed: Floats, task: Task) -> Finding:
    most = (
        f"the highest that can be set is {allowed.max():.0f} lx"
        if len(allowed)
        else "none that can be set is that high"
    )
    text = f"No target that can be set keeps the task at the {task.need_lx:.0f} lx it needs; {most} at the detector."
    return Finding("no-target-enough", "warning", text, {"required_lx": task.need_lx})


def _over_lit(
    light: LightResult, moments: Moments, channel: Channel, loop: Loop, task: Task, recommended: float
) -> list[Finding]:
    """Say where the target in force holds far more light at the task than it needs, or full output would give far more."""
    at_full = task.ratios.electric * task.k
    far_more = at_full > OVER_LIT * task.need_lx and light.calibrated
    told = [_too_strong(at_full, task)] if far_more else []
    now = channel.target_lx if channel.target_lx is not None else loop.level_lx
    lit = moments.output > loop.lowest + 0.02
    if now is None or lit.sum() < FEW or now <= recommended:
        return told
    # While the lamps are held above their minimum, it is the target and not the sun that makes the level.
    gets = task.illuminance(moments, moments.output)[lit]
    held_lx = weighted_quantile(gets, moments.weight[lit], 0.5)
    if held_lx < HELD_TOO_HIGH * task.need_lx:
        return told
    text = (
        f"The target of {now:.0f} lx at the detector holds about {held_lx:.0f} lx at the task, which needs {task.need_lx:.0f} lx. "
        f"{recommended:.0f} lx at the detector are enough."
    )
    evidence = {
        "task_lx": round(held_lx),
        "required_lx": task.need_lx,
        "target_lx": round(now),
        "enough_lx": recommended,
    }
    return [Finding("over-lit", "warning", text, evidence)]


def _too_strong(at_full_lx: float, task: Task) -> Finding:
    text = (
        f"At full output the lamps alone give the task {at_full_lx:.0f} lx, which needs {task.need_lx:.0f} lx: the load is larger than the room "
        "needs. Dimming holds it back; where lamps are replaced, smaller ones will do."
    )
    return Finding("over-lit", "info", text, {"task_lx": round(at_full_lx), "required_lx": task.need_lx})

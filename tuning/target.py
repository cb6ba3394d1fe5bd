"""Daylight and lamps → the target illuminance that keeps the task lit, and what each target would have cost.

Under a target T a dimmed channel gives ``output = clip((T − daylight − neighbours)/k, minimum, 1)``; the task gets
``a_d·daylight + a_e·lamps``. The smallest allowed target that keeps the task at the required illuminance in 95 % of lit occupied
time is recommended. Where full output cannot, that is said instead. For switched control the target is the daylight below which the
light is wanted.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from tuning.gaps import Bools
from tuning.light import LightSplit, daylight_at
from tuning.motion import US, Floats, Ints, times_us
from tuning.power import power_of_output
from tuning.results import Finding, LightResult, TargetPoint
from tuning.site import Channel, Room, SpotReading

LIT_SHARE = 0.95
"""Share of lit occupied time in which the task must have what it needs. From the method."""
GRID_S = 300.0
"""Step at which lit occupied time is looked at [s]. Chosen by us: daylight moves slower than that on the whole."""
SLACK_LX = 0.5
"""Half a lux: at night the task sits exactly at the target, and rounding must not call that too dark."""
OVER_LIT = 1.5
"""A task that gets this many times what it needs is over-lit. Chosen by us: one step of the standard's scale (300, 500, 750 lx) and a half."""
FINE_STEP_LX = 10.0
"""Step of the targets looked at where site.toml does not list what can be set. [lx]"""
RATIO_CONFLICT = 0.25
"""Spot readings whose ratios differ by more than a quarter contradict each other. Chosen by us."""
DRAWS = 200
LITTLE_DAYLIGHT = 0.05
"""Daylight below this share of the lamps needs no daylight reading. Chosen by us."""


@dataclass(frozen=True)
class Ratios:
    """Task illuminance per lx at the detector, for daylight and for lamps.

    ``spread`` is the relative spread of the readings; ``lamps`` and ``daylight`` say how many readings each rests on.
    """

    daylight: float
    electric: float
    spread: float
    daylight_readings: int
    electric_readings: int
    findings: tuple[Finding, ...] = ()


def task_ratios(spots: tuple[SpotReading, ...], *, at_full_lx: float, split: LightSplit, zone: ZoneInfo) -> Ratios:
    """Tie the detector's reading to the task.

    Parameters
    ----------
    spots
        Luxmeter readings; where the detector's value is not given it is taken from the log at their time.
    at_full_lx
        The channel's lamps at full output in the detector's reading, k. [lx]
    split
        For readings given by time only.
    zone
        The building's zone, for times without offset.

    Returns
    -------
    Ratios; both 1 where there is no reading.
    """
    rows = [(s, _detector_lx(s, split, zone)) for s in spots]
    known = [(s, d) for s, d in rows if d is not None and d > 0]
    lamps_lx = np.array([min(at_full_lx * s.output_pct / 100, d) for s, d in known])
    detector = np.array([d for _, d in known])
    task = np.array([s.task_lx for s, _ in known])
    if len(known) == 0:
        return Ratios(1.0, 1.0, 0.0, 0, 0)
    share = lamps_lx / detector
    electric, daylight = share > 0.8, share < 0.2
    a_e = float(np.median(task[electric] / detector[electric])) if electric.any() else None
    a_d = float(np.median(task[daylight] / detector[daylight])) if daylight.any() else None
    a_e = a_e if a_e is not None else (a_d if a_d is not None else 1.0)
    a_d = a_d if a_d is not None else a_e
    expected = a_d * (detector - lamps_lx) + a_e * lamps_lx
    off = task / np.maximum(expected, 1e-9) - 1
    findings: tuple[Finding, ...] = ()
    if len(known) > 1 and np.abs(off).max() > RATIO_CONFLICT:
        worst = int(np.abs(off).argmax())
        findings = (
            Finding(
                "spot-readings-conflict",
                "warning",
                f"A spot reading of {task[worst]:.0f} lx at the task does not fit the others, from which {expected[worst]:.0f} lx would be "
                "expected. Measure again: lamps only after dark at full output, daylight only with the lamps off.",
                {"task_lx": float(task[worst]), "expected_lx": round(float(expected[worst]), 1)},
            ),
        )
    return Ratios(
        a_d, a_e, float(np.std(off)) if len(known) > 1 else 0.05, int(daylight.sum()), int(electric.sum()), findings
    )


def _detector_lx(spot: SpotReading, split: LightSplit, zone: ZoneInfo) -> float | None:
    if spot.detector_lx is not None:
        return spot.detector_lx
    if spot.time is None or split.daylight.is_empty():
        return None
    when = spot.time if spot.time.tzinfo else spot.time.replace(tzinfo=zone)
    t = times_us(split.daylight)
    index = int(np.searchsorted(t, round(when.timestamp() * US), side="right")) - 1
    return float(split.daylight["reading_lx"][index]) if index >= 0 else None


@dataclass(frozen=True)
class _Moments:
    """Lit occupied time on a grid: daylight and neighbours' lamps at the detector [lx], output in force (0…1), local day."""

    daylight: Floats
    neighbours: Floats
    output: Floats
    day: Ints


def _moments(split: LightSplit, occupied: pl.DataFrame, output: pl.DataFrame, k: float) -> _Moments:
    start, end = times_us(occupied, "start"), times_us(occupied, "end")
    count = np.maximum(((end - start) / (GRID_S * US)).astype(np.int64), 1)
    first = np.repeat(np.cumsum(count) - count, count)
    step = np.arange(count.sum()) - first
    t = np.repeat(start, count) + np.round((step + 0.5) * np.repeat((end - start) / count, count)).astype(np.int64)
    out_t, out_v = times_us(output), output["value"].to_numpy() / 100
    at = np.searchsorted(out_t, t, side="right") - 1
    level = np.where(at >= 0, out_v[np.maximum(at, 0)], 0.0)
    lamps = split.daylight.drop_nulls("lamps_lx")
    lamp_t = times_us(lamps)
    index = np.clip(np.searchsorted(lamp_t, t, side="right") - 1, 0, max(len(lamp_t) - 1, 0))
    all_lamps = lamps["lamps_lx"].to_numpy()[index] if len(lamp_t) else np.zeros(len(t))
    own = k * (
        out_v[np.clip(np.searchsorted(out_t, lamp_t[index], side="right") - 1, 0, len(out_t) - 1)] if len(lamp_t) else 0
    )
    daylight = daylight_at(split, t)
    keep = np.isfinite(daylight)
    neighbours = np.maximum(all_lamps - own, 0.0)
    return _Moments(daylight[keep], neighbours[keep], level[keep], (t // (86400 * US))[keep])


def candidates_lx(channel: Channel, *, highest_lx: float) -> Floats:
    """Targets to look at: what can be set, else every 10 lx up to what the room can need. [lx]."""
    if channel.allowed_target_lx:
        values = set(channel.allowed_target_lx)
    else:
        values = set(np.arange(50.0, max(highest_lx, 100.0) + FINE_STEP_LX, FINE_STEP_LX).tolist())
    if channel.target_lx:
        values.add(channel.target_lx)
    return np.array(sorted(values))


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
    """
    lamp = split.lamps.get(channel)
    chan = room.channels[channel]
    if lamp is None or lamp.at_full_lx <= 0:
        return LightResult(daylight=split.daylight)
    ratios = task_ratios(chan.spot_readings, at_full_lx=lamp.at_full_lx, split=split, zone=zone)
    base = LightResult(
        electric_lx_at_full=lamp.at_full_lx,
        electric_low=lamp.low_lx,
        electric_high=lamp.high_lx,
        steps=lamp.steps,
        neighbours={n: c.at_full_lx for n, c in split.lamps.items() if n != channel},
        task_per_daylight=ratios.daylight,
        task_per_electric=ratios.electric,
        daylight=split.daylight,
        findings=ratios.findings,
    )
    required = room.required_lx
    moments = _moments(split, occupied, output, lamp.at_full_lx)
    if required is None or len(moments.daylight) < 20:
        return base
    little = float(np.quantile(moments.daylight, 0.9)) < LITTLE_DAYLIGHT * lamp.at_full_lx
    calibrated = ratios.electric_readings > 0 and (ratios.daylight_readings > 0 or little)
    base = replace(base, calibrated=calibrated)
    if not calibrated:
        base = replace(base, findings=(*base.findings, _uncalibrated(ratios, little)))
    seconds = (times_us(occupied, "end") - times_us(occupied, "start")).sum() / US
    hours = float(seconds / 3600 / max(usable_days / 7, 1e-9))
    need = max(required, room.beliefs.minimum_target_lx)
    if chan.control == "switched":
        return _switched(base, moments, chan, need=need, hours=hours)
    return _dimmed(base, moments, chan, need=need, hours=hours, seed=seed, spread=ratios.spread)


def _uncalibrated(ratios: Ratios, little: bool) -> Finding:  # noqa: FBT001  a fact, not an option
    """Say which spot readings are missing, and how to take them."""
    wanted = []
    if not ratios.electric_readings:
        wanted.append("lamps only: after dark, at full output")
    if not ratios.daylight_readings and not little:
        wanted.append("daylight only: by day, with the lamps off")
    return Finding(
        "uncalibrated",
        "info",
        "No spot reading ties the detector's reading to the task, so the target is left as it is. Hold a luxmeter at the darkest task and "
        f"note it beside the detector's reading, once with {'; once with '.join(wanted)}.",
        {"wanted": wanted},
    )


def _task(moments: _Moments, output: Floats, light: LightResult) -> Floats:
    k = light.electric_lx_at_full or 0.0
    return light.task_per_daylight * moments.daylight + light.task_per_electric * (k * output + moments.neighbours)


def _dimmed(
    light: LightResult, moments: _Moments, channel: Channel, *, need: float, hours: float, seed: int, spread: float
) -> LightResult:
    k = light.electric_lx_at_full or 1.0
    lowest = _lowest_output(moments, light, channel)
    full = _task(moments, np.ones(len(moments.daylight)), light)
    highest = (
        k + float(np.quantile(moments.daylight, 0.9)) + need / min(light.task_per_daylight, light.task_per_electric)
    )
    targets = candidates_lx(channel, highest_lx=highest)
    output = np.clip((targets[None, :] - (moments.daylight + moments.neighbours)[:, None]) / k, lowest, 1.0)
    task = light.task_per_daylight * moments.daylight[:, None] + light.task_per_electric * (
        k * output + moments.neighbours[:, None]
    )
    dark = task < need - SLACK_LX
    watts = power_of_output(100 * output, channel, channel.load_w or 100.0).mean(axis=0)
    curve = tuple(
        TargetPoint(float(t), float(w * hours / 1000), float(u), float(o))
        for t, w, u, o in zip(targets, watts, dark.mean(axis=0), (task > OVER_LIT * need).mean(axis=0), strict=True)
    )
    settable = _settable(targets, channel)
    enough = settable & (dark.mean(axis=0) <= 1 - LIT_SHARE)
    findings = list(light.findings)
    if (full >= need - SLACK_LX).mean() < LIT_SHARE:
        missing = need - float(np.quantile(full, 1 - LIT_SHARE))
        findings.append(
            Finding(
                "not-reachable",
                "warning",
                f"Even at full output the task lacks {missing:.0f} lx of the {need:.0f} lx it needs when daylight is least{_trust(light)}. "
                "Look for aged or dirty luminaires, a wrong load, or furniture in the way; a setting cannot mend it.",
                {"missing_lx": round(missing, 1), "required_lx": need},
            )
        )
        return replace(light, target_curve=curve, findings=tuple(findings))
    recommended = float(targets[enough][0]) if enough.any() else None
    findings += _over_lit(light, moments, channel, need=need, recommended=recommended, lowest=lowest)
    low, high = _interval(dark, targets, settable, moments.day, seed=seed, spread=spread)
    return replace(
        light,
        recommended_target_lx=recommended,
        target_low_lx=low,
        target_high_lx=high,
        target_curve=curve,
        task_lx_lit=_lit_frame(moments, light),
        findings=tuple(findings),
    )


ASSUMED_MINIMUM = 0.01
"""Output that a control is taken to dim down to where the log never shows it at its minimum. Chosen by us: deeper than most."""


def _lowest_output(moments: _Moments, light: LightResult, channel: Channel) -> float:
    """Smallest output of the control, where the log shows it: daylight exceeds the target and the lamps go no lower."""
    lit = moments.output[moments.output > 0]
    if len(lit) < 20 or channel.target_lx is None:
        return ASSUMED_MINIMUM
    lowest = float(np.quantile(lit, 0.01))
    at_lowest = (moments.output > 0) & (moments.output <= lowest + 0.01)
    reading = moments.daylight + moments.neighbours + (light.electric_lx_at_full or 0.0) * moments.output
    above = reading[at_lowest] > 1.1 * channel.target_lx
    return lowest if at_lowest.sum() >= 20 and above.mean() > 0.5 else ASSUMED_MINIMUM


def _over_lit(
    light: LightResult, moments: _Moments, channel: Channel, *, need: float, recommended: float | None, lowest: float
) -> list[Finding]:
    """Say where the target in force holds far more light at the task than it needs."""
    lit = moments.output > lowest + 0.02
    if channel.target_lx is None or recommended is None or lit.sum() < 20 or channel.target_lx <= recommended:
        return []
    # While the lamps are held above their minimum, it is the target and not the sun that makes the level.
    held = float(np.median(_task(moments, moments.output, light)[lit]))
    if held < 1.25 * need:
        return []
    return [
        Finding(
            "over-lit",
            "warning",
            f"The target of {channel.target_lx:.0f} lx at the detector holds about {held:.0f} lx at the task, which needs {need:.0f} lx. "
            f"{recommended:.0f} lx at the detector are enough.",
            {"task_lx": round(held), "required_lx": need, "target_lx": channel.target_lx, "enough_lx": recommended},
        )
    ]


def _interval(
    dark: Bools, targets: Floats, settable: Bools, day: Ints, *, seed: int, spread: float
) -> tuple[float | None, float | None]:
    """90 % interval of the smallest sufficient target, by resampled days and the spread of the spot readings."""
    days, index = np.unique(day, return_inverse=True)
    per_day = np.zeros((len(days), len(targets)))
    np.add.at(per_day, index, dark.astype(float))
    count = np.bincount(index, minlength=len(days)).astype(float)
    rng = np.random.default_rng(seed)
    weights = rng.multinomial(len(days), np.full(len(days), 1 / len(days)), size=DRAWS).astype(float)
    share = (weights @ per_day) / np.maximum(weights @ count, 1)[:, None]
    ok = (share <= 1 - LIT_SHARE) & settable
    found = ok.any(axis=1)
    if found.mean() < 0.5:
        return None, None
    least = targets[ok.argmax(axis=1)][found] * (1 + spread * rng.standard_normal(int(found.sum())))
    return float(np.quantile(least, 0.05)), float(np.quantile(least, 0.95))


def _settable(targets: Floats, channel: Channel) -> Bools:
    """Which of the targets can be set; all where site.toml does not say."""
    if not channel.allowed_target_lx:
        return np.ones(len(targets), dtype=bool)
    return np.isin(targets, np.array(channel.allowed_target_lx))


def _lit_frame(moments: _Moments, light: LightResult) -> pl.DataFrame:
    return pl.DataFrame({"task_lx": _task(moments, moments.output, light), "lit": moments.output > 0})


def _lamps_alone(light: LightResult, need: float) -> list[Finding]:
    """Say where switched lamps alone give the task too little, or far more than it needs."""
    at_full = light.task_per_electric * (light.electric_lx_at_full or 0.0)
    if at_full < need - SLACK_LX:
        return [
            Finding(
                "not-reachable",
                "warning",
                f"The lamps alone give the task {at_full:.0f} lx of the {need:.0f} lx it needs{_trust(light)}. Look for aged or dirty "
                "luminaires, a wrong load, or furniture in the way; a setting cannot mend it.",
                {"missing_lx": round(need - at_full, 1), "required_lx": need},
            )
        ]
    if light.calibrated and at_full > OVER_LIT * need:
        return [
            Finding(
                "over-lit",
                "warning",
                f"The lamps alone give the task {at_full:.0f} lx, which needs {need:.0f} lx. Switched light cannot be set lower; fewer or "
                "smaller lamps, or dimming, would do.",
                {"task_lx": round(at_full), "required_lx": need},
            )
        ]
    return []


def _trust(light: LightResult) -> str:
    return "" if light.calibrated else " (uncalibrated: the detector's reading is taken for the task's)"


def _switched(light: LightResult, moments: _Moments, channel: Channel, *, need: float, hours: float) -> LightResult:
    """Threshold of daylight below which the light is wanted; and whether the lamps' own light would switch them off."""
    k = light.electric_lx_at_full or 0.0
    findings = [*light.findings, *_lamps_alone(light, need)]
    seen = replace(light, task_lx_lit=_lit_frame(moments, light), findings=tuple(findings))
    targets = candidates_lx(channel, highest_lx=need / light.task_per_daylight + 100)
    if float(np.quantile(moments.daylight, 0.95)) < targets[0]:
        # Daylight never reaches any threshold: the light is on whenever somebody is there, and no threshold changes that.
        return seen
    on = (moments.daylight + moments.neighbours)[:, None] < targets[None, :]
    lamps = k * on + moments.neighbours[:, None]
    task = light.task_per_daylight * moments.daylight[:, None] + light.task_per_electric * lamps
    watts = power_of_output(np.where(on, 100.0, 0.0), channel, channel.load_w or 100.0).mean(axis=0)
    dark = task < need - SLACK_LX
    curve = tuple(
        TargetPoint(float(t), float(w * hours / 1000), float(u), float(o))
        for t, w, u, o in zip(targets, watts, dark.mean(axis=0), (task > OVER_LIT * need).mean(axis=0), strict=True)
    )
    enough = _settable(targets, channel) & (dark.mean(axis=0) <= 1 - LIT_SHARE)
    if not enough.any():
        return replace(seen, target_curve=curve)
    band = Finding(
        "dead-band",
        "info",
        f"Switched light: the dead band above the threshold must be wider than the {k:.0f} lx that the lamps add at the detector, or the "
        "light switches itself off and on.",
        {"lamps_lx": round(k, 1)},
    )
    return replace(
        seen, recommended_target_lx=float(targets[enough][0]), target_curve=curve, findings=(*findings, band)
    )

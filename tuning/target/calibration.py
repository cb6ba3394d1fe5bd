"""Hand-held readings: how many lux the task gets for each lux at the detector, for daylight and for lamps.

A detector on a ceiling sees the light that floor and desks send back; the task sees windows and lamps themselves. So one lux of
daylight at the detector stands for another task illuminance than one lux of lamps, and each wants its own reading.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np

from tuning.light.split import Contribution, LightSplit
from tuning.motion import US, Floats, times_us
from tuning.results import Finding
from tuning.site import SpotReading

MOSTLY = 0.8
"""A reading of which four fifths are lamps (or daylight) tells of lamps (or daylight) alone. Chosen by us."""
LAMPS_AGREE = 0.1
"""A detector's value within a tenth of what the log says the lamps give is lamps only. Chosen by us: twice the error of a hand reading."""
READING_SPREAD = 0.03
"""Relative error of one hand reading. Chosen by us: meters, their place and their holder together; no published value was looked up."""
CONFLICT = 0.15
"""Readings of one kind whose ratios lie farther from their middle than this contradict each other. Chosen by us: five times the error."""
HALF_PCT = 50.0
LOOK_BACK_S = 1800.0
"""A logged value older than half an hour does not stand beside a hand reading. Chosen by us. [s]"""


@dataclass(frozen=True)
class Ratios:
    """Task illuminance per lux at the detector.

    ``daylight_spread`` and ``electric_spread`` are relative standard errors; ``*_readings`` say how many readings each rests on.
    """

    daylight: float
    electric: float
    daylight_spread: float
    electric_spread: float
    daylight_readings: int
    electric_readings: int
    findings: tuple[Finding, ...] = ()

    @property
    def spread(self) -> float:
        """Relative standard error of what decides the target: the lamps' ratio."""
        return self.electric_spread


@dataclass(frozen=True)
class _Spots:
    """Readings that can be used: task [lx], detector [lx], and the lamps' part of the latter [lx]."""

    task: Floats
    detector: Floats
    lamps: Floats


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
    Ratios; both 1 where there is no reading, both the same where all readings are of one kind. Conflicts are in ``findings``.
    """
    seen, missing = _usable(spots, at_full_lx=at_full_lx, split=split, zone=zone)
    if seen.task.size == 0:
        return Ratios(1.0, 1.0, READING_SPREAD, READING_SPREAD, 0, 0, missing)
    share = seen.lamps / np.maximum(seen.detector, 1e-9)
    lamps_only, daylight_only = share >= MOSTLY, share <= 1 - MOSTLY
    electric = _middle(seen.task[lamps_only] / np.maximum(seen.lamps, 1e-9)[lamps_only])
    daylight = _middle(seen.task[daylight_only] / seen.detector[daylight_only])
    mixed = ~(lamps_only | daylight_only)
    if mixed.any() and (electric is None or daylight is None):
        electric, daylight, lamps_only, daylight_only = _from_mixed(seen, electric, daylight)
    findings = missing + _conflicts(seen, electric, daylight, lamps_only, daylight_only)
    either = electric if electric is not None else daylight
    if either is None:
        return Ratios(1.0, 1.0, READING_SPREAD, READING_SPREAD, 0, 0, findings)
    return Ratios(
        daylight if daylight is not None else either,
        electric if electric is not None else either,
        _error(seen.task[daylight_only] / seen.detector[daylight_only]),
        _error(seen.task[lamps_only] / np.maximum(seen.lamps, 1e-9)[lamps_only]),
        int(daylight_only.sum()) if daylight is not None else 0,
        int(lamps_only.sum()) if electric is not None else 0,
        findings,
    )


def parted_by_spots(lamp: Contribution, spots: tuple[SpotReading, ...]) -> Contribution:
    """Tell a channel's lamps from those it always moved together with, by hand readings under its lamps alone.

    Parameters
    ----------
    lamp
        What the log knows of the channel.
    spots
        Readings; those at half output and more are taken as lamps only, as the instructions ask.

    Returns
    -------
    The contribution as it was where the log could part it or no reading helps.
    """
    seen = [100 * s.detector_lx / s.output_pct for s in spots if s.detector_lx and s.output_pct >= HALF_PCT]
    if lamp.separable or not seen:
        return lamp
    k = min(float(np.median(seen)), lamp.high_lx)
    error = 1.645 * READING_SPREAD / float(np.sqrt(len(seen)))
    return replace(lamp, at_full_lx=k, low_lx=k * (1 - error), high_lx=k * (1 + error))


def _usable(
    spots: tuple[SpotReading, ...], *, at_full_lx: float, split: LightSplit, zone: ZoneInfo
) -> tuple[_Spots, tuple[Finding, ...]]:
    rows, lost = [], []
    for spot in spots:
        detector = _detector_lx(spot, split, zone)
        if detector is None or detector <= 0 or spot.task_lx <= 0:
            lost.append(spot)
            continue
        lamps = at_full_lx * spot.output_pct / 100
        if lamps > detector * (1 + LAMPS_AGREE) or 0 < abs(detector - lamps) <= LAMPS_AGREE * lamps:
            # the log knows the lamps better than one look at the display does, unless the two are far apart
            lamps = lamps if lamps <= detector * (1 + LAMPS_AGREE) else detector
        rows.append((spot.task_lx, max(detector, lamps), lamps))
    table = np.array(rows, dtype=float).reshape(-1, 3)
    findings: tuple[Finding, ...] = ()
    if lost:
        times = [s.time.isoformat() for s in lost if s.time is not None]
        text = (
            f"{len(lost)} spot reading{'s' if len(lost) > 1 else ''} could not be used: the log holds no illuminance near its time, or a "
            "value is 0. Give detector_lx as read beside the luxmeter."
        )
        findings = (Finding("spot-reading-unused", "warning", text, {"spot_times": times}),)
    return _Spots(table[:, 0], table[:, 1], table[:, 2]), findings


def _detector_lx(spot: SpotReading, split: LightSplit, zone: ZoneInfo) -> float | None:
    if spot.detector_lx is not None:
        return spot.detector_lx
    if spot.time is None or split.daylight.is_empty():
        return None
    when = spot.time if spot.time.tzinfo else spot.time.replace(tzinfo=zone)
    at = round(when.timestamp() * US)
    t = times_us(split.daylight)
    index = int(np.searchsorted(t, at, side="right")) - 1
    limit_s = 86400.0 if split.held else LOOK_BACK_S
    if index < 0 or at - t[index] > limit_s * US:
        return None
    return float(split.daylight["reading_lx"][index])


def _middle(ratio: Floats) -> float | None:
    return float(np.median(ratio)) if ratio.size else None


def _error(ratio: Floats) -> float:
    """Relative standard error of the middle of some ratios; a single one is as good as a hand reading is."""
    if ratio.size == 0:
        return READING_SPREAD
    scatter = float(np.std(ratio, ddof=1) / np.mean(ratio)) if ratio.size > 1 else 0.0
    return max(READING_SPREAD, scatter) / float(np.sqrt(ratio.size))


def _from_mixed(
    seen: _Spots, electric: float | None, daylight: float | None
) -> tuple[float | None, float | None, np.ndarray, np.ndarray]:
    """Solve for the ratio that no pure reading gives, from readings in which both kinds of light took part."""
    sun = np.maximum(seen.detector - seen.lamps, 0)
    x = np.stack([sun, seen.lamps], axis=1) / seen.task[:, None]
    every = np.ones(seen.task.size, dtype=bool)
    if electric is not None:
        rest = (1 - electric * x[:, 1]) / np.maximum(x[:, 0], 1e-9)
        mixed = sun > (1 - MOSTLY) * seen.detector
        value = float(np.median(rest[mixed]))
        return electric, value if value > 0 else None, ~mixed, mixed
    if daylight is not None:
        rest = (1 - daylight * x[:, 0]) / np.maximum(x[:, 1], 1e-9)
        mixed = seen.lamps > (1 - MOSTLY) * seen.detector
        value = float(np.median(rest[mixed]))
        return value if value > 0 else None, daylight, mixed, ~mixed
    if seen.task.size >= 2 and np.linalg.cond(x) < 20:
        both = np.linalg.lstsq(x, np.ones(seen.task.size), rcond=None)[0]
        if (both > 0).all():
            return float(both[1]), float(both[0]), every, every
    return None, None, ~every, ~every


def _conflicts(
    seen: _Spots, electric: float | None, daylight: float | None, lamps_only: np.ndarray, daylight_only: np.ndarray
) -> tuple[Finding, ...]:
    a_e = electric if electric is not None else daylight
    a_d = daylight if daylight is not None else electric
    if a_e is None or a_d is None or seen.task.size < 2:
        return ()
    expected = a_d * (seen.detector - seen.lamps) + a_e * seen.lamps
    off = np.abs(seen.task / np.maximum(expected, 1e-9) - 1)
    if off.max() <= CONFLICT:
        return ()
    worst = int(off.argmax())
    kind = "lamps" if lamps_only[worst] else "daylight" if daylight_only[worst] else "lamps and daylight"
    text = (
        f"A spot reading of {seen.task[worst]:.0f} lx at the task under {kind} does not fit the others, from which {expected[worst]:.0f} lx "
        "would be expected. Measure again: lamps only after dark at full output, daylight only with the lamps off."
    )
    evidence = {"task_lx": float(seen.task[worst]), "expected_lx": round(float(expected[worst]), 1), "kind": kind}
    return (Finding("spot-readings-conflict", "warning", text, evidence),)


def missing_readings(ratios: Ratios, *, little_daylight: bool) -> Finding | None:
    """Say which spot readings are missing and how to take them; ``None`` where nothing is.

    Parameters
    ----------
    ratios
        What the readings at hand gave.
    little_daylight
        Whether the room has too little daylight to need a reading of it.
    """
    wanted = []
    if not ratios.electric_readings:
        wanted.append("lamps only (after dark, this channel at full output, the room's other channels off)")
    if not ratios.daylight_readings and not little_daylight:
        wanted.append("daylight only (by day, all lamps off, blinds as usual)")
    if not wanted:
        return None
    have = ratios.electric_readings + ratios.daylight_readings
    lead = (
        "The spot readings do not yet tie the detector's reading to the task for all light, so the target is left as it is. "
        if have
        else "No spot reading ties the detector's reading to the task, so the target is left as it is. "
    )
    how = (
        "Hold a luxmeter flat at the darkest task, step out of its light, wait until it stands still, and note it beside the detector's "
        f"reading and the output: once with {'; once with '.join(wanted)}."
    )
    return Finding("uncalibrated", "info", lead + how, {"wanted": wanted})

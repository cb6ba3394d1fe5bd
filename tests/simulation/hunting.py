"""Switched light under a light sensor that sees its own lamps: a loop with a threshold, a dead band and a delay.

Walks through time in steps and shares nothing with ``tuning``.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

DAY_S = 86_400
STEP_S = 10
FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class SwitchedRoom:
    """A log of a switched channel, and how long its light hunted.

    ``reading`` and ``output`` are ``time``, ``value``; ``occupied`` is ``start``, ``end``; ``hunting_share`` is the share of occupied time
    spent in runs of three and more switch-offs less than a quarter of an hour apart, each with somebody there.
    """

    reading: pl.DataFrame
    output: pl.DataFrame
    occupied: pl.DataFrame
    hunting_share: float
    switch_offs: int


def _daylight(rng: np.random.Generator, days: int, peak_lx: float) -> FloatArray:
    """Half a sine a day from 7 to 18 h, under clouds that come and go within minutes, brighter and greyer days."""
    t = np.arange(0, days * DAY_S, STEP_S)
    hour = t / 3600 % 24
    sun = np.maximum(np.sin(np.pi * (hour - 7) / 11), 0) * ((hour > 7) & (hour < 18))
    grey = np.repeat(rng.uniform(0.3, 1.0, days), DAY_S // STEP_S)
    drift = np.repeat(np.exp(0.1 * rng.standard_normal(days * 48)), DAY_S // STEP_S // 48)
    smooth = np.convolve(drift, np.ones(180) / 180, mode="same")
    return np.asarray(peak_lx * sun * grey * smooth)


def switched_room(
    seed: int,
    *,
    threshold_lx: float,
    dead_band_lx: float,
    lamp_lx: float,
    peak_lx: float,
    delay_s: float = 60.0,
    hold_off_s: float = 900.0,
    days: int = 21,
    start: datetime,
) -> SwitchedRoom:
    """Walk a room through its days.

    Parameters
    ----------
    seed
        Draws daylight and presence; the same seed has the same whatever the control.
    threshold_lx, dead_band_lx
        The light goes on below the threshold and off above threshold plus dead band, at the sensor, lamps included. [lx]
    lamp_lx
        What the lamps add at the sensor. [lx]
    peak_lx
        Daylight at noon of a clear day. [lx]
    delay_s
        How long the sensor waits before it acts. [s]
    hold_off_s
        How long the light stays under the control of the sensor after people left. [s]
    days
        Length of the log.
    start
        Midnight at which it begins (UTC).
    """
    rng = np.random.default_rng(seed)
    daylight = _daylight(rng, days, peak_lx)
    t = np.arange(daylight.size) * STEP_S
    come = np.arange(days) * DAY_S + rng.uniform(7.5, 9, days) * 3600
    leave = np.arange(days) * DAY_S + rng.uniform(15, 19, days) * 3600
    day = t // DAY_S
    present = (t >= come[day]) & (t < leave[day] + hold_off_s)
    lit = np.zeros(t.size, dtype=bool)
    on, waited = False, 0.0
    by_light = []
    for i in range(t.size):
        if not present[i]:
            on, waited = False, 0.0
            continue
        if i and not present[i - 1]:
            on = bool(daylight[i] < threshold_lx)
        sees = daylight[i] + lamp_lx * on
        act = (on and sees > threshold_lx + dead_band_lx) or (not on and sees < threshold_lx)
        waited = waited + STEP_S if act else 0.0
        if waited >= delay_s:
            if on:
                by_light.append(t[i])
            on, waited = not on, 0.0
        lit[i] = on
    move = np.flatnonzero(np.diff(lit.astype(int), prepend=0) != 0)

    def frame(at: NDArray[np.int64], value: FloatArray) -> pl.DataFrame:
        time = [start + timedelta(seconds=float(s)) for s in at]
        return pl.DataFrame(
            {"time": time, "value": value.astype(float)}, schema_overrides={"time": pl.Datetime("us", "UTC")}
        )

    minute = np.arange(0, t.size, 60 // STEP_S)
    seen = (daylight + lamp_lx * lit)[minute]
    reading = np.round(seen * (1 + 0.01 * rng.standard_normal(seen.size)))
    stays = pl.DataFrame(
        {"start": [start + timedelta(seconds=float(s)) for s in come], "end": [start + timedelta(seconds=float(s)) for s in leave]},
        schema_overrides={"start": pl.Datetime("us", "UTC"), "end": pl.Datetime("us", "UTC")},
    )  # fmt: skip
    hunted = _hunted_s(np.array(by_light, dtype=float))
    return SwitchedRoom(
        frame(t[minute] + 3, reading),
        frame(t[move], 100.0 * lit[move]),
        stays,
        float(hunted / (leave - come).sum()),
        len(by_light),
    )


def _hunted_s(off_s: FloatArray) -> float:
    """Time in runs of switch-offs by light. [s]."""
    total, begin, count = 0.0, None, 0
    for before, after in zip(off_s[:-1].tolist(), off_s[1:].tolist(), strict=True):
        if after - before < 900:
            begin = before if begin is None else begin
            count += 1
            end = after
            continue
        if begin is not None and count >= 2:
            total += end - begin
        begin, count = None, 0
    if begin is not None and count >= 2:
        total += end - begin
    return total

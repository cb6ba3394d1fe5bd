"""A log in the contract's long format, from one run of the closed loop."""

from datetime import datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tests.simulation.closed_loop import Run
from tests.simulation.daylight import at
from tests.simulation.days import DAY_S, GRID_S
from tests.simulation.parameters import Channel, LightLog, RoomParameters
from tests.simulation.truth import World

FloatArray = NDArray[np.float64]

LOG_SCHEMA = {
    "time": pl.Datetime("us", "UTC"),
    "room": pl.String,
    "channel": pl.String,
    "quantity": pl.String,
    "value": pl.Float64,
}

_FINE_S = 15.0  # how often change-of-value logging looks at the illuminance
_AFTER_STEP_S = 2.0  # the reading after a step is in the log this soon, where logging is by change of value


def times_utc(t_s: FloatArray, start: datetime, stamp_s: float) -> pl.Series:
    """Seconds after the start as UTC time stamps, cut to the resolution of the log [s]."""
    cut_us = np.floor(t_s / stamp_s + 1e-6) * stamp_s * 1e6
    base = pl.Series([start.replace(tzinfo=None)], dtype=pl.Datetime("us"))
    us = pl.Series(np.round(cut_us).astype(np.int64)).cast(pl.Duration("us"))
    return (us + base[0]).dt.replace_time_zone("UTC").alias("time")


def _rows(room: RoomParameters, start: datetime, channel: str, quantity: str, t: FloatArray, v: FloatArray) -> pl.DataFrame:
    time = times_utc(t, start, room.detector.stamp_s)
    columns = [pl.lit(x).alias(n) for n, x in (("room", room.room), ("channel", channel), ("quantity", quantity))]
    return pl.DataFrame({"time": time, "value": pl.Series(v, dtype=pl.Float64)}).with_columns(columns).select(list(LOG_SCHEMA))


def output_steps(channel: Channel, step: float, run: Run, output: FloatArray, lag_s: float) -> tuple[FloatArray, FloatArray]:
    """Moments at which a channel's output changes, and the output from then on (0 … 1).

    While lit the control follows `output` minute by minute, but only by steps of at least `step`.
    """
    times: list[float] = []
    values: list[float] = []
    per_minute = output.tolist()
    last_minute = len(per_minute) - 1
    for on, off in zip(run.on_s.tolist(), (run.off_s + lag_s).tolist(), strict=True):
        minute = min(int(on // GRID_S), last_minute)
        held = per_minute[minute]
        times.append(on)
        values.append(held)
        for m in range(minute + 1, min(int(off // GRID_S), last_minute) + 1):
            now = per_minute[m]
            if abs(now - held) >= step or (now == 0.0) != (held == 0.0):
                held = now
                times.append(m * GRID_S)
                values.append(held)
        times.append(off)
        values.append(0.0)
    t, v = np.asarray(times), np.round(np.asarray(values) * 100) / 100
    changed = np.diff(v, prepend=0.0) != 0
    return t[changed], v[changed]


def _held(t: FloatArray, steps: tuple[FloatArray, FloatArray]) -> FloatArray:
    """Output in force at the times `t` (the new value from the step on)."""
    i = np.searchsorted(steps[0], t, side="right") - 1
    values = steps[1] if len(steps[1]) else np.zeros(1)
    return np.asarray(np.where(i >= 0, values[np.maximum(i, 0)], 0.0))


def _flicker(rng: np.random.Generator, world: World, t: FloatArray, amount: float) -> FloatArray:
    """Factor on daylight: fast clouds, as far as the light outside is not steady."""
    n = int(t[-1] // _FINE_S) + 2 if len(t) else 2
    slow = np.convolve(rng.standard_normal(n), np.ones(6) / np.sqrt(6), mode="same")
    return np.asarray(1.0 + amount * slow[(t // _FINE_S).astype(np.int64)])


def illuminance(
    rng: np.random.Generator, world: World, room: RoomParameters, steps: list[tuple[FloatArray, FloatArray]], c: int
) -> tuple[FloatArray, FloatArray]:
    """Logged illuminance at the detector of channel number `c`: times [s] and lux."""
    log, span = room.light_log, world.scene.span_s
    if log.sample_s > 0:
        t = np.arange(rng.uniform(0, log.sample_s), span - 1, log.sample_s)
    else:
        after = np.concatenate([s[0] for s in steps]) + _AFTER_STEP_S
        grid = np.arange(rng.uniform(0, _FINE_S), span - _FINE_S, _FINE_S)
        t = np.sort(np.concatenate([grid, after[after < span - _FINE_S]]))
    light = at(t, world.knots, world.blind) * room.channels[c].daylight_share
    light = light * np.maximum(_flicker(rng, world, t, log.flicker), 0.0)
    for other, channel in enumerate(room.channels):
        reach = 1.0 if other == c else channel.to_other
        light = light + reach * channel.lamp_lx * _held(t, steps[other])
    reading = np.round(light * (1 + log.noise * rng.standard_normal(len(t))))
    if log.sample_s > 0:
        return t, reading
    keep = _changes(t, reading, log)
    return t[keep], reading[keep]


def _changes(t: FloatArray, reading: FloatArray, log: LightLog) -> NDArray[np.int64]:
    """Readings that differ enough from the last logged one, or come a heartbeat after it."""
    kept: list[int] = []
    low, high, due = -1.0, -1.0, 0.0
    for i, (when, value) in enumerate(zip(t.tolist(), reading.tolist(), strict=True)):
        if value < low or value > high or when >= due:
            kept.append(i)
            band = max(log.band_lx, log.band_share * value)
            low, high = value - band, value + band
            due = when + (log.heartbeat_s or DAY_S)
    return np.asarray(kept, dtype=np.int64)


def _motion_rows(room: RoomParameters, start: datetime, motion_s: FloatArray) -> list[pl.DataFrame]:
    ones = _rows(room, start, "", "motion", motion_s, np.ones(len(motion_s)))
    if room.detector.motion_form == "events":
        return [ones]
    # Pulses that overlap run into one.
    width = room.detector.pulse_s
    opens = np.diff(motion_s, prepend=-np.inf) > width
    closes = np.append(opens[1:], True)
    begin, end = motion_s[opens], motion_s[closes] + width
    return [
        _rows(room, start, "", "motion", begin, np.ones(len(begin))),
        _rows(room, start, "", "motion", end, np.zeros(len(end))),
    ]


def make_log(
    rng: np.random.Generator, world: World, room: RoomParameters, run: Run, start: datetime
) -> pl.DataFrame:
    """The log of a run in long format, in order of time."""
    steps = [
        output_steps(channel, room.light_log.output_step, run, light.output, room.detector.off_lag_s)
        for channel, light in zip(room.channels, world.lights, strict=True)
    ]
    frames = _motion_rows(room, start, run.motion_s)
    for c, channel in enumerate(room.channels):
        t, output = steps[c]
        inside = t < world.scene.span_s
        frames.append(_rows(room, start, channel.name, "output", t[inside], 100 * output[inside]))
        if c == 0 or room.own_detectors:
            t, lux = illuminance(rng, world, room, steps, c)
            frames.append(_rows(room, start, channel.name, "illuminance", t, lux))
        if len(run.press_s):
            asked = np.maximum(np.round(100 * _held(run.press_s, steps[c])), 1.0)
            frames.append(_rows(room, start, channel.name, "override", run.press_s, asked))
    return pl.concat(frames).sort("time", maintain_order=True)

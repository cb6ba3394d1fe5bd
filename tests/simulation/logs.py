"""A log in the contract's long format, from one run of the closed loop."""

from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tests.simulation.daylight import at
from tests.simulation.days import DAY_S, GRID_S
from tests.simulation.parameters import LightLog, RoomParameters
from tests.simulation.scene import Run
from tests.simulation.truth import World

FloatArray = NDArray[np.float64]
Steps = tuple[FloatArray, FloatArray]

COLUMNS = ("time", "room", "channel", "quantity", "value")

_FINE_S = 15.0  # how often change-of-value logging looks at the illuminance
_AFTER_STEP_S = 2.0  # the reading after a step is in the log this soon, where logging is by change of value
_DIMS_AFTER_S = 3.0  # people who dim do so this long after the light came on


def times_utc(t_s: FloatArray, start: datetime, stamp_s: float) -> pl.Series:
    """Seconds after the start as UTC time stamps, cut to the resolution of the log [s]."""
    us = np.round(np.floor(t_s / stamp_s + 1e-6) * stamp_s * 1e6).astype(np.int64)
    epoch_us = round(start.timestamp() * 1e6)
    return pl.Series("time", us + epoch_us).cast(pl.Datetime("us", "UTC"))


def _rows(
    room: RoomParameters, start: datetime, channel: str, quantity: str, t: FloatArray, value: FloatArray
) -> pl.DataFrame:
    names = {"room": room.room, "channel": channel, "quantity": quantity}
    frame = pl.DataFrame({"time": times_utc(t, start, room.detector.stamp_s), "value": np.asarray(value, dtype=float)})
    return frame.with_columns(pl.lit(v, dtype=pl.String).alias(k) for k, v in names.items()).select(COLUMNS)


def output_steps(room: RoomParameters, run: Run, output: FloatArray) -> Steps:
    """Moments [s] at which a channel's output changes, and the output from then on (0 … 1).

    While lit the control follows `output` minute by minute, but only by steps of at least ``output_step``; a stretch
    that somebody dimmed stays where they put it.
    """
    step, lag = room.light_log.output_step, room.detector.off_lag_s
    times: list[float] = []
    values: list[float] = []
    per_minute = output.tolist()
    last_minute = len(per_minute) - 1
    stretches = zip(run.on_s.tolist(), (run.off_s + lag).tolist(), run.level.tolist(), strict=True)
    for on, off, level in stretches:
        minute = min(int(on // GRID_S), last_minute)
        held = per_minute[minute]
        times.append(on)
        values.append(held)
        if not np.isnan(level) and room.channels[0].control == "dimmed" and off > on + 2 * _DIMS_AFTER_S:
            times.append(on + _DIMS_AFTER_S)
            values.append(level)
        else:
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


def _held(t: FloatArray, steps: Steps) -> FloatArray:
    """Output in force at the times `t` (the new value from the step on)."""
    i = np.searchsorted(steps[0], t, side="right") - 1
    values = steps[1] if len(steps[1]) else np.zeros(1)
    return np.asarray(np.where(i >= 0, values[np.maximum(i, 0)], 0.0))


def _flicker(rng: np.random.Generator, t: FloatArray, amount: float) -> FloatArray:
    """Factor on daylight from fast clouds, with a memory of about a minute and a half."""
    n = int(t[-1] // _FINE_S) + 2
    slow = np.convolve(rng.standard_normal(n), np.ones(6) / np.sqrt(6), mode="same")
    return np.asarray(np.maximum(1.0 + amount * slow[(t // _FINE_S).astype(np.int64)], 0.0))


def illuminance(
    rng: np.random.Generator, world: World, room: RoomParameters, steps: list[Steps], c: int
) -> tuple[FloatArray, FloatArray]:
    """Logged illuminance at the detector of channel number `c`: times [s] and lux."""
    log, span = room.light_log, world.scene.span_s
    if log.sample_s > 0:
        t = np.arange(rng.uniform(0, log.sample_s), span - 1, log.sample_s)
    else:
        after = np.concatenate([s[0] for s in steps]) + _AFTER_STEP_S
        grid = np.arange(rng.uniform(0, _FINE_S), span - _FINE_S, _FINE_S)
        t = np.sort(np.concatenate([grid, after[after < span - _FINE_S]]))
    light = at(t, world.knots, world.blind) * room.channels[c].daylight_share * _flicker(rng, t, log.flicker)
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


def _pulses(motion_s: FloatArray, width_s: float) -> tuple[FloatArray, FloatArray]:
    """Begin and end of pulses of `width_s` each; those that overlap run into one."""
    opens = np.diff(motion_s, prepend=-np.inf) > width_s
    return motion_s[opens], motion_s[np.append(opens[1:], True)[: len(motion_s)]] + width_s


def _motion_rows(room: RoomParameters, start: datetime, motion_s: FloatArray, span_s: float) -> list[pl.DataFrame]:
    detector = room.detector
    if detector.motion_form == "events":
        return [_rows(room, start, "", "motion", motion_s, np.ones(len(motion_s)))]
    if detector.motion_form == "sampled":
        edges = np.arange(0.0, span_s + detector.motion_sample_s, detector.motion_sample_s)
        seen = np.histogram(motion_s, edges)[0] > 0
        return [_rows(room, start, "", "motion", edges[:-1], seen.astype(float))]
    held = detector.motion_form == "occupied"
    begin, end = _pulses(motion_s, room.hold_off_s if held else detector.pulse_s)
    quantity = "occupied" if held else "motion"
    inside = end < span_s
    return [
        _rows(room, start, "", quantity, begin, np.ones(len(begin))),
        _rows(room, start, "", quantity, end[inside], np.zeros(int(inside.sum()))),
    ]


def _override_rows(room: RoomParameters, start: datetime, run: Run, steps: Steps, channel: str) -> list[pl.DataFrame]:
    """Presses: on (manual-on), off on leaving, and dimming to a level."""
    asked = np.maximum(np.round(100 * _held(run.press_s, steps)), 1.0)
    frames = [_rows(room, start, channel, "override", run.press_s, asked)]
    off = run.off_s[run.by_press]
    frames.append(_rows(room, start, channel, "override", off, np.zeros(len(off))))
    dims = ~np.isnan(run.level) & (run.off_s + room.detector.off_lag_s > run.on_s + 2 * _DIMS_AFTER_S)
    if room.channels[0].control == "dimmed":
        at_s, level = run.on_s[dims] + _DIMS_AFTER_S, np.round(100 * run.level[dims])
        frames.append(_rows(room, start, channel, "override", at_s, level))
    return frames


def _output_rows(room: RoomParameters, start: datetime, channel: str, steps: Steps, span_s: float) -> pl.DataFrame:
    every = room.light_log.output_sample_s
    if every <= 0:
        return _rows(room, start, channel, "output", steps[0], 100 * steps[1])
    t = np.arange(0.0, span_s, every)
    return _rows(room, start, channel, "output", t, 100 * _held(t, steps))


def make_log(rng: np.random.Generator, world: World, room: RoomParameters, run: Run, start: datetime) -> pl.DataFrame:
    """The log of a run in long format, in order of time."""
    span = world.scene.span_s
    steps = [output_steps(room, run, light.output) for light in world.lights]
    names = [channel.name for channel in room.channels]
    frames = _motion_rows(room, start, run.motion_s, span)
    for c, name in enumerate(names):
        t, output = steps[c]
        logged_as = names[len(names) - 1 - c] if room.swapped else name
        frames.append(_output_rows(room, start, logged_as, (t[t < span], output[t < span]), span))
        frames += _override_rows(room, start, run, steps[c], name)
        if c == 0 or room.own_detectors:
            frames.append(_rows(room, start, name, "illuminance", *illuminance(rng, world, room, steps, c)))
    return pl.concat(frames).sort("time", maintain_order=True)

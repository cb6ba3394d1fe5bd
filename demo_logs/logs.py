"""What happened in a room, as its detector and lamps would log it: long rows of time, room, channel, quantity, value."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from demo_logs.light import DEAD_BAND_PCT, REGULATE_S, STEP_S, Sky, Steps, bright, reading, regulated
from demo_logs.loop import Lived, Surroundings, episodes
from demo_logs.model import Channel, Room
from demo_logs.people import People, span

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

NOISE = 0.01
"""Standard deviation of a reading, as a share of it."""
CHANGE_SHARE, CHANGE_LX = 0.12, 12.0
"""A reading logged on change is sent when it has moved by more than both."""


@dataclass(frozen=True)
class Lit:
    """Light of one channel over the log.

    Attributes
    ----------
    on, off
        When it came on and went off, for whatever cause, shape (n,). [s]
    output
        Its output. [percent]
    expiries
        How often the hold-off ran out over burning light.
    """

    on: Floats
    off: Floats
    output: Steps
    expiries: int


def pressed_off(room: Room, crowd: People, rng: np.random.Generator) -> Floats:
    """Draw times in which somebody has pressed the light off, to show pictures, shape (n, 2). [s]."""
    found = []
    for start, end in crowd.sessions.tolist():
        if rng.random() < room.presses_share:
            at = start + 60 * rng.uniform(6, 15)
            found.append((at, min(at + 60 * rng.uniform(15, 35), end - 300)))
    return np.array(found).reshape(-1, 2)


def _dark(channel: Channel, around: Surroundings, c: int, motions: Floats) -> Bools:
    # A dimmed channel never goes below its minimum while somebody is there, whatever the daylight.
    if channel.control != "switched" or channel.target_lx is None:
        return np.ones(len(motions), dtype=np.bool_)
    return np.asarray(around.level(c, motions) < channel.target_lx)


def _quiet(t: Floats, value: Floats, keep: Bools) -> Steps:
    """Drop steps that move the output by less than the dead band, save those in ``keep``."""
    kept, last = [], -np.inf
    for i, (v, forced) in enumerate(zip(value.tolist(), keep.tolist(), strict=True)):
        if v != last and (forced or abs(v - last) >= DEAD_BAND_PCT):
            kept.append(i)
            last = v
    return Steps(t[kept], value[kept])


def light(room: Room, lived: Lived, around: Surroundings, hold_off_s: float) -> list[Lit]:
    """Light of each channel of a room over the log; a relay's contact counts as its light.

    Parameters
    ----------
    room, lived, around
        The room, what happened in it, and its daylight.
    hold_off_s
        Hold-off of the light; a relay has its own. [s]
    """
    begin, end = span()
    grid = np.arange(begin, end, REGULATE_S)
    lamps = tuple(c for c in room.channels if c.control != "relay")
    on_off = [
        episodes(lived.motions, c.hold_off_s or hold_off_s, _dark(c, around, i, lived.motions))
        for i, c in enumerate(room.channels)
    ]
    times = np.unique(np.concatenate([grid, *(on for on, _ in on_off)]))
    levels = [around.level(i, times) for i in range(len(lamps))]
    if lamps[0].control == "dimmed":
        targets = [float(c.target_lx or 0) for c in lamps]
        plenty = [bright(around.levels[i], around.sky, target).at(times) for i, target in enumerate(targets)]
        wanted = regulated(lamps, levels, targets, plenty)
    else:
        wanted = [np.full(len(times), 100.0) for _ in lamps]
    wanted += [np.full(len(times), 100.0) for _ in room.channels[len(lamps) :]]
    none = np.empty((0, 2))
    return [
        _channel_light(on, off, times, value, around.pressed_off if channel.name == room.pressed_channel else none)
        for channel, (on, off), value in zip(room.channels, on_off, wanted, strict=True)
    ]


def _channel_light(on: Floats, off: Floats, times: Floats, wanted: Floats, pressed: Floats) -> Lit:
    output = _output(on, off, times, wanted, pressed)
    burns = output.value > 0
    before = np.append(False, burns[:-1])
    went_off = output.t[before & ~burns]
    return Lit(output.t[burns & ~before], went_off, output, int(np.isin(went_off, off).sum()))


def _output(on: Floats, off: Floats, times: Floats, wanted: Floats, pressed: Floats) -> Steps:
    def episode(t: Floats) -> NDArray[np.intp]:
        i = np.searchsorted(on, t, side="right") - 1
        return np.where((i >= 0) & (t < off[np.maximum(i, 0)]), i, -1)

    inside = episode(times) >= 0
    t, value = times[inside], np.round(wanted[inside])
    if len(pressed):
        hit = np.searchsorted(pressed[:, 0], t, side="right") - 1
        start, stop = pressed[np.maximum(hit, 0), 0], pressed[np.maximum(hit, 0), 1]
        same = (hit >= 0) & (episode(start) == episode(t))
        # Off by a press, then full by another press, until the room has been left.
        value = np.where(same & (t < stop), 0.0, np.where(same, 100.0, value))
        lit = (episode(pressed[:, 0]) >= 0) & (episode(pressed[:, 0]) == episode(pressed[:, 1]))
        presses = pressed[lit].ravel()
        t = np.concatenate([t, presses])
        value = np.concatenate([value, np.tile([0.0, 100.0], len(presses) // 2)])
    t, value = np.concatenate([t, off]), np.concatenate([value, np.zeros(len(off))])
    order = np.argsort(t, kind="stable")
    forced = np.isin(t, np.concatenate([on, off, pressed.ravel()]))
    return _quiet(t[order], value[order], forced[order])


def _readings(
    room: Room, c: int, lit: list[Lit], around: Surroundings, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    channel = room.channels[c]
    begin, end = span()
    others = [x for i, x in enumerate(lit) if i != c and room.channels[i].control != "relay"]
    if room.on_change:
        # A telegram soon after the lamps move shows their step.
        changes = np.concatenate([x.output.t for x in [lit[c], *others]]) + 2.0
        t = np.unique(np.concatenate([np.arange(begin, end, STEP_S), changes[changes < end]]))
    else:
        t = np.arange(begin + rng.integers(5, 55), end, room.sample_s)
    other = others[0].output.at(t) if others else np.zeros(len(t))
    lx = reading(channel, around.level(c, t), lit[c].output.at(t), other)
    lx = np.round(lx * (1 + NOISE * rng.normal(0, 1, len(t))))
    return _on_change(t, lx, room.sample_s) if room.on_change else (t, lx)


def _on_change(t: Floats, lx: Floats, heartbeat_s: float) -> tuple[Floats, Floats]:
    kept, last_t, last = [], -np.inf, -np.inf
    for i, (at, v) in enumerate(zip(t.tolist(), lx.tolist(), strict=True)):
        moved = abs(v - last)
        if at - last_t >= heartbeat_s or (moved > CHANGE_LX and moved > CHANGE_SHARE * last):
            kept.append(i)
            last_t, last = at, v
    return t[kept], lx[kept]


def _rows(room: str, channel: str, quantity: str, t: Floats, value: Floats) -> pl.DataFrame:
    # Loggers stamp whole seconds.
    seconds = pl.Series("time", np.floor(t).astype(np.int64) * 1000).cast(pl.Datetime("ms")).dt.replace_time_zone("UTC")
    frame = pl.DataFrame({"time": seconds, "value": value.astype(np.float32)})
    # Of two values within the logger's second the last one stands.
    return frame.unique("time", keep="last", maintain_order=True).select(
        "time", room=pl.lit(room), channel=pl.lit(channel), quantity=pl.lit(quantity), value=pl.col("value")
    )


def rows(
    room: Room, lived: Lived, lit: list[Lit], around: Surroundings, sky: Sky, rng: np.random.Generator
) -> pl.DataFrame:
    """Log of a room: motion events, illuminance, output, presses and, for some, power. Long layout, sorted by series and time."""
    _, end = span()
    moved = np.unique(np.floor(lived.motions[lived.motions < end]))
    parts = [_rows(room.key, "", "motion", moved, np.ones(len(moved)))]
    for c, channel in enumerate(room.channels):
        output = lit[c].output
        within = output.t < end
        parts.append(_rows(room.key, channel.name, "output", output.t[within], output.value[within]))
        if channel.control == "relay":
            continue
        t, lx = _readings(room, c, lit, around, rng)
        parts.append(_rows(room.key, channel.name, "illuminance", t, lx))
        if channel.name == room.pressed_channel:
            presses = np.intersect1d(around.pressed_off.ravel(), output.t)
            parts.append(_rows(room.key, channel.name, "override", presses, output.at(presses)))
        if channel.log_power:
            at = np.arange(sky.t[0] + 11, end, 600.0)
            share = output.at(at) / 100
            watts = channel.standby_w + (channel.load_w - channel.standby_w) * share
            parts.append(_rows(room.key, channel.name, "power", at, np.round(watts, 1)))
    return pl.concat(parts)

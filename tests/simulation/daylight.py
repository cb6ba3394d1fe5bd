"""Daylight at the detector: a sun with clouds and blinds, and what the light control makes of it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from tests.simulation.days import DAY_S, GRID_S, KNOT_S, Calendar, sun
from tests.simulation.parameters import Channel, RoomParameters, Sky

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_BLIND_LX = 300.0  # direct sun in the detector's reading above which somebody closes the blinds


def _autoregressive(rng: np.random.Generator, n: int, steps: float) -> FloatArray:
    """Gaussian series of unit variance with a memory of `steps`."""
    keep = np.exp(-1.0 / steps)
    noise = rng.standard_normal(n) * np.sqrt(1 - keep**2)
    noise[0] = rng.standard_normal()
    return np.asarray(signal.lfilter([1.0], [1.0, -keep], noise))


def outdoor(rng: np.random.Generator, calendar: Calendar, sky: Sky) -> tuple[FloatArray, FloatArray]:
    """Diffuse and direct light [lx] on the window side, at knots over the whole calendar."""
    sin_elevation, azimuth = sun(calendar)
    per = len(sin_elevation) - 1
    up = np.maximum(np.tile(sin_elevation[:per], calendar.repeats), 0.0)
    azimuth = np.tile(azimuth[:per], calendar.repeats)
    n = len(up)
    days = int(np.ceil(n * KNOT_S / DAY_S)) + 1
    day = (np.arange(n) * KNOT_S // DAY_S).astype(np.int64)
    clear_day = np.log(sky.clearness / (1 - sky.clearness)) + 1.8 * _autoregressive(rng, days, 1.5)
    wobble = sky.brokenness * np.exp(-0.15 * clear_day**2)  # settled days, clear or grey, wobble less
    clear = 1 / (1 + np.exp(-(clear_day[day] + wobble[day] * 1.5 * _autoregressive(rng, n, 6.0))))
    horizontal = 120_000.0 * up**1.15
    diffuse = horizontal * (0.12 + 0.35 * clear)
    cos_in = np.sqrt(np.maximum(1 - up**2, 0)) * np.cos(azimuth - sky.facing_rad)
    beam = np.where(up > 0.03, 90_000.0 * np.maximum(cos_in, 0) * np.minimum(up * 4, 1) * clear**2, 0.0)
    return diffuse, beam


def daylight_knots(rng: np.random.Generator, calendar: Calendar, sky: Sky) -> tuple[FloatArray, FloatArray]:
    """Daylight at the detector of a window channel [lx] and the blinds' factor, both at knots (the factor holds on)."""
    n = round(calendar.span_s / KNOT_S) + 1
    if not sky.windows:
        return np.full(n, 0.3 * sky.night_lx), np.ones(n)
    diffuse, beam = outdoor(rng, calendar, sky)
    light = sky.daylight_factor * diffuse + sky.beam_factor * beam + sky.night_lx
    knots_per_day = int(DAY_S / KNOT_S)
    days = int(np.ceil(len(light) / knots_per_day))
    used = rng.random(days) < sky.blind_p
    glare = np.zeros(days * knots_per_day, dtype=bool)
    glare[: len(light)] = sky.beam_factor * beam > _BLIND_LX
    closed = np.logical_or.accumulate(glare.reshape(days, -1), axis=1) & used[:, None]
    blind = np.where(closed.ravel()[: len(light)], sky.blind_factor, 1.0)
    return np.append(light, light[-1]), np.append(blind, blind[-1])


def at(time_s: FloatArray, knots: FloatArray, blind: FloatArray) -> FloatArray:
    """Daylight [lx] at the times given [s]."""
    light = np.interp(time_s, np.arange(len(knots)) * KNOT_S, knots)
    return np.asarray(light * blind[(time_s // KNOT_S).astype(np.int64)])


def _latch(high: BoolArray, low: BoolArray) -> BoolArray:
    """State that turns true where `high`, false where `low`, and holds in between (false at first)."""
    mark = np.where(high | low, np.arange(len(high)), -1)
    last = np.maximum.accumulate(mark)
    return np.asarray(np.where(last >= 0, high[np.maximum(last, 0)], False))


@dataclass(frozen=True)
class ChannelLight:
    """One channel minute by minute (`GRID_S`), shape (minutes,).

    ``daylight_lx`` is at its own detector, ``output`` what it would burn at if occupied (0 where daylight keeps it
    off), ``task_daylight_lx`` the daylight at the task.
    """

    daylight_lx: FloatArray
    task_daylight_lx: FloatArray
    output: FloatArray

    def power_w(self, channel: Channel) -> FloatArray:
        """Power while switched on [W], above the standby power that always flows."""
        return np.asarray(self.output * (channel.load_w - channel.standby_w))


def controlled_output(channel: Channel, daylight_lx: FloatArray, target_lx: float) -> FloatArray:
    """Output between 0 and 1 of an occupied channel under daylight."""
    if channel.control == "switched":
        enough = _latch(daylight_lx > target_lx + channel.dead_band_lx, daylight_lx < target_lx)
        return np.where(enough, 0.0, 1.0)
    output = np.clip((target_lx - daylight_lx) / channel.lamp_lx, channel.min_output, 1.0)
    if channel.daylight_off:
        enough = _latch(daylight_lx > 1.5 * target_lx, daylight_lx < 1.1 * target_lx)
        output = np.where(enough, 0.0, output)
    return np.asarray(output)


def channel_lights(room: RoomParameters, knots: FloatArray, blind: FloatArray) -> tuple[ChannelLight, ...]:
    """Daylight and output of every channel over the whole calendar."""
    minutes: FloatArray = np.arange(round((len(knots) - 1) * KNOT_S / GRID_S), dtype=np.float64) * GRID_S
    window = at(minutes, knots, blind)
    daylight = [window * c.daylight_share for c in room.channels]
    outputs = [controlled_output(c, d, c.target_lx) for c, d in zip(room.channels, daylight, strict=True)]
    if len(outputs) == 2:
        # Each control also sees the other channel's lamps; a few rounds settle the two.
        for _ in range(4):
            spill = [o * c.lamp_lx * c.to_other for o, c in zip(outputs[::-1], room.channels[::-1], strict=True)]
            outputs = [
                controlled_output(c, d + s, c.target_lx) for c, d, s in zip(room.channels, daylight, spill, strict=True)
            ]
    return tuple(
        ChannelLight(d, d * c.task_per_daylight, o) for c, d, o in zip(room.channels, daylight, outputs, strict=True)
    )

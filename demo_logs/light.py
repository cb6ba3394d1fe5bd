"""Daylight, and what the lamps make of it. Times are UTC epoch seconds; outputs are in percent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_logs.model import LATITUDE_DEG, LONGITUDE_DEG, Channel
from demo_logs.people import span

Floats = NDArray[np.float64]

STEP_S = 60.0
REGULATE_S = 300.0
"""A dimmed channel looks at its reading this often."""
DEAD_BAND_PCT = 3.0
"""A dimmed channel leaves its output alone for less than this."""
MINIMUM_PCT = 10.0
BRIGHT, NO_LONGER_BRIGHT = 1.1, 0.85
"""A dimmed channel goes off in daylight beyond this share of its target, and comes back below that one."""


def sun(t: Floats) -> tuple[Floats, Floats]:
    """Elevation and azimuth of the sun, to about half a degree (declination and hour angle only). [rad]."""
    day = t / 86400.0 % 365.2425
    # Eleven days from the winter solstice to the new year.
    declination = np.radians(-23.44) * np.cos(2 * np.pi * (day + 11) / 365.2425)
    hour = np.radians(((t / 3600.0) % 24 - 12) * 15 + LONGITUDE_DEG)
    latitude = np.radians(LATITUDE_DEG)
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour)
    elevation = np.arcsin(sine)
    east = -np.cos(declination) * np.sin(hour)
    north = np.sin(declination) * np.cos(latitude) - np.cos(declination) * np.sin(latitude) * np.cos(hour)
    return elevation, np.arctan2(east, north)


@dataclass(frozen=True)
class Sky:
    """Outdoor light on a grid of a minute: clear share of the sky's light from 0 (overcast) to 1. Each shape (n,)."""

    t: Floats
    elevation: Floats
    azimuth: Floats
    clear: Floats


def make_sky(rng: np.random.Generator) -> Sky:
    """Draw six weeks of weather: days of a kind, clouds within the day."""
    start, end = span()
    t = np.arange(start, end + STEP_S, STEP_S)
    day = ((t - start) // 86400).astype(int)
    kind = rng.normal(0, 1.0, int(day.max()) + 1)[day]
    slow, noise = np.zeros(len(t)), rng.normal(0, 1, len(t))
    for i in range(1, len(t)):
        slow[i] = 0.985 * slow[i - 1] + 0.12 * noise[i]
    elevation, azimuth = sun(t)
    return Sky(t, elevation, azimuth, 1 / (1 + np.exp(-(1.5 * kind + 1.6 * slow))))


def daylight(channel: Channel, sky: Sky) -> Floats:
    """Daylight in a channel's reading on the sky's grid, shape (n,). [lx]."""
    up = np.maximum(np.sin(sky.elevation), 0.0)
    twilight = np.where(sky.elevation > np.radians(-6), 0.004, 0.0)
    diffuse = 32.0 * up**0.9 + twilight  # klx
    beam = 60.0 * up**1.3 * sky.clear
    if channel.facing_deg is None:
        seen = diffuse + 0.3 * beam
    else:
        towards = np.cos(sky.azimuth - np.radians(channel.facing_deg))
        # Blinds come down in full sun, so the beam counts for little more than the sky.
        seen = diffuse + 0.45 * beam * np.maximum(towards, 0.0)
    lx: Floats = channel.daylight_lx / 20.0 * seen * (0.75 + 0.5 * sky.clear)
    return lx


@dataclass(frozen=True)
class Steps:
    """A value that holds until the next change. Each shape (n,)."""

    t: Floats
    value: Floats

    def at(self, t: Floats) -> Floats:
        """Value in force; 0 before the first change."""
        i = np.searchsorted(self.t, t, side="right") - 1
        return np.where(i >= 0, self.value[np.maximum(i, 0)], 0.0)


def bright(level: Floats, sky: Sky, target_lx: float) -> Steps:
    """Times in which daylight alone is plenty for a dimmed channel (1) and in which it is not (0).

    Parameters
    ----------
    level
        Daylight in the channel's reading on the sky's grid, shape (n,). [lx]
    sky, target_lx
        The grid, and the target illuminance. [lx]
    """
    every = round(REGULATE_S / STEP_S)
    plenty, state = np.zeros(len(level[::every])), 0.0
    for i, lx in enumerate(level[::every].tolist()):
        if lx > BRIGHT * target_lx:
            state = 1.0
        elif lx < NO_LONGER_BRIGHT * target_lx:
            state = 0.0
        plenty[i] = state
    return Steps(sky.t[::every], plenty)


def regulated(
    channels: tuple[Channel, ...], levels: list[Floats], targets: list[float], plenty: list[Floats]
) -> list[Floats]:
    """Find the outputs at which each dimmed channel's own reading meets its target, beside its neighbour. [percent].

    Parameters
    ----------
    channels, levels, targets
        The room's lamps, daylight in each reading at the same times [lx], and target illuminances [lx].
    plenty
        1 where daylight has switched a channel off, at the same times.
    """
    outputs = [np.full(len(lx), 50.0) for lx in levels]
    for _ in range(30):
        for c, channel in enumerate(channels):
            other = channel.neighbour_lx * outputs[1 - c] / 100 if len(channels) == 2 else 0.0
            wanted = 100 * (targets[c] - levels[c] - other) / channel.lamp_lx
            outputs[c] = np.where(plenty[c] > 0, 0.0, np.clip(wanted, MINIMUM_PCT, 100.0))
    return outputs


def reading(channel: Channel, level: Floats, own: Floats, other: Floats) -> Floats:
    """Detector's reading without noise for daylight [lx] and outputs [percent]. [lx]."""
    return level + (channel.lamp_lx * own + channel.neighbour_lx * other) / 100


def task(channel: Channel, level: Floats, own: Floats, other: Floats) -> Floats:
    """Illuminance at the task for daylight in the reading [lx] and outputs [percent]. [lx]."""
    lamps = reading(channel, np.zeros_like(level), own, other)
    return channel.task_per_daylight * level + channel.task_per_lamp * lamps

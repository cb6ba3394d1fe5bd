"""The closed loop of light and people: the light goes off, and somebody who sits in the dark and minds moves.

It works on the movements that people would make if the light never went off, and changes only what the light changes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from demo_logs.light import Sky
from demo_logs.model import Room, Stillness
from demo_logs.people import People, pauses

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

REACTION_S, REACTION_SPREAD = 6.0, 0.55
"""Median of a log-normal reaction, and standard deviation of its logarithm."""
TOLERANCE, TOLERANCE_SPREAD = 0.7, 0.2
"""Share of the required illuminance below which people mind the dark: median, and standard deviation of its logarithm."""


@dataclass(frozen=True)
class Surroundings:
    """What decides whether somebody minds: daylight of each channel on the sky's grid, and times pressed to off."""

    sky: Sky
    levels: tuple[Floats, ...]
    pressed_off: Floats

    def level(self, channel: int, t: Floats | float) -> Floats:
        """Daylight in a channel's reading. [lx]."""
        return np.asarray(np.interp(t, self.sky.t, self.levels[channel]))

    def off_by_press(self, t: Floats) -> Bools:
        """Whether somebody has pressed the light off."""
        if len(self.pressed_off) == 0:
            return np.zeros(len(t), dtype=np.bool_)
        i = np.searchsorted(self.pressed_off[:, 0], t, side="right") - 1
        return np.asarray((i >= 0) & (t < self.pressed_off[np.maximum(i, 0), 1]))


@dataclass(frozen=True)
class Lived:
    """What happened under one hold-off.

    Attributes
    ----------
    motions
        All motions, reactions among them, sorted, shape (n,). [s]
    off
        Switch-offs that left a present person in a dark who minded, shape (m,). [s]
    off_minded
        For each, by channel, whether its part of the room was too dark, shape (m, channels).
    """

    motions: Floats
    off: Floats
    off_minded: Bools


def _stillness(room: Room) -> Stillness:
    """Return the stillness of those who stay longest here; it fills in where movement starts afresh."""
    return max((h.stillness for h in room.habits), key=lambda s: s.still_share * s.still_s)


def live(room: Room, crowd: People, around: Surroundings, hold_off_s: float, rng: np.random.Generator) -> Lived:
    """Let people live under a hold-off.

    Parameters
    ----------
    room, crowd, around
        The room, its people as they move while the light stays on, and what they see by.
    hold_off_s
        Hold-off of the light. [s]
    """
    lamps = [c for c, channel in enumerate(room.channels) if channel.control != "relay"]
    still = _stillness(room)
    added: list[float] = []
    off: list[float] = []
    off_minded: list[list[bool]] = []
    t = crowd.motions
    open_gaps = _gaps_beyond(hold_off_s, t)
    while open_gaps:
        last, following = open_gaps.pop()
        expiry = last + hold_off_s
        if expiry >= following or not crowd.present(np.array([expiry]))[0]:
            continue
        tolerance = TOLERANCE * rng.lognormal(0, TOLERANCE_SPREAD) * room.required_lx
        minded = [_minds(room, around, c, last, expiry, tolerance) for c in lamps]
        if not any(minded):
            continue
        off.append(expiry)
        off_minded.append(minded)
        moved = expiry + rng.lognormal(np.log(REACTION_S), REACTION_SPREAD)
        if moved >= min(following, crowd.present_until(expiry)):
            continue
        added.append(moved)
        if rng.random() < room.goes_on_share:
            open_gaps.append((moved, following))
            continue
        # Movement starts afresh: ordinary pauses fill what was left of the gap, while somebody is there.
        fresh = moved + np.cumsum(pauses(still, 200, 1.0, rng))
        fresh = fresh[fresh < min(following, crowd.present_until(expiry))]
        added += fresh.tolist()
        edges = np.concatenate([[moved], fresh, [following]])
        open_gaps += _gaps_beyond(hold_off_s, edges)
    width = len(lamps)
    return Lived(
        np.sort(np.concatenate([t, added])),
        np.array(off),
        np.array(off_minded, dtype=np.bool_).reshape(-1, width),
    )


def _gaps_beyond(hold_off_s: float, t: Floats) -> list[tuple[float, float]]:
    """List the gaps longer than a hold-off, last first, so that taking from the list's end goes forward in time. [s]."""
    return [(float(t[i]), float(t[i + 1])) for i in np.flatnonzero(np.diff(t) > hold_off_s)[::-1]]


def _minds(room: Room, around: Surroundings, c: int, last: float, expiry: float, tolerance: float) -> bool:
    """Whether a person at channel ``c`` notices its light go off and is left with too little."""
    channel = room.channels[c]
    if channel.name == room.pressed_channel and around.off_by_press(np.array([expiry]))[0]:
        return False
    if channel.control == "switched" and around.level(c, last) >= (channel.target_lx or np.inf):
        return False  # the light had not come on
    return bool(channel.task_per_daylight * around.level(c, expiry) < tolerance)


def episodes(motions: Floats, hold_off_s: float, dark: Bools) -> tuple[Floats, Floats]:
    """When the light goes on and off: on at a motion in the dark, off a hold-off after the last motion. [s].

    Parameters
    ----------
    motions
        Sorted. [s]
    hold_off_s
        Hold-off. [s]
    dark
        For each motion, whether daylight was below the target.
    """
    opens = np.append(True, np.diff(motions) > hold_off_s)
    number = np.cumsum(opens) - 1
    ends = motions[np.append(opens[1:], True)] + hold_off_s
    lit = np.flatnonzero(dark)
    which, first = np.unique(number[lit], return_index=True)
    return motions[lit[first]], ends[which]


def wasted_s(crowd: People, on: Floats, off: Floats) -> float:
    """Lit time with nobody present. [s]."""
    return float(np.sum((off - on) - (crowd.presence_before(off) - crowd.presence_before(on))))

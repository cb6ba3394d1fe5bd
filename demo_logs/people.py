"""Who is in a room when, and which movements the detector sees. Times are UTC epoch seconds."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from demo_logs.model import (
    CLOSED,
    FIRST_MONDAY,
    TIME_ZONE,
    WEEKS,
    Residents,
    Room,
    Sessions,
    Stillness,
    Visitors,
)

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CLEANER = Stillness(busy_s=5, still_share=0.0)
RE_ARM_S = 2.0
"""A detector reports no second motion sooner than this."""


@dataclass(frozen=True)
class Visit:
    """One person's stay. [s]."""

    start: float
    end: float
    stillness: Stillness


@dataclass(frozen=True)
class People:
    """What happens in one room.

    Attributes
    ----------
    motions
        Movements that the detector sees, sorted, the heater's among them, shape (n,). [s]
    starts, ends
        Stretches in which somebody is in the room, sorted and apart from each other, shape (m,). [s]
    sessions
        Lessons and meetings, start and end, shape (k, 2). [s]
    """

    motions: Floats
    starts: Floats
    ends: Floats
    sessions: Floats

    def present(self, t: Floats) -> Bools:
        """Whether somebody is in the room."""
        i = np.searchsorted(self.starts, t, side="right") - 1
        return (i >= 0) & (t < self.ends[np.maximum(i, 0)])

    def present_until(self, t: float) -> float:
        """When the room empties that is in use at ``t``; ``t`` itself if it is empty. [s]."""
        i = int(np.searchsorted(self.starts, t, side="right")) - 1
        return max(t, float(self.ends[i])) if i >= 0 else t

    def presence_before(self, t: Floats) -> Floats:
        """Time with somebody present before each ``t``. [s]."""
        edges = np.column_stack([self.starts, self.ends]).ravel()
        total = np.column_stack([np.zeros(len(self.starts)), self.ends - self.starts]).ravel().cumsum()
        return np.interp(t, edges, total) if len(edges) else np.zeros_like(t)


def midnight(date: dt.date, hour: float = 0.0) -> float:
    """UTC epoch of a local clock time. [s]."""
    wall = dt.datetime.combine(date, dt.time()) + dt.timedelta(hours=hour)
    return wall.replace(tzinfo=ZoneInfo(TIME_ZONE)).timestamp()


def days() -> list[dt.date]:
    """Every day of the log."""
    return [FIRST_MONDAY + dt.timedelta(days=d) for d in range(7 * WEEKS)]


def span() -> tuple[float, float]:
    """First and last instant of the log, UTC epoch. [s]."""
    return midnight(FIRST_MONDAY), midnight(FIRST_MONDAY + dt.timedelta(days=7 * WEEKS))


def _resident(habit: Residents, date: dt.date, rng: np.random.Generator) -> list[Visit]:
    if rng.random() < habit.away_share:
        return []
    come = midnight(date, habit.from_h + rng.normal(0, 0.25))
    go = midnight(date, habit.to_h + rng.normal(0, 0.35))
    lunch = midnight(date, 12.0 + rng.normal(0.1, 0.2))
    out_s = rng.uniform(come, go, rng.poisson(habit.errands_per_day))
    back_s = out_s + 60 * rng.lognormal(np.log(7), 0.8, len(out_s))
    breaks = [(lunch, lunch + 60 * rng.uniform(25, 45)), *zip(out_s.tolist(), back_s.tolist(), strict=True)]
    visits, here = [], come
    for out, back in sorted(breaks):
        if out > here + 60 and back < go:
            visits.append(Visit(here, out, habit.stillness))
        here = max(here, back)
    return [*visits, Visit(here, go, habit.stillness)] if go > here + 60 else visits


def _visitors(habit: Visitors, date: dt.date, rng: np.random.Generator) -> list[Visit]:
    hours = habit.to_h - habit.from_h
    start = midnight(date, habit.from_h)
    # Fewer at both ends of the day and at noon.
    shape = rng.beta(1.6, 1.5, rng.poisson(habit.per_hour * hours))
    at = start + 3600 * hours * shape
    stay = np.minimum(rng.lognormal(np.log(habit.stay_s), habit.spread, len(at)), 4 * 3600)
    close = midnight(date, habit.to_h + 0.4)
    return [
        Visit(float(a), float(min(a + s, close)), habit.stillness) for a, s in zip(at, stay, strict=True) if a < close
    ]


def _session(habit: Sessions, date: dt.date, rng: np.random.Generator) -> tuple[list[Visit], list[tuple[float, float]]]:
    visits, held = [], []
    for hour in habit.starts_h:
        if rng.random() > habit.held_share:
            continue
        start = midnight(date, hour)
        end = start + 60 * habit.minutes * rng.uniform(0.85, 1.05)
        held.append((start, end))
        n = 1 + rng.poisson(habit.people - 1)
        come, go = start + rng.normal(-60, 90, n), end + rng.exponential(70, n)
        visits += [Visit(a, b, habit.stillness) for a, b in zip(come.tolist(), go.tolist(), strict=True)]
    return visits, held


def _visits(room: Room, rng: np.random.Generator) -> tuple[list[Visit], list[tuple[float, float]]]:
    visits: list[Visit] = []
    sessions: list[tuple[float, float]] = []
    for date in days():
        if date in CLOSED or date.weekday() > 4:
            continue
        clean = midnight(date, rng.uniform(6.0, 7.3))
        visits.append(Visit(clean, clean + 60 * room.cleaning_min * rng.uniform(0.6, 1.3), CLEANER))
        for habit in room.habits:
            if date.weekday() not in habit.weekdays:
                continue
            match habit:
                case Residents():
                    for _ in range(habit.people):
                        visits += _resident(habit, date, rng)
                case Visitors():
                    visits += _visitors(habit, date, rng)
                case Sessions():
                    new, held = _session(habit, date, rng)
                    visits += new
                    sessions += held
    return visits, sessions


def pauses(stillness: Stillness, n: int, mood: float, rng: np.random.Generator) -> Floats:
    """Draw pauses between the movements of one person; ``mood`` stretches the spells of stillness. [s]."""
    busy = rng.lognormal(np.log(stillness.busy_s), 0.7, n)
    still = mood * rng.lognormal(np.log(stillness.still_s), stillness.spread, n)
    return np.where(rng.random(n) < stillness.still_share, still, busy)


def movements(visit: Visit, coverage: float, rng: np.random.Generator) -> Floats:
    """Movements of one person: a burst on the way in, pauses of all lengths, a burst on the way out. [s].

    The detector looks at the door and sees every movement there; of those inside it sees a share, ``coverage``.
    """
    length = visit.end - visit.start
    burst = np.append(0.0, np.cumsum(rng.uniform(1.5, 4.0, 3)))
    come = visit.start + burst[burst < length]
    go = visit.end - np.cumsum(rng.uniform(1.2, 3.0, 3))
    mood = float(rng.lognormal(0, 0.35))
    n = 20 + round(2 * length / visit.stillness.busy_s)
    inside = visit.start + 10 + np.cumsum(pauses(visit.stillness, n, mood, rng))
    inside = inside[(inside < visit.end - 8) & (rng.random(n) < coverage)]
    return np.concatenate([come, inside, go[go >= visit.start]])


def _union(visits: list[Visit]) -> tuple[Floats, Floats]:
    start = np.sort([v.start for v in visits])
    order = np.argsort([v.start for v in visits])
    end = np.maximum.accumulate(np.array([v.end for v in visits])[order])
    opens = np.append(True, start[1:] > end[:-1])
    return start[opens], end[np.append(opens[1:], True)]


def re_armed(t: Floats) -> Floats:
    """Sorted motions without those that come too soon after the last reported one. [s]."""
    kept: list[float] = []
    last = -np.inf
    for at in t.tolist():
        if at - last >= RE_ARM_S:
            kept.append(at)
            last = at
    return np.array(kept)


def heater_triggers(rng: np.random.Generator) -> Floats:
    """Draught of a fan heater on cold nights, from 22:15 to 04:45 by its thermostat; frost grows rarer in April. [s]."""
    found: list[float] = []
    for number, date in enumerate(days()[:-1]):
        if rng.random() > 0.95 - 0.012 * number:
            continue
        t = midnight(date, 22.25) + rng.uniform(0, 1500)
        until = midnight(date, 22.25) + 6.5 * 3600
        while t < until:
            found.append(t)
            t += rng.normal(1560, 90)
    return np.array(found)


def people(room: Room, rng: np.random.Generator) -> People:
    """Six weeks of people in a room, as they would move if the light never went off."""
    visits, sessions = _visits(room, rng)
    seen = np.concatenate([movements(v, room.coverage, rng) for v in visits])
    if room.heater:
        seen = np.concatenate([seen, heater_triggers(rng)])
    starts, ends = _union(visits)
    return People(re_armed(np.sort(seen)), starts, ends, np.array(sessions).reshape(-1, 2))

"""What a detector would see if the light never went off: movements, bursts at the door, stray triggers."""

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.simulation.days import DAY_S
from tests.simulation.parameters import Detector, People
from tests.simulation.schedules import Visits

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

NOBODY = -1  # owner of a stray trigger
_SPARE_DRAWS = 10  # stillnesses kept beyond the end of a visit, for when reactions cut others short


@dataclass(frozen=True)
class Natural:
    """Movements seen without any reaction to the light, before the detector's dead time.

    Attributes
    ----------
    time_s, owner, at_door
        Shape (movements,), in order of time: when, which visit, and whether on entering or leaving.
    stream_s, stream_from
        Movements of visit v between its ends are ``stream_s[stream_from[v]:stream_from[v + 1]]``; some lie beyond
        its end.
    pace
        Factor on the stillnesses of every visit.
    """

    time_s: FloatArray
    owner: IntArray
    at_door: NDArray[np.bool_]
    stream_s: FloatArray
    stream_from: IntArray
    pace: FloatArray


def seen_stillness(rng: np.random.Generator, people: People, coverage: float, n: int) -> FloatArray:
    """About `n` pauses [s] between movements that are seen, quiet and busy spells taking turns."""
    draws = people.stillness.sample(rng, max(int(n / coverage) + 100, 500))
    if people.quiet_share > 0:
        # Spells of some dozens of movements; lengths are in movements, so quiet ones last longer.
        runs = rng.geometric(1 / 30, 2 * (len(draws) // 30) + 10)
        quiet = rng.random(len(runs)) < people.quiet_share
        factor = np.repeat(np.where(quiet, people.quiet_factor, 1.0), runs)
        draws = draws * np.resize(factor, len(draws))
    clock = np.cumsum(draws)
    return np.diff(clock[rng.random(len(draws)) < coverage], prepend=0.0)


def _streams(
    rng: np.random.Generator, visits: Visits, people: People, detector: Detector
) -> tuple[FloatArray, IntArray, FloatArray]:
    """Movements between the ends of every visit as one array, where each visit starts in it, and its pace."""
    pace = visits.pace * rng.lognormal(0.0, people.visit_sigma, len(visits.pace))
    pace = np.where(rng.random(len(pace)) < people.hidden_share, pace * people.hidden_factor, pace)
    need = np.where(visits.dwells, (visits.end_s - visits.start_s) / pace, 0.0)
    mean = float(np.mean(seen_stillness(rng, people, detector.coverage, 20_000)))
    spare = _SPARE_DRAWS if people.p_fresh > 0 else 1
    n = int(need.sum() / mean * 1.1) + (spare + 4) * int(visits.dwells.sum()) + 1000
    clock = np.cumsum(seen_stillness(rng, people, detector.coverage, n))
    starts, stops = [], []
    at, ticks = 0, clock.tolist()
    for length in need.tolist():
        if length == 0.0:
            starts.append(at)
            stops.append(at)
            continue
        base = ticks[at]
        stop = bisect_right(ticks, base + length, at) + spare
        while stop >= len(ticks):
            more = ticks[-1] + np.cumsum(seen_stillness(rng, people, detector.coverage, 20_000))
            ticks.extend(more.tolist())
            stop = bisect_right(ticks, base + length, at) + spare
        starts.append(at + 1)
        stops.append(stop)
        at = stop
    clock = np.asarray(ticks)
    first, counts = np.asarray(starts, dtype=np.int64), np.asarray(stops) - np.asarray(starts)
    visit = np.repeat(np.arange(len(first)), counts)
    base = clock[np.maximum(first - 1, 0)]
    index = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts) + first[visit]
    stream = visits.start_s[visit] + (clock[index] - base[visit]) * pace[visit]
    return stream, np.concatenate([[0], np.cumsum(counts)]).astype(np.int64), pace


def _bursts(
    rng: np.random.Generator, visits: Visits, people: People, detector: Detector
) -> tuple[FloatArray, IntArray]:
    """Movements on entering and leaving. The first on entering is always seen, others as far as coverage goes."""
    n = len(visits.start_s)
    times, owners = [], []
    for mean, edge, sign in ((people.burst_in, visits.start_s, 1.0), (people.burst_out, visits.end_s, -1.0)):
        count = 1 + np.where(rng.random(n) < people.single_burst, 0, rng.poisson(mean, n))
        count = np.where(visits.dwells, count, np.minimum(count, 3))
        owner = np.repeat(np.arange(n), count)
        first = np.cumsum(count) - count
        step = rng.exponential(1.6, len(owner)) + 0.1
        clock = np.cumsum(step)
        offset = clock - clock[first][owner] + 0.2
        at = edge[owner] + sign * offset
        inside = (at > visits.start_s[owner]) & (at < visits.end_s[owner])
        seen = rng.random(len(owner)) < detector.coverage
        if sign > 0:
            seen[first] = True
        times.append(at[inside & seen])
        owners.append(owner[inside & seen])
    return np.concatenate(times), np.concatenate(owners)


def natural_motion(
    rng: np.random.Generator, visits: Visits, people: People, detector: Detector, span_s: float
) -> Natural:
    """Movements of all visits as far as the detector sees them, in order of time."""
    stream, stream_from, pace = _streams(rng, visits, people, detector)
    owner = np.repeat(np.arange(len(visits.start_s)), np.diff(stream_from))
    inside = stream < visits.end_s[owner]
    door, door_owner = _bursts(rng, visits, people, detector)
    stray = np.sort(rng.random(rng.poisson(detector.stray_per_day * span_s / DAY_S)) * (span_s - 120.0)) + 60.0
    time = np.concatenate([stream[inside], door, stray])
    who = np.concatenate([owner[inside], door_owner, np.full(len(stray), NOBODY)])
    at_door = np.concatenate([np.zeros(inside.sum(), bool), np.ones(len(door) + len(stray), bool)])
    order = np.argsort(time, kind="stable")
    return Natural(time[order], who[order], at_door[order], stream, stream_from, pace)


def after_dead_time(time_s: FloatArray, dead_time_s: float, since_s: float = -np.inf) -> FloatArray:
    """Triggers left when each blinds the detector for `dead_time_s` [s]; `since_s` is the last one before them."""
    if dead_time_s <= 0:
        return time_s
    kept = []
    free = since_s + dead_time_s
    for t in time_s.tolist():
        if t >= free:
            kept.append(t)
            free = t + dead_time_s
    return np.asarray(kept, dtype=float)

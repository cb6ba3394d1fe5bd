"""When people come and go: visits of single persons to a room, from the numbers of its use."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.simulation.days import DAY_S, Calendar

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Visits:
    """Visits of single persons, in order of `start_s`; all arrays of shape (visits,).

    Attributes
    ----------
    start_s, end_s
        Seconds after the start of the calendar.
    pace
        Factor on the person's stillnesses (0.2 for a cleaner at work).
    dwells
        False for somebody who only passes through: a few movements, no stillness.
    """

    start_s: FloatArray
    end_s: FloatArray
    pace: FloatArray
    dwells: BoolArray


def make_visits(
    start_s: FloatArray, end_s: FloatArray, *, pace: float = 1.0, dwells: bool | BoolArray = True
) -> Visits:
    """Visits with one pace, those that are too short to be one dropped."""
    dwell = np.broadcast_to(np.asarray(dwells), start_s.shape)
    keep = end_s - start_s > np.where(dwell, 10.0, 2.0)
    return Visits(start_s[keep], end_s[keep], np.full(keep.sum(), pace), dwell[keep])


def join_visits(parts: list[Visits], span_s: float) -> Visits:
    """Put visits together, in order of their start, and drop those that leave the span."""
    start, end, pace, dwells = (
        np.concatenate([getattr(p, name) for p in parts]) for name in ("start_s", "end_s", "pace", "dwells")
    )
    keep = (start > 60.0) & (end < span_s - 60.0)
    order = np.argsort(start[keep], kind="stable")
    return Visits(start[keep][order], end[keep][order], pace[keep][order], dwells[keep][order])


def others(rng: np.random.Generator, calendar: Calendar, s: dict[str, Any]) -> list[Visits]:
    """Cleaners in the evening or early morning, a guard at night, and people who look in or pass by."""
    midnight = calendar.midnight_s
    days = len(midnight)
    work = calendar.weekday < 5
    comes = (rng.random(days) < s["cleaner_p"]) & work
    start = midnight[comes] + 3600 * (s["cleaner_h"] + rng.normal(0, 0.3, comes.sum()))
    cleaner = make_visits(start, start + 60 * s["cleaner_min"] * rng.lognormal(0, 0.3, comes.sum()), pace=0.2)
    guard_at = midnight[rng.random(days) < s["guard_p"]]
    guard_at = guard_at + 3600 * (2.0 + rng.normal(0, 0.8, len(guard_at)))
    n = rng.poisson(s["passers_per_day"] * np.where(work, 1.0, 0.1))
    at = np.repeat(midnight, n) + 3600 * np.clip(rng.normal(12.5, 3.0, n.sum()), 5.5, 22.0)
    brief = np.concatenate([guard_at, at])
    passing = make_visits(brief, brief + rng.uniform(3.0, 20.0, len(brief)), dwells=False)
    return [cleaner, passing]


def _cut(
    start: FloatArray, end: FloatArray, absences: list[tuple[NDArray[np.int64], FloatArray, FloatArray]]
) -> Visits:
    """Take absences (index of the presence, start, end) out of presences; returns what is left."""
    who = np.concatenate([np.arange(len(start)), *(a[0] for a in absences)])
    # Every presence opens with an "absence" that ends at its start; what lies between two absences is a visit.
    begin = np.concatenate([np.full(len(start), -np.inf), *(a[1] for a in absences)])
    back = np.concatenate([start, *(a[2] for a in absences)])
    order = np.lexsort((begin, who))
    who, begin, back = who[order], begin[order], back[order]
    lift = who * 1e9
    back = np.maximum.accumulate(back + lift) - lift
    following = np.append(begin[1:], np.inf)
    last = np.append(who[1:] != who[:-1], True)
    stop = np.minimum(np.where(last, np.inf, following), end[who])
    return make_visits(back, stop)


def desks(rng: np.random.Generator, calendar: Calendar, s: dict[str, Any]) -> Visits:
    """People at desks: arrival, lunch, short and long absences, going home; some days away, few weekends."""
    days, people = len(calendar.midnight_s), s["people"]
    p = np.where(calendar.weekday < 5, s["p_day"], s["p_weekend"])
    habit = rng.normal(0, 0.6, people)  # early and late birds
    here = rng.random((people, days)) < p
    shape = here.shape
    arrive = s["arrive_h"] + habit[:, None] + rng.normal(0, s["arrive_sd_h"], shape)
    stay = np.clip(rng.normal(s["stay_h"], s["stay_sd_h"], shape), 1.0, 12.0)
    start = (calendar.midnight_s + 3600 * np.clip(arrive, 5.0, 15.0))[here]
    end = start + 3600 * stay[here]
    noon = np.broadcast_to(calendar.midnight_s + 3600 * s["lunch_h"], shape)[here]
    lunch = np.flatnonzero(rng.random(len(start)) < s["lunch_p"])
    lunch_at = noon[lunch] + rng.normal(0, 900, len(lunch))
    absences = [(lunch, lunch_at, lunch_at + 60 * s["lunch_min"] * rng.lognormal(0, 0.25, len(lunch)))]
    for rate, minutes, sigma in (
        (s["short_per_h"] * s["stay_h"], s["short_min"], 0.7),
        (s["long_per_day"], s["long_min"], 0.5),
    ):
        n = rng.poisson(rate, len(start))
        who = np.repeat(np.arange(len(start)), n)
        at = start[who] + rng.random(len(who)) * (end - start)[who]
        absences.append((who, at, at + 60 * minutes * rng.lognormal(0, sigma, len(who))))
    return join_visits([_cut(start, end, absences), *others(rng, calendar, s)], calendar.span_s)


def _attend(
    rng: np.random.Generator, start: FloatArray, end: FloatArray, n: NDArray[np.int64], spread_s: float, leave_p: float
) -> Visits:
    """`n` people come to each gathering within `spread_s` [s] of its start; some leave it for a while."""
    which = np.repeat(np.arange(len(start)), n)
    come = start[which] + rng.normal(0, spread_s, len(which))
    go = end[which] + np.abs(rng.normal(0, spread_s / 2, len(which)))
    out = np.flatnonzero(rng.random(len(which)) < leave_p)
    at = come[out] + rng.random(len(out)) * (go - come)[out]
    return _cut(come, go, [(out, at, at + 60 * 5 * rng.lognormal(0, 0.8, len(out)))])


def meetings(rng: np.random.Generator, calendar: Calendar, s: dict[str, Any]) -> Visits:
    """Meetings of a few people on the half hours, sometimes of one person on a call; some days none."""
    weight = np.where(calendar.weekday < 5, 1.0, s["p_weekend"])
    busy = rng.choice([0.3, 1.0, 1.6], len(weight))
    n = rng.poisson(s["per_day"] * busy * weight)
    slot = rng.choice(np.arange(16, 35), size=n.sum(), p=_hump(19)) / 2
    start = np.repeat(calendar.midnight_s, n) + 3600 * slot
    start = np.unique(start)  # one meeting in one slot
    length = 60.0 * rng.choice(s["minutes"], len(start)) * rng.lognormal(0, 0.1, len(start))
    count = 1 + np.where(rng.random(len(start)) < s["alone_p"], 0, 1 + rng.poisson(s["attendees"] - 2, len(start)))
    visits = _attend(rng, start, start + length, np.minimum(count, 8), 100.0, s["leave_p"])
    return join_visits([visits, *others(rng, calendar, s)], calendar.span_s)


def _hump(n: int) -> FloatArray:
    weight = 1.0 + np.cos(np.linspace(-2.2, 2.2, n))
    return np.asarray(weight / weight.sum())


def lessons(rng: np.random.Generator, calendar: Calendar, s: dict[str, Any]) -> Visits:
    """Lessons by a timetable; some people stay over the pause, a teacher works alone in the afternoon."""
    timetable = np.asarray(s["timetable"] + [[False] * 8] * 2)
    takes = timetable[calendar.weekday] & (rng.random((len(calendar.weekday), 1)) >= s["holiday_p"])
    day, slot = np.nonzero(takes)
    start = calendar.midnight_s[day] + 3600 * s["first_h"] + 60 * slot * (s["lesson_min"] + s["pause_min"])
    stays = np.where(rng.random(len(start)) < s["stay_p"], s["pause_min"] - 1.0, 0.0)
    end = start + 60 * (s["lesson_min"] + stays)
    # Pupils sit close together: a few effective people stand for the class in what a detector sees.
    people = np.maximum(1, rng.binomial(s["people"], 0.85, len(start)))
    visits = _attend(rng, start, end, people, 70.0, 0.03)
    n = rng.poisson(s["alone_per_day"] * (calendar.weekday < 5))
    at = np.repeat(calendar.midnight_s, n) + 3600 * rng.uniform(13.0, 17.5, n.sum())
    alone = make_visits(at, at + 60 * s["alone_min"] * rng.lognormal(0, 0.5, len(at)))
    return join_visits([visits, alone, *others(rng, calendar, s)], calendar.span_s)


_PROFILES = {
    # Relative density of visits in the hours from 6 to 22.
    "work": np.array([0.3, 0.8, 1.4, 1.2, 1.3, 1.4, 1.6, 1.4, 1.1, 1.2, 1.1, 0.7, 0.3, 0.15, 0.1, 0.05]),
    "open": np.array([0.0, 0.0, 0.3, 1.0, 1.4, 1.4, 1.1, 1.3, 1.5, 1.5, 1.3, 1.0, 0.8, 0.6, 0.3, 0.0]),
}


def short_visits(rng: np.random.Generator, calendar: Calendar, s: dict[str, Any]) -> Visits:
    """Visits at random over the day: passing through or staying a log-normal time, sometimes two together."""
    profile = _PROFILES[s["profile"]].copy()
    profile[12:] *= s["evening"] / 0.15 if s["profile"] == "work" else s["evening"]
    profile /= profile.sum()
    weight = np.where(calendar.weekday < 5, 1.0, s["weekend"]) * rng.gamma(6.0, 1 / 6.0, len(calendar.weekday))
    n = rng.poisson(s["rate_per_day"] * weight)
    hour = 6 + rng.choice(len(profile), n.sum(), p=profile) + rng.random(n.sum())
    at = np.repeat(calendar.midnight_s, n) + 3600 * hour
    passes = rng.random(len(at)) < s["pass_p"]
    dwell = s["dwell_s"] * (3.0 if s["dwell_s"] < 30 else 1.0) * rng.lognormal(0, s["dwell_sigma"], len(at))
    end = at + np.where(passes, rng.uniform(4.0, 18.0, len(at)), np.clip(dwell, 15.0, DAY_S / 5))
    both = np.flatnonzero(rng.random(len(at)) < s["together_p"])
    lag = rng.exponential(4.0, len(both))
    pair = make_visits(at[both] + lag, end[both] + lag * 0.5, dwells=~passes[both])
    alone = make_visits(at, end, dwells=~passes)
    return join_visits([alone, pair, *others(rng, calendar, s)], calendar.span_s)

"""Who is in a room when: habits of seven uses, drawn once per room, and the stays that follow from them."""

import math
from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import ClassVar, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

MIN_S, HOUR_S, DAY_S = 60.0, 3600.0, 86_400.0
HOLIDAY_SHARE = 0.015
SHORTEST_STAY_S = 3.0

LESSONS_H = (8.0, 9.0, 10.0, 11.0, 12.75, 13.75, 14.75)
LESSON_S = 45 * MIN_S
LONG_ABSENCES_MIN = (20, 30, 45, 60, 60, 90)
MEETINGS_H = (0.5, 0.75, 1.0, 1.0, 1.5, 2.0)

WORKING = np.full(24, 0.01)
WORKING[7:19] = (0.35, 0.9, 1.0, 1.1, 1.2, 1.5, 1.0, 1.0, 1.0, 0.8, 0.5, 0.2)
WORKING[19:22] = 0.06
SATURDAY = np.full(24, 0.01)
SATURDAY[9:17] = 0.04
OTHER = np.full(24, 0.01)
"""Visits by the hour of the day, over those of an hour of work."""


class Stay(NamedTuple):
    """One person from coming to leaving [s]. Who ``walks`` hardly stops; ``stiller`` multiplies every stillness of who sits."""

    start_s: float
    end_s: float
    walks: bool
    stiller: float


class Stays(NamedTuple):
    """Stays as columns, in order of their start."""

    start_s: NDArray[np.float64]
    end_s: NDArray[np.float64]
    walks: NDArray[np.bool_]
    stiller: NDArray[np.float64]

    def between(self, begin_s: float, end_s: float) -> "Stays":
        """Return those that start in ``begin_s`` ≤ t < ``end_s``, counted from ``begin_s``."""
        chosen = (self.start_s >= begin_s) & (self.start_s < end_s)
        return Stays(
            self.start_s[chosen] - begin_s, self.end_s[chosen] - begin_s, self.walks[chosen], self.stiller[chosen]
        )

    def ended_by(self, end_s: float) -> "Stays":
        """Return the same stays, the last of them cut short."""
        return self._replace(end_s=np.minimum(self.end_s, end_s))


def merged(stretches: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Join stretches that touch or overlap; in order of their start."""
    joined: list[tuple[float, float]] = []
    for start, end in sorted(stretches):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined


def spread(rng: np.random.Generator, sigma: float) -> float:
    """Draw a factor around one."""
    return math.exp(sigma * rng.standard_normal())


def visits_at(rng: np.random.Generator, by_hour: NDArray[np.float64]) -> Iterator[float]:
    """Moments of the day [s] of visits that come by chance, so many an hour."""
    for hour, count in enumerate(rng.poisson(by_hour)):
        yield from HOUR_S * (hour + rng.random(count))


class Habits(ABC):
    """What the people of one use do."""

    passers: ClassVar[bool] = True
    """Whether passers-by look in."""

    @classmethod
    @abstractmethod
    def draw(cls, rng: np.random.Generator) -> Self:
        """Draw the habits of one room."""

    @abstractmethod
    def day(
        self, rng: np.random.Generator, weekday: int, by_hour: NDArray[np.float64], *, works: bool
    ) -> Iterator[Stay]:
        """Stays of one day [s from its midnight]; weekdays from Monday, 0."""


@dataclass(frozen=True)
class Desks(Habits):
    """An office: each person has hours of their own, and is away now and then. Hours of the day [h], absences [s, per hour, per day]."""

    attends: float
    start_h: NDArray[np.float64]
    end_h: NDArray[np.float64]
    stiller: NDArray[np.float64]
    short_per_h: float
    short_s: float
    long_per_day: float
    lunch_h: float

    persons: ClassVar[tuple[int, int]] = (1, 2)

    @classmethod
    def draw(cls, rng: np.random.Generator) -> Self:
        persons = int(rng.integers(cls.persons[0], cls.persons[1] + 1))
        return cls(
            attends=rng.uniform(0.5, 0.92),
            start_h=rng.normal(8.3, 0.6) + rng.normal(0, 0.4, persons),
            end_h=rng.normal(16.9, 0.6) + rng.normal(0, 0.4, persons),
            stiller=np.exp(0.3 * rng.standard_normal(persons)),
            short_per_h=rng.uniform(0.25, 1.0),
            short_s=MIN_S * rng.uniform(2, 6),
            long_per_day=rng.uniform(0.4, 1.8),
            lunch_h=rng.normal(12.1, 0.3),
        )

    def day(
        self, rng: np.random.Generator, weekday: int, by_hour: NDArray[np.float64], *, works: bool
    ) -> Iterator[Stay]:
        for start_h, end_h, stiller in zip(self.start_h, self.end_h, self.stiller, strict=True):
            if rng.random() >= (self.attends if works else 0.02):
                continue
            comes, leaves = HOUR_S * rng.normal(start_h, 0.4), HOUR_S * rng.normal(end_h, 0.6)
            if rng.random() < 0.06:
                leaves += HOUR_S * rng.uniform(0.5, 3)
            leaves = min(leaves, 23.5 * HOUR_S)
            if leaves - comes < HOUR_S / 2:
                continue
            for start, end in self._at_desk(rng, comes, leaves):
                yield Stay(start, end, walks=False, stiller=stiller * spread(rng, 0.2))

    def _at_desk(self, rng: np.random.Generator, comes: float, leaves: float) -> Iterator[tuple[float, float]]:
        short = rng.uniform(comes, leaves, rng.poisson(self.short_per_h * (leaves - comes) / HOUR_S))
        away = [(start, start + self.short_s * spread(rng, 0.6)) for start in short]
        long = rng.uniform(comes, leaves, rng.poisson(self.long_per_day))
        away += [(start, start + MIN_S * rng.choice(LONG_ABSENCES_MIN) * spread(rng, 0.2)) for start in long]
        if rng.random() < 0.85:
            start = HOUR_S * rng.normal(self.lunch_h, 0.25)
            away.append((start, start + MIN_S * rng.uniform(20, 55)))
        back = comes
        for start, end in merged(away):
            if start > leaves:
                break
            if start - back > 20:
                yield back, start
            back = max(back, end)
        if leaves - back > 20:
            yield back, leaves


class ManyDesks(Desks):
    """An open-plan office."""

    persons: ClassVar[tuple[int, int]] = (3, 10)


@dataclass(frozen=True)
class Meetings(Habits):
    """Meetings follow one another until ``end_h``; in some somebody sits alone. ``others`` is the mean number beyond two."""

    busy: float
    alone: float
    others: float
    end_h: float

    @classmethod
    def draw(cls, rng: np.random.Generator) -> Self:
        return cls(rng.uniform(0.25, 0.75), rng.uniform(0.1, 0.45), rng.uniform(0.6, 3.5), rng.normal(16.9, 0.6))

    def day(
        self, rng: np.random.Generator, weekday: int, by_hour: NDArray[np.float64], *, works: bool
    ) -> Iterator[Stay]:
        hour = 8 + 0.5 * int(rng.integers(3)) if works else math.inf
        while hour < self.end_h:
            lasts_h = float(rng.choice(MEETINGS_H))
            if rng.random() < self.busy:
                yield from self._meeting(rng, HOUR_S * hour + rng.normal(0, 60), HOUR_S * lasts_h + rng.normal(0, 240))
                hour += lasts_h
            else:
                hour += 0.5

    def _meeting(self, rng: np.random.Generator, begins: float, lasts: float) -> Iterator[Stay]:
        persons = 1 if rng.random() < self.alone else 2 + rng.poisson(self.others)
        stiller = spread(rng, 0.25)
        for _ in range(persons):
            comes, leaves = begins + rng.normal(0, 90), begins + lasts + abs(rng.normal(0, 40))
            if leaves - comes < MIN_S:
                continue
            if rng.random() < 0.15 and leaves - comes > 25 * MIN_S:  # slips out for a while
                out = rng.uniform(comes + 300, leaves - 600)
                yield Stay(comes, out, walks=False, stiller=stiller)
                comes = out + rng.uniform(90, 400)
            yield Stay(comes, leaves, walks=False, stiller=stiller)


@dataclass(frozen=True)
class Lessons(Habits):
    """Lessons at their hours, some of them still ones; who prepares or stays on is alone."""

    hours: tuple[float, ...]
    busy: float
    alone: float
    persons: float

    @classmethod
    def draw(cls, rng: np.random.Generator) -> Self:
        hours = LESSONS_H[: int(rng.integers(5, 8))]
        return cls(hours, rng.uniform(0.25, 0.75), rng.uniform(0.1, 0.45), rng.uniform(4, 9))

    def day(
        self, rng: np.random.Generator, weekday: int, by_hour: NDArray[np.float64], *, works: bool
    ) -> Iterator[Stay]:
        if not works:
            return
        for hour in self.hours:
            if rng.random() < self.busy:
                persons = max(3, rng.poisson(self.persons))
                stiller = 2.0 if rng.random() < 0.15 else 1.0
                for _ in range(persons):
                    comes = HOUR_S * hour + rng.normal(0, 80)
                    leaves = HOUR_S * hour + LESSON_S + abs(rng.normal(0, 40))
                    yield Stay(comes, leaves, walks=False, stiller=stiller * spread(rng, 0.2))
            elif rng.random() < self.alone:
                comes = HOUR_S * hour + rng.uniform(0, 900)
                yield Stay(comes, comes + rng.uniform(900, 3000), walks=False, stiller=spread(rng, 0.25))
        if rng.random() < self.alone:
            comes = HOUR_S * (self.hours[-1] + 1) + rng.uniform(0, 1200)
            yield Stay(comes, comes + MIN_S * rng.uniform(20, 110), walks=False, stiller=spread(rng, 0.25))


@dataclass(frozen=True)
class Readers(Habits):
    """A reading room, open from ``open_h``: so many a day, each for a while with short absences."""

    per_day: float
    stays_s: float
    open_h: float
    short_per_h: float
    short_s: float

    @classmethod
    def draw(cls, rng: np.random.Generator) -> Self:
        return cls(
            per_day=rng.uniform(4, 14),
            stays_s=MIN_S * rng.uniform(25, 70),
            open_h=rng.uniform(8.5, 10),
            short_per_h=rng.uniform(0.25, 1.0),
            short_s=MIN_S * rng.uniform(2, 6),
        )

    def day(
        self, rng: np.random.Generator, weekday: int, by_hour: NDArray[np.float64], *, works: bool
    ) -> Iterator[Stay]:
        if weekday == 6:
            return
        for hour in rng.uniform(self.open_h, 19.5, rng.poisson(self.per_day * (1.0 if works else 0.5))):
            comes = HOUR_S * hour
            leaves = min(comes + self.stays_s * spread(rng, 0.7), 20.2 * HOUR_S)
            stiller = spread(rng, 0.3)
            for out in np.sort(rng.uniform(comes, leaves, rng.poisson(self.short_per_h * (leaves - comes) / HOUR_S))):
                if out - comes > 60 and leaves - out > 400:
                    yield Stay(comes, out, walks=False, stiller=stiller)
                    comes = out + self.short_s * spread(rng, 0.5)
            if leaves - comes > 30:
                yield Stay(comes, leaves, walks=False, stiller=stiller)


@dataclass(frozen=True)
class Passage(Habits):
    """A corridor: so many an hour walk through; a few meet somebody and talk."""

    per_h: float
    talks: float
    talk_s: float
    walk_s: float

    passers: ClassVar[bool] = False

    @classmethod
    def draw(cls, rng: np.random.Generator) -> Self:
        per_h = math.exp(rng.uniform(math.log(2), math.log(20)))
        return cls(per_h, rng.uniform(0.01, 0.1), MIN_S * rng.uniform(1.5, 5), rng.uniform(6, 20))

    def day(
        self, rng: np.random.Generator, weekday: int, by_hour: NDArray[np.float64], *, works: bool
    ) -> Iterator[Stay]:
        for comes in visits_at(rng, self.per_h * by_hour):
            if rng.random() < self.talks:
                lasts, stiller = self.talk_s * spread(rng, 0.6), spread(rng, 0.25)
                yield Stay(comes, comes + lasts, walks=False, stiller=stiller)
                yield Stay(comes + 2, comes + lasts + 2, walks=False, stiller=stiller)
            else:
                yield Stay(comes, comes + self.walk_s * rng.uniform(0.5, 1.6), walks=True, stiller=1.0)


@dataclass(frozen=True)
class Visits(Habits):
    """A toilet: some sit."""

    per_h: float
    sits: float
    sit_s: float

    passers: ClassVar[bool] = False

    @classmethod
    def draw(cls, rng: np.random.Generator) -> Self:
        return cls(rng.uniform(0.6, 4), rng.uniform(0.2, 0.6), MIN_S * rng.uniform(4, 7))

    def day(
        self, rng: np.random.Generator, weekday: int, by_hour: NDArray[np.float64], *, works: bool
    ) -> Iterator[Stay]:
        for comes in visits_at(rng, self.per_h * by_hour):
            if rng.random() < self.sits:
                yield Stay(comes, comes + self.sit_s * spread(rng, 0.5), walks=False, stiller=spread(rng, 0.25))
            else:
                yield Stay(comes, comes + 1.4 * MIN_S * spread(rng, 0.4), walks=True, stiller=1.0)


@dataclass(frozen=True)
class Others:
    """Who looks in without belonging there, in an hour of work, and who cleans: share of working days, and when [h]."""

    per_h: float
    cleaned: float
    cleaned_h: float

    @classmethod
    def draw(cls, rng: np.random.Generator) -> Self:
        return cls(rng.uniform(0.1, 1.2), rng.uniform(0.3, 0.95), float(rng.choice([6.2, 17.8, 19.0])))

    def day(
        self, rng: np.random.Generator, by_hour: NDArray[np.float64], *, passers: bool, works: bool
    ) -> Iterator[Stay]:
        """Stays of one day [s from its midnight]."""
        if passers:
            for comes in visits_at(rng, self.per_h * by_hour):
                yield Stay(comes, comes + rng.uniform(4, 45), walks=True, stiller=1.0)
        if works and rng.random() < self.cleaned:
            comes = HOUR_S * rng.normal(self.cleaned_h, 0.3)
            yield Stay(comes, comes + MIN_S * rng.uniform(3, 10), walks=True, stiller=1.0)


def stays(rng: np.random.Generator, habits: Habits, others: Others, days: int) -> Stays:
    """All stays of so many days from a Monday."""
    found: list[tuple[float, float, bool, float]] = []
    for day in range(days):
        weekday = day % 7
        works = weekday < 5 and rng.random() >= HOLIDAY_SHARE
        by_hour = WORKING if works else SATURDAY if weekday == 5 else OTHER
        for stay in (
            *habits.day(rng, weekday, by_hour, works=works),
            *others.day(rng, by_hour, passers=habits.passers, works=works),
        ):
            start = day * DAY_S + stay.start_s
            if start > 0 and stay.end_s - stay.start_s > SHORTEST_STAY_S:
                found.append((start, day * DAY_S + stay.end_s, stay.walks, stay.stiller))
    columns = np.array(sorted(found), float).reshape(-1, 4).T
    return Stays(columns[0].copy(), columns[1].copy(), columns[2] > 0, columns[3].copy())

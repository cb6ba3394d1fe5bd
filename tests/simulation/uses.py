"""Room uses: the ranges their parameters are drawn from, and when people come and go."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.simulation import schedules
from tests.simulation.days import Calendar
from tests.simulation.schedules import Visits

Range = tuple[float, float]


@dataclass(frozen=True)
class UseRanges:
    """Ranges of one use. `draw` gives the numbers of a room's schedule, `visits` turns them into visits."""

    required_lx: float
    median_s: Range  # typical pause between two movements of one person [s], drawn log-uniformly
    load_w: Range
    p_windows: float
    p_two_channels: float
    p_dimmed: float
    p_manual: float
    draw: Callable[[np.random.Generator], dict[str, Any]]
    visits: Callable[[np.random.Generator, Calendar, dict[str, Any]], Visits]


def _common(rng: np.random.Generator) -> dict[str, Any]:
    return {
        "cleaner_h": float(rng.choice([5.5, 6.5, 17.5, 19.0, 21.0])),
        "cleaner_p": float(rng.choice([0.0, 0.4, 0.8, 1.0])),
        "cleaner_min": float(rng.uniform(2, 15)),
        "guard_p": float(rng.choice([0.0, 0.0, 0.3, 1.0])),
        "passers_per_day": float(np.exp(rng.uniform(np.log(0.3), np.log(8.0)))),
    }


def _desk(people: tuple[int, int], p_day: Range) -> Callable[[np.random.Generator], dict[str, Any]]:
    def draw(rng: np.random.Generator) -> dict[str, Any]:
        return _common(rng) | {
            "people": int(rng.integers(people[0], people[1] + 1)),
            "p_day": rng.uniform(*p_day),
            "p_weekend": float(rng.choice([0.0, 0.0, 0.03, 0.1])),
            "arrive_h": rng.uniform(7.0, 9.3),
            "arrive_sd_h": rng.uniform(0.2, 1.0),
            "stay_h": rng.uniform(6.5, 9.5),
            "stay_sd_h": rng.uniform(0.4, 1.5),
            "lunch_h": rng.uniform(11.3, 13.0),
            "lunch_p": rng.uniform(0.5, 1.0),
            "lunch_min": rng.uniform(20, 55),
            "short_per_h": rng.uniform(0.3, 1.5),
            "short_min": rng.uniform(1.5, 6.0),
            "long_per_day": rng.uniform(0.3, 2.0),
            "long_min": rng.uniform(25, 70),
        }

    return draw


def _meeting(rng: np.random.Generator) -> dict[str, Any]:
    return _common(rng) | {
        "per_day": rng.uniform(1.0, 5.0),
        "attendees": rng.uniform(2.0, 5.0),
        "minutes": (15, 30, 45, 60, 60, 90, 120),
        "alone_p": rng.uniform(0.05, 0.3),
        "leave_p": rng.uniform(0.0, 0.3),
        "p_weekend": float(rng.choice([0.0, 0.05])),
    }


def _classroom(rng: np.random.Generator) -> dict[str, Any]:
    fill = rng.uniform(0.4, 0.9)
    return _common(rng) | {
        "timetable": (rng.random((5, 8)) < fill).tolist(),
        "lesson_min": float(rng.choice([45, 50])),
        "pause_min": float(rng.choice([5, 10, 15])),
        "first_h": rng.uniform(7.75, 9.0),
        "people": int(rng.integers(3, 9)),
        "stay_p": rng.uniform(0.1, 0.6),
        "alone_per_day": rng.uniform(0.1, 1.2),
        "alone_min": rng.uniform(10, 50),
        "holiday_p": rng.uniform(0.0, 0.08),
    }


def _short(
    rate: Range, dwell_s: Range, sigma: Range, pass_p: Range, evening: Range, day: str = "work"
) -> Callable[[np.random.Generator], dict[str, Any]]:
    def draw(rng: np.random.Generator) -> dict[str, Any]:
        return _common(rng) | {
            "rate_per_day": float(np.exp(rng.uniform(*np.log(rate)))),
            "dwell_s": float(np.exp(rng.uniform(*np.log(dwell_s)))),
            "dwell_sigma": rng.uniform(*sigma),
            "pass_p": rng.uniform(*pass_p),
            "evening": rng.uniform(*evening),
            "weekend": float(rng.choice([0.0, 0.05, 0.3])),
            "together_p": rng.uniform(0.0, 0.3),
            "profile": day,
        }

    return draw


def _reading(rng: np.random.Generator) -> dict[str, Any]:
    return _short((6, 40), (1200, 4500), (0.5, 0.9), (0.1, 0.3), (0.3, 1.0), "open")(rng) | {
        "weekend": float(rng.choice([0.0, 0.5, 1.0]))
    }


USES: dict[str, UseRanges] = {
    "office": UseRanges(500, (4, 20), (60, 300), 0.85, 0.1, 0.7, 0.15, _desk((1, 1), (0.55, 0.95)), schedules.desks),
    "open-plan office": UseRanges(
        500, (6, 30), (250, 900), 0.9, 0.45, 0.75, 0.05, _desk((3, 10), (0.5, 0.9)), schedules.desks
    ),
    "meeting room": UseRanges(500, (4, 20), (120, 600), 0.7, 0.15, 0.7, 0.15, _meeting, schedules.meetings),
    "classroom": UseRanges(500, (4, 20), (250, 900), 0.95, 0.4, 0.6, 0.1, _classroom, schedules.lessons),
    "corridor": UseRanges(
        100,
        (2, 8),
        (60, 600),
        0.4,
        0.0,
        0.3,
        0.0,
        _short((40, 400), (8, 25), (0.4, 0.9), (0.6, 0.97), (0.02, 0.25)),
        schedules.short_visits,
    ),
    "toilet": UseRanges(
        200,
        (4, 18),
        (60, 250),
        0.25,
        0.0,
        0.15,
        0.0,
        _short((8, 90), (90, 260), (0.5, 0.8), (0.05, 0.2), (0.02, 0.2)),
        schedules.short_visits,
    ),
    "store room": UseRanges(
        100,
        (3, 15),
        (60, 300),
        0.15,
        0.0,
        0.15,
        0.15,
        _short((4, 30), (40, 400), (0.7, 1.2), (0.1, 0.5), (0.0, 0.1)),
        schedules.short_visits,
    ),
    "stairs": UseRanges(
        100,
        (2, 6),
        (60, 400),
        0.5,
        0.0,
        0.2,
        0.0,
        _short((30, 300), (8, 20), (0.3, 0.6), (0.85, 1.0), (0.02, 0.25)),
        schedules.short_visits,
    ),
    "copy room": UseRanges(
        300,
        (3, 12),
        (60, 250),
        0.3,
        0.0,
        0.3,
        0.0,
        _short((15, 80), (50, 240), (0.5, 1.0), (0.1, 0.4), (0.0, 0.1)),
        schedules.short_visits,
    ),
    "reading room": UseRanges(500, (8, 30), (150, 900), 0.85, 0.35, 0.7, 0.05, _reading, schedules.short_visits),
}

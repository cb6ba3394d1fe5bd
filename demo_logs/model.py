"""What a room of the demo building can be: its lamps, its people and their stillness; and what holds for the whole building."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo

NAME = "Brimholt Library and Music School"
FIRST_MONDAY = dt.date(2026, 3, 2)
WEEKS = 6
"""Six weeks over the change of clock on 29 March."""
CLOSED = frozenset({dt.date(2026, 4, 3), dt.date(2026, 4, 6)})
"""Good Friday and Easter Monday."""
TIME_ZONE = "Europe/Copenhagen"
LATITUDE_DEG, LONGITUDE_DEG = 55.7, 12.0
CURRENCY = "EUR"
ELECTRICITY_PRICE = 0.30
EMISSION_FACTOR_KG = 0.20
COST_PER_FALSE_OFF = 0.35
CANDIDATES_S = (60, 120, 180, 300, 600, 900, 1200, 1500, 1800)
"""Hold-offs that the truth is stated for; the detectors can be set to these. [s]"""

WEEKDAYS = (0, 1, 2, 3, 4)
SUNDAY_NOON = dt.datetime(2026, 3, 15, 12, 30, tzinfo=ZoneInfo(TIME_ZONE))


@dataclass(frozen=True)
class Stillness:
    """Pauses between the movements of one person that the detector sees: busy ones, and spells of stillness.

    Attributes
    ----------
    busy_s, still_s
        Medians of the two log-normal kinds of pause. [s]
    still_share
        Share of the pauses that are spells of stillness.
    spread
        Standard deviation of the logarithm of a spell. Above 1 the tail is heavy.
    """

    busy_s: float = 18.0
    still_share: float = 0.1
    still_s: float = 60.0
    spread: float = 1.0


@dataclass(frozen=True)
class Residents:
    """People with a desk or bench here: they come, go on errands, have lunch and go home."""

    people: int
    from_h: float
    to_h: float
    errands_per_day: float
    stillness: Stillness
    weekdays: tuple[int, ...] = WEEKDAYS
    away_share: float = 0.08


@dataclass(frozen=True)
class Visitors:
    """People who drop in at random: readers, or passers-by where the stay is short."""

    per_hour: float
    from_h: float
    to_h: float
    stay_s: float
    spread: float
    stillness: Stillness
    weekdays: tuple[int, ...] = WEEKDAYS


@dataclass(frozen=True)
class Sessions:
    """Lessons and meetings: a group comes together, stays, and leaves together. Starts in local hours."""

    starts_h: tuple[float, ...]
    held_share: float
    minutes: float
    people: int
    stillness: Stillness
    weekdays: tuple[int, ...] = WEEKDAYS


Habit = Residents | Visitors | Sessions


@dataclass(frozen=True)
class Spot:
    """A hand-held reading: lamps at some output in the dark, or daylight alone (output 0)."""

    output_pct: float
    daylight_lx: float = 0.0
    when: dt.datetime | None = None


@dataclass(frozen=True)
class Channel:
    """One separately switched load and the light around it.

    Attributes
    ----------
    lamp_lx, neighbour_lx
        What this channel and the room's other one at full output add to the detector's reading. [lx]
    task_per_lamp, task_per_daylight
        Illuminance at the task for each lx of lamps and of daylight in the reading.
    daylight_lx
        Daylight in the reading while it is 20 klx outdoors. [lx]
    facing_deg
        Where its windows face, clockwise from north; ``None`` under skylights or without windows.
    """

    name: str
    load_w: float
    standby_w: float
    control: Literal["dimmed", "switched", "relay"]
    target_lx: float | None = None
    lamp_lx: float = 0.0
    neighbour_lx: float = 0.0
    task_per_lamp: float = 1.4
    task_per_daylight: float = 1.9
    daylight_lx: float = 0.0
    facing_deg: float | None = None
    allowed_target_lx: tuple[int, ...] = ()
    spots: tuple[Spot, ...] = ()
    hold_off_s: int | None = None
    log_power: bool = False
    note: str = ""


@dataclass(frozen=True)
class Room:
    """A room, who uses it, and what is planted in it."""

    key: str
    name: str
    use: str
    area_m2: float
    required_lx: float
    hold_off_s: int
    channels: tuple[Channel, ...]
    habits: tuple[Habit, ...]
    about: str
    planted: str = ""
    documented_s: int | None = None
    goes_on_share: float = 0.5
    cleaning_min: float = 8.0
    sample_s: float = 300.0
    on_change: bool = False
    heater: bool = False
    presses_share: float = 0.0
    pressed_channel: str = ""
    coverage: float = 0.9

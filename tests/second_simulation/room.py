"""One room: what is drawn once and then holds for its log and for its truth, and both of them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tests.second_simulation.lights import DAYLIGHT_AT_WALL, TWO_CHANNELS, Lights, draw_lights
from tests.second_simulation.log import LightLog, Reading, draw_light_log, hand_readings, log_rows
from tests.second_simulation.loop import Manners, Run, run
from tests.second_simulation.people import DAY_S, HOUR_S, Habits, Others, Stays, merged, stays
from tests.second_simulation.sky import DAY_MIN, PLACES, Place, Window, draw_window, outdoors
from tests.second_simulation.stillness import draw_stillness
from tests.second_simulation.uses import USES

CANDIDATES_S = (60, 120, 180, 300, 600, 900, 1200, 1500, 1800)
IN_FORCE_S = (180, 300, 600, 900, 1200)
IN_FORCE_SHARES = (0.30, 0.34, 0.22, 0.09, 0.05)
MOST_WEEKS = 7
"""Longer ones would meet a change of the clocks, which there is none of here."""
TRUTH_WEEKS = 60
LAST_COMING_S = 600.0
"""Nobody comes in the last ten minutes of a log."""
J_PER_KWH = 3.6e6


@dataclass(frozen=True)
class Room:
    """What a room is. ``daylight_shares``: what reaches each channel's detector of what the window gives. Prices in EUR, per kWh and false-off."""

    use: str
    place: Place
    monday: date
    hold_off_s: int
    electricity_price: float
    cost_per_false_off: float
    channels: tuple[str, ...]
    daylight_shares: tuple[float, ...]
    window: Window
    lights: Lights
    manners: Manners
    habits: Habits
    others: Others
    light_log: LightLog
    interior: bool
    spot_readings: bool

    @property
    def start(self) -> datetime:
        """The midnight at which the log begins, in local time."""
        return datetime.combine(self.monday, datetime.min.time(), ZoneInfo(self.place.time_zone))

    @property
    def utc_offset_h(self) -> float:
        """How far local time is ahead of UTC [h]."""
        return (self.start.replace(tzinfo=UTC) - self.start).total_seconds() / HOUR_S


class Simulated(NamedTuple):
    """A room; of its log who was there, daylight (channel, minute), run and rows; readings by hand; what each candidate brings in a week, truly."""

    room: Room
    stays: Stays
    daylight_lx: NDArray[np.float64]
    run: Run
    log: pl.DataFrame
    readings: list[Reading]
    truth_curve: pl.DataFrame

    @property
    def presence_s(self) -> list[tuple[float, float]]:
        """Stretches of the log with somebody there [s]."""
        return merged(zip(self.stays.start_s.tolist(), self.stays.end_s.tolist(), strict=True))


def _log_uniform(rng: np.random.Generator, least: float, most: float) -> float:
    return math.exp(rng.uniform(math.log(least), math.log(most)))


def _draw_monday(rng: np.random.Generator) -> date:
    """Draw a Monday after which no clock changes for seven weeks: mostly of the summer half of a year."""
    if rng.random() < 0.4:
        return date(2025, 11, 3) + timedelta(weeks=int(rng.integers(14)))
    return date(2025, 4, 7) + timedelta(weeks=int(rng.integers(22)))


def _draw_manners(rng: np.random.Generator, median_s: float) -> Manners:
    seen = rng.uniform(0.75, 0.98)
    return Manners(
        seen_large=seen,
        seen_small=seen * rng.uniform(0.5, 0.95),
        seen_waving=rng.uniform(0.85, 0.98),
        dead_s=float(rng.choice([1, 2, 3, 5, 8])),
        fidgets=rng.uniform(0.4, 0.75),
        fidget_s=rng.uniform(4, 15),
        step_s=rng.uniform(1.5, 4),
        stillness=draw_stillness(rng, median_s),
        goes_on=bool(rng.random() < 0.5),
        reaction_s=rng.uniform(3, 10),
        reaction_sigma=rng.uniform(0.4, 0.9),
        need_sigma=0.08,
        output_step=float(rng.choice([0.005, 0.01, 0.02])),
    )


def draw_room(rng: np.random.Generator, use: str, readings_share: float = 0.7) -> Room:
    """Draw a room of a use; ``readings_share`` of them have hand readings."""
    ranges = USES[use]
    interior = bool(rng.random() < ranges.interior)
    two = not interior and bool(rng.random() < ranges.two_channels)
    required_lx = float(rng.choice(ranges.required_lx))
    return Room(
        use=use,
        place=PLACES[rng.integers(len(PLACES))],
        monday=_draw_monday(rng),
        hold_off_s=int(rng.choice(IN_FORCE_S, p=IN_FORCE_SHARES)),
        electricity_price=round(rng.uniform(0.18, 0.40), 3),
        cost_per_false_off=round(_log_uniform(rng, 0.03, 0.7), 3),
        channels=TWO_CHANNELS if two else ("main",),
        daylight_shares=(rng.uniform(*DAYLIGHT_AT_WALL), 1.0) if two else (1.0,),
        window=draw_window(rng, interior=interior),
        lights=draw_lights(rng, required_lx, _log_uniform(rng, *ranges.load_w), 2 if two else 1, interior=interior),
        manners=_draw_manners(rng, _log_uniform(rng, *ranges.stillness_s)),
        habits=ranges.habits.draw(rng),
        others=Others.draw(rng),
        light_log=draw_light_log(rng),
        interior=interior,
        spot_readings=bool(rng.random() < readings_share),
    )


def simulate(
    seed: int | Sequence[int],
    use: str,
    *,
    weeks: int = 6,
    truth_weeks: int = TRUTH_WEEKS,
    candidates_s: Sequence[float] = CANDIDATES_S,
    readings_share: float = 0.7,
) -> Simulated:
    """Simulate a room's log of ``weeks``, and its truth: the dates of the log again and again for at least ``truth_weeks``, under another sky and by
    other stays. All candidates share sky and stays, but for their own movements.
    """
    if not 1 <= weeks <= MOST_WEEKS:
        raise ValueError(f"a log has 1 to {MOST_WEEKS} weeks, not {weeks}: the clocks would change in it")
    children = np.random.SeedSequence(seed).spawn(6 + len(candidates_s))
    rngs = [np.random.default_rng(s) for s in children]
    room = draw_room(rngs[0], use, readings_share)
    days, repeats = 7 * weeks, 1 + max(1, math.ceil(truth_weeks / weeks))
    outside = outdoors(rngs[1], room.place, room.monday, room.utc_offset_h, days, repeats)
    daylight_lx = np.outer(room.daylight_shares, room.window.inside_lx(outside))
    everybody = stays(rngs[2], room.habits, room.others, days * repeats)

    log_s, log_min = days * DAY_S, days * DAY_MIN
    logged = everybody.between(0, log_s - LAST_COMING_S).ended_by(log_s - 1)
    log_lx = np.ascontiguousarray(daylight_lx[:, :log_min])
    of_log = run(rngs[3], room.manners, room.lights, logged, log_lx, room.hold_off_s, records=True)
    log = log_rows(rngs[4], room.light_log, room.channels, room.lights, of_log, log_lx)

    readings = hand_readings(rngs[5], room.channels, room.lights, log_lx) if room.spot_readings else []

    later, later_lx = everybody.between(log_s, math.inf), np.ascontiguousarray(daylight_lx[:, log_min:])
    curve = [
        _in_a_week(
            room, hold_off_s, run(rng, room.manners, room.lights, later, later_lx, hold_off_s), weeks * (repeats - 1)
        )
        for hold_off_s, rng in zip(candidates_s, rngs[6:], strict=True)
    ]
    return Simulated(room, logged, log_lx, of_log, log, readings, pl.concat(curve))


def _in_a_week(room: Room, hold_off_s: float, of_truth: Run, weeks: int) -> pl.DataFrame:
    false_offs = of_truth.false_offs / weeks
    energy_kwh = of_truth.wasted_j / J_PER_KWH / weeks
    return pl.DataFrame(
        {
            "channel": room.channels,
            "hold_off_s": [float(hold_off_s)] * len(room.channels),
            "false_offs": false_offs,
            "wasted_on_h": of_truth.wasted_s / HOUR_S / weeks,
            "cost": false_offs * room.cost_per_false_off + energy_kwh * room.electricity_price,
        }
    )

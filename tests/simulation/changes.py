"""Rooms in which something changes on a known day: people who sit stiller, lamps that give less, a trigger at night.

The room before and after is one room: the same visits, the same daylight. Shares nothing with ``tuning``.
"""

from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

import numpy as np
import polars as pl

from tests.simulation.building import room_table, site_table
from tests.simulation.closed_loop import run_loop
from tests.simulation.daylight import channel_lights
from tests.simulation.days import make_calendar
from tests.simulation.faults import relit
from tests.simulation.light_truth import spot_readings
from tests.simulation.logs import make_log
from tests.simulation.motion import after_dead_time, natural_motion
from tests.simulation.parameters import RoomParameters, draw_parameters
from tests.simulation.room import SimulatedRoom, generators
from tests.simulation.scene import Run, change_over, quiet_moment
from tests.simulation.truth import World, make_world

Kind = Literal["none", "stiller", "dimmer-lamps", "night-trigger"]


@dataclass(frozen=True)
class Change:
    """What changes (`kind`), on which day of the log (from 0), and by what factor (stillness, lamps)."""

    kind: Kind
    day: int
    factor: float = 1.0


def changed_room(seed: int, use: str, change: Change, *, weeks: int, **overrides: Any) -> SimulatedRoom:
    """Simulate a room with a change in it; with ``none`` the same room and log without.

    Raises
    ------
    ValueError
        If there is no quiet moment on the day of the change.
    """
    draw_rng, log_rng, change_rng = generators(seed, use)
    room = draw_parameters(draw_rng, use, f"r{seed}", **overrides)
    calendar = make_calendar(room.first_monday, weeks, room.place)
    world = make_world(log_rng, room, calendar)
    run = run_loop(world.scene, float(room.hold_off_s), log_rng, with_motion=True)
    at_s = float(calendar.midnight_s[change.day])
    if change.kind == "stiller":
        run = _stiller(world, room, run, change.factor, at_s, change_rng)
    elif change.kind == "night-trigger":
        run = _night_trigger(world, room, run, at_s, calendar.midnight_s, change_rng)
    if change.kind == "dimmer-lamps":
        log = _dimmer(world, room, run, change.factor, at_s, calendar.start, log_rng)
    else:
        log = make_log(log_rng, world, room, run, calendar.start)
    nothing = pl.DataFrame()
    return SimulatedRoom(
        room.room,
        use,
        site_table(room),
        room_table(room, spot_readings(np.random.default_rng(seed + 1), room)),
        log,
        nothing,
        nothing,
        nothing,
        asdict(room) | {"change": asdict(change), "seed": seed, "weeks": weeks},
    )


def _stiller(world: World, room: RoomParameters, run: Run, factor: float, at_s: float, rng: np.random.Generator) -> Run:
    people = replace(
        room.people, stillness=replace(room.people.stillness, scale_s=room.people.stillness.scale_s * factor)
    )
    natural = natural_motion(rng, world.scene.visits, people, room.detector, world.scene.span_s)
    seen = after_dead_time(natural.time_s, room.detector.dead_time_s)
    scene = replace(world.scene, natural=natural, seen_s=seen, people=people)
    after = run_loop(scene, float(room.hold_off_s), rng, with_motion=True)
    return change_over(run, after, quiet_moment([run, after], scene, at_s))


def _night_trigger(
    world: World, room: RoomParameters, run: Run, at_s: float, midnight_s: Any, rng: np.random.Generator
) -> Run:
    """A heater that triggers every so many minutes, on most nights."""
    period = rng.uniform(6, 45) * 60
    n = int(6.3 * 3600 / period)
    nights = midnight_s[(midnight_s >= at_s) & (rng.random(len(midnight_s)) < rng.uniform(0.5, 1.0))]
    extra = [k + 22.3 * 3600 + rng.uniform(0, period) + period * np.arange(n) + rng.normal(0, 20, n) for k in nights]
    motion = np.sort(np.concatenate([run.motion_s, *extra]))
    after = relit(run, motion[motion < run.span_s - 120], float(room.hold_off_s))
    return change_over(run, after, quiet_moment([run, after], world.scene, at_s))


def _dimmer(
    world: World, room: RoomParameters, run: Run, factor: float, at_s: float, start: Any, rng: np.random.Generator
) -> pl.DataFrame:
    """The log of a room whose lamps give less from a moment on; a dimming control makes up for it as far as it can."""
    faded = replace(room, channels=tuple(replace(c, lamp_lx=c.lamp_lx * factor) for c in room.channels))
    later = replace(world, lights=channel_lights(faded, world.knots, world.blind))
    at_s = quiet_moment([run], world.scene, at_s)
    before = make_log(rng, world, room, run, start)
    after = make_log(rng, later, faded, run, start)
    border = pl.lit(start).cast(pl.Datetime("us", "UTC")) + pl.duration(microseconds=round(at_s * 1e6))
    return pl.concat([before.filter(pl.col("time") < border), after.filter(pl.col("time") >= border)])

"""True long-run rates of a room under every candidate: the same room, other random numbers, many weeks."""

from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tests.simulation.closed_loop import run_loop
from tests.simulation.daylight import ChannelLight, channel_lights, daylight_knots
from tests.simulation.days import DAY_S, GRID_S, WEEK_S, Calendar, make_calendar
from tests.simulation.motion import after_dead_time, natural_motion
from tests.simulation.parameters import RoomParameters
from tests.simulation.scene import Run, Scene, merge_presence, time_present
from tests.simulation.schedules import Visits
from tests.simulation.uses import USES

FloatArray = NDArray[np.float64]

_MOST_ROUNDS = 120
_ROUND_COST = 30_000  # what a round costs beside its movements, in movements
PER_WEEK = ("false_offs", "wasted_on_h", "energy_kwh", "cost")


@dataclass(frozen=True)
class World:
    """A scene with the light of every channel, and the cumulated energies that turn intervals into kWh.

    ``lit_s`` and ``energy_j`` are integrals over time of "lamps burn if switched on" and their power, per channel, at
    the edges of minutes; ``hurts`` is, per channel, where somebody would mind its lamps going off.
    """

    scene: Scene
    lights: tuple[ChannelLight, ...]
    hurts: tuple[NDArray[np.bool_], ...]
    burns_s: tuple[FloatArray, ...]
    energy_j: tuple[FloatArray, ...]
    knots: FloatArray
    blind: FloatArray


def make_world(rng: np.random.Generator, room: RoomParameters, calendar: Calendar) -> World:
    """Draw visits, movements and daylight over a calendar."""
    visits = _thinned(rng, USES[room.use].visits(rng, calendar, room.schedule), room, calendar)
    natural = natural_motion(rng, visits, room.people, room.detector, calendar.span_s)
    knots, blind = daylight_knots(rng, calendar, room.sky)
    lights = channel_lights(room, knots, blind)
    need = room.required_lx * room.people.need_factor
    hurts = tuple((light.task_daylight_lx < need) & (light.output > 0) for light in lights)
    powers = [light.power_w(channel) for light, channel in zip(lights, room.channels, strict=True)]
    present_from, present_to = merge_presence(visits)
    scene = Scene(
        visits=visits,
        natural=natural,
        seen_s=after_dead_time(natural.time_s, room.detector.dead_time_s),
        dark=np.logical_or.reduce(hurts),
        manual=room.mode == "manual-on",
        present_from_s=present_from,
        present_to_s=present_to,
        leave_off_s=present_to[rng.random(len(present_to)) < room.people.leave_off_p] + 0.5,
        people=room.people,
        detector=room.detector,
        span_s=calendar.span_s,
    )
    burns = tuple(_integral((light.output > 0).astype(float)) for light in lights)
    return World(scene, lights, hurts, burns, tuple(_integral(p) for p in powers), knots, blind)


def _thinned(rng: np.random.Generator, visits: Visits, room: RoomParameters, calendar: Calendar) -> Visits:
    """Only some of the visits, where the room is used less at times."""
    first, last = room.occupancy
    if first == last == 1.0:
        return visits
    once = calendar.span_s / calendar.repeats
    keep = rng.random(len(visits.start_s)) < first + (last - first) * (visits.start_s % once) / once
    return Visits(visits.start_s[keep], visits.end_s[keep], visits.pace[keep], visits.dwells[keep])


def _integral(per_minute: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(per_minute)]) * GRID_S


def _until(integral: FloatArray, t: FloatArray) -> FloatArray:
    """Value of an integral given at the edges of minutes, at any time [s]."""
    return np.asarray(np.interp(t, np.arange(len(integral)) * GRID_S, integral))


def _while_present(integral: FloatArray, scene: Scene, t: FloatArray) -> FloatArray:
    """Like `_until`, but counting only what falls into presence."""
    start, end = scene.present_from_s, scene.present_to_s
    if len(start) == 0:
        return np.zeros_like(t)
    at_start = _until(integral, start)
    before = np.concatenate([[0.0], np.cumsum(_until(integral, end) - at_start)])
    i = np.searchsorted(start, t, side="right") - 1
    j = np.maximum(i, 0)
    part = _until(integral, np.minimum(t, end[j])) - at_start[j]
    return np.asarray(np.where(i >= 0, before[j] + part, 0.0))


def weekly(world: World, run: Run, room: RoomParameters, c: int) -> dict[str, FloatArray]:
    """Per week of a run and for channel number `c`: the four rates of the contract, each of shape (weeks,)."""
    scene, channel = world.scene, room.channels[c]
    weeks = round(scene.span_s / WEEK_S)
    week = np.minimum((run.on_s // WEEK_S).astype(np.int64), weeks - 1)
    held = ~np.isnan(run.level) & (channel.control == "dimmed")
    held_w = np.where(held, run.level, 0.0) * (channel.load_w - channel.standby_w)

    def spent(integral: FloatArray, while_held: FloatArray) -> tuple[FloatArray, FloatArray]:
        lit = _until(integral, run.off_s) - _until(integral, run.on_s)
        used = _while_present(integral, scene, run.off_s) - _while_present(integral, scene, run.on_s)
        wasted = lit - used
        if held.any():
            there = time_present(run.off_s, scene.present_from_s, scene.present_to_s)
            there -= time_present(run.on_s, scene.present_from_s, scene.present_to_s)
            whole = run.off_s - run.on_s
            lit = np.where(held, whole * while_held, lit)
            wasted = np.where(held, (whole - there) * while_held, wasted)
        return np.bincount(week, lit, weeks).astype(float), np.bincount(week, wasted, weeks).astype(float)

    energy, wasted = (x / 3.6e6 for x in spent(world.energy_j[c], held_w))
    wasted_h = spent(world.burns_s[c], np.ones_like(held_w))[1] / 3600
    false_at = run.off_s[false_offs(world, run, c)]
    count = np.bincount(np.minimum((false_at // WEEK_S).astype(np.int64), weeks - 1), minlength=weeks).astype(float)
    standby = channel.standby_w * 7 * DAY_S / 3.6e6
    # What burns above standby is wasted by burning; standby itself flows either way.
    wasted_full = wasted + channel.standby_w * wasted_h / 1000
    cost = count * room.cost_per_false_off + wasted_full * room.electricity_price
    return {"false_offs": count, "wasted_on_h": wasted_h, "energy_kwh": energy + standby, "cost": cost}


def false_offs(world: World, run: Run, c: int) -> NDArray[np.bool_]:
    """For every lit stretch of a run, whether its end left somebody who minds without channel number `c`."""
    minute = np.minimum((run.off_s // GRID_S).astype(np.int64), len(world.hurts[c]) - 1)
    return np.asarray(run.minds & world.hurts[c][minute])


def truth_curve(
    rng: np.random.Generator,
    room: RoomParameters,
    candidates_s: tuple[int, ...],
    *,
    weeks: int,
    precision: float = 0.02,
    budget: int = 16_000_000,
) -> pl.DataFrame:
    """True rates per week of every channel under every candidate.

    Simulates the weeks of the log again and again with other random numbers (the season stays) until the standard
    error of every cost is below `precision` of it, or `budget` movements were looked at; twice that error is enough
    for a candidate that costs more than three times the best. All candidates see the same people, and a candidate is
    left out of further rounds once it is known well enough.

    Returns
    -------
    polars.DataFrame
        ``channel, hold_off_s, false_offs, wasted_on_h, energy_kwh, cost, cost_se, weeks``.
    """
    repeats = max(1, round(24 / weeks))
    calendar = make_calendar(room.first_monday, weeks, room.place, repeats)
    names = range(len(room.channels))
    sums: dict[tuple[int, int], list[dict[str, FloatArray]]] = {(c, d): [] for c in names for d in candidates_s}
    open_s = set(candidates_s)
    spent = rounds = 0
    while open_s and spent < budget and rounds < _MOST_ROUNDS:
        world = make_world(rng, room, calendar)
        for d in sorted(open_s):
            run = run_loop(world.scene, float(d), rng)
            for c in names:
                sums[c, d].append(weekly(world, run, room, c))
        rounds += 1
        spent += len(world.scene.natural.time_s) + _ROUND_COST
        if rounds > 1:
            open_s = {d for d in open_s if any(_coarse(sums, c, d, precision) for c in names)}
    return pl.DataFrame([_row(room.channels[c].name, d, sums[c, d]) for c in names for d in candidates_s])


def mode_truth(seed: int, room: RoomParameters, *, weeks: int) -> dict[str, dict[str, float]]:
    """What either mode would give under the hold-off in force, per week: energy and lit hours, presses, switch-ons."""
    calendar = make_calendar(room.first_monday, weeks, room.place, max(1, round(24 / weeks)))
    found = {}
    for mode in ("auto-on", "manual-on"):
        rng = np.random.default_rng([seed, 7])
        as_if = replace(room, mode=mode)
        world = make_world(rng, as_if, calendar)
        run = run_loop(world.scene, float(room.hold_off_s), rng)
        energy = sum(weekly(world, run, as_if, c)["energy_kwh"].mean() for c in range(len(room.channels)))
        lit_h = float((run.off_s - run.on_s).sum() / 3600 / calendar.weeks)
        found[mode] = {
            "energy_kwh": float(energy),
            "lit_h": lit_h,
            "presses": len(run.press_s) / calendar.weeks,
            "switch_ons": len(run.on_s) / calendar.weeks,
        }
    return found


def _coarse(sums: dict[tuple[int, int], list[dict[str, FloatArray]]], c: int, d: int, precision: float) -> bool:
    """Whether the cost of candidate `d` is not known well enough yet."""
    cost = np.concatenate([b["cost"] for b in sums[c, d]])
    best = min(np.mean([b["cost"].mean() for b in sums[key]]) for key in sums if key[0] == c)
    error = cost.std(ddof=1) / np.sqrt(len(cost)) / max(cost.mean(), 1e-9)
    return bool(error > precision * (2.0 if cost.mean() > 3 * best else 1.0))


def _row(channel: str, hold_off_s: int, blocks: list[dict[str, FloatArray]]) -> dict[str, object]:
    series = {name: np.concatenate([b[name] for b in blocks]) for name in PER_WEEK}
    means = {name: float(x.mean()) for name, x in series.items()}
    n = len(series["cost"])
    error = float(series["cost"].std(ddof=1) / np.sqrt(n))
    return {"channel": channel, "hold_off_s": hold_off_s} | means | {"cost_se": error, "weeks": n}

"""Rooms with something wrong in them or in their log: one fault of a kind planted in a simulated room.

A fault of the room changes what the detector reports or what the control does, and the lamps follow it; a fault of the log changes the log
alone. Shares nothing with ``tuning``.
"""

import itertools
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tests.simulation.building import room_table, site_table
from tests.simulation.closed_loop import run_loop
from tests.simulation.daylight import at
from tests.simulation.days import DAY_S, GRID_S, Calendar, make_calendar
from tests.simulation.light_truth import spot_readings
from tests.simulation.logs import COLUMNS, make_log, times_utc
from tests.simulation.parameters import RoomParameters, draw_parameters
from tests.simulation.room import SimulatedRoom, generators
from tests.simulation.scene import Run
from tests.simulation.truth import World, make_world

FloatArray = NDArray[np.float64]

DESKS = ("office", "open-plan office", "meeting room", "classroom", "reading room")
WEEKDAYS = ("office", "open-plan office", "meeting room", "classroom")
ANY = (*DESKS, "corridor", "toilet", "store room", "stairs", "copy room")


class UnsuitedError(ValueError):
    """The fault could not be planted in this room."""


@dataclass(frozen=True)
class Case:
    """A room before something is planted in it."""

    rng: np.random.Generator
    room: RoomParameters
    calendar: Calendar
    world: World
    run: Run

    def log(self) -> pl.DataFrame:
        return make_log(self.rng, self.world, self.room, self.run, self.calendar.start)


@dataclass(frozen=True)
class Fault:
    """How a kind is planted: in which uses, with which overrides, and by what. ``suits`` rejects rooms in which it could not show."""

    plant: Callable[[Case], tuple[Case, pl.DataFrame]]
    uses: tuple[str, ...] = ANY
    overrides: dict[str, Any] = field(default_factory=dict)
    suits: Callable[[Case], bool] = lambda _case: True


def relit(run: Run, motion_s: FloatArray, hold_off_s: float, *, governs: FloatArray | None = None) -> Run:
    """The run of an auto-on control that sees other motion: lit from each trigger for the hold-off.

    ``governs`` are the triggers that the control obeys, if not all that are reported.
    """
    t = np.sort(motion_s if governs is None else governs)
    until = np.maximum.accumulate(t + hold_off_s)
    opens = np.append(True, t[1:] > until[:-1]) if len(t) else np.empty(0, bool)
    on, off = t[opens], until[np.append(opens[1:], True)[: len(t)]]
    n = len(on)
    no = np.zeros(n, bool)
    return replace(
        run,
        on_s=on,
        off_s=np.minimum(off, run.span_s),
        level=np.full(n, np.nan),
        by_press=no,
        present=no,
        minds=no,
        motion_s=np.sort(motion_s),
    )


def _with_motion(case: Case, extra_s: FloatArray) -> tuple[Case, pl.DataFrame]:
    motion = np.sort(np.concatenate([case.run.motion_s, extra_s[(extra_s > 60) & (extra_s < case.run.span_s - 120)]]))
    case = replace(case, run=relit(case.run, motion, case.room.hold_off_s))
    return case, case.log()


def heater(case: Case) -> tuple[Case, pl.DataFrame]:
    """A heater that triggers at night, every so many minutes, on most nights."""
    rng, midnight = case.rng, case.calendar.midnight_s
    period = rng.uniform(6, 45) * 60
    nights = midnight[rng.random(len(midnight)) < rng.uniform(0.5, 1.0)]
    at_s = [
        n + 22.3 * 3600 + rng.uniform(0, period) + period * (np.arange(int(6.3 * 3600 / period)))
        + rng.normal(0, 20, int(6.3 * 3600 / period))
        for n in nights
    ]  # fmt: skip
    return _with_motion(case, np.concatenate(at_s))


def own_lamps(case: Case) -> tuple[Case, pl.DataFrame]:
    """The lamps going off trigger the detector, which lights them again, over and over."""
    rng, hold = case.rng, float(case.room.hold_off_s)
    p, delay, lag = rng.uniform(0.5, 0.9), rng.uniform(0.4, 1.8), case.room.detector.off_lag_s
    burns = case.world.lights[0].output > 0
    motion = case.run.motion_s.tolist()
    motion.append(case.run.span_s)
    extra = []
    for a, b in itertools.pairwise(motion):
        last = a
        while last + hold + 3 < b and burns[int((last + hold) // GRID_S)] and rng.random() < p:
            last += hold + lag + delay * rng.uniform(0.9, 1.1)
            extra.append(last)
    return _with_motion(case, np.asarray(extra))


def sun_patch(case: Case) -> tuple[Case, pl.DataFrame]:
    """Sun on the floor triggers the detector in the same hours of sunny days, whoever is there."""
    rng, midnight = case.rng, case.calendar.midnight_s
    from_h, hours = rng.uniform(8.5, 13.0), rng.uniform(2.0, 3.5)
    sunny = at(midnight + (from_h + hours / 2) * 3600, case.world.knots, case.world.blind)
    days = midnight[sunny >= np.quantile(sunny, 0.4)]
    n = rng.poisson(hours * rng.uniform(5, 14), len(days))
    at_s = np.repeat(days, n) + 3600 * (from_h + hours * rng.random(n.sum()))
    return _with_motion(case, at_s)


def next_door(case: Case) -> tuple[Case, pl.DataFrame]:
    """The detector sees people pass outside through a door or a glass wall."""
    rng, midnight = case.rng, case.calendar.midnight_s
    work = midnight[case.calendar.weekday < 5]
    n = rng.poisson(rng.uniform(40, 110), len(work))
    at_s = np.repeat(work, n) + 3600 * np.clip(rng.normal(13.0, 2.7, n.sum()), 6.5, 20.5)
    second = at_s[rng.random(len(at_s)) < 0.3] + rng.uniform(1.0, 4.0)
    return _with_motion(case, np.concatenate([at_s, second]))


def _as_is(case: Case) -> tuple[Case, pl.DataFrame]:
    return case, case.log()


def never_off(case: Case) -> tuple[Case, pl.DataFrame]:
    """The load hangs on no detector: the light burns from the first movement on."""
    run = case.run
    one = relit(run, run.motion_s, 1e9)
    case = replace(case, run=replace(one, motion_s=run.motion_s))
    return case, case.log()


def left_on(case: Case) -> tuple[Case, pl.DataFrame]:
    """Now and then somebody presses on in the afternoon, and the light burns until the next day."""
    rng, run, midnight = case.rng, case.run, case.calendar.midnight_s
    chosen = midnight[(rng.random(len(midnight)) < rng.uniform(0.12, 0.35)) & (case.calendar.weekday < 5)]
    on, off, level = run.on_s, run.off_s.copy(), run.level.copy()
    keep, presses = np.ones(len(on), bool), []
    for day in chosen:
        i = int(np.searchsorted(on, day + 22 * 3600)) - 1
        j = int(np.searchsorted(on, day + DAY_S + 5 * 3600))
        if i < 0 or case.run.off_s[i] < day + 14 * 3600 or not keep[i]:
            continue
        until = min(on[j] if j < len(on) else run.span_s, day + DAY_S + 9 * 3600)
        keep[i + 1 : j] = False
        off[i], level[i] = until - 0.5, np.nan
        presses.append(max(case.run.off_s[i] - 300.0, on[i] + 5.0))
    if len(presses) < 4:
        raise UnsuitedError("light that nobody leaves on")
    fields = {n: getattr(run, n)[keep] for n in ("on_s", "by_press", "present", "minds")}
    press = np.sort(np.concatenate([run.press_s, presses]))
    run = replace(run, **fields, off_s=off[keep], level=level[keep], press_s=press)
    case = replace(case, run=run)
    return case, case.log()


def _with_output(case: Case, change: Callable[[FloatArray, int], FloatArray]) -> Case:
    lights = tuple(replace(light, output=change(light.output.copy(), c)) for c, light in enumerate(case.world.lights))
    return replace(case, world=replace(case.world, lights=lights))


def daylight_burner(case: Case) -> tuple[Case, pl.DataFrame]:
    """The light sensor does not govern: full output whatever the daylight."""
    case = _with_output(case, lambda output, _c: np.ones_like(output))
    return case, case.log()


def _bright_share(case: Case) -> float:
    """Share of lit minutes in which daylight alone is three times the target."""
    minute = np.arange(len(case.world.lights[0].output)) * GRID_S
    lit = case.run.lit_at(minute)
    daylight = at(minute, case.world.knots, case.world.blind) * min(c.daylight_share for c in case.room.channels)
    bright = daylight > 3 * max(c.target_lx for c in case.room.channels)
    return float((bright & lit).sum() / max(lit.sum(), 1))


def hunting(case: Case) -> tuple[Case, pl.DataFrame]:
    """The control chases its own lamps: on and off, or up and down, for an hour or three on some days."""
    rng, midnight = case.rng, case.calendar.midnight_s
    half = int(rng.integers(1, 4))  # min
    low = 0.0 if case.room.channels[0].control == "switched" else rng.uniform(0.1, 0.5)

    def change(output: FloatArray, _c: int) -> FloatArray:
        for day in midnight[rng.random(len(midnight)) < rng.uniform(0.4, 0.8)]:
            a = int((day + rng.uniform(8.5, 14.0) * 3600) // GRID_S)
            n = int(rng.uniform(60, 180))
            output[a : a + n] = np.where((np.arange(len(output[a : a + n])) // half) % 2 == 0, 1.0, low)
        return output

    case = _with_output(case, change)
    return case, case.log()


def fading(case: Case) -> tuple[Case, pl.DataFrame]:
    """The lamps lose output over the weeks, bit by bit or all at once; a dimming control makes up for it while it can."""
    rng, span = case.rng, case.run.span_s
    loss, sudden = rng.uniform(0.2, 0.45), rng.random() < 0.3
    when = rng.uniform(0.35, 0.65) * span

    def lost(t: FloatArray) -> FloatArray:
        return loss * ((t > when).astype(float) if sudden else t / span)

    def change(output: FloatArray, c: int) -> FloatArray:
        if case.room.channels[c].control == "switched":
            return output
        return np.minimum(output / (1 - lost(np.arange(len(output)) * GRID_S)), 1.0)

    case = _with_output(case, change)
    log = case.log()
    start_us = round(case.calendar.start.timestamp() * 1e6)
    frames = [log.filter(pl.col("quantity") != "illuminance")]
    outputs = {
        c.name: log.filter((pl.col("quantity") == "output") & (pl.col("channel") == c.name)) for c in case.room.channels
    }
    for number, channel in enumerate(case.room.channels):
        rows = log.filter((pl.col("quantity") == "illuminance") & (pl.col("channel") == channel.name))
        if rows.is_empty():
            continue
        t = rows["time"].dt.epoch("us").to_numpy()
        missing = np.zeros(len(t))
        for other, burning in enumerate(case.room.channels):
            steps = outputs[burning.name]
            i = np.searchsorted(steps["time"].dt.epoch("us").to_numpy(), t, side="right") - 1
            values = steps["value"].to_numpy() / 100
            level = np.where(i >= 0, values[np.maximum(i, 0)], 0.0) if len(values) else np.zeros(len(t))
            missing += burning.lamp_lx * level * (1.0 if other == number else channel.to_other)
        fainter = np.maximum(np.round(rows["value"].to_numpy() - missing * lost((t - start_us) / 1e6)), 0)
        frames.append(rows.with_columns(value=fainter))
    return case, pl.concat(frames).sort("time", maintain_order=True)


def dead(case: Case) -> tuple[Case, pl.DataFrame]:
    """The detector dies in the second half of the log, and the light stays off."""
    until = case.run.span_s * case.rng.uniform(0.45, 0.75)
    motion = case.run.motion_s
    case = replace(case, run=relit(case.run, motion[motion < until], case.room.hold_off_s))
    return case, case.log()


def _detectors(case: Case, log: pl.DataFrame, seen_by: dict[str, FloatArray]) -> pl.DataFrame:
    """The log with the room's motion told apart by detector, as events."""
    rest = log.filter(pl.col("quantity") != "motion").with_columns(detector=pl.lit(""))
    frames = [rest]
    for name, t in seen_by.items():
        time = times_utc(t, case.calendar.start, case.room.detector.stamp_s)
        columns = {"room": case.room.room, "channel": "", "quantity": "motion"}
        frame = pl.DataFrame({"time": time, "value": np.ones(len(t))}).with_columns(
            pl.lit(v).alias(k) for k, v in columns.items()
        )
        frames.append(frame.select(COLUMNS).with_columns(detector=pl.lit(name)))
    return pl.concat(frames).sort("time", maintain_order=True)


def _two_sides(case: Case) -> tuple[FloatArray, FloatArray]:
    """Motion as two detectors of one room see it: each its own side, some of it both; people keep to a side for minutes."""
    rng, motion = case.rng, case.run.motion_s
    side = rng.random(int(case.run.span_s // 600) + 1) < rng.uniform(0.35, 0.65)
    left = side[(motion // 600).astype(int)] ^ (rng.random(len(motion)) < 0.15)
    both = rng.random(len(motion)) < 0.25
    return motion[left | both], motion[~left | both]


def two_detectors(case: Case) -> tuple[Case, pl.DataFrame]:
    """Nothing wrong: two detectors share the room."""
    a, b = _two_sides(case)
    return case, _detectors(case, case.log(), {"A": a, "B": b})


def ignored(case: Case) -> tuple[Case, pl.DataFrame]:
    """Two detectors are logged, but only one of them keeps the light on."""
    a, b = _two_sides(case)
    case = replace(case, run=relit(case.run, case.run.motion_s, case.room.hold_off_s, governs=a))
    return case, _detectors(case, case.log(), {"A": a, "B": b})


def never_alone(case: Case) -> tuple[Case, pl.DataFrame]:
    """Two detectors; the second sees only what the first sees."""
    motion = case.run.motion_s
    some = motion[case.rng.random(len(motion)) < case.rng.uniform(0.2, 0.7)]
    return case, _detectors(case, case.log(), {"A": motion, "B": some + case.rng.uniform(0, 1.5, len(some))})


def one_dead(case: Case) -> tuple[Case, pl.DataFrame]:
    """One of two detectors dies."""
    a, b = _two_sides(case)
    b = b[b < case.run.span_s * case.rng.uniform(0.45, 0.75)]
    case = replace(case, run=relit(case.run, np.concatenate([a, b]), case.room.hold_off_s))
    return case, _detectors(case, case.log(), {"A": a, "B": b})


def skewed(case: Case, skew_s: float | None = None) -> tuple[Case, pl.DataFrame]:
    """Motion and the lamps' outputs are stamped by two clocks; readings of light go with either."""
    rng = case.rng
    skew = skew_s if skew_s is not None else float(rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(30), np.log(900))))
    return _two_clocks(case, lambda t: np.full(len(t), skew))


def drifting(case: Case) -> tuple[Case, pl.DataFrame]:
    """One of the two clocks runs fast or slow, by some seconds a day."""
    rate = float(case.rng.choice([-1, 1]) * case.rng.uniform(1.0, 5.0)) / DAY_S
    return _two_clocks(case, lambda t: rate * t)


def clock_set(case: Case) -> tuple[Case, pl.DataFrame]:
    """One of the two clocks is set inside the log, most often by the hour of summer time."""
    rng = case.rng
    when, step = rng.uniform(0.25, 0.75) * case.run.span_s, float(rng.choice([3600.0, -3600.0, 3600.0, 600.0, -240.0]))
    return _two_clocks(case, lambda t: np.where(t < when, 0.0, step))


def _two_clocks(case: Case, late_s: Callable[[FloatArray], FloatArray]) -> tuple[Case, pl.DataFrame]:
    """The log with the light stamped late, given how late at true times [s]."""
    rng = case.rng
    with_output = rng.random() < 0.5
    others = ["output", "override", *(["illuminance"] if with_output else [])]
    log = case.log()
    # Telegrams take their time: up to some seconds, never before the change.
    delay_us = np.round(1e6 * np.minimum(rng.gamma(2.0, 0.4, log.height), 5.0)).astype(np.int64)
    t = (log["time"].dt.epoch("us").to_numpy() - round(case.calendar.start.timestamp() * 1e6)) / 1e6
    late = pl.lit(pl.Series(np.round(late_s(t) * 1e6).astype(np.int64) + delay_us).cast(pl.Duration("us")))
    log = log.with_columns(
        time=pl.when(pl.col("quantity").is_in(others)).then(pl.col("time") + late).otherwise(pl.col("time"))
    )
    return case, log.sort("time", maintain_order=True)


def stretched(case: Case) -> tuple[Case, pl.DataFrame]:
    """The logged motion stays up for minutes after each movement."""
    room = replace(
        case.room,
        detector=replace(
            case.room.detector, motion_form="pulses", pulse_s=float(case.rng.uniform(45, 0.9 * case.room.hold_off_s))
        ),
    )
    case = replace(case, room=room)
    return case, case.log()


def decaying(case: Case) -> tuple[Case, pl.DataFrame]:
    """The logged motion is a level: full at each movement, then falling to nothing in five steps over minutes."""
    rng, motion = case.rng, case.run.motion_s
    fall = rng.uniform(60, 300)
    until = np.append(motion[1:], case.run.span_s)
    t, value = [motion], [np.ones(len(motion))]
    for step in range(1, 6):
        at_s = motion + fall * step / 5
        comes = at_s < np.minimum(until, case.run.span_s)
        t.append(at_s[comes])
        value.append(np.full(int(comes.sum()), 1 - step / 5))
    log = case.log().filter(pl.col("quantity") != "motion")
    columns = {"room": case.room.room, "channel": "", "quantity": "motion"}
    level = pl.DataFrame(
        {
            "time": times_utc(np.concatenate(t), case.calendar.start, case.room.detector.stamp_s),
            "value": np.round(np.concatenate(value), 1),
        }
    ).with_columns(pl.lit(v).alias(k) for k, v in columns.items())
    return case, pl.concat([log, level.select(COLUMNS)]).sort("time", maintain_order=True)


def supply(case: Case) -> tuple[Case, pl.DataFrame]:
    """The supply fails a few times; when it is back, all lamps burn for half a minute while the detectors warm up."""
    rng, run = case.rng, case.run
    start = rng.uniform(0.05, 0.95, int(rng.integers(2, 5))) * run.span_s
    end = start + rng.uniform(0.75, 5.0, len(start)) * 3600
    log = case.log()
    t = (log["time"].dt.epoch("us").to_numpy() - round(case.calendar.start.timestamp() * 1e6)) / 1e6
    out = np.any((t[:, None] >= start) & (t[:, None] < end + 40), axis=1)
    rows = []
    for channel in case.room.channels:
        for e in end:
            lit = run.lit_at(np.array([e + 40.0]))[0]
            rows += [(e + 1.0, channel.name, 100.0)] + ([] if lit else [(e + 31.0, channel.name, 0.0)])
    when = times_utc(np.array([r[0] for r in rows]), case.calendar.start, case.room.detector.stamp_s)
    back = pl.DataFrame({"time": when, "channel": [r[1] for r in rows], "value": [r[2] for r in rows]}).with_columns(
        room=pl.lit(case.room.room), quantity=pl.lit("output")
    )
    kept = log.filter(pl.Series(~out))
    return case, pl.concat([kept, back.select(kept.columns)]).sort("time", maintain_order=True)


def _lux(case: Case, change: Callable[[FloatArray, FloatArray], FloatArray]) -> tuple[Case, pl.DataFrame]:
    """The log with the values of illuminance changed, given times [s] and values [lx]."""
    log = case.log()
    t = (log["time"].dt.epoch("us").to_numpy() - round(case.calendar.start.timestamp() * 1e6)) / 1e6
    is_lux = (log["quantity"] == "illuminance").to_numpy()
    value = log["value"].to_numpy().copy()
    value[is_lux] = np.round(change(t[is_lux], value[is_lux]))
    return case, log.with_columns(value=pl.Series(value))


def stuck_lux(case: Case) -> tuple[Case, pl.DataFrame]:
    """From some day on the light sensor reports one value."""
    when = case.run.span_s * case.rng.uniform(0.2, 0.6)
    held = float(case.rng.choice([0.0, 37.0, 210.0]))
    return _lux(case, lambda t, lx: np.where(t > when, held, lx))


def zero_offset(case: Case) -> tuple[Case, pl.DataFrame]:
    """The light sensor adds some lux to everything, in the dark too."""
    offset = case.rng.uniform(12, 40)
    return _lux(case, lambda _t, lx: lx + offset)


def saturated(case: Case) -> tuple[Case, pl.DataFrame]:
    """The light sensor ends at a value that bright hours pass."""
    lux = case.log().filter(pl.col("quantity") == "illuminance")["value"]
    top = float(lux.quantile(case.rng.uniform(0.8, 0.93)) or 0)
    return _lux(case, lambda _t, lx: np.minimum(lx, top))


def _lit_evenings(case: Case) -> int:
    """Long absences that begin with the lamps going off, not having been kept off by daylight."""
    off, output = case.run.off_s, case.world.lights[0].output
    burning = output[np.minimum(off // GRID_S, len(output) - 1).astype(int)] > 0
    return int((burning & np.append(np.diff(off) > 2 * 3600, True)).sum())


def _apart_share(case: Case) -> float:
    """Share of lit minutes in which the two channels burn at clearly different outputs."""
    minute = np.arange(len(case.world.lights[0].output)) * GRID_S
    lit = case.run.lit_at(minute)
    a, b = (light.output for light in case.world.lights)
    return float(((np.abs(a - b) > 0.3) & lit).sum() / max(lit.sum(), 1))


def _busy_share(case: Case) -> float:
    """Share of the working hours of weekdays in which somebody is there."""
    minute = np.arange(0.0, case.run.span_s, GRID_S)
    scene = case.world.scene
    i = np.searchsorted(scene.present_from_s, minute, side="right") - 1
    there = (i >= 0) & (np.append(scene.present_to_s, -np.inf)[i] > minute)
    day = np.searchsorted(case.calendar.midnight_s, minute, side="right") - 1
    hour = (minute - case.calendar.midnight_s[day]) / 3600
    working = (case.calendar.weekday[day] < 5) & (hour > 8) & (hour < 18)
    return float(there[working].mean())


def _dark_nights(case: Case) -> bool:
    return case.room.sky.night_lx < 2


def _lamps_tell(case: Case) -> bool:
    """Whether the log shows the lamps going on and off often enough beside readings."""
    return len(case.run.on_s) > 60


def _often_switched(case: Case) -> bool:
    """Whether there are enough switch-ons to follow a clock through the log, three a day."""
    return len(case.run.on_s) > 130


def _two(case: Case) -> bool:
    return len(case.room.channels) == 2


def _switches(case: Case) -> bool:
    return len(case.run.on_s) > 40


def _regular(case: Case) -> bool:
    return case.room.light_log.sample_s > 0 or 0 < case.room.light_log.heartbeat_s <= 900


AUTO: dict[str, Any] = {"mode": "auto-on", "leave_off_p": 0.0, "dims_p": 0.0}
SEEN: dict[str, Any] = {"hidden_share": 0.0}
"""Nobody sits where the detector sees them badly: that would be a blind spot, if a small one."""

FAULTS: dict[str, Fault] = {
    "heater": Fault(heater, ANY, AUTO),
    "own-lamps": Fault(own_lamps, ANY, AUTO, lambda c: len(c.run.on_s) > 40 and _lit_evenings(c) > 15),
    "sun-patch": Fault(sun_patch, WEEKDAYS, AUTO | {"windows": True}),
    "next-door": Fault(next_door, DESKS, AUTO, lambda c: _busy_share(c) < 0.6),
    "blind-spot": Fault(
        _as_is,
        ("office", "open-plan office", "reading room", "meeting room"),
        AUTO | {"hidden_share": 0.4, "hidden_factor": 150.0, "windows": False, "wave_missed": 0.0},
        lambda c: c.room.hold_off_s <= 900 and int(c.run.minds.sum()) > 100,
    ),
    "mismatch": Fault(_as_is, ANY, {"documented": True}, _switches),
    "never-off": Fault(never_off, ANY, AUTO, _switches),
    "left-on": Fault(left_on, ANY, AUTO, _switches),
    "daylight-burner": Fault(daylight_burner, DESKS, AUTO | {"windows": True}, lambda c: _bright_share(c) > 0.08),
    "hunting": Fault(hunting, DESKS, AUTO, _switches),
    "swapped": Fault(
        _as_is,
        ("open-plan office", "classroom", "reading room"),
        {"swapped": True, "own_detectors": True},
        lambda c: _two(c) and _apart_share(c) > 0.05,
    ),
    "fading": Fault(fading, ANY, AUTO, _lamps_tell),
    "dead": Fault(dead, ANY, AUTO, _switches),
    "one-dead": Fault(one_dead, ANY, AUTO, lambda c: len(c.run.motion_s) > 5000),
    "ignored": Fault(ignored, DESKS, AUTO, _switches),
    "never-alone": Fault(never_alone, ANY, AUTO, lambda c: len(c.run.motion_s) > 3000),
    "skew": Fault(skewed, ANY, {}, _switches),
    "stretched": Fault(stretched, ANY, {}, _switches),
    "supply": Fault(supply, ANY, {}, _regular),
    "stuck-lux": Fault(stuck_lux, ANY, {}, lambda c: c.room.light_log.sample_s > 0),
    "zero-offset": Fault(zero_offset, ANY, {}, _dark_nights),
    "saturated": Fault(saturated, DESKS, {"windows": True}, lambda c: c.room.light_log.sample_s > 0),
    "healthy": Fault(_as_is, ANY, SEEN),
    "healthy-two-detectors": Fault(two_detectors, ANY, SEEN),
    "drift": Fault(drifting, ANY, {}, _often_switched),
    "clock-set": Fault(clock_set, ANY, {}, _often_switched),
    "decaying": Fault(decaying, ANY, {}, _switches),
}
"""Every kind of fault, and rooms with none."""


def faulty_room(seed: int, kind: str, *, weeks: int = 6, use: str | None = None, **planted: Any) -> SimulatedRoom:
    """Simulate a room with one fault in it.

    Parameters
    ----------
    seed
        Draws use, room, people and fault. Rooms in which the fault could not show are passed over.
    kind
        A key of `FAULTS`.
    use
        The room's use; drawn if not given.
    planted
        Arguments of the fault's function (such as ``skew_s``).
    """
    fault = FAULTS[kind]
    for attempt in range(40):
        number = seed * 100 + attempt
        chosen = use or fault.uses[(seed + attempt) % len(fault.uses)]
        draw_rng, log_rng, fault_rng = generators(number, chosen)
        room = draw_parameters(draw_rng, chosen, f"r{seed}", **fault.overrides)
        calendar = make_calendar(room.first_monday, weeks, room.place)
        world = make_world(log_rng, room, calendar)
        case = Case(
            fault_rng, room, calendar, world, run_loop(world.scene, float(room.hold_off_s), log_rng, with_motion=True)
        )
        if not fault.suits(case):
            continue
        try:
            case, log = fault.plant(case, **planted)
        except UnsuitedError:
            continue
        break
    else:
        raise ValueError(f"no room of 40 suits a {kind}")
    spec = room_table(case.room, spot_readings(np.random.default_rng(number + 1), case.room))
    if kind == "mismatch":
        other = float(fault_rng.choice([h for h in (180, 300, 600, 900, 1200) if h != room.hold_off_s]))
        for channel in spec["channels"].values():
            channel["hold_off_s"] = other
    nothing = pl.DataFrame()
    return SimulatedRoom(
        room.room,
        chosen,
        site_table(room),
        spec,
        log,
        nothing,
        nothing,
        nothing,
        asdict(case.room) | {"kind": kind, "number": number},
    )

"""One simulated room: its log, and the truth that goes with it."""

import hashlib
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from tests.simulation.building import room_table, site_table
from tests.simulation.closed_loop import run_loop
from tests.simulation.days import GRID_S, Calendar, make_calendar
from tests.simulation.light_truth import light_truth, spot_readings
from tests.simulation.logs import make_log, times_utc
from tests.simulation.parameters import ALLOWED_HOLD_OFF_S, RoomParameters, draw_parameters
from tests.simulation.scene import Run, change_over, quiet_moment
from tests.simulation.truth import World, false_offs, make_world, mode_truth, truth_curve


@dataclass(frozen=True)
class SimulatedRoom:
    """A room with its log and its truth.

    Attributes
    ----------
    room
        Key of the room.
    use
        Room use.
    site, spec
        What goes into ``site.toml``: the ``[site]`` table, and the room's table with its channels.
    log
        Long format of the contract: ``time`` (UTC), ``room, channel, quantity, value``.
    truth_curve
        ``channel, hold_off_s, false_offs, wasted_on_h, energy_kwh, cost, cost_se, weeks``: true long-run rates per
        week, their standard error and how many weeks they come from.
    switch_offs
        ``time`` (UTC), ``channel, present, minds``: every switch-off by the hold-off in the log. ``minds`` means
        that somebody is there and it is too dark at the task without this channel.
    presence
        ``start, end`` (UTC) of presence while the log was taken.
    parameters
        All that was drawn, and the truth about light.
    """

    room: str
    use: str
    site: dict[str, Any]
    spec: dict[str, Any]
    log: pl.DataFrame
    truth_curve: pl.DataFrame
    switch_offs: pl.DataFrame
    presence: pl.DataFrame
    parameters: dict[str, Any]

    @property
    def channels(self) -> dict[str, Any]:
        """Channel tables as they stand in ``site.toml``."""
        channels: dict[str, Any] = self.spec["channels"]
        return channels


def generators(seed: int, use: str) -> tuple[np.random.Generator, np.random.Generator, np.random.Generator]:
    """Independent random numbers for what the room is, for its log and for its truth."""
    word = int.from_bytes(hashlib.sha256(use.encode()).digest()[:4], "big")
    draw, log, truth = np.random.SeedSequence([seed, word]).spawn(3)
    return np.random.default_rng(draw), np.random.default_rng(log), np.random.default_rng(truth)


def simulate(
    seed: int,
    use: str,
    *,
    weeks: int = 6,
    hold_off_s: int | None = None,
    with_truth: bool = True,
    truth_at_s: tuple[int, ...] | None = None,
    **overrides: Any,
) -> SimulatedRoom:
    """Simulate a room.

    Parameters
    ----------
    seed
        Draws the room; the same seed and use give the same room whatever `weeks` and `hold_off_s` are.
    use
        A key of ``tests.simulation.uses.USES``.
    weeks
        Length of the log [weeks].
    hold_off_s
        Hold-off in force [s]; drawn if not given.
    with_truth
        False leaves the truth curve empty, which is most of the work.
    truth_at_s
        The truth under these hold-offs only. [s]
    overrides
        See `draw_parameters`.
    """
    draw_rng, log_rng, truth_rng = generators(seed, use)
    if hold_off_s is not None:
        overrides["hold_off_s"] = hold_off_s
    room = draw_parameters(draw_rng, use, overrides.pop("room", f"r{seed}"), **overrides)
    calendar = make_calendar(room.first_monday, weeks, room.place)
    world = make_world(log_rng, room, calendar)
    run = _run_as_set(world, room, calendar, log_rng)
    log = make_log(log_rng, world, room, run, calendar.start)
    candidates = tuple(sorted({*ALLOWED_HOLD_OFF_S, room.hold_off_s})) if with_truth else ()
    candidates = candidates if truth_at_s is None else truth_at_s
    light = light_truth(np.random.default_rng(seed), room, weeks=weeks)
    modes = mode_truth(seed, room, weeks=weeks) if with_truth and truth_at_s is None else {}
    return SimulatedRoom(
        room=room.room,
        use=use,
        site=site_table(room),
        spec=room_table(room, spot_readings(np.random.default_rng(seed + 1), room)),
        log=log,
        truth_curve=truth_curve(truth_rng, room, candidates, weeks=weeks),
        switch_offs=_switch_offs(world, room, run, calendar.start),
        presence=_presence(world, calendar.start),
        parameters=asdict(room) | {"seed": seed, "weeks": weeks, "light_truth": light, "mode_truth": modes},
    )


def _run_as_set(world: World, room: RoomParameters, calendar: Calendar, rng: np.random.Generator) -> Run:
    """The closed loop under the hold-off in force, or under those that were in force one after the other."""
    run = run_loop(world.scene, float(room.hold_off_s), rng, with_motion=True)
    for day, hold_off_s in room.hold_off_changes:
        following = run_loop(world.scene, float(hold_off_s), rng, with_motion=True)
        run = change_over(run, following, quiet_moment([run, following], world.scene, float(calendar.midnight_s[day])))
    return run


def _switch_offs(world: World, room: RoomParameters, run: Run, start: datetime) -> pl.DataFrame:
    """Switch-offs by the hold-off that the log shows: those at which the channel's lamps burnt."""
    frames = []
    t = run.off_s
    shown = run.by_hold_off & (t + room.detector.off_lag_s < world.scene.span_s)
    for c, channel in enumerate(room.channels):
        minute = np.minimum((t // GRID_S).astype(np.int64), len(world.lights[c].output) - 1)
        keep = shown & (world.lights[c].output[minute] > 0)
        time = times_utc(t[keep] + room.detector.off_lag_s, start, room.detector.stamp_s)
        labels = {"present": run.present[keep], "minds": false_offs(world, run, c)[keep]}
        frames.append(pl.DataFrame({"time": time, "channel": [channel.name] * int(keep.sum()), **labels}))
    return pl.concat(frames).sort("time", "channel")


def _presence(world: World, start: datetime) -> pl.DataFrame:
    scene = world.scene
    stamp = 0.001
    return pl.DataFrame(
        {
            "start": times_utc(scene.present_from_s, start, stamp),
            "end": times_utc(scene.present_to_s, start, stamp),
        }
    )

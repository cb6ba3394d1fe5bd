"""The stated truth: what is planted, and what each candidate hold-off would bring, counted in the closed loop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from demo_logs.light import Floats, Steps, bright, regulated, task
from demo_logs.logs import Lit
from demo_logs.loop import Bools, Lived, Surroundings, wasted_s
from demo_logs.model import CANDIDATES_S, COST_PER_FALSE_OFF, ELECTRICITY_PRICE, Channel, Room
from demo_logs.people import People


@dataclass(frozen=True)
class LongRun:
    """Six weeks lived under one candidate hold-off."""

    hold_off_s: int
    crowd: People
    lived: Lived
    lit: list[Lit]


def _mean_share_while_lit(lit: Lit, at: Floats) -> float:
    share = lit.output.at(at) / 100
    return float(share[share > 0].mean()) if (share > 0).any() else 1.0


def _false_offs(lived: Lived, c: int) -> int:
    return int(lived.off_minded[:, c].sum()) if c < lived.off_minded.shape[1] else 0


def _curve(room: Room, c: int, runs: list[LongRun], share: float, weeks: int) -> list[dict[str, float]]:
    channel = room.channels[c]
    price = ELECTRICITY_PRICE * (channel.load_w - channel.standby_w) * share / 1000
    curve = []
    for hold_off_s in CANDIDATES_S:
        same = [r for r in runs if r.hold_off_s == hold_off_s]
        total = len(same) * weeks
        false_offs = sum(_false_offs(r.lived, c) for r in same) / total
        wasted_h = sum(wasted_s(r.crowd, r.lit[c].on, r.lit[c].off) for r in same) / 3600 / total
        cost = false_offs * COST_PER_FALSE_OFF + wasted_h * price
        curve.append(
            {
                "hold_off_s": hold_off_s,
                "false_offs": round(false_offs, 3),
                "wasted_on_h": round(wasted_h, 3),
                "cost": round(cost, 3),
            }
        )
    return curve


def _targets(room: Room, crowd: People, lit: list[Lit], around: Surroundings) -> dict[str, Any]:
    """For each dimmed channel, the share of lit minutes in use that each allowed target would leave below the requirement."""
    lamps = tuple(c for c in room.channels if c.control == "dimmed")
    if not lamps:
        return {}
    minutes = around.sky.t
    used = crowd.present(minutes) & np.any([_lit(x.output, minutes) for x in lit[: len(lamps)]], axis=0)
    found: dict[str, Any] = {}
    for c, channel in enumerate(lamps):
        shares = {}
        for target in channel.allowed_target_lx:
            targets = [float(x.target_lx or 0) for x in lamps]
            targets[c] = float(target)
            found_task = _task(lamps, c, around, used, targets)
            shares[str(target)] = round(float(np.mean(found_task < room.required_lx)), 4)
        enough = [t for t in channel.allowed_target_lx if shares[str(t)] <= 0.05]
        found[channel.name] = {"under_lit_share": shares, "smallest_enough_lx": enough[0] if enough else None}
    return found


def _lit(output: Steps, t: Floats) -> Bools:
    return np.asarray(output.at(t) > 0)


def _task(lamps: tuple[Channel, ...], c: int, around: Surroundings, used: Bools, targets: list[float]) -> Floats:
    sky, levels = around.sky, [around.levels[i][used] for i in range(len(lamps))]
    plenty = [bright(around.levels[i], sky, targets[i]).at(sky.t[used]) for i in range(len(lamps))]
    outputs = regulated(lamps, levels, targets, plenty)
    other = outputs[1 - c] if len(lamps) == 2 else np.zeros_like(levels[c])
    return task(lamps[c], levels[c], outputs[c], other)


def room_truth(
    room: Room,
    crowd: People,
    lived: Lived,
    lit: list[Lit],
    around: Surroundings,
    runs: list[LongRun],
    weeks: int,
) -> dict[str, Any]:
    """State the truth about one room.

    Parameters
    ----------
    room, crowd, lived, lit, around
        The six weeks of the log.
    runs
        The same weeks lived again with other people, under every candidate hold-off.
    weeks
        Length of the log. [weeks]
    """
    targets = _targets(room, crowd, lit, around)
    channels: dict[str, Any] = {}
    for c, channel in enumerate(room.channels):
        in_force = channel.hold_off_s or room.hold_off_s
        share = _mean_share_while_lit(lit[c], around.sky.t)
        curve = _curve(room, c, runs, share, weeks)
        stated: dict[str, Any] = {
            "hold_off_in_force_s": in_force,
            "documented_hold_off_s": room.documented_s or in_force,
            "false_offs_in_the_log": _false_offs(lived, c),
            "switch_offs_in_the_log": lit[c].expiries,
            "wasted_on_h_in_the_log": round(wasted_s(crowd, lit[c].on, lit[c].off) / 3600, 2),
            "long_run_per_week": curve,
        }
        if channel.control != "relay":
            # A relay bothers nobody by going off, so cost says nothing about how long it should run on.
            stated |= {
                "best_hold_off_s": min(curve, key=lambda point: point["cost"])["hold_off_s"],
                "lamp_lx": channel.lamp_lx,
                "lamp_lx_from_neighbour": channel.neighbour_lx,
                "task_per_lamp": channel.task_per_lamp,
                "task_per_daylight": channel.task_per_daylight,
            }
        if channel.name in targets:
            stated["target_lx"] = channel.target_lx
            stated["targets"] = targets[channel.name]
        channels[channel.name] = stated
    nobody = int((~crowd.present(lived.motions)).sum())
    return {"planted": room.planted, "motions_without_people": nobody, "channels": channels}

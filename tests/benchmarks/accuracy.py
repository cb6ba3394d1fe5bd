"""How good the estimates are on simulated rooms: regret, intervals, classification, calibration.

    python -m tests.simulation ROOMS --rooms 105 --weeks 6 --seed 3     (writes the rooms; minutes; or tests.second_simulation)
    python -m tests.benchmarks.accuracy ROOMS                           (judges the estimates)
    python -m tests.benchmarks.accuracy ROOMS --notes                   (the same by who really was there, as noted by somebody who never errs)

*Regret* is the true long-run cost of the recommended hold-off over that of the best one, minus one; a ``trial`` is judged at its trial
setting. Channels that cost less than ``WORTHLESS`` a week at best are left out: their regret is noise.
"""

from __future__ import annotations

import argparse
import multiprocessing as mp
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np
import polars as pl

from tuning.gaps import Gaps
from tuning.motion import US, MotionLog
from tuning.pipeline import analyse_folder
from tuning.presence.stillness import REACTION_LIMIT_S, Classified, classify
from tuning.results import ChannelResult
from tuning.room_uses import room_use

WORTHLESS = 0.01
PRICES = (0.25, 0.5, 1.0, 2.0, 4.0)
"""Factors on the price of a false-off: at one price the regret jumps with the steps of the list of hold-offs."""
MOST_REGRET = 2.0
"""No price and channel counts for more in the average over prices."""
NOTED_US = 200_000
"""Who comes and who goes move at once; a note may be off by so much."""


@dataclass(frozen=True)
class Judged:
    """One channel beside its truth. ``points``: basis, and per quantity whether its interval holds the truth."""

    folder: str
    use: str
    decision: str
    in_force_s: float
    recommended_s: float
    best_s: float
    best_cost: float
    regret: float
    regret_as_is: float
    regret_allowed: float
    regret_over_prices: float
    points: tuple[tuple[str, bool, bool, bool], ...]
    p_false: np.ndarray
    false: np.ndarray


def _judge(channel: ChannelResult, folder: Path) -> Judged | None:
    truth = pl.read_parquet(folder / "truth" / "truth_curve.parquet").filter(pl.col("channel") == channel.channel)
    truth = truth.sort("hold_off_s")
    hold = truth["hold_off_s"].to_numpy().astype(float)
    cost = truth["cost"].to_numpy()
    best = float(cost.min())
    if best < WORTHLESS or channel.recommended.hold_off_s is None:
        return None

    def regret(hold_off_s: float) -> float:
        return float(np.interp(np.log(hold_off_s), np.log(hold), cost)) / best - 1

    rows = {float(r["hold_off_s"]): r for r in truth.iter_rows(named=True)}
    points = tuple(
        (
            p.basis,
            p.false_offs_low <= rows[p.hold_off_s]["false_offs"] <= p.false_offs_high,
            p.wasted_on_h_low <= rows[p.hold_off_s]["wasted_on_h"] <= p.wasted_on_h_high,
            p.cost_low <= rows[p.hold_off_s]["cost"] <= p.cost_high,
        )
        for p in channel.delay_curve
        if p.hold_off_s in rows
    )
    p_false, false = _labels(channel, folder)
    current = channel.current.hold_off_s
    # The safety floor of the use forbids some of the cheapest settings; this is the regret against what was left to choose.
    allowed = float(cost[hold >= room_use(channel.use).minimum_hold_off_s].min())
    return Judged(
        folder=folder.name,
        use=channel.use,
        decision=channel.decision,
        in_force_s=current or float("nan"),
        recommended_s=channel.recommended.hold_off_s,
        best_s=float(hold[cost.argmin()]),
        best_cost=best,
        regret=regret(channel.recommended.hold_off_s),
        regret_as_is=regret(current) if current else float("nan"),
        regret_allowed=(regret(channel.recommended.hold_off_s) + 1) * best / allowed - 1,
        regret_over_prices=_over_prices(channel, truth),
        points=points,
        p_false=p_false,
        false=false,
    )


def _over_prices(channel: ChannelResult, truth: pl.DataFrame) -> float:
    """Mean regret of the cheapest setting above the safety floor if a false-off cost less or more; NaN where nothing costs anything."""
    floor, per_false_off = room_use(channel.use).minimum_hold_off_s, channel.cost_per_false_off or 0.0
    hold, off, cost = (truth[c].to_numpy().astype(float) for c in ("hold_off_s", "false_offs", "cost"))
    told = [p for p in channel.delay_curve if p.hold_off_s >= floor]
    found = []
    for factor in PRICES:
        more = (factor - 1) * per_false_off
        chosen = min(told, key=lambda p: p.cost + more * p.false_offs).hold_off_s
        then = cost + more * off
        best = float(then[hold >= floor].min())
        if best >= WORTHLESS / 2:
            found.append(min(float(np.interp(np.log(chosen), np.log(hold), then)) / best - 1, MOST_REGRET))
    return float(np.mean(found)) if found else float("nan")


def _labels(channel: ChannelResult, folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Probability and truth of every switch-off that both know."""
    truth = pl.read_parquet(folder / "truth" / "switch_offs.parquet").filter(pl.col("channel") == channel.channel)
    if channel.switch_offs is None or truth.is_empty():
        return np.empty(0), np.empty(0)
    truth = truth.sort("time").with_columns(false=pl.col("present") & pl.col("minds"))
    joined = channel.switch_offs.sort("time").join_asof(
        truth.select(pl.col("time").cast(pl.Datetime("us", "UTC")), "false"),
        on="time",
        strategy="nearest",
        tolerance="15s",
    )
    joined = joined.drop_nulls("false")
    return joined["p_false"].to_numpy(), joined["false"].to_numpy()


def presence_us(folder: Path) -> tuple[np.ndarray, np.ndarray]:
    """Stretches in which somebody was in the one room of a building: begin and end, sorted and apart, UTC epoch. [µs]."""
    stays = pl.read_parquet(folder / "truth" / "presence.parquet").sort("start")
    start, end = (stays[c].dt.cast_time_unit("us").dt.epoch("us").to_numpy() for c in ("start", "end"))
    latest = np.maximum.accumulate(end)
    first = np.flatnonzero(np.concatenate([[True], start[1:] > latest[:-1]]))
    return start[first], latest[np.append(first[1:], len(start)) - 1]


def noted(folder: Path) -> Callable[..., Classified]:
    """Return what stands in for :func:`tuning.presence.stillness.classify` where somebody noted who was there, and whether anybody minded the dark.

    How long people keep still beyond the hold-off in force, and daylight, are still for the estimate to tell.
    """
    begin, end = presence_us(folder)

    def classify_by_notes(gaps: Gaps, motion: MotionLog, **known: Any) -> Classified:
        found = classify(gaps, motion, **known)
        from_us = gaps.start_us + NOTED_US
        to_us = gaps.start_us + np.round(gaps.gap_s * US).astype(np.int64) - NOTED_US
        stay = np.searchsorted(begin, from_us, side="right") - 1
        there = (stay >= 0) & (end[np.maximum(stay, 0)] >= to_us)
        beyond_s = gaps.gap_s - known["hold_off_s"]
        dark = (beyond_s > 0) & (beyond_s <= REACTION_LIMIT_S) & (known["lit"] > 0.5)
        left_in_it = np.where(there & dark, known["minds"], 0.0)
        return replace(
            found,
            p_still=there.astype(float),
            p_false=left_in_it,
            reaction=left_in_it,
            reactions=float(left_in_it.sum()),
        )

    return classify_by_notes


def judge_folder(folder: Path, *, notes: bool = False) -> list[Judged]:
    """Analyse a simulated building and hold it against its truth; with ``notes`` by who really was there."""
    with patch("tuning.channel.presence.classify", noted(folder)) if notes else nullcontext():
        analysis = analyse_folder(folder)
    judged = [_judge(c, folder) for c in analysis.channels if c.control != "relay"]
    return [j for j in judged if j is not None]


def judge_rooms(root: Path, *, processes: int = 2, notes: bool = False) -> list[Judged]:
    """Judge every room below a folder."""
    folders = sorted(p for p in root.iterdir() if (p / "site.toml").is_file())
    with ProcessPoolExecutor(processes, mp_context=mp.get_context("spawn")) as pool:
        return [j for judged in pool.map(partial(judge_folder, notes=notes), folders, chunksize=4) for j in judged]


def _share(values: Sequence[bool]) -> str:
    return f"{np.mean(values):.3f} of {len(values)}" if len(values) else "none"


def summary(judged: Sequence[Judged]) -> list[str]:
    """The figures, as lines to print."""
    regret = np.array([j.regret for j in judged])
    allowed = np.array([j.regret_allowed for j in judged])
    as_is = np.array([j.regret_as_is for j in judged])
    lines = [
        f"channels {len(judged)}",
        f"regret: mean {regret.mean():.3f}, 90th percentile {np.quantile(regret, 0.9):.3f}, worst {regret.max():.2f}",
        "against the best setting above the safety floor: "
        f"mean {allowed.mean():.3f}, 90th percentile {np.quantile(allowed, 0.9):.3f}, worst {allowed.max():.2f}",
        f"averaged over {len(PRICES)} prices of a false-off: mean {np.nanmean([j.regret_over_prices for j in judged]):.3f}",
        f"leave as it is: mean {np.nanmean(as_is):.2f}, 90th percentile {np.nanquantile(as_is, 0.9):.2f}",
        "decisions: "
        + ", ".join(f"{d} {sum(j.decision == d for j in judged)}" for d in sorted({j.decision for j in judged})),
    ]
    for use in sorted({j.use for j in judged}):
        mine = np.array([j.regret for j in judged if j.use == use])
        lines.append(f"  {use:18s} {len(mine):3d} channels, mean regret {mine.mean():.3f}, worst {mine.max():.2f}")
    for basis in ("observed", "extrapolated"):
        points = [p for j in judged for p in j.points if p[0] == basis]
        words = ", ".join(
            f"{n} {_share([p[i] for p in points])}" for i, n in ((1, "false-offs"), (2, "wasted"), (3, "cost"))
        )
        lines.append(f"90 % intervals hold the truth, {basis}: {words}")
    p = np.concatenate([j.p_false for j in judged])
    false = np.concatenate([j.false for j in judged]).astype(bool)
    called = p > 0.5
    lines.append(
        f"nuisance switch-offs: {int(false.sum())} of {len(p)}; precision {false[called].mean():.3f}, recall {called[false].mean():.3f}"
    )
    corridor = [(j.p_false > 0.5)[~j.false.astype(bool)] for j in judged if j.use == "corridor"]
    if corridor:
        lines.append(f"corridors: rightful switch-offs called false {np.concatenate(corridor).mean():.4f}")
    for tenth in range(10):
        mine = (p >= tenth / 10) & ((p < (tenth + 1) / 10) | (tenth == 9))
        if mine.sum() >= 50:
            lines.append(
                f"  p_false {tenth / 10:.1f}…: {mine.sum()} events, said {p[mine].mean():.3f}, true {false[mine].mean():.3f}"
            )
    worst = sorted(judged, key=lambda j: -j.regret)[:8]
    lines += [
        f"  worst: {j.folder} {j.use}, in force {j.in_force_s:.0f} s, {j.decision} {j.recommended_s:.0f} s, best {j.best_s:.0f} s, "
        f"regret {j.regret:.2f}"
        for j in worst
    ]
    return lines


def main() -> None:
    """Judge the rooms of a folder and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument(
        "rooms", type=Path, help="folder written by python -m tests.simulation or tests.second_simulation"
    )
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--notes", action="store_true", help="who was there as it was, in place of as it is told")
    given = parser.parse_args()
    print("\n".join(summary(judge_rooms(given.rooms, processes=given.processes, notes=given.notes))))


if __name__ == "__main__":
    main()

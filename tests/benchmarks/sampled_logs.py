"""What sampling does to the estimated false-offs: the same rooms logged by event, by the minute and every five minutes.

    python -m tests.benchmarks.sampled_logs ROOMS --rooms 14 --weeks 6 --seed 23

Rooms that are not there yet are simulated and written (minutes); then each log is analysed and its false-offs a week are held against the
truth. People, movements and switchings are the same in every log of a room; only what was written of them differs.
"""

from __future__ import annotations

import argparse
import multiprocessing as mp
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import repeat
from pathlib import Path

import numpy as np
import polars as pl

from tests.simulation.building import write_building, write_site_and_log
from tests.simulation.room import simulate
from tests.simulation.uses import USES
from tuning.pipeline import analyse_folder

FORMS: dict[str, tuple[str, float, float]] = {
    "events": ("events", 60.0, 0.0),
    "motion 60 s": ("sampled", 60.0, 0.0),
    "output 300 s": ("events", 60.0, 300.0),
    "60 s": ("sampled", 60.0, 60.0),
    "120 s": ("sampled", 120.0, 120.0),
    "300 s": ("sampled", 300.0, 300.0),
}
"""Form of the motion log, its sampling interval, and that of the output (0: by change). [s]."""
FEW = 0.1
"""Ratios are taken where either figure is more than so many false-offs a week."""


@dataclass(frozen=True)
class Point:
    """One channel under one hold-off: estimate, 90 % interval and truth of its false-offs a week; nothing said where no figure is given."""

    room: str
    channel: str
    use: str
    form: str
    in_force_s: float
    read_s: float | None
    decision: str
    codes: tuple[str, ...]
    hold_off_s: float
    said: float | None
    low: float | None
    high: float | None
    true: float | None
    recommended_s: float | None
    regret: float


def folder_of(root: Path, number: int, form: str) -> Path:
    """Folder of one log of one room."""
    return root / f"room_{number:03d}" / form.replace(" ", "_")


def write_room(root: Path, number: int, *, seed: int, weeks: int, hold_off_s: int | None) -> None:
    """Simulate a room once for each form of log, with its truth beside the first."""
    use = list(USES)[number % len(USES)]
    for form, (motion, motion_s, output_s) in FORMS.items():
        folder = folder_of(root, number, form)
        if (folder / "site.toml").is_file():
            continue
        room = simulate(
            seed * 100_000 + number,
            use,
            weeks=weeks,
            room=f"r{number:03d}",
            hold_off_s=hold_off_s,
            with_truth=form == "events",
            motion_form=motion,
            motion_sample_s=motion_s,
            output_sample_s=output_s,
            mode="auto-on",
            documented=True,
        )
        if form == "events":
            write_building(room, folder)
        else:
            folder.mkdir(parents=True)
            write_site_and_log(room, folder)


def judge_room(root: Path, number: int, forms: tuple[str, ...]) -> list[Point]:
    """Analyse every log of a room."""
    truth = pl.read_parquet(folder_of(root, number, "events") / "truth" / "truth_curve.parquet").sort("hold_off_s")
    points: list[Point] = []
    for form in forms:
        folder = folder_of(root, number, form)
        if not (folder / "site.toml").is_file():
            continue
        for c in analyse_folder(folder).channels:
            mine = truth.filter(pl.col("channel") == c.channel)
            hold, cost = mine["hold_off_s"].to_numpy().astype(float), mine["cost"].to_numpy()
            true = dict(zip(hold.tolist(), mine["false_offs"].to_list(), strict=True))
            chosen = c.recommended.hold_off_s
            regret = np.nan if chosen is None else float(np.interp(np.log(chosen), np.log(hold), cost) / cost.min() - 1)
            in_force = c.current.hold_off_s or np.nan
            codes = tuple(f.code for f in c.findings)
            told: list[tuple[float, float | None, float | None, float | None, float | None]] = [
                (p.hold_off_s, p.false_offs, p.false_offs_low, p.false_offs_high, true[p.hold_off_s])
                for p in c.delay_curve
                if p.hold_off_s in true
            ] or [(in_force, None, None, None, true.get(in_force))]
            points += [
                Point(
                    c.room,
                    c.channel,
                    c.use,
                    form,
                    in_force,
                    c.observed_hold_off_s,
                    c.decision,
                    codes,
                    *one,
                    chosen,
                    regret,
                )
                for one in told
            ]
    return points


def judge(root: Path, *, processes: int, forms: tuple[str, ...] = tuple(FORMS)) -> pl.DataFrame:
    """All points of all rooms below a folder."""
    numbers = sorted(int(p.name[5:]) for p in root.iterdir() if p.name.startswith("room_"))
    with ProcessPoolExecutor(processes, mp_context=mp.get_context("spawn")) as pool:
        return pl.DataFrame([p for part in pool.map(judge_room, repeat(root), numbers, repeat(forms)) for p in part])


def summary(points: pl.DataFrame) -> list[str]:
    """Lines to print: sums of false-offs a week beside the truth, ratios and intervals, by form of log."""
    reach = pl.col("hold_off_s") / pl.col("in_force_s")
    kinds = {
        "in force": (reach > 0.97) & (reach < 1.03),
        "shorter": reach <= 0.97,
        "longer": reach >= 1.03,
    }
    lines = []
    for kind, rows in kinds.items():
        for form in FORMS:
            mine = points.filter(rows & (pl.col("form") == form)).drop_nulls("said")
            if mine.is_empty():
                continue
            said, true, low, high = (mine[n].to_numpy() for n in ("said", "true", "low", "high"))
            told = (said > FEW) | (true > FEW)
            ratio = np.log2(np.maximum(said[told], FEW / 2) / np.maximum(true[told], FEW / 2))
            held = (low <= true) & (true <= high)
            lines.append(
                f"{kind:9s} {form:13s} {len(mine):4d} points: said {said.sum():8.1f} true {true.sum():8.1f}; of {told.sum():3d}: ratio median "
                f"{2 ** np.median(ratio):5.2f}, spread {2 ** np.sqrt(np.mean(ratio**2)):5.2f}; interval holds truth {held[told].mean():.2f}"
            )
    one = points.unique(["room", "channel", "form"], maintain_order=True)
    for form in FORMS:
        mine = one.filter(pl.col("form") == form)
        if len(mine):
            told = mine.group_by("decision").len().sort("decision").rows()
            judged = mine.drop_nulls("said")["regret"].to_numpy()
            regret = float(np.nanmean(judged)) if len(judged) else np.nan
            lines.append(
                f"{form:13s} regret mean {regret:.3f} of {len(judged)}, no figure for {mine['said'].null_count()}; {told}"
            )
    return lines


def main() -> None:
    """Write what is missing, judge and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("out", type=Path)
    parser.add_argument("--rooms", type=int, default=14)
    parser.add_argument("--weeks", type=int, default=6)
    parser.add_argument("--seed", type=int, default=23)
    parser.add_argument("--hold-off", type=int, help="hold-off in force in all rooms [s]; drawn where not given")
    parser.add_argument("--forms", nargs="*", choices=list(FORMS), default=list(FORMS))
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--points", type=Path, help="write all points there as Parquet")
    given = parser.parse_args()
    for number in range(given.rooms):
        write_room(given.out, number, seed=given.seed, weeks=given.weeks, hold_off_s=given.hold_off)
    points = judge(given.out, processes=given.processes, forms=tuple(given.forms))
    if given.points:
        points.write_parquet(given.points)
    print("\n".join(summary(points)))


if __name__ == "__main__":
    main()

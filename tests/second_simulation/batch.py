"""Rooms under a ceiling presence detector as building folders with their truth, by the second simulator.

Takes ten minutes where numba is installed (``pip install 'holdoff[simulation]'``), and hours without.
"""

import argparse
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from tests.second_simulation.compiled import COMPILES
from tests.second_simulation.folder import write
from tests.second_simulation.room import CANDIDATES_S, MOST_WEEKS, TRUTH_WEEKS, simulate
from tests.second_simulation.uses import USES


@dataclass(frozen=True)
class Job:
    """A room to be simulated: its number and seed, and the folder to write."""

    number: int
    seed: int
    use: str
    weeks: int
    truth_weeks: int
    readings_share: float
    folder: Path


@dataclass(frozen=True)
class Regrets:
    """One channel of the truth: cost of each candidate, and of the hold-off in force, over that of the best one, minus one."""

    use: str
    by_candidate: tuple[float, ...]
    as_is: float


def make(job: Job) -> tuple[str, list[Regrets]]:
    """Simulate and write one room; say what it is, and what fixed hold-offs would cost in it."""
    began = time.perf_counter()
    room = simulate(
        (job.seed, job.number),
        job.use,
        weeks=job.weeks,
        truth_weeks=job.truth_weeks,
        readings_share=job.readings_share,
    )
    write(room, job.folder, f"Room {job.number}")
    regrets = []
    for _, curve in room.truth_curve.group_by("channel", maintain_order=True):
        cost = curve["cost"].to_numpy()
        over_best = cost / cost.min() - 1
        as_is = float(over_best[CANDIDATES_S.index(room.room.hold_off_s)])
        regrets.append(Regrets(job.use, tuple(over_best.tolist()), as_is))
    took_s = time.perf_counter() - began
    return f"{job.folder.name} {job.use}, {room.room.hold_off_s} s, {len(room.log)} rows, {took_s:.1f} s", regrets


def policies(regrets: Sequence[Regrets]) -> Iterable[str]:
    """How costly it is to leave all rooms alone, or to set the same hold-off everywhere."""
    by_candidate = np.array([r.by_candidate for r in regrets])
    rows = [("leave as it is", np.array([r.as_is for r in regrets]))]
    rows += [(f"{c // 60} min everywhere", by_candidate[:, i]) for i, c in enumerate(CANDIDATES_S)]
    yield f"{len(regrets)} channels; regret of"
    for words, values in rows:
        yield f"  {words:18s} mean {values.mean():6.2f}, 90th percentile {np.quantile(values, 0.9):6.2f}"
    best = by_candidate.argmin(axis=1)
    yield "best: " + ", ".join(f"{c // 60} min {np.sum(best == i)}" for i, c in enumerate(CANDIDATES_S))


def main() -> None:
    """Write the folders, uses taking turns."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.second_simulation",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("out", type=Path)
    parser.add_argument("--rooms", type=int, default=105)
    parser.add_argument("--weeks", type=int, default=6, choices=range(1, MOST_WEEKS + 1), help="of the log")
    parser.add_argument("--truth-weeks", type=int, default=TRUTH_WEEKS, help="at least, beyond the log")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--readings-share", type=float, default=0.7, help="of the rooms, with readings by hand")
    parser.add_argument("--processes", type=int, default=2)
    a = parser.parse_args()
    if not COMPILES:
        print("numba is not installed (pip install 'holdoff[simulation]'): this will take hours", flush=True)
    uses = list(USES)
    jobs = [
        Job(i, a.seed, uses[i % len(uses)], a.weeks, a.truth_weeks, a.readings_share, a.out / f"room_{i:03d}")
        for i in range(a.rooms)
    ]
    regrets: list[Regrets] = []
    # Spawn: polars is not safe to fork.
    with ProcessPoolExecutor(a.processes, mp_context=get_context("spawn")) as pool:
        for done, future in enumerate(as_completed([pool.submit(make, job) for job in jobs]), 1):
            words, of_room = future.result()
            regrets += of_room
            print(f"{done}/{len(jobs)} {words}", flush=True)
    print("\n".join(policies(regrets)))


if __name__ == "__main__":
    main()

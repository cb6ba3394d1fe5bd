"""``python -m tests.simulation OUT --rooms 105 --weeks 6 --seed 1``: one-room building folders with their truth."""

import argparse
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from tests.simulation.building import write_building
from tests.simulation.room import simulate
from tests.simulation.uses import USES


@dataclass(frozen=True)
class _Job:
    number: int
    seed: int
    use: str
    weeks: int
    folder: Path


def _make(job: _Job) -> str:
    began = time.perf_counter()
    room = simulate(job.seed, job.use, weeks=job.weeks, room=f"r{job.number:03d}")
    write_building(room, job.folder)
    hold_off = room.parameters["hold_off_s"]
    return f"{job.folder.name} {job.use}, {hold_off} s, {len(room.log)} rows, {time.perf_counter() - began:.1f} s"


def main() -> None:
    """Write the folders, uses taking turns."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulation", description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--rooms", type=int, default=105)
    parser.add_argument("--weeks", type=int, default=6)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--uses", nargs="*", choices=list(USES), default=list(USES))
    a = parser.parse_args()
    jobs = [
        _Job(i, a.seed * 100_000 + i, a.uses[i % len(a.uses)], a.weeks, a.out / f"room_{i:03d}") for i in range(a.rooms)
    ]
    # Spawn: polars is not safe to fork.
    with ProcessPoolExecutor(a.processes, mp_context=get_context("spawn")) as pool:
        for done, future in enumerate(as_completed([pool.submit(_make, job) for job in jobs]), 1):
            print(f"{done}/{len(jobs)} {future.result()}", flush=True)

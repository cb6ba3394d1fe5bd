"""How soon drift is found, and how often it is called where there is none.

    python -m tests.benchmarks.watching --rooms 40 --seed 100
    python -m tests.benchmarks.watching --rooms 50 --seed 110 --kinds none

Rooms come from `tests.simulation.changes`, uses taking turns: six weeks of reference, a month without change, then the change. False alarms are
counted over a year of the same rooms without one; after each, the reference begins anew, as when somebody takes note of a finding. The logs
are simulated whole, movement by movement, a room at a time.
"""

from __future__ import annotations

import argparse
import datetime as dt
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import polars as pl

from tests.simulation.building import write_site_and_log
from tests.simulation.changes import Change, Kind, changed_room
from tests.simulation.uses import USES
from tuning.logs import read_logs
from tuning.pipeline import daily_of_room
from tuning.site import read_site
from tuning.watching import watch_room

REFERENCE, CHANGE, WITHIN, YEAR = 42, 72, 21, 364
TELLS: dict[Kind, str] = {"stiller": "stillness", "dimmer-lamps": "lamps", "night-trigger": "faults"}
FACTOR: dict[Kind, float] = {"stiller": 2.0, "dimmer-lamps": 0.8}
PASSING = ("corridor", "stairs", "store room")
"""Uses in which hardly anybody stays: there is next to no stillness to double."""
AUTO: dict[str, Any] = {"mode": "auto-on", "leave_off_p": 0.0, "dims_p": 0.0}


@dataclass(frozen=True)
class _Job:
    kind: Kind
    seed: int
    use: str
    rate: float


@dataclass(frozen=True)
class Judged:
    """A room: whether the change was found in time; alarms without cause, and the years in which they could come."""

    kind: Kind
    seed: int
    use: str
    found: bool
    alarms: int
    years: float


def _judge(job: _Job) -> Judged:
    weeks = 1 + (REFERENCE + YEAR if job.kind == "none" else CHANGE + WITHIN) // 7
    overrides = AUTO if job.kind == "night-trigger" else {}
    room = changed_room(
        job.seed, job.use, Change(job.kind, CHANGE, FACTOR.get(job.kind, 1.0)), weeks=weeks, **overrides
    )
    with TemporaryDirectory() as scratch:
        write_site_and_log(room, scratch)
        site = read_site(Path(scratch))
        daily = daily_of_room(site, read_logs(Path(scratch), site), room.room)
    first = min(d for frame in daily.values() for d in frame["day"])
    if job.kind == "none":
        return Judged(job.kind, job.seed, job.use, False, *_false_alarms(room.room, daily, first, job.rate))
    change = first + dt.timedelta(days=CHANGE)
    known = {name: f.filter(pl.col("day") < change + dt.timedelta(days=WITHIN)) for name, f in daily.items()}
    drifts = watch_room(
        room.room, known, reference_to=first + dt.timedelta(days=REFERENCE), false_alarms=job.rate
    ).drifts
    found = any(d.kind == TELLS[job.kind] and d.found >= change for d in drifts)
    early = any(d.first_found is not None and d.first_found < change for d in drifts)
    return Judged(job.kind, job.seed, job.use, found, int(early), (CHANGE - REFERENCE) / 365.25)


def _false_alarms(room: str, daily: dict[str, pl.DataFrame], first: dt.date, rate: float) -> tuple[int, float]:
    last = max(d for frame in daily.values() for d in frame["day"])
    reference_to, alarms, years = first + dt.timedelta(days=REFERENCE), 0, 0.0
    while reference_to < last - dt.timedelta(days=20):
        drifts = watch_room(room, daily, reference_to=reference_to, false_alarms=rate).drifts
        end = min((d.first_found for d in drifts if d.first_found is not None), default=last)
        years += (end - reference_to).days / 365.25
        if not drifts:
            break
        alarms += 1
        daily = {name: f.filter(pl.col("day") > end) for name, f in daily.items()}
        reference_to = end + dt.timedelta(days=REFERENCE + 1)
    return alarms, years


def judge(kinds: Iterable[Kind], *, rooms: int, seed: int, rate: float, processes: int) -> list[Judged]:
    """Simulate rooms of each kind and look for drift in them."""
    uses = list(USES)
    jobs = [_Job(kind, seed + i, uses[i % len(uses)], rate) for kind in kinds for i in range(rooms)]
    # Spawn: polars is not safe to fork.
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        return list(pool.map(_judge, jobs))


def lines(judged: list[Judged]) -> list[str]:
    """The figures, as lines to print."""
    told = []
    for kind in TELLS:
        mine = [j for j in judged if j.kind == kind]
        if not mine:
            continue
        n, found = Counter(j.use for j in mine), Counter(j.use for j in mine if j.found)
        stay = [j for j in mine if j.use not in PASSING]
        told.append(
            f"{kind}: found within {WITHIN} days in {sum(j.found for j in mine)} of {len(mine)} rooms, where people stay in "
            f"{sum(j.found for j in stay)} of {len(stay)}; by use {', '.join(f'{u} {found[u]}/{n[u]}' for u in n)}"
        )
    quiet = [j for j in judged if j.kind == "none"]
    if quiet:
        years = sum(j.years for j in quiet)
        alarms = sum(j.alarms for j in quiet)
        told.append(
            f"without change: {alarms} false alarms in {years:.1f} room-years, {alarms / years:.2f} a room and year"
        )
    return told


def main() -> None:
    """Simulate, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--rooms", type=int, default=40)
    parser.add_argument("--seed", type=int, default=100)
    parser.add_argument("--rate", type=float, default=1.0, help="false alarms a room and year that are put up with")
    parser.add_argument("--kinds", nargs="*", choices=["none", *TELLS], default=["none", *TELLS])
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    judged = judge(given.kinds, rooms=given.rooms, seed=given.seed, rate=given.rate, processes=given.processes)
    print("\n".join(lines(judged)))


if __name__ == "__main__":
    main()

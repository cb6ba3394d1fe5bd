"""Buildings in which settings were changed at a known date: some rooms as said, some not, half of them left alone.

``python -m tests.simulation.changed OUT --buildings 8 --rooms 12 --weeks 8 --seed 1``
"""

import argparse
import json
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from datetime import date, timedelta
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from tests.simulation.building import write_building
from tests.simulation.days import PLACES
from tests.simulation.parameters import ALLOWED_HOLD_OFF_S, IN_FORCE_HOLD_OFF_S
from tests.simulation.room import SimulatedRoom, simulate
from tests.simulation.uses import USES

NOT_AS_SAID = ("never", "later", "set back", "another value")


@dataclass(frozen=True)
class _Job:
    number: int
    seed: int
    rooms: int
    weeks: int
    folder: Path


def _new_hold_off_s(rng: np.random.Generator, now_s: int) -> int:
    """A setting that is at least a fifth away from the one in force: mostly longer, as advice mostly is, at times a bad idea."""
    others = [s for s in ALLOWED_HOLD_OFF_S if s >= 1.2 * now_s or s <= now_s / 1.2]
    longer = [s for s in others if s > now_s]
    return int(rng.choice(longer if longer and rng.random() < 0.6 else others))


def _changes(
    rng: np.random.Generator, kind: str, day: int, days: int, now_s: int, new_s: int
) -> tuple[tuple[int, int], ...]:
    """What really happened on site, as pairs of a day and a hold-off."""
    shift = int(rng.integers(6, max(7, days - day - 6)))
    if kind == "never":
        return ()
    if kind == "later":
        return ((day + shift, new_s),)
    if kind == "set back":
        return ((day, new_s), (day + shift, now_s))
    if kind == "another value":
        near = [s for s in ALLOWED_HOLD_OFF_S if abs(s - new_s) >= 0.15 * new_s and abs(s - now_s) >= 0.15 * now_s]
        return ((day, int(rng.choice(near))),)
    return ((day, new_s),)


def make_room(
    rng: np.random.Generator, seed: int, use: str, *, weeks: int, day: int, key: str, **shared: Any
) -> SimulatedRoom:
    """One room of such a building, with what happened to it under ``change`` of its parameters."""
    now_s = int(rng.choice(IN_FORCE_HOLD_OFF_S))
    new_s = _new_hold_off_s(rng, now_s)
    changed = bool(rng.random() < 0.5)
    kind = "left alone"
    if changed:
        kind = str(rng.choice(NOT_AS_SAID)) if rng.random() < 0.25 else "as said"
    done = _changes(rng, kind, day, 7 * weeks, now_s, new_s) if changed else ()
    begin = rng.uniform(0.6, 1.0)
    overrides = {
        "hold_off_changes": done,
        "said_changes": ((day, new_s),) if changed else (),
        "occupancy": (begin, float(np.clip(begin * rng.uniform(0.75, 1.3), 0.45, 1.0))),
        "documented": True,
        "mode": "auto-on",
        "output_sample_s": float(rng.choice([0, 0, 0, 60, 300])),
        "motion_form": str(rng.choice(["events", "events", "pulses", "sampled"])),
    }
    room = simulate(
        seed,
        use,
        weeks=weeks,
        hold_off_s=now_s,
        room=key,
        truth_at_s=(now_s, new_s) if changed else (),
        **overrides,
        **shared,
    )
    room.parameters["change"] = {"kind": kind, "day": day, "was_s": now_s, "said_s": new_s if changed else None}
    return room


def make_building(job: _Job) -> str:
    """Write one building; its rooms share place, prices and the date of the visit."""
    began = time.perf_counter()
    rng = np.random.default_rng([job.seed, job.number])
    day = int(rng.integers(round(7 * job.weeks * 0.4), round(7 * job.weeks * 0.6)))
    shared = {
        "place": PLACES[rng.integers(len(PLACES))],
        "first_monday": date(2025, 1, 6) + timedelta(weeks=int(rng.integers(0, 52))),
        "electricity_price": 0.30,
        "cost_per_false_off": 0.35,
    }
    uses = list(USES)
    rooms = [
        make_room(
            rng,
            job.seed * 100_000 + job.number * 1000 + i,
            uses[(job.number + i) % len(uses)],
            weeks=job.weeks,
            day=day,
            key=f"r{i:02d}",
            **shared,
        )
        for i in range(job.rooms)
    ]
    write_building(rooms, job.folder)
    told = {r.room: r.parameters["change"] for r in rooms}
    (job.folder / "truth" / "changes.json").write_text(json.dumps(told, indent=1), encoding="utf-8")
    return f"{job.folder.name}: {job.rooms} rooms, {time.perf_counter() - began:.0f} s"


def main() -> None:
    """Write the buildings."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulation.changed", description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--buildings", type=int, default=8)
    parser.add_argument("--rooms", type=int, default=12)
    parser.add_argument("--weeks", type=int, default=8)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    a = parser.parse_args()
    jobs = [_Job(i, a.seed, a.rooms, a.weeks, a.out / f"building_{i:02d}") for i in range(a.buildings)]
    with ProcessPoolExecutor(a.processes, mp_context=get_context("spawn")) as pool:
        for future in as_completed([pool.submit(make_building, job) for job in jobs]):
            print(future.result(), flush=True)


if __name__ == "__main__":
    main()

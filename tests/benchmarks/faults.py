"""How well planted faults are found, and how often one is called where there is none.

    python -m tests.benchmarks.faults --per-kind 10 --healthy 60 --seed 7

Rooms come from `tests.simulation.faults`; the goals are those of part D.
"""

from __future__ import annotations

import argparse
import multiprocessing as mp
import time
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.simulation.building import write_building
from tests.simulation.faults import FAULTS, faulty_room
from tuning.pipeline import analyse_folder

CODES = {
    "heater": "triggers-without-people",
    "own-lamps": "triggers-without-people",
    "sun-patch": "triggers-without-people",
    "next-door": "motion-from-next-door",
    "blind-spot": "blind-spot",
    "mismatch": "hold-off-mismatch",
    "never-off": "light-never-off",
    "left-on": "override-left-on",
    "daylight-burner": "on-in-daylight",
    "hunting": "hunting",
    "swapped": "swapped-channels",
    "fading": "lamp-output-falling",
    "dead": "detector-dead",
    "one-dead": "detector-dead",
    "ignored": "detector-ignored",
    "never-alone": "detector-never-alone",
    "skew": "clock-skew",
    "drift": "clock-skew",
    "clock-set": "clock-skew",
    "stretched": "stretched-motion",
    "decaying": "decaying-motion",
    "supply": "supply-interruption",
    "stuck-lux": "stuck-series",
    "zero-offset": "lux-zero-offset",
    "saturated": "saturated-series",
}
"""The finding that a kind must bring."""
HEALTHY = ("healthy", "healthy-two-detectors")
FOUND_GOAL, FALSE_GOAL = 0.9, 0.03


@dataclass(frozen=True)
class Judged:
    """One room: what was planted, and the codes of all findings of its channels and of the building."""

    kind: str
    seed: int
    use: str
    codes: frozenset[str]
    seconds: float


@dataclass(frozen=True)
class _Job:
    kind: str
    seed: int
    folder: Path


def _judge(job: _Job) -> Judged:
    if not (job.folder / "site.toml").is_file():
        room = faulty_room(job.seed, job.kind)
        write_building(room, job.folder)
    began = time.process_time()
    analysis = analyse_folder(job.folder)
    taken = time.process_time() - began
    codes = {f.code for c in analysis.channels for f in c.findings} | {f.code for f in analysis.findings}
    return Judged(job.kind, job.seed, analysis.channels[0].use, frozenset(codes), taken)


def judge(
    folder: Path, *, seed: int, per_kind: int, healthy: int, kinds: tuple[str, ...] = (), processes: int = 2
) -> list[Judged]:
    """Simulate rooms with planted faults and without, analyse them, and keep the codes of what was found."""
    jobs = []
    for number, kind in enumerate(FAULTS):
        if kinds and kind not in kinds:
            continue
        n = {"healthy": healthy - healthy // 4, "healthy-two-detectors": healthy // 4}.get(kind, per_kind)
        jobs += [_Job(kind, seed * 1_000_000 + number * 1000 + i, folder / f"{kind}_{seed}_{i}") for i in range(n)]
    with ProcessPoolExecutor(processes, mp_context=mp.get_context("spawn")) as pool:
        return list(pool.map(_judge, jobs, chunksize=2))


def found_shares(judged: list[Judged]) -> dict[str, tuple[int, int]]:
    """By kind: in how many of its rooms the fault was found, of how many."""
    return {
        kind: (sum(code in j.codes for j in judged if j.kind == kind), sum(j.kind == kind for j in judged))
        for kind, code in CODES.items()
        if any(j.kind == kind for j in judged)
    }


def false_shares(judged: list[Judged]) -> dict[str, tuple[int, int]]:
    """By finding: in how many healthy rooms it was called, of how many."""
    rooms = [j for j in judged if j.kind in HEALTHY]
    called: Counter[str] = Counter(code for j in rooms for code in j.codes)
    return {code: (called[code], len(rooms)) for code in sorted(set(CODES.values()))}


def lines(judged: list[Judged]) -> list[str]:
    """The figures, as lines to print."""
    told = []
    others: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for j in judged:
        others[j.kind].update(j.codes & set(CODES.values()) - {CODES.get(j.kind, "")})
    for kind, (found, n) in found_shares(judged).items():
        missed = [f"{j.seed} {j.use}" for j in judged if j.kind == kind and CODES[kind] not in j.codes]
        told.append(
            f"{kind:16s} {found:3d} of {n:3d}  also: {dict(others[kind])}" + (f"  missed: {missed}" if missed else "")
        )
    for code, (called, n) in false_shares(judged).items():
        if not n:
            continue
        where = [f"{j.seed} {j.use}" for j in judged if j.kind in HEALTHY and code in j.codes]
        told.append(f"healthy: {code:26s} {called:3d} of {n:3d}" + (f"  {where}" if where else ""))
    told.append(f"processor time: {sum(j.seconds for j in judged):.0f} s for {len(judged)} rooms")
    return told


def main() -> None:
    """Simulate, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--per-kind", type=int, default=10)
    parser.add_argument("--healthy", type=int, default=60)
    parser.add_argument("--kinds", nargs="*", choices=list(FAULTS), default=[])
    parser.add_argument("--folder", type=Path, help="keep the rooms here, and use those that are there")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    with TemporaryDirectory() as scratch:
        judged = judge(
            given.folder or Path(scratch),
            seed=given.seed,
            per_kind=given.per_kind,
            healthy=given.healthy,
            kinds=tuple(given.kinds),
            processes=given.processes,
        )
    print("\n".join(lines(judged)))


if __name__ == "__main__":
    main()

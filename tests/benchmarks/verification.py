"""How good verification is on simulated buildings: realised changes, rooms that were not set, wrong words.

    python -m tests.simulation.changed BUILDINGS --buildings 10 --rooms 12 --weeks 8 --seed 3     (writes the buildings; minutes)
    python -m tests.benchmarks.verification BUILDINGS                                             (judges the verification)
    python -m tests.benchmarks.verification BUILDINGS --output-every 300       (the same, all outputs looked at every five minutes)

The truth of a change is what a week costs in the long run under the new setting less under the old one, with the people and the sun of the
whole log (occupancy and season drift in it).
"""

from __future__ import annotations

import argparse
import json
import multiprocessing as mp
import shutil
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from tuning.logs import looked_at_every_s
from tuning.verification import Verified, not_really_set, verify_folder

NAMES = ("false_offs", "wasted_on_h", "cost")
HARDLY_ANY = 0.05
"""True false-offs a week below which, before and after, an interval of their change cannot miss: one in twenty weeks."""


@dataclass(frozen=True)
class Judged:
    """One channel of a building: what was done, what was found, and the truth."""

    where: str
    kind: str
    found: Verified
    listed: bool
    truth: dict[str, tuple[float, float]] | None


def sampled(folder: Path, every_s: float, into: Path) -> Path:
    """Copy a building, its outputs that are logged on change looked at by the clock instead; those that are sampled already stay as they are."""
    log = pl.read_parquet(folder / "log.parquet")
    outputs = pl.col("quantity") == "output"
    parts = [log.filter(~outputs)]
    for rows in log.filter(outputs).partition_by("room", "channel", maintain_order=True):
        if looked_at_every_s(rows) is not None or rows.height < 2:
            parts.append(rows)
            continue
        begin, end = log["time"].min(), log["time"].max()
        clock = pl.select(time=pl.datetime_range(begin, end, f"{every_s:.0f}s", time_zone="UTC")).cast(
            rows.schema["time"]
        )
        looked = clock.sort("time").join_asof(rows.sort("time"), on="time").drop_nulls("value")
        parts.append(looked.select(log.columns))
    pl.concat(parts).sort("time", maintain_order=True).write_parquet(into / "log.parquet")
    shutil.copy(folder / "site.toml", into / "site.toml")
    return into


def judge_folder(folder: Path, output_every_s: float | None = None) -> list[Judged]:
    """Verify a simulated building and hold it against its truth."""
    told: dict[str, dict[str, Any]] = json.loads((folder / "truth" / "changes.json").read_text())
    truth = pl.read_parquet(folder / "truth" / "truth_curve.parquet")
    with tempfile.TemporaryDirectory() as name:
        found = verify_folder(folder if output_every_s is None else sampled(folder, output_every_s, Path(name)))
    listed = {(v.room, v.channel) for v in not_really_set(found.changes)}
    judged = []
    for v in found.changes:
        what = told[v.room]
        rows = truth.filter((pl.col("room") == v.room) & (pl.col("channel") == v.channel)).rows_by_key(
            "hold_off_s", named=True, unique=True
        )
        was, said = rows.get(what["was_s"]), rows.get(what["said_s"])
        figures = None if was is None or said is None else {n: (was[n], said[n]) for n in NAMES}
        judged.append(
            Judged(f"{folder.name}/{v.room}/{v.channel}", what["kind"], v, (v.room, v.channel) in listed, figures)
        )
    return judged


def judge(root: Path, *, processes: int = 2, output_every_s: float | None = None) -> list[Judged]:
    """Judge every building below a folder."""
    folders = sorted(
        p for p in root.iterdir() if (p / "site.toml").is_file() and (p / "truth" / "changes.json").is_file()
    )
    with ProcessPoolExecutor(processes, mp_context=mp.get_context("spawn")) as pool:
        return [j for judged in pool.map(judge_folder, folders, [output_every_s] * len(folders)) for j in judged]


def _share(hits: int, of: int) -> str:
    return f"{hits} of {of} ({hits / of:.1%})" if of else "none"


def _held(judged: list[Judged], name: str, *, controls: bool = False) -> str:
    hits = total = wide = 0
    for j in judged:
        q = j.found.quantities[name]
        e = q.by_controls if controls else q.change
        if e is None or j.truth is None:
            continue
        change = j.truth[name][1] - j.truth[name][0]
        hits += e.low <= change <= e.high
        wide += e.low <= 0 <= e.high
        total += 1
    return f"{_share(hits, total)}; holds 0 in {wide}"


def summary(judged: list[Judged], *, verbose: bool = False) -> list[str]:
    """The figures, as lines to print."""
    not_set = [j for j in judged if j.kind != "as said"]
    as_said = [j for j in judged if j.kind == "as said"]
    real = [j for j in judged if j.kind in ("as said", "later") and j.found.quantities and j.truth is not None]
    better = [j for j in real if j.truth and j.truth["cost"][1] < j.truth["cost"][0]]
    worse = [j for j in real if j.truth and j.truth["cost"][1] > j.truth["cost"][0]]
    lines = [
        f"channels changed {len(judged)}, truly as said {len(as_said)}",
        f"not set as said: found {_share(sum(j.listed for j in not_set), len(not_set))}, "
        f"false alarms {_share(sum(j.listed for j in as_said), len(as_said))}",
        "  hold-off cannot be told: not set as said "
        + _share(sum(j.found.really_set is None for j in not_set), len(not_set))
        + ", truly as said "
        + _share(sum(j.found.really_set is None for j in as_said), len(as_said)),
        "  not set as said, and called set as said: "
        + _share(sum(j.found.really_set is True for j in not_set), len(not_set)),
        f"90 % intervals of the realised change that hold the truth ({len(real)} channels):",
        *(f"  {n}: {_held(real, n)}; by controls {_held(real, n, controls=True)}" for n in NAMES),
        f"  false_offs where there are any: {_held([j for j in real if j.truth and max(j.truth['false_offs']) > HARDLY_ANY], 'false_offs')}",
        f"said 'worse' of truly better: {_share(sum(j.found.verdict == 'worse' for j in better), len(better))}",
        f"said 'better' or 'as predicted' of truly worse: {_share(sum(j.found.verdict in ('better', 'as-predicted') for j in worse), len(worse))}",
        f"said 'worse' of truly worse: {_share(sum(j.found.verdict == 'worse' for j in worse), len(worse))}",
        f"too early to tell: {_share(sum(j.found.verdict == 'too-early' for j in real), len(real))}",
        "predictions that held: "
        + ", ".join(f"{n} {_share(sum(j.found.quantities[n].held for j in real), len(real))}" for n in NAMES),
        "verdicts: " + ", ".join(f"{k} {n}" for k, n in Counter(j.found.verdict for j in judged).most_common()),
    ]
    missed = [j for j in not_set if j.found.really_set is True] + [j for j in as_said if j.listed]
    lines += [f"  wrong: {j.where} {j.kind}: {j.found.set_check}" for j in missed]
    lines += [f"  worse, but truly better: {j.where} {_figures(j)}" for j in better if j.found.verdict == "worse"]
    if verbose:
        lines += [f"  {j.where} {j.kind} {_figures(j)}" for j in real]
    return lines


def _figures(j: Judged) -> str:
    parts = []
    for n in NAMES:
        q, t = j.found.quantities[n], (j.truth or {})[n]
        change = t[1] - t[0]
        mark = " " if q.change.low <= change <= q.change.high else "!"
        parts.append(
            f"{mark}{n} {q.before.value:.2f}→{q.after.value:.2f} true {t[0]:.2f}→{t[1]:.2f} "
            f"[{q.change.low:.2f} {q.change.high:.2f}] {change:.2f}"
        )
    v = j.found
    return f"{v.was.hold_off_s:.0f}→{v.said.hold_off_s:.0f} s {v.verdict} | " + " | ".join(parts)


def main() -> None:
    """Judge the buildings of a folder and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("buildings", type=Path, help="folder written by python -m tests.simulation.changed")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument(
        "--output-every", type=float, help="look at outputs that are logged on change so often instead [s]"
    )
    parser.add_argument("--verbose", action="store_true")
    given = parser.parse_args()
    judged = judge(given.buildings, processes=given.processes, output_every_s=given.output_every)
    print("\n".join(summary(judged, verbose=given.verbose)))


if __name__ == "__main__":
    main()

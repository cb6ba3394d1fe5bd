"""One run over an estate: what changed is analysed, everything is ranked and pooled."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tuning.estate import kept, ranking
from tuning.estate.beliefs import pooled_beliefs
from tuning.estate.places import find_buildings
from tuning.estate.workers import RETRIES, by_cluster, by_processes, cores

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class EstateRun:
    """What a run came to.

    Attributes
    ----------
    manifest
        As written to ``manifest.json``.
    ranking
        As written to ``ranking.json``.
    beliefs
        As written to ``beliefs.json``.
    """

    manifest: dict[str, Any]
    ranking: dict[str, Any]
    beliefs: dict[str, Any]

    @property
    def failed(self) -> list[dict[str, Any]]:
        """Buildings that could not be analysed, from the manifest."""
        return [b for b in self.manifest["buildings"] if b["error"]]


def run_estate(
    root: str,
    out: Path,
    *,
    workers: int | None = None,
    cluster: str | None = None,
    retries: int = RETRIES,
    again: bool = False,
    progress: Progress | None = None,
) -> EstateRun:
    """Analyse what changed of an estate since the last run into the same folder, and rank and pool all of it.

    Parameters
    ----------
    root
        Folder or URL with buildings somewhere below. See :mod:`tuning.estate.places`.
    out
        Where results go and earlier ones are looked for. See :mod:`tuning.estate.kept`.
    workers
        Processes of this machine; as many as it has cores where not given.
    cluster
        Address of a Dask scheduler instead. Its workers must reach the root by the same name.
    retries
        How often a building is tried again whose worker was lost or whose files could not be read.
    again
        Analyse everything, changed or not.
    progress
        Called with the share done (0…1, by bytes of logs) and what was done.

    Raises
    ------
    TuningError
        If there is no building under the root, or no cluster at the address. What is wrong with one building stands in the manifest.
    """
    say = progress or (lambda _share, _what: None)
    began, clock = dt.datetime.now(dt.UTC), time.perf_counter()
    say(0.0, "looking for buildings")
    buildings = {b.name: b for b in find_buildings(root)}
    entries = {} if again else {name: e for name, b in buildings.items() if (e := kept.kept(out, b)) is not None}
    todo = [b for name, b in buildings.items() if name not in entries]
    total, done, new = sum(b.size for b in todo) or 1, 0, set[str]()
    count = workers or cores()
    if cluster is None:
        outcomes, by = by_processes(todo, workers=count, retries=retries), f"{count} processes"
    else:
        outcomes, by = by_cluster(todo, address=cluster, retries=retries), f"Dask cluster at {cluster}"
    try:
        for outcome in outcomes if todo else ():
            building = buildings[outcome.building]
            entries[building.name] = kept.keep(out, building, outcome)
            new.add(building.name)
            done += building.size
            say(done / total, f"{len(new)} of {len(todo)} buildings, last {building.name}")
    finally:
        # A run that is broken off says what it got to.
        outcomes.close()
        held = [entries[name] for name in buildings if name in entries]
        said = kept.manifest(root, by, began, time.perf_counter() - clock, held, new)
        kept.write_whole(out / "manifest.json", kept.as_json(said))
    ranked = ranking.ranking(row for e in held for row in e["rows"])
    kept.write_whole(out / "ranking.json", kept.as_json(ranked))
    ranking.write_csv(ranked["channels"], out / "ranking.csv")
    say(1.0, "pooling what rooms of each use teach")
    beliefs = pooled_beliefs(held)
    kept.write_whole(out / "beliefs.json", kept.as_json(beliefs))
    return EstateRun(said, ranked, beliefs)

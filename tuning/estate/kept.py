"""What a run leaves behind in its folder: a result and an entry for each building, written as they finish, and the manifest over all.

    OUT/buildings/NAME/analysis.json   the contract's JSON
    OUT/buildings/NAME/entry.json      inputs' fingerprint, version, seconds, error; its rows of the ranking; what its rooms teach
    OUT/manifest.json                  the entries of all buildings that the root holds, without rows
    OUT/ranking.json, ranking.csv      :mod:`tuning.estate.ranking`
    OUT/beliefs.json                   :mod:`tuning.estate.beliefs`

A result gets its name before its entry does, so a run that is broken off leaves a building that will be analysed again, and never an entry
without its result.
"""

from __future__ import annotations

import datetime as dt
import json
import os
from pathlib import Path
from typing import Any

from tuning import __version__
from tuning.estate.places import Building
from tuning.estate.task import Outcome

Entry = dict[str, Any]


def write_whole(path: Path, text: str) -> None:
    """Write a file so that whoever reads it finds the old or the new one, and never a part."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    with part.open("w", encoding="utf-8") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    part.replace(path)


def as_json(content: object) -> str:
    """Plain JSON text."""
    return json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def folder_of(out: Path, name: str) -> Path:
    """Where a building's result lies."""
    return out / "buildings" / name


def keep(out: Path, building: Building, outcome: Outcome) -> Entry:
    """Write what came of a building, and return its entry."""
    folder = folder_of(out, building.name)
    result = folder / "analysis.json"
    if outcome.analysis is None:
        # A result of other inputs would pass for one of these.
        (folder / "entry.json").unlink(missing_ok=True)
        result.unlink(missing_ok=True)
    else:
        write_whole(result, outcome.analysis)
    entry = {
        "building": building.name,
        "place": building.place,
        "site": outcome.site,
        "state": "failed" if outcome.error else "analysed",
        "error": outcome.error,
        "lasting": outcome.lasting,
        "fingerprint": outcome.fingerprint,
        "files": len(building.files),
        "bytes": building.size,
        "readings": outcome.readings,
        "channels": len(outcome.rows),
        "version": __version__,
        "analysed": dt.datetime.now(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
        "seconds": round(outcome.seconds, 3),
        "tries": outcome.tries,
        "result": None if outcome.analysis is None else result.relative_to(out).as_posix(),
        "rows": outcome.rows,
        "seen": outcome.seen,
    }
    write_whole(folder / "entry.json", as_json(entry))
    return entry


def kept(out: Path, building: Building) -> Entry | None:
    """Give the entry of an earlier run that still holds; ``None`` where the building must be analysed."""
    try:
        entry: Entry = json.loads((folder_of(out, building.name) / "entry.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    if entry.get("fingerprint") != building.fingerprint or (entry.get("error") and not entry.get("lasting")):
        return None
    if entry["result"] is not None and not (out / entry["result"]).is_file():
        return None
    return entry


def manifest(root: str, by: str, began: dt.datetime, seconds: float, entries: list[Entry], new: set[str]) -> Entry:
    """Sum up a run: what was analysed now, what is as it was, what failed."""
    told = [
        {key: value for key, value in e.items() if key not in ("rows", "seen")} | {"in_this_run": e["building"] in new}
        for e in entries
    ]
    return {
        "root": root,
        "version": __version__,
        "began": began.isoformat(timespec="seconds").replace("+00:00", "Z"),
        "seconds": round(seconds, 3),
        "by": by,
        "buildings": told,
    }

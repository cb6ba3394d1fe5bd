"""A building folder → a building of a workspace. The folder is only read."""

from __future__ import annotations

import fnmatch
import glob
import re
from pathlib import Path

from dashboard.workspace import buildings, documents, uploads
from dashboard.workspace.space import Workspace
from tuning.logs.sources import is_log
from tuning.site import read_site


def import_folder(ws: Workspace, folder: Path, *, by: str) -> str:
    """Bring in a building folder with its ``site.toml`` and its logs; returns the building's id.

    Raises
    ------
    TuningError
        If the folder or its ``site.toml`` has a problem.
    """
    site = read_site(folder)
    document = documents.from_toml((folder / "site.toml").read_text(encoding="utf-8-sig"))
    patterns = [layout.files for layout in site.logs]
    found = {p for pattern in patterns for p in folder.glob(pattern) if p.is_file()}
    paths = sorted(found or (p for p in folder.iterdir() if is_log(p)))
    building = buildings.create(ws, document | {"logs": []}, by=by)
    stored = {path: uploads.take(ws, building, path, by=by) for path in paths}
    layouts = [
        layout | {"files": name}
        for layout in document.get("logs", [])
        for name in stored_names(
            layout["files"],
            {path.name: stored[path] for path in folder.glob(layout["files"]) if path in stored},
            set(stored.values()),
        )
    ]
    buildings.edit(ws, building, {("logs",): layouts} if layouts else {}, by=by, revision=None)
    return building


def stored_names(pattern: str, mine: dict[str, str], every: set[str]) -> list[str]:
    """Patterns that fit the stored names of a layout's files (the values of ``mine``) and no other's.

    One, if it can be, because dates are understood over all files of a layout together.
    """
    literal = "".join(c if c in "*?" else re.sub(r"[^a-z0-9]", "-", c.lower()) for c in Path(pattern).stem)
    one = re.sub(r"\*+", "*", re.sub(r"-+", "-", literal) + "*") + "".join(Path(pattern).suffixes[-1:])
    if {name for name in every if fnmatch.fnmatchcase(name, one)} == set(mine.values()):
        return [one]
    return [glob.escape(name) for name in sorted(mine.values())]

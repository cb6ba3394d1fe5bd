"""Logs of a building on disk: as uploaded, laid out as a building folder, and read once as Parquet."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import shutil
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select

from dashboard.workspace import documents, history, saved
from dashboard.workspace.buildings import row_of, signed
from dashboard.workspace.errors import NotThereError
from dashboard.workspace.inputs import Inputs, present
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import FileRow
from dashboard.workspace.toml_out import toml
from tuning import __version__
from tuning.logs import Logs, load_logs, no_logs, read_logs, save_logs
from tuning.quality import Outage, find_outages

OUTAGES_FILE = "outages.json"
FACTS_SUFFIX = ".toml"
"""What is known of a building is brought in as its ``site.toml``, and kept among the files; no analysis rests on it before it is taken over."""


@dataclass(frozen=True)
class LogFile:
    """A log as uploaded. ``stored`` is its name in the building's folder, which ``[[logs]]`` speaks of. Size in bytes."""

    id: int
    name: str
    stored: str
    size: int
    sha256: str
    added_at: dt.datetime
    added_by: str
    removed_at: dt.datetime | None
    removed_by: str | None


def is_facts(name: str) -> bool:
    """Whether a file is a ``site.toml`` by its name, and no log."""
    return name.lower().endswith(FACTS_SUFFIX)


def all_of(ws: Workspace, building: str, *, removed: bool = False) -> list[LogFile]:
    """List a building's logs in the order they came; also those taken out, if asked."""
    with ws.reading() as session:
        row_of(session, building)
        query = select(FileRow).where(FileRow.building == building).order_by(FileRow.id)
        return [_file(r) for r in session.scalars(query) if removed or r.removed_at is None]


def remove(ws: Workspace, building: str, number: int, *, by: str) -> None:
    """Take a log out of what is analysed. It stays on disk, and :func:`restore` brings it back."""
    _removed(ws, building, number, signed(by), out=True)


def restore(ws: Workspace, building: str, number: int, *, by: str) -> None:
    """Bring a log back that was taken out."""
    _removed(ws, building, number, signed(by), out=False)


def _removed(ws: Workspace, building: str, number: int, who: str, *, out: bool) -> None:
    with ws.writing(who) as session:
        row = session.get(FileRow, number)
        if row is None or row.building != building:
            raise NotThereError("log", number)
        row.removed_at, row.removed_by = (now(), who) if out else (None, None)


def uploaded(ws: Workspace, building: str) -> Path:
    """Where the logs lie as they were uploaded."""
    return ws.building_folder(building) / "uploaded"


def lay_out(ws: Workspace, building: str) -> Path:
    """Lay the present facts and logs out as a building folder, and return it. Done again, it changes only what is not so yet."""
    with ws.reading() as session:
        inputs = present(session, building)
    folder = ws.building_folder(building) / "folder"
    lay_out_as(ws, building, inputs, folder)
    return folder


def lay_out_as(ws: Workspace, building: str, inputs: Inputs, folder: Path) -> None:
    """Lay out what an analysis rests on as a building folder."""
    folder.mkdir(parents=True, exist_ok=True)
    wanted = {f["stored"] for f in inputs["files"]}
    for old in folder.iterdir():
        if old.name not in wanted and old.name != "site.toml" and not old.name.startswith("."):
            old.unlink(missing_ok=True)
    for name in wanted:
        _link(uploaded(ws, building) / name, folder / name)
    text = toml(history.with_visits(inputs["document"], inputs.get("visits", [])))
    path = folder / "site.toml"
    if not path.is_file() or path.read_text(encoding="utf-8") != text:
        unfinished = folder / f".{uuid.uuid4().hex}"
        unfinished.write_text(text, encoding="utf-8")
        unfinished.replace(path)


def _link(source: Path, target: Path) -> None:
    if target.exists():
        return
    try:
        os.link(source, target)
    except FileExistsError:
        pass
    except OSError:
        # Some file systems know no links.
        shutil.copyfile(source, target)


def readings(
    ws: Workspace, building: str, inputs: Inputs, *, progress: Callable[[float, str], None]
) -> tuple[Logs, tuple[Outage, ...]]:
    """Logs of a building, and the silences in them: from Parquet where they were read before, else read and kept so.

    Raises
    ------
    TuningError
        If a log cannot be read.
    """
    site = documents.site_of(inputs["document"])
    if not inputs["files"]:
        # Before the first log there are the starting settings.
        return no_logs(site), ()
    kept = ws.building_folder(building) / "readings" / reading_key(inputs)
    if not (kept / OUTAGES_FILE).is_file():
        folder = ws.building_folder(building) / f"laid-{uuid.uuid4().hex}"
        try:
            lay_out_as(ws, building, inputs, folder)
            logs = read_logs(folder, site, progress=progress)
        finally:
            shutil.rmtree(folder, ignore_errors=True)
        unfinished = kept.parent / f".{uuid.uuid4().hex}"
        try:
            save_logs(logs, unfinished)
            found = [saved.plain(o) for o in find_outages(logs)]
            (unfinished / OUTAGES_FILE).write_text(json.dumps(found), encoding="utf-8")
            _put(unfinished, kept)
        finally:
            shutil.rmtree(unfinished, ignore_errors=True)
        _forget_others(kept)
    outages = json.loads((kept / OUTAGES_FILE).read_text(encoding="utf-8"))
    return load_logs(kept), tuple(Outage(**o) for o in outages)


def _put(unfinished: Path, kept: Path) -> None:
    try:
        unfinished.rename(kept)
    except OSError:
        # Another worker was faster with the same.
        if not (kept / OUTAGES_FILE).is_file():
            shutil.rmtree(kept, ignore_errors=True)
            unfinished.rename(kept)


def _forget_others(kept: Path) -> None:
    """Delete what other mappings gave: it can be read again from the logs as uploaded."""
    for other in kept.parent.iterdir():
        if other != kept:
            shutil.rmtree(other, ignore_errors=True)


def reading_key(inputs: Inputs) -> str:
    """Name of what is read: it changes with whatever reading depends on, and with nothing else."""
    facts = inputs["document"]
    depends: dict[str, Any] = {
        "version": __version__,
        "files": sorted(f["sha256"] + f["stored"] for f in inputs["files"]),
        "logs": facts.get("logs", []),
        "zone": facts["site"].get("time_zone"),
        "rooms": {room: sorted(entry.get("channels", {})) for room, entry in facts.get("rooms", {}).items()},
    }
    return hashlib.sha256(json.dumps(depends, sort_keys=True).encode()).hexdigest()[:32]


def in_words(text: str, inputs: Inputs) -> str:
    """Put the names that people gave their files in the place of stored ones."""
    for file in inputs["files"]:
        text = text.replace(file["stored"], file["name"])
    return text


def _file(r: FileRow) -> LogFile:
    return LogFile(r.id, r.name, r.stored, r.size, r.sha256, r.added_at, r.added_by, r.removed_at, r.removed_by)

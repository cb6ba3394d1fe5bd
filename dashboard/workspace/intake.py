"""New logs from a watched folder: each complete file is taken in once, by the way of uploads, and an analysis is asked for.

An administrator names the folder of a building, below the one that the server was started with; nothing outside that is ever looked at,
no link is followed, and nothing in it is changed. Of a file a private copy is made, tried with the building's mapping and only then taken in: a
file that does not read makes a finding, and stops nothing. Whatever moment the program is killed at, the next look goes on: what is
there by its content is not taken again, and what was taken without a record gets it.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import re
import shutil
import stat
import time
import traceback
import uuid
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.workspace import buildings, documents, jobs, uploads
from dashboard.workspace.actors import need
from dashboard.workspace.buildings import row_of, signed
from dashboard.workspace.documents import Document
from dashboard.workspace.errors import ConflictError, RefusedError, WorkspaceError
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import ArrivalRow, BuildingRow, FileRow, WatchedFolderRow
from dashboard.workspace.toml_out import toml
from tuning.errors import TuningError
from tuning.logs import read_logs
from tuning.logs.sources import SUFFIXES

HAND = "watched folder"
"""Who is said to have brought the files in."""
LOOK_S = 10.0
"""How often folders are looked at. Chosen by us."""
STILL_S = 60.0
"""A file whose size and time of change have not moved for so long is complete. Chosen by us: writers that pause longer replace what they
wrote, and a file that has only grown is taken in the place of its beginning."""
BLOCK = 1 << 20


@dataclass(frozen=True)
class WatchedFolder:
    """A folder that a building takes logs from. ``path`` is below the server's."""

    path: str
    at: dt.datetime
    by: str


@dataclass(frozen=True)
class Arrival:
    """A file that was found. ``problem`` is one line where it was not taken in."""

    name: str
    size: int
    problem: str | None
    at: dt.datetime


def watch(ws: Workspace, building: str, path: str, *, by: str) -> None:
    """Take new logs of a building from a folder; instead of another, where one was named.

    Parameters
    ----------
    path
        Below the folder that the server was started with.

    Raises
    ------
    RefusedError
        If the server was started without one, or this is no folder below it, or another building's.
    """
    need("administer", building)
    who, wanted = signed(by), path.strip().strip("/")
    folder = inside(ws, wanted)
    with ws.writing() as session:
        row_of(session, building)
        for other in session.scalars(select(WatchedFolderRow).where(WatchedFolderRow.ended_at.is_(None))):
            if other.building == building:
                other.ended_at, other.ended_by = now(), who
            elif (ws.logs_under or Path()) / other.path == folder:
                raise RefusedError("Another building takes its logs from this folder. Give each building its own.")
        session.flush()
        shown = str(folder.relative_to(ws.logs_under or Path()))
        session.add(WatchedFolderRow(building=building, path=shown, at=now(), by=who))


def inside(ws: Workspace, path: str) -> Path:
    """Return the folder that a path below the server's comes to, links resolved.

    Raises
    ------
    RefusedError
        If it is none, or lies elsewhere.
    """
    if ws.logs_under is None:
        raise RefusedError("No folder can be watched: start the server with --logs-under FOLDER.")
    if not path or "\0" in path:
        raise RefusedError("Name a folder below the server's, one for each building.")
    folder = (ws.logs_under / path).resolve()
    if folder == ws.logs_under or not folder.is_relative_to(ws.logs_under) or not folder.is_dir():
        raise RefusedError("There is no such folder below the one that the server takes logs from.")
    if folder.is_relative_to(ws.folder) or ws.folder.is_relative_to(folder):
        raise RefusedError("The workspace's own folder cannot be watched. Name another one.")
    return folder


def stop(ws: Workspace, building: str, *, by: str) -> None:
    """Watch no more; what was taken in stays."""
    need("administer", building)
    who = signed(by)
    with ws.writing() as session:
        row = _standing(session, building)
        if row is None:
            raise ConflictError(["No folder is watched any more."])
        row.ended_at, row.ended_by = now(), who


def watched(ws: Workspace, building: str) -> WatchedFolder | None:
    """Return the folder that a building takes logs from; ``None`` where it has none."""
    with ws.reading() as session:
        row = _standing(session, building)
        return None if row is None else WatchedFolder(row.path, row.at, row.by)


def arrivals(ws: Workspace, building: str, *, most: int = 30) -> list[Arrival]:
    """Files that were found in watched folders, the newest first; those that were not taken in and are gone again are left out."""
    with ws.reading() as session:
        query = select(ArrivalRow).where(ArrivalRow.building == building, ArrivalRow.gone_at.is_(None))
        rows = session.scalars(query.order_by(ArrivalRow.at.desc(), ArrivalRow.id.desc()).limit(most))
        return [Arrival(r.name, r.size, r.problem, r.at) for r in rows]


def problems(ws: Workspace, building: str) -> list[Arrival]:
    """Files that lie in the watched folder and could not be taken in."""
    return [a for a in arrivals(ws, building, most=1000) if a.problem] if watched(ws, building) else []


def _standing(session: Session, building: str) -> WatchedFolderRow | None:
    query = select(WatchedFolderRow).where(WatchedFolderRow.building == building, WatchedFolderRow.ended_at.is_(None))
    return session.scalar(query)


Seen = tuple[str, int, int]
"""Name, size and time of change [ns] of a file."""


class Watcher:
    """Looks at the folders again and again; what it remembers in between may be forgotten at any time."""

    def __init__(self, ws: Workspace, *, still_s: float = STILL_S) -> None:
        self._ws, self._still_s = ws, still_s
        self._since: dict[tuple[str, Seen], float] = {}
        self._done: dict[tuple[str, Seen], int] = {}

    def look(self) -> int:
        """Look at all folders once; returns how many files were taken in."""
        if self._ws.logs_under is None:
            return 0
        with self._ws.reading() as session:
            query = select(WatchedFolderRow.building, WatchedFolderRow.path).where(WatchedFolderRow.ended_at.is_(None))
            here = BuildingRow.id == WatchedFolderRow.building
            query = query.join(BuildingRow, here).where(BuildingRow.removed_at.is_(None))
            folders = list(session.execute(query))
        return sum(self._look_at(building, path) for building, path in folders)

    def _look_at(self, building: str, path: str) -> int:
        try:
            folder = inside(self._ws, path)
            there = _listed(folder)
        except (RefusedError, OSError):
            # A share that is away for a while; what is not there cannot be taken.
            return 0
        revision = buildings.document(self._ws, building)[1]
        with self._ws.reading() as session:
            rows = session.scalars(select(ArrivalRow).where(ArrivalRow.building == building))
            known = {(r.name, r.size, r.modified): r.revision if r.problem else None for r in rows}
        taken, waiting = 0, False
        for seen in there:
            key = (building, seen)
            if (seen in known and known[seen] in (None, revision)) or self._done.get(key) == revision:
                continue
            begun = self._since.setdefault(key, time.monotonic())
            if time.monotonic() - begun < self._still_s:
                waiting = True
                continue
            taken += self._take(building, folder, seen)
            self._done[key] = buildings.document(self._ws, building)[1]
        here = {(building, seen) for seen in there}
        for memory in (self._since, self._done):
            for key in [k for k in memory if k[0] == building and k not in here]:
                del memory[key]
        _forget_gone(self._ws, building, {name for name, *_ in there})
        if not waiting:
            # Files that come together are analysed together.
            _ask(self._ws, building)
        return taken

    def _take(self, building: str, folder: Path, seen: Seen) -> bool:
        work = self._ws.building_folder(building) / f"laid-{uuid.uuid4().hex}"
        try:
            work.mkdir(parents=True)
            copy = work / uploads.stored_name(seen[0], "0" * 32)
            sha256 = _copied(folder / seen[0], copy, seen)
            return sha256 is not None and _taken(self._ws, building, copy, seen, sha256)
        except (OSError, WorkspaceError):
            # No room, or the share went away: nothing is wrong with the file, and it is tried again.
            self._since.pop((building, seen), None)
            return False
        finally:
            shutil.rmtree(work, ignore_errors=True)


def _listed(folder: Path) -> list[Seen]:
    """Logs in a folder: plain files that are no links and not hidden."""
    found = []
    with os.scandir(folder) as entries:
        for entry in entries:
            if (
                entry.name.lower().endswith(SUFFIXES)
                and not entry.name.startswith((".", "~"))
                and entry.is_file(follow_symlinks=False)
            ):
                info = entry.stat(follow_symlinks=False)
                if info.st_size:
                    found.append((entry.name, info.st_size, info.st_mtime_ns))
    return sorted(found, key=lambda s: (s[2], s[0]))


def _copied(source: Path, copy: Path, seen: Seen) -> str | None:
    """Copy a file and return the sum of the copy; ``None`` where it changed meanwhile."""
    # A link that was put there since the listing is not followed, and a pipe is not waited for.
    number = os.open(source, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    digest = hashlib.sha256()
    with os.fdopen(number, "rb") as read, copy.open("wb") as write:
        if not stat.S_ISREG(os.fstat(number).st_mode):
            return None
        while block := read.read(BLOCK):
            digest.update(block)
            write.write(block)
        after = os.fstat(number)
    if (after.st_size, after.st_mtime_ns) != seen[1:] or copy.stat().st_size != seen[1]:
        return None
    os.utime(copy, ns=(after.st_mtime_ns, after.st_mtime_ns))
    return digest.hexdigest()


def _taken(ws: Workspace, building: str, copy: Path, seen: Seen, sha256: str) -> bool:
    with ws.reading() as session:
        arrival = session.scalar(select(ArrivalRow).where(ArrivalRow.building == building, ArrivalRow.sha256 == sha256))
        there = session.scalar(select(FileRow).where(FileRow.building == building, FileRow.sha256 == sha256))
    if arrival is not None and arrival.problem is None:
        return False
    if there is not None and there.added_by != HAND:
        # Somebody brought it in by hand, and may have taken it out again.
        _record(ws, building, seen, sha256, file=there.id, problem=None, ask=False)
        return False
    document, _ = buildings.document(ws, building)
    problem, layout = tried(document, copy)
    if problem:
        _record(ws, building, seen, sha256, file=None, problem=problem.replace(copy.name, seen[0]), ask=False)
        return False
    stored = there.stored if there is not None else ""
    if not stored:
        named = copy.with_name(seen[0])
        copy.rename(named)
        copy = named
        stored = uploads.take(ws, building, copy, by=HAND, sha256=sha256)
    if layout is not None:
        _map(ws, building, stored, layout)
    with ws.reading() as session:
        file = session.scalar(select(FileRow).where(FileRow.building == building, FileRow.stored == stored))
    _record(ws, building, seen, sha256, file=None if file is None else file.id, problem=None, ask=True, copy=copy)
    return True


def tried(document: Document, copy: Path) -> tuple[str, dict[str, object] | None]:
    """Read a file whole with the building's mapping.

    Returns
    -------
    What is wrong with it, empty where nothing is; and the layout that reads it, where its name fits none.
    """
    logs = document.get("logs", [])
    if not document.get("rooms"):
        return "The building has no rooms yet: bring in a first log by hand and say what is in it.", None
    if not logs or any(copy.match(entry["files"]) for entry in logs):
        return _problem(document, copy), None
    problem = ""
    for entry in logs:
        layout = {k: v for k, v in entry.items() if k != "files"}
        problem = _problem(document | {"logs": [{"files": _literal(copy.name)} | layout]}, copy)
        if not problem:
            return "", layout
    return f"It reads in none of the ways that the building's logs are read. {problem}", None


def _problem(document: Document, copy: Path) -> str:
    (copy.parent / "site.toml").write_text(toml(document), encoding="utf-8")
    try:
        logs = read_logs(copy.parent, documents.site_of(document))
    except TuningError as error:
        return " ".join(str(error).replace(f"{copy.parent}{os.sep}", "").replace(f"{copy.parent}: ", "").split())
    except Exception as error:  # noqa: BLE001  one file must not stop the others
        traceback.print_exc()
        return f"Reading it broke off, which is a defect of the program: {type(error).__name__}."
    if logs.series.is_empty() or not logs.series["rows"].sum():
        return "It holds no reading of a room of this building."
    return ""


def _literal(name: str) -> str:
    return re.sub(r"([*?[])", r"[\1]", name)


def _map(ws: Workspace, building: str, stored: str, layout: dict[str, object]) -> None:
    """Say how a file is read whose name fits nothing: as an edit, like any other."""
    document, revision = buildings.document(ws, building)
    logs = document.get("logs", [])
    if not any(Path(stored).match(entry["files"]) for entry in logs):
        new = [*logs, {"files": _literal(stored)} | layout]
        buildings.edit(ws, building, {("logs",): new}, by=HAND, revision=revision)


def _record(
    ws: Workspace, building: str, seen: Seen, sha256: str, *, file: int | None, problem: str | None, ask: bool, copy: Path | None = None
) -> None:  # fmt: skip
    name, size, modified = seen
    with ws.writing() as session:
        revision = row_of(session, building).revision
        row = session.scalar(select(ArrivalRow).where(ArrivalRow.building == building, ArrivalRow.sha256 == sha256))
        if row is None:
            row = ArrivalRow(building=building, sha256=sha256)
        row.name, row.size, row.modified, row.file, row.problem = name, size, modified, file, problem
        row.revision, row.at, row.gone_at = revision, now(), None
        row.asked_at = None if ask else now()
        session.add(row)
        replaced = (ArrivalRow.name == name, ArrivalRow.sha256 != sha256, ArrivalRow.problem.is_not(None))
        for other in session.scalars(select(ArrivalRow).where(ArrivalRow.building == building, *replaced)):
            other.gone_at = other.gone_at or now()
        if copy is not None and file is not None:
            _replace_beginning(session, row, copy)


def _replace_beginning(session: Session, row: ArrivalRow, copy: Path) -> None:
    """Take out the file that this one goes on from: a log that is written to all the time comes again, longer."""
    query = select(FileRow).join(ArrivalRow, ArrivalRow.file == FileRow.id)
    same = (ArrivalRow.building == row.building, ArrivalRow.name == row.name, FileRow.size < row.size)
    for earlier in session.scalars(query.where(*same, FileRow.removed_at.is_(None), FileRow.id != row.file)):
        with copy.open("rb") as read:
            begins = hashlib.sha256()
            left = earlier.size
            while left and (block := read.read(min(BLOCK, left))):
                begins.update(block)
                left -= len(block)
        if begins.hexdigest() == earlier.sha256:
            earlier.removed_at, earlier.removed_by = now(), HAND


def _forget_gone(ws: Workspace, building: str, names: set[str]) -> None:
    """A file that could not be taken in and is no longer there is nobody's concern."""
    with ws.reading() as session:
        query = select(ArrivalRow.id).where(
            ArrivalRow.building == building, ArrivalRow.problem.is_not(None), ArrivalRow.gone_at.is_(None), ArrivalRow.name.not_in(names)
        )  # fmt: skip
        gone = list(session.scalars(query))
    if gone:
        with ws.writing() as session:
            for number in gone:
                row = session.get(ArrivalRow, number)
                if row is not None:
                    row.gone_at = now()


def _ask(ws: Workspace, building: str) -> None:
    """Ask for the analysis of what was taken in, and note that, in one step."""
    waiting = (ArrivalRow.building == building, ArrivalRow.asked_at.is_(None), ArrivalRow.problem.is_(None))
    with ws.reading() as session:
        if session.scalar(select(ArrivalRow.id).where(*waiting).limit(1)) is None:
            return
    with ws.writing() as session:
        for row in session.scalars(select(ArrivalRow).where(*waiting)):
            row.asked_at = now()
        jobs.ask_in(session, building, "analyse", who=HAND)


__all__ = ["HAND", "Arrival", "WatchedFolder", "Watcher", "arrivals", "inside", "problems", "stop", "watch", "watched"]

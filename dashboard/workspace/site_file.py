"""A ``site.toml`` that was brought in with the logs → a proposal: what it says otherwise than what is in force; taken over as an edit."""

from __future__ import annotations

import fnmatch
import tomllib
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from dashboard.workspace import buildings, documents, files
from dashboard.workspace.buildings import Change
from dashboard.workspace.documents import MISSING, Document, Path
from dashboard.workspace.errors import NotThereError, WorkspaceError, WrongValueError
from dashboard.workspace.files import LogFile
from dashboard.workspace.importing import stored_names
from dashboard.workspace.space import Workspace
from tuning.errors import TuningError


@dataclass(frozen=True)
class Group:
    """What belongs together and is taken over together: the building's own facts, a room, or how the logs are read.

    ``key`` is ``site``, ``logs`` or ``rooms/ID``.
    """

    key: str
    changes: tuple[Change, ...]


@dataclass(frozen=True)
class Proposal:
    """What a file would change.

    Attributes
    ----------
    problem
        Why it cannot be taken over; empty where it can.
    revision
        Of the facts that it was held against; goes back with the confirmation.
    groups
        What it says otherwise, or anew.
    stays
        Facts in force that it does not mention; they stay.
    absent
        Patterns of logs that it speaks of and that are not here (yet).
    """

    file: LogFile
    problem: str
    revision: int
    groups: tuple[Group, ...]
    stays: tuple[Path, ...]
    absent: tuple[str, ...]


def newest(ws: Workspace, building: str) -> LogFile | None:
    """Return the file that was brought in last; ``None`` where there is none, or it was taken out."""
    return next(iter([f for f in files.all_of(ws, building) if files.is_facts(f.stored)][::-1]), None)


def proposal(ws: Workspace, building: str) -> Proposal | None:
    """Hold the newest ``site.toml`` against what is in force; ``None`` where there is none."""
    file = newest(ws, building)
    if file is None:
        return None
    document, revision = buildings.document(ws, building)
    try:
        given, absent = _read(ws, building, file)
        found = list(documents.differences(document | {"rooms": document.get("rooms", {})}, given))
        changes = [
            _change(path, was, then) for path, was, then in found if then is not MISSING and _telling(path, was, then)
        ]
        documents.check(_put(document, changes))
    except TuningError as error:
        return Proposal(file, f"{file.name}: {error}", revision, (), (), ())
    groups: dict[str, list[Change]] = {}
    for change in changes:
        key = "/".join(change.path[:2]) if change.path[0] == "rooms" else change.path[0]
        groups.setdefault(key, []).append(change)
    stays = tuple(path for path, _, then in found if then is MISSING)
    return Proposal(file, "", revision, tuple(Group(k, tuple(c)) for k, c in groups.items()), stays, absent)


def take_over(ws: Workspace, building: str, file: int, keys: Collection[str], *, revision: int, by: str) -> int:
    """Write groups of a file's facts into the building's, as one edit that can be undone; returns the revision after.

    Raises
    ------
    NotThereError
        If another file was brought in meanwhile, or this one taken out.
    ConflictError
        If somebody changed one of the facts meanwhile.
    WrongValueError
        If what comes of it is no building.
    """
    found = proposal(ws, building)
    if found is None or found.file.id != file:
        raise NotThereError("site.toml", file)
    if found.problem:
        raise WorkspaceError(found.problem)
    changes = {c.path: c.after for g in found.groups if g.key in keys for c in g.changes}
    return buildings.edit(ws, building, changes, by=by, revision=revision)


def _read(ws: Workspace, building: str, file: LogFile) -> tuple[Document, tuple[str, ...]]:
    try:
        text = (files.uploaded(ws, building) / file.stored).read_text(encoding="utf-8-sig")
        given = documents.from_toml(text)
    except UnicodeDecodeError as error:
        raise WorkspaceError(f"byte {error.start} is not UTF-8. TOML files are UTF-8. Save it as UTF-8.") from error
    except tomllib.TOMLDecodeError as error:
        raise WorkspaceError(f"this is no TOML: {error}. Mend that line, then drop the file again.") from error
    for name, kind, word in (("site", dict, "a table"), ("rooms", dict, "a table"), ("logs", list, "a list of tables")):
        if not isinstance(given.get(name, kind()), kind):
            raise WrongValueError((name,), f"it is {word}")
    logs = {f.stored: f.name for f in files.all_of(ws, building) if not files.is_facts(f.stored)}
    layouts, absent = [], []
    for index, layout in enumerate(given.pop("logs", [])):
        pattern = layout.get("files") if isinstance(layout, dict) else None
        if not isinstance(pattern, str):
            raise WrongValueError(("logs", index, "files"), "say which files it is about")
        mine = {stored: stored for stored, name in logs.items() if fnmatch.fnmatchcase(name, pattern)}
        if not mine:
            absent.append(pattern)
        layouts += [layout | {"files": name} for name in stored_names(pattern, mine, set(logs))] if mine else []
    return given | ({"logs": layouts} if layouts else {}), tuple(absent)


def _telling(path: Path, was: Any, then: Any) -> bool:
    return (documents.defaults(path) if was is MISSING else was) != then


def _change(path: Path, was: Any, then: Any) -> Change:
    return Change(path, None if was is MISSING else was, then, added=was is MISSING, removed=False)


def _put(document: Document, changes: list[Change]) -> Document:
    for change in changes:
        document = documents.put(document, change.path, change.after)
    return document

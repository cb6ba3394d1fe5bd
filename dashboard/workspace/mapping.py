"""From a first look to the ``[[logs]]`` and rooms of a building: a draft that a person corrects, checked live, written as an edit."""

from __future__ import annotations

import dataclasses
import fnmatch
import glob
import itertools
import os
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from dashboard.workspace import buildings, documents, files
from dashboard.workspace.documents import Document
from dashboard.workspace.errors import WrongValueError
from dashboard.workspace.inputs import present
from dashboard.workspace.looking import look
from dashboard.workspace.space import Workspace
from tuning.errors import TuningError
from tuning.logs import read_logs
from tuning.results import Finding

Draft = dict[str, Any]
"""``tables`` (``files``, ``layout``, ``time``, ``time_preview``, ``columns``), ``uses`` by new room, ``problems``. Plain JSON."""
TRIED = 2 * 1024**2
"""So much of each text file is read for a live check [B]. Chosen by us: half a second."""


@dataclass(frozen=True)
class Check:
    """What would be read with a draft.

    Attributes
    ----------
    problem
        The one line that says why it does not read; empty where it does.
    rooms
        Room → readings by quantity.
    silent
        Rooms of the building without a reading.
    whole
        Whether the files were read to their ends.
    """

    problem: str
    rooms: dict[str, dict[str, int]]
    silent: tuple[str, ...]
    findings: tuple[Finding, ...]
    whole: bool


def propose(ws: Workspace, building: str) -> Draft:
    """Look at a building's files; returns a draft."""
    document, _ = buildings.document(ws, building)
    found = look(files.lay_out(ws, building), document.get("rooms", {}))
    tables = [dataclasses.asdict(t) for t in found.tables]
    _as_before(document, tables)
    return documents.plain({"tables": tables, "uses": {}, "problems": found.problems})


def _as_before(document: Document, tables: list[dict[str, Any]]) -> None:
    """Where people said already what a column is, that is proposed."""
    said = {name: meaning for layout in document.get("logs", []) for name, meaning in layout.get("columns", {}).items()}
    for table in tables:
        for column in table["columns"]:
            meaning = said.get(column["name"]) if table["layout"] == "wide" else None
            if meaning:
                column.update(quantity=meaning["quantity"], room=meaning["room"], channel=meaning.get("channel") or "")
                column.update(sure=True, reasons=["As you said before.", *column["reasons"]])


def new_rooms(document: Document, draft: Draft) -> dict[str, dict[str, str]]:
    """Rooms, and their channels with a control, that the draft names and the building lacks; a room with no channel of its own gets one."""
    found: dict[str, dict[str, str]] = {}
    for column in _columns(draft):
        channels = found.setdefault(column["room"], {})
        if column["channel"]:
            dims = column["quantity"] == "output" and column["continuous"]
            before = channels.get(column["channel"], "relay")
            lit = "dimmed" if dims else "switched" if column["quantity"] in ("output", "illuminance") else "relay"
            channels[column["channel"]] = max(before, lit, key=("relay", "switched", "dimmed").index)
    lacking = {}
    for room, channels in found.items():
        have = documents.get(document, ("rooms", room, "channels"))
        there: dict[str, Any] = {} if have is documents.MISSING else have
        missing = {c: control for c, control in channels.items() if c not in there}
        if missing or not there:
            lacking[room] = missing or {"main": "switched"}
    return lacking


def _columns(draft: Draft) -> list[dict[str, Any]]:
    return [c for t in draft["tables"] for c in t["columns"] if c["quantity"] and c["room"]]


def changes(document: Document, draft: Draft) -> dict[documents.Path, Any]:
    """Return the edit that a draft comes to: ``[[logs]]``, and the rooms and channels that lack.

    Raises
    ------
    WrongValueError
        If no column is a reading of a room.
    """
    if not _columns(draft):
        raise WrongValueError(("logs",), "say of one column at least which room and quantity it is")
    every = [name for table in draft["tables"] for name in table["files"]]
    layouts = [layout for table in draft["tables"] for layout in _layouts(table, every)]
    result: dict[documents.Path, Any] = {("logs",): layouts}
    for room, channels in new_rooms(document, draft).items():
        made = {name: {"control": control} for name, control in channels.items()}
        if documents.get(document, ("rooms", room)) is documents.MISSING:
            use = draft["uses"].get(room) or "office"
            result["rooms", room] = {"name": room, "use": use, "channels": made}
        else:
            result |= {("rooms", room, "channels", name): value for name, value in made.items()}
    return result


def _layouts(table: dict[str, Any], every: Sequence[str]) -> list[dict[str, Any]]:
    columns = {
        c["name"]: {"room": c["room"], "quantity": c["quantity"]} | ({"channel": c["channel"]} if c["channel"] else {})
        for c in table["columns"]
        if c["quantity"] and c["room"]
    }
    if table["layout"] == "wide" and (not columns or not table["time"]):
        return []
    time = table["time"][0] if len(table["time"]) == 1 else table["time"]
    more = {"columns": columns} if table["layout"] == "wide" else {}
    return [{"files": p, "layout": table["layout"], "time": time} | more for p in patterns(table["files"], every)]


def patterns(mine: Sequence[str], every: Sequence[str]) -> list[str]:
    """Patterns that fit these files and no other: one that later files of the kind fit too, if it can be.

    Examples
    --------
    >>> patterns(["trend-1-ab.csv", "trend-2-cd.csv"], ["trend-1-ab.csv", "trend-2-cd.csv", "x-ef.csv"])
    ['trend-*.csv']
    >>> patterns(["a-1.csv", "b-1.csv"], ["a-1.csv", "b-1.csv", "c-1.csv"])
    ['a-1.csv', 'b-1.csv']
    """
    letters = zip(*(name.rsplit("-", 1)[0] + "-" for name in mine), strict=False)
    start = "".join(a[0] for a in itertools.takewhile(lambda a: len(set(a)) == 1, letters)).rstrip("0123456789")
    ends = {"".join(Path(name).suffixes) for name in mine}
    one = f"{start}*{ends.pop()}" if len(ends) == 1 and start else ""
    if one and [n for n in every if fnmatch.fnmatchcase(n, one)] == list(mine):
        return [one]
    return [glob.escape(name) for name in mine]


def check(ws: Workspace, building: str, draft: Draft) -> Check:
    """Read the beginnings of the files as a draft would have it, without writing anything."""
    document, _ = buildings.document(ws, building)
    with ws.reading() as session:
        inputs = present(session, building)
    folder = files.lay_out(ws, building)
    with tempfile.TemporaryDirectory(prefix=".try-", dir=ws.building_folder(building)) as name:
        put = [_beginning(path, Path(name)) for path in folder.iterdir() if path.name != "site.toml"]
        whole = all(put)
        try:
            after = document
            for path, value in changes(document, draft).items():
                after = documents.put(after, path, value)
            site = documents.site_of(after)
            logs = read_logs(Path(name), site)
        except TuningError as error:
            told = files.in_words(str(error).replace(f"{name}: ", ""), inputs)
            return Check(told, {}, (), (), whole)
    rooms: dict[str, dict[str, int]] = {}
    for room, quantity, rows in (
        logs.series.group_by("room", "quantity").agg(pl.col("rows").sum()).sort("room", "quantity").rows()
    ):
        rooms.setdefault(room, {})[quantity] = rows
    return Check("", rooms, tuple(r for r in site.rooms if r not in rooms), logs.findings, whole)


def _beginning(path: Path, folder: Path) -> bool:
    """Put the beginning of a text file, or another file whole, into a folder; tells whether it is the whole."""
    with path.open("rb") as file:
        head = file.read(4)
    text = path.suffix in (".csv", ".tsv") and not head.startswith((b"PK", b"PAR1", b"\x1f\x8b"))
    if not text or path.stat().st_size <= TRIED:
        try:
            os.link(path, folder / path.name)
        except OSError:
            shutil.copyfile(path, folder / path.name)
        return True
    with path.open("rb") as file:
        data = file.read(TRIED)
    end = data.rfind(b"\n") + 1
    # A text of two bytes a sign ends on a whole one.
    (folder / path.name).write_bytes(data[: end + (1 if head.startswith(b"\xff\xfe") else 0)])
    return False


def save(ws: Workspace, building: str, draft: Draft, *, by: str) -> int:
    """Write a draft into the building's facts, as an edit that can be undone; returns the revision.

    Raises
    ------
    WrongValueError
        If it does not make a building.
    """
    document, revision = buildings.document(ws, building)
    return buildings.edit(ws, building, changes(document, draft), by=by, revision=revision)

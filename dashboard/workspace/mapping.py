"""From a proposed mapping to the ``[[logs]]`` and rooms of a building: a draft that a person corrects, checked live, written as an edit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import polars as pl

from dashboard.workspace import buildings, documents, files
from dashboard.workspace.documents import Document
from dashboard.workspace.errors import WrongValueError
from dashboard.workspace.inputs import present
from dashboard.workspace.space import Workspace
from tuning import mapping as tuning_mapping
from tuning.errors import TuningError
from tuning.logs import read_logs
from tuning.mapping import ColumnProposal, Proposal, TableProposal
from tuning.results import Finding
from tuning.sentence import joined, say

Draft = dict[str, Any]
"""``tables`` (``files``, ``patterns``, ``layout``, ``time`` and how it is written, ``columns``), ``rooms`` as proposed, ``uses`` by new room,
``problems``. Plain JSON."""
TRIED_ROWS = 20_000
"""So many rows of each file are read for a live check. Chosen by us: a second at most."""


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
    """Look at a building's files; returns a draft. What people said before is proposed again."""
    try:
        found = tuning_mapping.propose(files.lay_out(ws, building))
    except TuningError as error:
        return {"tables": [], "rooms": {}, "uses": {}, "problems": [str(error)]}
    rooms = {r.id: {"name": r.name, "use": r.use, "channels": dict(r.channels)} for r in found.rooms}
    return documents.plain(
        {"tables": [_table(t) for t in found.tables], "rooms": rooms, "uses": {}, "problems": _problems(found)}
    )


def _problems(found: Proposal) -> list[str]:
    return [*found.problems, *(f"{text}, and left out" for text in found.left)]


def _table(t: TableProposal) -> dict[str, Any]:
    return {
        "files": t.files,
        "patterns": t.patterns,
        "layout": t.layout,
        "time": t.time.columns,
        "time_preview": ", ".join(t.time.first),
        "time_format": t.time.time_format,
        "stamp": t.time.stamp,
        "point": t.point,
        "value": t.value,
        "columns": [_column(c) for c in t.columns],
    }


def _column(c: ColumnProposal) -> dict[str, Any]:
    return {
        "name": c.name,
        "quantity": c.quantity if c.role == "reading" else None,
        "room": c.room or "",
        "channel": c.channel or "",
        "detector": c.detector,
        "scale": c.scale,
        # What is left out for a good reason need not be looked at.
        "sure": c.sure or c.role == "other",
        "reasons": [_sentence(r) for r in c.reasons],
        "preview": _preview(c),
    }


def _sentence(reason: str) -> str:
    told = "as you said before" if reason == "site.toml says so" else reason
    return f"{told[:1].upper()}{told[1:]}."


def _preview(c: ColumnProposal) -> str:
    p = c.preview
    told = [", ".join(p.first) or "empty"]
    if p.low is not None and p.high is not None:
        told.append(say("{low:g} to {high:g}", low=p.low, high=p.high))
    if p.interval_s:
        told.append(say("every {s:g} s", s=p.interval_s))
    return joined(told, "; ")


def new_rooms(document: Document, draft: Draft) -> dict[str, dict[str, str]]:
    """Rooms, and their channels with a control, that the draft names and the building lacks; a room with no channel of its own gets one."""
    found: dict[str, set[str]] = {}
    for column in _columns(draft):
        found.setdefault(column["room"], set()).update({column["channel"]} - {""})
    lacking = {}
    for room, channels in found.items():
        have = documents.get(document, ("rooms", room, "channels"))
        there: dict[str, Any] = {} if have is documents.MISSING else have
        proposed = draft["rooms"].get(room, {}).get("channels", {})
        missing = {c: proposed.get(c, "switched") for c in sorted(channels) if c not in there}
        if missing or not there:
            lacking[room] = missing or proposed or {"main": "switched"}
    return lacking


def use_of(draft: Draft, room: str) -> str:
    """What a new room is used for: as somebody said, else as proposed."""
    return str(draft["uses"].get(room) or draft["rooms"].get(room, {}).get("use") or "office")


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
    result: dict[documents.Path, Any] = {("logs",): [layout for t in draft["tables"] for layout in _layouts(t)]}
    for room, channels in new_rooms(document, draft).items():
        made = {name: {"control": control} for name, control in channels.items()}
        if documents.get(document, ("rooms", room)) is documents.MISSING:
            name = draft["rooms"].get(room, {}).get("name") or room
            result["rooms", room] = {"name": name, "use": use_of(draft, room), "channels": made}
        else:
            result |= {("rooms", room, "channels", name): value for name, value in made.items()}
    return result


def _layouts(table: dict[str, Any]) -> list[dict[str, Any]]:
    columns = {c["name"]: _meaning(c) for c in table["columns"] if c["quantity"] and c["room"]}
    if table["layout"] != "long" and (not columns or not table["time"]):
        return []
    layout: dict[str, Any] = {"layout": table["layout"], "time": _one(table["time"])}
    if table["stamp"] != "start":
        layout["stamp"] = table["stamp"]
    if table["time_format"]:
        layout["time_format"] = table["time_format"]
    if table["layout"] == "points":
        layout |= {"point": _one(table["point"]), "value": table["value"]}
    if table["layout"] != "long":
        layout["columns"] = columns
    return [{"files": pattern} | layout for pattern in table["patterns"]]


def _meaning(c: dict[str, Any]) -> dict[str, Any]:
    more = {k: c[k] for k in ("channel", "detector") if c[k]} | ({"scale": c["scale"]} if c["scale"] != 1 else {})
    return {"room": c["room"], "quantity": c["quantity"]} | more


def _one(names: list[str]) -> str | list[str]:
    return names[0] if len(names) == 1 else names


PLAIN_LONG = {"layout": "long", "time": "time"}
"""How a file is read that no layout speaks of."""


def is_in_force(document: Document, draft: Draft) -> bool:
    """Whether a draft says nothing that the building's facts do not say, or mean."""
    wanted = changes(document, draft)
    layouts = documents.plain(wanted.pop(("logs",)))
    told = document.get("logs", [])
    plain = all({k: v for k, v in layout.items() if k != "files"} == PLAIN_LONG for layout in layouts)
    return not wanted and (layouts == told or (plain and not told))


def check(ws: Workspace, building: str, draft: Draft) -> Check:
    """Read the beginnings of the files as a draft would have it, without writing anything."""
    document, _ = buildings.document(ws, building)
    with ws.reading() as session:
        inputs = present(session, building)
    folder = files.lay_out(ws, building)
    try:
        after = document
        for path, value in changes(document, draft).items():
            after = documents.put(after, path, value)
        site = documents.site_of(after)
        logs = read_logs(folder, site, most_rows=TRIED_ROWS)
    except TuningError as error:
        return Check(files.in_words(str(error).replace(f"{folder}: ", ""), inputs), {}, (), (), whole=False)
    rooms: dict[str, dict[str, int]] = {}
    rows = logs.series.group_by("room", "quantity").agg(pl.col("rows").sum()).sort("room", "quantity")
    for room, quantity, number in rows.rows():
        rooms.setdefault(room, {})[quantity] = number
    whole = logs.series["rows"].sum() < TRIED_ROWS
    return Check("", rooms, tuple(r for r in site.rooms if r not in rooms), logs.findings, whole)


def save(ws: Workspace, building: str, draft: Draft, *, by: str) -> int:
    """Write a draft into the building's facts, as an edit that can be undone; returns the revision.

    Raises
    ------
    WrongValueError
        If it does not make a building.
    """
    document, revision = buildings.document(ws, building)
    return buildings.edit(ws, building, changes(document, draft), by=by, revision=revision)

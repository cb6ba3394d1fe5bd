"""All that an analysis rests on, as plain JSON; and what has changed since, in words."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.workspace import documents
from dashboard.workspace.buildings import row_of
from dashboard.workspace.documents import MISSING
from dashboard.workspace.fields import field_of, written
from dashboard.workspace.tables import DecisionRow, FileRow, VisitRow
from dashboard.workspace.verdicts import rows_standing
from tuning import __version__
from tuning.sentence import joined, say

Inputs = dict[str, Any]
"""``version``, ``files`` (``id``, ``name``, ``stored``, ``sha256`` of each log), ``document``, ``verdicts``, ``visits`` (what was set on site:
``room``, ``channel``, ``set_at``, ``was``, ``settings``; nothing that an analysis rests on, but its verification does)."""


def present(session: Session, building: str) -> Inputs:
    """What an analysis begun now would rest on."""
    row = row_of(session, building)
    files = session.scalars(
        select(FileRow)
        .where(FileRow.building == building, FileRow.removed_at.is_(None), FileRow.stored.not_like("%.toml"))
        .order_by(FileRow.id)
    )
    return {
        "version": __version__,
        "files": [{"id": f.id, "name": f.name, "stored": f.stored, "sha256": f.sha256} for f in files],
        "document": row.document,
        "verdicts": [
            {"room": v.room, "channel": v.channel, "time": v.time.isoformat(), "present": v.present, "by": v.by}
            for v in rows_standing(session, building)
        ],
        "visits": _visits(session, building),
    }


def _visits(session: Session, building: str) -> list[dict[str, Any]]:
    """What was set on site, oldest first; also of decisions that were superseded since."""
    query = (
        select(VisitRow, DecisionRow)
        .join(DecisionRow, DecisionRow.id == VisitRow.decision)
        .where(VisitRow.building == building, VisitRow.undone_at.is_(None))
        .order_by(VisitRow.set_at, VisitRow.id)
    )
    return [
        {
            "room": v.room,
            "channel": v.channel,
            "set_at": v.set_at.isoformat(),
            "was": d.was,
            "settings": {"hold_off_s": d.hold_off_s, "target_lx": d.target_lx, "mode": d.mode},
            "analysis": d.analysis,
        }
        for v, d in session.execute(query)
    ]


def changes(before: Inputs, after: Inputs, *, rooms: Collection[str] | None = None) -> list[str]:
    """Say what differs between the inputs of two analyses, as far as it bears on some rooms (or on any).

    Names and notes bear on nothing.
    """
    told = []
    if before["version"] != after["version"]:
        told.append(f"holdoff {before['version']} → {after['version']}")
    told += _files(before, after)
    told += _facts(before["document"], after["document"], rooms)
    told += _verdicts(before, after, rooms)
    return told


def _files(before: Inputs, after: Inputs) -> Iterator[str]:
    was, now = ({f["id"]: f for f in x["files"]} for x in (before, after))
    yield from (f"log {f['name']} added" for i, f in now.items() if i not in was)
    yield from (f"log {f['name']} taken out" for i, f in was.items() if i not in now)


def _facts(before: documents.Document, after: documents.Document, rooms: Collection[str] | None) -> Iterator[str]:
    for path, was, then in documents.differences(before, after):
        elsewhere = rooms is not None and path[0] == "rooms" and len(path) > 1 and path[1] not in rooms
        if elsewhere or not documents.telling(path):
            continue
        if path[0] == "logs":
            yield "how the logs are read"
            continue
        standard = documents.defaults(path)
        if (standard if was is MISSING else was) != (standard if then is MISSING else then):
            yield _changed(path, was, then, standard)


def _changed(path: documents.Path, was: Any, then: Any, standard: Any) -> str:
    field, place = field_of(path), " ".join(p for p in path[1:-1] if p != "channels")
    if field is None:
        word = "added" if was is MISSING else "removed" if then is MISSING else "changed"
        return f"{' '.join(p for p in path[1:] if p != 'channels')} {word}"
    label = field.label if path[0] == "site" else f"{place}: {field.label[:1].lower()}{field.label[1:]}"
    before, after = (
        joined(written(field, standard if v is MISSING else v).lines(), ", ") or "not given" for v in (was, then)
    )
    unit = f" {field.unit}" if field.unit and field.kind == "number" and after != "not given" else ""
    return say("{label} {before} → {after}{unit}", label=label, before=before, after=after, unit=unit)


def _verdicts(before: Inputs, after: Inputs, rooms: Collection[str] | None) -> Iterator[str]:
    was, now = (
        {
            (v["room"], v["channel"], v["time"], v["present"]): v
            for v in x["verdicts"]
            if rooms is None or v["room"] in rooms
        }
        for x in (before, after)
    )
    for key, v in now.items():
        if key not in was:
            word = "somebody" if v["present"] else "nobody"
            yield f"{v['by']} said {word} was there at {v['time'][:16].replace('T', ' ')} UTC"
    for key, v in was.items():
        if key not in now:
            yield f"the verdict of {v['by']} on {v['time'][:16].replace('T', ' ')} UTC was taken back"

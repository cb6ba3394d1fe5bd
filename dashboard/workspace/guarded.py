"""Transactions that hold to what the acting account may do, and note what they do in the audit log.

It works on rows, whatever function reads or writes them: a table that is added later is guarded by default. Rows are known to belong to a
building by their column ``building``; writing any other table takes the role ``administer`` everywhere, unless :data:`LIKE` says otherwise.
"""

from __future__ import annotations

import datetime as dt
import json
from typing import Any, Final

from sqlalchemy import event, false, inspect
from sqlalchemy.orm import ORMExecuteState, Session, UOWTransaction, with_loader_criteria

from dashboard.workspace import audit
from dashboard.workspace.access_tables import PRIVATE, AttemptRow, AuditRow, OneTimeRow, SessionRow
from dashboard.workspace.actors import Actor, ForbiddenError, Role, actor, refusal
from dashboard.workspace.tables import AnalysisRow, Base, BuildingRow, JobRow, UploadRow

UNFILTERED: Final = "unfiltered"
"""Execution option of a query that may see all buildings: sums for quotas, of which no person sees the parts."""
PEOPLE: Final = "people"
"""Mark of a session in which an administrator's request changes accounts; no other request may."""
QUIET: frozenset[type[Base]] = frozenset({AuditRow, AttemptRow, SessionRow, OneTimeRow})
"""Not noted row by row; logging in is noted in words."""
STEPS: dict[type[Base], frozenset[str]] = {
    UploadRow: frozenset({"received", "touched_at"}),
    JobRow: frozenset({"share", "what", "heartbeat", "worker", "tries", "state", "started_at", "ended_at"}),
}
"""Columns in which a row only says how far it is; a change of nothing else is not noted."""
SECRET = frozenset({"password"})
LONGEST = 400
"""Characters of a value that are noted; of a longer one, its sum. Chosen by us."""


class GuardedSession(Session):
    """A session whose statements are guarded and noted. ``info["by"]``: the name that a person gave."""


def _needed(row: Any, *, new: bool, changed: frozenset[str]) -> tuple[Role, str | None]:
    """Which role on which building (``None``: on every one) a row asks for that is to be written."""
    if isinstance(row, BuildingRow):
        if new:
            return "administer", None
        return ("administer" if changed & {"removed_at", "removed_by"} else "decide"), row.id
    building = getattr(row, "building", None)
    if not (isinstance(building, str) and building):
        return "administer", None
    gone = isinstance(row, AnalysisRow) and changed & {"pruned_at", "pruned_by"}
    return ("administer" if gone and not new else "decide"), building


@event.listens_for(GuardedSession, "before_flush")
def _may_write(session: Session, _context: UOWTransaction, _instances: Any) -> None:
    who = actor()
    if who is None:
        return
    for row in (*session.new, *session.dirty, *session.deleted):
        changed = frozenset(_changes(row))
        new = row in session.new
        if not new and row not in session.deleted and not changed:
            continue
        private = type(row) in PRIVATE
        if who.reads_only or (private and not session.info.get(PEOPLE)):
            raise ForbiddenError("This address only shows, and changes nothing.")
        role, building = ("administer", None) if private else _needed(row, new=new, changed=changed)
        if not who.may(role, building):
            raise ForbiddenError(refusal(role, building))


@event.listens_for(GuardedSession, "do_orm_execute")
def _may_read(state: ORMExecuteState) -> None:
    who = actor()
    if who is None or state.execution_options.get(UNFILTERED):
        return
    if state.is_select:
        if not who.may("look", None):
            state.statement = state.statement.options(*(_only(c, who) for c in _kinds()))
    elif not who.may("administer", None) or who.reads_only:
        # Rows that are written without being read first do not say whose they are.
        raise ForbiddenError(refusal("administer"))


def _kinds() -> list[Any]:
    mapped = (m.class_ for m in Base.registry.mappers)
    return [c for c in mapped if c not in PRIVATE and (c is BuildingRow or hasattr(c, "building"))]


def _only(kind: Any, who: Actor) -> Any:
    column = kind.id if kind is BuildingRow else kind.building
    seen = [b for b in who.roles if b is not None and who.may("look", b)]
    return with_loader_criteria(kind, column.in_(seen) if seen else false(), include_aliases=True)


@event.listens_for(GuardedSession, "after_flush")
def _note(session: Session, _context: UOWTransaction) -> None:
    for verb, rows in (("added", session.new), ("changed", session.dirty), ("deleted", session.deleted)):
        for row in sorted(rows, key=lambda r: (type(r).__tablename__, str(inspect(r).identity))):
            if type(row) not in QUIET:
                _note_row(session, row, verb)


def _note_row(session: Session, row: Any, verb: str) -> None:
    changes = _changes(row)
    if verb == "changed" and not set(changes) - STEPS.get(type(row), frozenset()):
        return
    if verb == "added":
        details = {c.key: _short(c.key, getattr(row, c.key)) for c in inspect(type(row)).columns}
    else:
        details = {name: [_short(name, old), _short(name, new)] for name, (old, new) in changes.items()}
    building = row.id if isinstance(row, BuildingRow) else getattr(row, "building", "") or ""
    audit.note(
        session,
        action=verb,
        kind=row.__tablename__,
        key="/".join(map(str, inspect(type(row)).primary_key_from_instance(row))),
        building=building,
        details={k: v for k, v in details.items() if v is not None},
        said=session.info.get("by") or _signature(row, changes if verb == "changed" else None),
    )


def _changes(row: Any) -> dict[str, tuple[Any, Any]]:
    found = {}
    for column in inspect(row).mapper.column_attrs:
        history = inspect(row).attrs[column.key].history
        if history.has_changes():
            old, new = history.deleted[0] if history.deleted else None, history.added[0] if history.added else None
            if old != new:
                found[column.key] = (old, new)
    return found


def _signature(row: Any, changes: dict[str, tuple[Any, Any]] | None) -> str:
    """Find the name that the row itself carries of who wrote it."""
    if changes is not None:
        return next((str(new) for name, (_, new) in changes.items() if name.endswith("_by") and new), "")
    return next((str(v) for name in ("by", "created_by", "added_by") if (v := getattr(row, name, None))), "")


def _short(name: str, value: Any) -> Any:
    if value is None:
        return None
    if name in SECRET:
        return "(secret)"
    if isinstance(value, dt.datetime):
        return value.isoformat()
    text = value if isinstance(value, str) else json.dumps(value, sort_keys=True, ensure_ascii=False, default=str)
    if len(text) <= LONGEST:
        return value
    return f"sha256 {audit.sum_of(text)} of {len(text)} characters"


__all__ = ["LONGEST", "UNFILTERED", "GuardedSession"]

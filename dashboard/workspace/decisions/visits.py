"""What was set on site: marked, and the mark taken back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from dashboard.workspace.buildings import named, signed
from dashboard.workspace.decisions.records import Visit, row_of_decision, row_of_visit, visit_of, who_was_faster
from dashboard.workspace.errors import ConflictError, NotThereError, RefusedError
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import VisitRow


def mark_set(
    ws: Workspace,
    building: str,
    decisions: Mapping[int, dt.datetime],
    *,
    set_by: str,
    by: str,
    note: str = "",
) -> tuple[Visit, ...]:
    """Mark channels as set on site; their verification period starts.

    Parameters
    ----------
    decisions
        Standing decision → when it was set, UTC.
    set_by
        Who set it on site.
    by
        Who says so here.

    Raises
    ------
    ConflictError
        If one of the decisions stands no more.
    RefusedError
        If one is a rejection, was marked already, or lies in the future.
    """
    who, setter = signed(by), named(set_by)
    with ws.writing(who) as session:
        made = []
        for number, when in decisions.items():
            row = row_of_decision(session, building, number)
            if row.undone_at is not None or row.superseded_at is not None:
                raise ConflictError([who_was_faster(session, building, row.room, row.channel)])
            if row.kind == "reject":
                raise RefusedError(f"{row.room}/{row.channel} was rejected; there is nothing to set.")
            if row_of_visit(session, number) is not None:
                raise RefusedError(f"{row.room}/{row.channel} was marked as set already.")
            if when > now() + dt.timedelta(minutes=5):
                raise RefusedError(f"{row.room}/{row.channel}: what lies ahead cannot have been set.")
            visit = VisitRow(
                building=building, room=row.room, channel=row.channel, decision=number, set_at=when, set_by=setter,
                note=note.strip(), at=now(), by=who,
            )  # fmt: skip
            session.add(visit)
            made.append((visit, row))
        session.flush()
        return tuple(visit_of(v, r) for v, r in made)


def unmark_set(ws: Workspace, building: str, visit: int, *, by: str) -> None:
    """Take back that a channel was set on site."""
    who = signed(by)
    with ws.writing(who) as session:
        row = session.get(VisitRow, visit)
        if row is None or row.building != building or row.undone_at is not None:
            raise NotThereError("mark as set", visit)
        row.undone_at, row.undone_by = now(), who

"""People's words on single switch-offs. They enter the estimate; they can be taken back; they say who."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import polars as pl
from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.workspace.buildings import row_of, signed
from dashboard.workspace.errors import ConflictError, NotThereError, RefusedError
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import VerdictRow
from tuning.schemas import TIME

VERDICTS = pl.Schema({"room": pl.String(), "channel": pl.String(), "time": TIME, "present": pl.Boolean()})
"""What :func:`tuning.pipeline.analyse_folder` takes."""


@dataclass(frozen=True)
class Verdict:
    """Whether somebody was there at a switch-off, and who says so. ``time`` is that of the switch-off, UTC."""

    id: int
    room: str
    channel: str
    time: dt.datetime
    present: bool
    note: str
    at: dt.datetime
    by: str
    undone_at: dt.datetime | None
    undone_by: str | None


def say(
    ws: Workspace,
    building: str,
    room: str,
    channel: str,
    time: dt.datetime,
    *,
    present: bool,
    by: str,
    note: str = "",
    replaces: int | None = None,
) -> Verdict:
    """Say whether somebody was there at a switch-off.

    Parameters
    ----------
    time
        When the light went off. [UTC]
    present
        Whether somebody was there.
    replaces
        The verdict that the person saw standing, and takes back with this one.

    Raises
    ------
    ConflictError
        If another verdict on it stands than the person saw.
    """
    who = signed(by)
    with ws.writing(who) as session:
        row_of(session, building)
        standing = session.scalar(
            select(VerdictRow).where(
                VerdictRow.building == building,
                VerdictRow.room == room,
                VerdictRow.channel == channel,
                VerdictRow.time == time,
                VerdictRow.undone_at.is_(None),
            )
        )
        if (standing.id if standing else None) != replaces:
            raise ConflictError([_told(standing) if standing else "The verdict that stood there was taken back."])
        if standing:
            standing.undone_at, standing.undone_by = now(), who
            session.flush()
        row = VerdictRow(
            building=building, room=room, channel=channel, time=time, present=present, note=note, at=now(), by=who
        )
        session.add(row)
        session.flush()
        return _verdict(row)


def _told(row: VerdictRow) -> str:
    return f"{row.by} said {'somebody' if row.present else 'nobody'} was there, at {row.at:%H:%M} UTC."


def undo(ws: Workspace, number: int, *, by: str) -> None:
    """Take a verdict back.

    Raises
    ------
    RefusedError
        If it was taken back already.
    """
    who = signed(by)
    with ws.writing(who) as session:
        row = session.get(VerdictRow, number)
        if row is None:
            raise NotThereError("verdict", number)
        if row.undone_at is not None:
            raise RefusedError("This verdict was taken back already.")
        row.undone_at, row.undone_by = now(), who


def standing(ws: Workspace, building: str, room: str | None = None, channel: str | None = None) -> list[Verdict]:
    """Verdicts that hold, in the order of time; of one room or channel where named."""
    with ws.reading() as session:
        return [
            _verdict(r)
            for r in rows_standing(session, building)
            if room in (None, r.room) and channel in (None, r.channel)
        ]


def rows_standing(session: Session, building: str) -> list[VerdictRow]:
    """Rows of the verdicts that hold."""
    query = select(VerdictRow).where(VerdictRow.building == building, VerdictRow.undone_at.is_(None))
    return list(session.scalars(query.order_by(VerdictRow.time, VerdictRow.id)))


def history(ws: Workspace, building: str, room: str, channel: str) -> list[Verdict]:
    """Return every verdict on a channel, also those taken back; the newest first."""
    with ws.reading() as session:
        query = select(VerdictRow).where(
            VerdictRow.building == building, VerdictRow.room == room, VerdictRow.channel == channel
        )
        return [_verdict(r) for r in session.scalars(query.order_by(VerdictRow.id.desc()))]


def frame(rows: list[dict[str, Any]]) -> pl.DataFrame | None:
    """Verdicts as the estimator takes them; ``None`` where there are none."""
    return pl.DataFrame(rows, schema=VERDICTS) if rows else None


def _verdict(r: VerdictRow) -> Verdict:
    return Verdict(r.id, r.room, r.channel, r.time, r.present, r.note, r.at, r.by, r.undone_at, r.undone_by)

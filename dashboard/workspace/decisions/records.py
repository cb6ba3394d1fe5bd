"""Decisions and visits as the pages see them, and their rows in the database."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.workspace.choices import Kind, Mark
from dashboard.workspace.errors import NotThereError
from dashboard.workspace.tables import DecisionRow, VisitRow
from tuning.results import Settings


@dataclass(frozen=True)
class Decision:
    """A decision as taken.

    Attributes
    ----------
    settings
        What is to be set: the recommended ones, the adjusted ones, or with ``reject`` those in force.
    was, recommended
        Settings in force and settings recommended, then.
    extra_cost
        What it costs a week against the recommendation, in the site's currency; ``None`` where the curve does not say.
    marks
        What is beyond a floor or a limit.
    batch
        Shared by those of one click.
    """

    id: int
    room: str
    channel: str
    kind: Kind
    settings: Settings
    was: Settings
    recommended: Settings
    extra_cost: float | None
    reason: str
    marks: tuple[Mark, ...]
    analysis: int
    batch: str
    at: dt.datetime
    by: str
    superseded_at: dt.datetime | None
    undone_at: dt.datetime | None
    undone_by: str | None


@dataclass(frozen=True)
class Visit:
    """A channel set on site. ``set_at`` begins its verification period."""

    id: int
    room: str
    channel: str
    decision: int
    settings: Settings
    set_at: dt.datetime
    set_by: str
    note: str
    at: dt.datetime
    by: str


@dataclass(frozen=True)
class ChannelState:
    """Where a channel stands: what was decided last, and whether it was set. ``revision`` goes back with the next choice."""

    revision: int = 0
    decision: Decision | None = None
    visit: Visit | None = None


def rows_standing(session: Session, building: str) -> list[DecisionRow]:
    """Rows of the decisions that stand: neither undone nor superseded."""
    return list(
        session.scalars(
            select(DecisionRow).where(
                DecisionRow.building == building, DecisionRow.undone_at.is_(None), DecisionRow.superseded_at.is_(None)
            )
        )
    )


def row_of_decision(session: Session, building: str, number: int) -> DecisionRow:
    """Return a decision's row.

    Raises
    ------
    NotThereError
        If the building has no such decision.
    """
    row = session.get(DecisionRow, number)
    if row is None or row.building != building:
        raise NotThereError("decision", number)
    return row


def row_of_visit(session: Session, decision: int) -> VisitRow | None:
    """Return the row that marks a decision as set on site; ``None`` where nobody has."""
    return session.scalar(select(VisitRow).where(VisitRow.decision == decision, VisitRow.undone_at.is_(None)))


def who_was_faster(session: Session, building: str, room: str, channel: str) -> str:
    """Say what somebody else did to a channel last."""
    query = select(DecisionRow).where(
        DecisionRow.building == building, DecisionRow.room == room, DecisionRow.channel == channel
    )
    last = session.scalar(query.order_by(DecisionRow.id.desc()).limit(1))
    if last is None:
        return f"{room}/{channel} has changed."
    if last.undone_at is not None:
        return f"{room}/{channel}: {last.undone_by} took the decision back at {last.undone_at:%H:%M} UTC."
    verb = {
        "accept": "accepted",
        "adjust": "adjusted",
        "reject": "rejected",
        "starting": "took the starting setting for",
    }[last.kind]
    return f"{room}/{channel}: {last.by} {verb} it at {last.at:%H:%M} UTC."


def _settings(d: Mapping[str, Any]) -> Settings:
    return Settings(d["hold_off_s"], d["target_lx"], d["mode"])


def decision_of(r: DecisionRow) -> Decision:
    """Build a decision of its row."""
    return Decision(
        id=r.id,
        room=r.room,
        channel=r.channel,
        kind=r.kind,  # type: ignore[arg-type]
        settings=Settings(r.hold_off_s, r.target_lx, r.mode),
        was=_settings(r.was),
        recommended=_settings(r.recommended),
        extra_cost=r.extra_cost,
        reason=r.reason,
        marks=tuple(r.marks),
        analysis=r.analysis,
        batch=r.batch,
        at=r.at,
        by=r.by,
        superseded_at=r.superseded_at,
        undone_at=r.undone_at,
        undone_by=r.undone_by,
    )


def visit_of(v: VisitRow, r: DecisionRow) -> Visit:
    """Build a visit of its row and its decision's."""
    settings = Settings(r.hold_off_s, r.target_lx, r.mode)
    return Visit(v.id, v.room, v.channel, v.decision, settings, v.set_at, v.set_by, v.note, v.at, v.by)

"""What people decide about channels: accept, adjust, reject; undo; set on site.

Every decision keeps who, when, and the analysis it rests on, which keeps the logs, the version and the facts. Nobody decides on an outdated
analysis or over somebody else's head.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.workspace import analyses, documents
from dashboard.workspace.buildings import row_of, signed
from dashboard.workspace.choices import Choice, Kind, Mark, Place, chosen, extra_cost, marks_of, reasons_needed
from dashboard.workspace.errors import (
    ConflictError,
    NotThereError,
    OutdatedError,
    ReasonNeededError,
    RefusedError,
)
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import ChannelRow, DecisionRow, VisitRow
from tuning.results import ChannelResult, Settings


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


def decide(ws: Workspace, building: str, choices: Sequence[Choice], *, analysis: int, by: str) -> tuple[Decision, ...]:
    """Decide about one channel or many, all or none.

    Parameters
    ----------
    analysis
        The one that the page showed.
    by
        Who.

    Raises
    ------
    OutdatedError
        If logs, facts, verdicts or the program have changed since, as far as they bear on one of the rooms.
    ConflictError
        If somebody else decided about one of the channels meanwhile.
    ReasonNeededError
        If a setting lies beyond a floor or a limit, or something is rejected, without a reason.
    WrongValueError
        If an adjusted setting is no setting.
    """
    who = signed(by)
    if len({(c.room, c.channel) for c in choices}) != len(choices):
        raise RefusedError("A channel is named twice in one decision.")
    results = {(c.room, c.channel): c for c in analyses.summary(ws, building, analysis).channels}
    batch = uuid.uuid4().hex
    with ws.writing() as session:
        row = row_of(session, building)
        _fresh(session, building, analysis, {c.room for c in choices})
        rows = _bump(session, building, {(c.room, c.channel): c.revision for c in choices})
        site = documents.site_of(row.document)
        needed = []
        made = []
        for choice in choices:
            found = results.get((choice.room, choice.channel))
            if found is None or (choice.room, choice.channel) not in rows:
                raise NotThereError("channel", f"{choice.room}/{choice.channel}")
            settings = chosen(choice, found)
            marks = marks_of(site, found, settings)
            needed += reasons_needed(choice, found, settings, marks, site)
            made.append((choice, found, settings, marks))
        if needed:
            raise ReasonNeededError(needed)
        _supersede(session, building, {(c.room, c.channel) for c in choices})
        price = site.site.electricity_price
        done = [_row(building, batch, analysis, who, *each, price=price) for each in made]
        session.add_all(done)
        session.flush()
        return tuple(_decision(d) for d in done)


def _fresh(session: Session, building: str, analysis: int, rooms: Iterable[str]) -> None:
    row = analyses.row_of(session, building, analysis)
    changes = analyses.stale(session, building, row, set(rooms))
    if changes:
        raise OutdatedError(changes)


def _bump(session: Session, building: str, expected: Mapping[Place, int]) -> dict[Place, ChannelRow]:
    """Count the channels' revisions up, if they are those that the person saw."""
    rows, clash = {}, []
    for (room, channel), revision in expected.items():
        row = session.get(ChannelRow, (building, room, channel))
        if row is None:
            row = ChannelRow(building=building, room=room, channel=channel, revision=0)
            session.add(row)
        if row.revision != revision:
            clash.append(_who_was_faster(session, building, room, channel))
        row.revision += 1
        rows[room, channel] = row
    if clash:
        raise ConflictError(clash)
    return rows


def _who_was_faster(session: Session, building: str, room: str, channel: str) -> str:
    query = select(DecisionRow).where(
        DecisionRow.building == building, DecisionRow.room == room, DecisionRow.channel == channel
    )
    last = session.scalar(query.order_by(DecisionRow.id.desc()).limit(1))
    if last is None:
        return f"{room}/{channel} has changed."
    if last.undone_at is not None:
        return f"{room}/{channel}: {last.undone_by} took the decision back at {last.undone_at:%H:%M} UTC."
    verb = {"accept": "accepted", "adjust": "adjusted", "reject": "rejected"}[last.kind]
    return f"{room}/{channel}: {last.by} {verb} it at {last.at:%H:%M} UTC."


def _row(
    building: str,
    batch: str,
    analysis: int,
    who: str,
    choice: Choice,
    found: ChannelResult,
    settings: Settings,
    marks: tuple[Mark, ...],
    *,
    price: float,
) -> DecisionRow:
    return DecisionRow(
        building=building,
        room=choice.room,
        channel=choice.channel,
        batch=batch,
        kind=choice.kind,
        hold_off_s=settings.hold_off_s,
        target_lx=settings.target_lx,
        mode=settings.mode,
        was=asdict(found.current),
        recommended=asdict(found.recommended),
        extra_cost=extra_cost(found, settings, price=price),
        reason=choice.reason.strip(),
        marks=list(marks),
        analysis=analysis,
        at=now(),
        by=who,
    )


def _supersede(session: Session, building: str, places: set[Place]) -> None:
    for row in _standing(session, building):
        if (row.room, row.channel) in places:
            row.superseded_at = now()
    session.flush()


def _standing(session: Session, building: str) -> list[DecisionRow]:
    return list(
        session.scalars(
            select(DecisionRow).where(
                DecisionRow.building == building, DecisionRow.undone_at.is_(None), DecisionRow.superseded_at.is_(None)
            )
        )
    )


def undo(ws: Workspace, building: str, decisions: Sequence[int], *, by: str) -> None:
    """Take decisions back, all or none; what they had superseded stands again.

    Raises
    ------
    ConflictError
        If one of them was taken back or superseded already.
    RefusedError
        If one of them was set on site; that has to be taken back first.
    """
    who = signed(by)
    with ws.writing() as session:
        rows = [_decision_row(session, building, number) for number in decisions]
        gone = [r for r in rows if r.undone_at is not None or r.superseded_at is not None]
        if gone:
            raise ConflictError([_who_was_faster(session, building, r.room, r.channel) for r in gone])
        for row in rows:
            if _visit_row(session, row.id) is not None:
                raise RefusedError(
                    f"{row.room}/{row.channel} was marked as set on site; take that back first, or decide anew."
                )
            row.undone_at, row.undone_by = now(), who
        session.flush()
        for row in rows:
            before = _last_superseded(session, row)
            if before is not None:
                before.superseded_at = None
            counted = session.get(ChannelRow, (building, row.room, row.channel))
            if counted is not None:
                counted.revision += 1


def undo_batch(ws: Workspace, building: str, batch: str, *, by: str) -> int:
    """Take back what was decided with one click, as far as it still stands; returns how many decisions that were."""
    with ws.reading() as session:
        ids = [r.id for r in _standing(session, building) if r.batch == batch]
    if not ids:
        raise RefusedError("Nothing of this stands any more.")
    undo(ws, building, ids, by=by)
    return len(ids)


def _decision_row(session: Session, building: str, number: int) -> DecisionRow:
    row = session.get(DecisionRow, number)
    if row is None or row.building != building:
        raise NotThereError("decision", number)
    return row


def _last_superseded(session: Session, row: DecisionRow) -> DecisionRow | None:
    query = select(DecisionRow).where(
        DecisionRow.building == row.building,
        DecisionRow.room == row.room,
        DecisionRow.channel == row.channel,
        DecisionRow.undone_at.is_(None),
        DecisionRow.superseded_at.is_not(None),
    )
    return session.scalar(query.order_by(DecisionRow.id.desc()).limit(1))


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
    who, setter = signed(by), signed(set_by)
    with ws.writing() as session:
        made = []
        for number, when in decisions.items():
            row = _decision_row(session, building, number)
            if row.undone_at is not None or row.superseded_at is not None:
                raise ConflictError([_who_was_faster(session, building, row.room, row.channel)])
            if row.kind == "reject":
                raise RefusedError(f"{row.room}/{row.channel} was rejected; there is nothing to set.")
            if _visit_row(session, number) is not None:
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
        return tuple(_visit(v, r) for v, r in made)


def unmark_set(ws: Workspace, building: str, visit: int, *, by: str) -> None:
    """Take back that a channel was set on site."""
    who = signed(by)
    with ws.writing() as session:
        row = session.get(VisitRow, visit)
        if row is None or row.building != building or row.undone_at is not None:
            raise NotThereError("mark as set", visit)
        row.undone_at, row.undone_by = now(), who


def _visit_row(session: Session, decision: int) -> VisitRow | None:
    return session.scalar(select(VisitRow).where(VisitRow.decision == decision, VisitRow.undone_at.is_(None)))


def states(ws: Workspace, building: str) -> dict[Place, ChannelState]:
    """Where the channels stand; a channel that nobody decided about yet is ``ChannelState()``.

    Returns
    -------
    By room and channel, of those about which anything was ever decided.
    """
    with ws.reading() as session:
        row_of(session, building)
        revisions = {
            (r.room, r.channel): r.revision
            for r in session.scalars(select(ChannelRow).where(ChannelRow.building == building))
        }
        rows = {(r.room, r.channel): r for r in _standing(session, building)}
        visits = {
            v.decision: v
            for v in session.scalars(
                select(VisitRow).where(VisitRow.building == building, VisitRow.undone_at.is_(None))
            )
        }
        result = {}
        for place, revision in revisions.items():
            row = rows.get(place)
            visit = visits.get(row.id) if row else None
            result[place] = ChannelState(
                revision,
                None if row is None else _decision(row),
                None if row is None or visit is None else _visit(visit, row),
            )
        return result


def history(ws: Workspace, building: str, room: str | None = None, channel: str | None = None) -> list[Decision]:
    """Return every decision, also those undone or superseded; the newest first."""
    with ws.reading() as session:
        query = select(DecisionRow).where(DecisionRow.building == building).order_by(DecisionRow.id.desc())
        return [_decision(r) for r in session.scalars(query) if room in (None, r.room) and channel in (None, r.channel)]


def _settings(d: Mapping[str, Any]) -> Settings:
    return Settings(d["hold_off_s"], d["target_lx"], d["mode"])


def _decision(r: DecisionRow) -> Decision:
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


def _visit(v: VisitRow, r: DecisionRow) -> Visit:
    settings = Settings(r.hold_off_s, r.target_lx, r.mode)
    return Visit(v.id, v.room, v.channel, v.decision, settings, v.set_at, v.set_by, v.note, v.at, v.by)


__all__ = [
    "ChannelState",
    "Choice",
    "Decision",
    "Kind",
    "Mark",
    "Place",
    "Visit",
    "decide",
    "extra_cost",
    "history",
    "mark_set",
    "states",
    "undo",
    "undo_batch",
    "unmark_set",
]

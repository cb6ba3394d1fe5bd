"""Deciding about channels, and taking decisions back: all or none, never on an outdated analysis or over somebody else's head."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict

from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.workspace import analyses, documents
from dashboard.workspace.buildings import row_of, signed
from dashboard.workspace.choices import Choice, Mark, Place, chosen, extra_cost, marks_of, reasons_needed
from dashboard.workspace.decisions.records import (
    Decision,
    decision_of,
    row_of_decision,
    row_of_visit,
    rows_standing,
    who_was_faster,
)
from dashboard.workspace.errors import ConflictError, NotThereError, OutdatedError, ReasonNeededError, RefusedError
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import ChannelRow, DecisionRow
from tuning.results import ChannelResult, Settings


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
    with ws.writing(who) as session:
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
        return tuple(decision_of(d) for d in done)


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
            clash.append(who_was_faster(session, building, room, channel))
        row.revision += 1
        rows[room, channel] = row
    if clash:
        raise ConflictError(clash)
    return rows


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
    for row in rows_standing(session, building):
        if (row.room, row.channel) in places:
            row.superseded_at = now()
    session.flush()


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
    with ws.writing(who) as session:
        rows = [row_of_decision(session, building, number) for number in decisions]
        gone = [r for r in rows if r.undone_at is not None or r.superseded_at is not None]
        if gone:
            raise ConflictError([who_was_faster(session, building, r.room, r.channel) for r in gone])
        for row in rows:
            if row_of_visit(session, row.id) is not None:
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
        ids = [r.id for r in rows_standing(session, building) if r.batch == batch]
    if not ids:
        raise RefusedError("Nothing of this stands any more.")
    undo(ws, building, ids, by=by)
    return len(ids)


def _last_superseded(session: Session, row: DecisionRow) -> DecisionRow | None:
    query = select(DecisionRow).where(
        DecisionRow.building == row.building,
        DecisionRow.room == row.room,
        DecisionRow.channel == row.channel,
        DecisionRow.undone_at.is_(None),
        DecisionRow.superseded_at.is_not(None),
    )
    return session.scalar(query.order_by(DecisionRow.id.desc()).limit(1))

"""Drift that somebody has seen and need not count: who, when and why; taken back; and counted again once there is new evidence."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.workspace import analyses, documents, drifts
from dashboard.workspace.buildings import row_of, signed
from dashboard.workspace.drifts import RoomDrift
from dashboard.workspace.errors import ConflictError, NotThereError, ReasonNeededError, RefusedError
from dashboard.workspace.history import with_visits
from dashboard.workspace.inputs import present
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import AcknowledgementRow
from tuning.watching import Drift
from tuning.watching.reference import last_set

ON_SITE = ("lamps", "faults")
"""Kinds of drift that ask for somebody on site whatever the settings."""


@dataclass(frozen=True)
class Acknowledgement:
    """Somebody's word on a drift."""

    id: int
    reason: str
    at: dt.datetime
    by: str


@dataclass(frozen=True)
class Standing:
    """A drift, and whether it counts.

    Attributes
    ----------
    acknowledged
        Who has seen it; ``None`` where nobody has, or where it counts again.
    again
        Why it counts although it was acknowledged; empty otherwise.
    """

    drift: Drift
    acknowledged: Acknowledgement | None = None
    again: str = ""

    @property
    def counts(self) -> bool:
        """Whether anybody need look at it."""
        return self.drift.lasting and self.acknowledged is None


@dataclass(frozen=True)
class RoomStanding:
    """What has drifted in a room, with everybody's word on it.

    ``decided_since``: it was set on site after the log that this rests on, so that nothing of it counts any more.
    """

    room: str
    found: RoomDrift
    drifts: tuple[Standing, ...]
    decided_since: dt.date | None = None

    @property
    def counting(self) -> tuple[Drift, ...]:
        """What counts."""
        return () if self.decided_since else tuple(s.drift for s in self.drifts if s.counts)

    @property
    def worth_another_look(self) -> bool:
        """Whether another setting pays for the visit, and something counts."""
        return bool(self.counting) and bool(self.found.advice)

    @property
    def level(self) -> Literal["look", "site", "note", ""]:
        """Return ``look`` where another setting pays, ``site`` where somebody should look on site, ``note`` for what is good to know."""
        if not self.counting:
            return ""
        if self.found.advice:
            return "look"
        return "site" if any(d.kind in ON_SITE for d in self.counting) else "note"


def standing(ws: Workspace, building: str, analysis: int) -> dict[str, RoomStanding] | None:
    """Return the rooms in which something has drifted; ``None`` where the analysis is from before rooms were watched."""
    with ws.reading() as session:
        row = analyses.row_of(session, building, analysis)
        found = (
            None if row.pruned_at is not None else drifts.read(ws.building_folder(building) / "results" / row.folder)
        )
        if found is None:
            return None
        rows = _rows(session, building)
        set_since = _set_since(session, building, found)
    return {
        room: RoomStanding(
            room, drift, tuple(_standing(d, drift, rows.get((room, d.channel, d.statistic))) for d in drift.watched.drifts), set_since.get(room)
        )
        for room, drift in found.items()
        if drift.watched.drifts
    }  # fmt: skip


def watched(ws: Workspace, building: str, analysis: int, room: str) -> RoomDrift | None:
    """Return what is watched in one room; ``None`` where nothing was looked at."""
    with ws.reading() as session:
        row = analyses.row_of(session, building, analysis)
    found = None if row.pruned_at is not None else drifts.read(ws.building_folder(building) / "results" / row.folder)
    return (found or {}).get(room)


def _set_since(session: Session, building: str, found: drifts.Found) -> dict[str, dt.date]:
    inputs = present(session, building)
    document = with_visits(inputs["document"], inputs["visits"])
    if not documents.get(document, ("rooms",)):
        return {}
    site = documents.site_of(document)
    result = {}
    for room, drift in found.items():
        last = last_set(site.rooms[room], site.zone) if room in site.rooms else None
        if last is not None and last != drift.days.decided and last >= drift.days.first:
            result[room] = last
    return result


def _rows(session: Session, building: str) -> dict[tuple[str, str, str], AcknowledgementRow]:
    query = select(AcknowledgementRow).where(
        AcknowledgementRow.building == building,
        AcknowledgementRow.undone_at.is_(None),
        AcknowledgementRow.superseded_at.is_(None),
    )
    return {(r.room, r.channel, r.statistic): r for r in session.scalars(query)}


def _standing(drift: Drift, found: RoomDrift, row: AcknowledgementRow | None) -> Standing:
    if row is None:
        return Standing(drift)
    why = new_evidence(row.evidence, drift, found)
    told = Acknowledgement(row.id, row.reason, row.at, row.by)
    return (
        Standing(drift, None, f"Acknowledged by {row.by} on {row.at:%Y-%m-%d}, but since then {why}.")
        if why
        else Standing(drift, told)
    )


def evidence_of(drift: Drift, found: RoomDrift) -> dict[str, Any]:
    """What is known of a drift, to be held against what is known later."""
    until = found.watched.until
    return {
        "reference_from": found.days.first.isoformat(),
        "until": until.isoformat() if until else "",
        "since": drift.since.isoformat(),
        "before": drift.before,
        "after": [drift.after_low, drift.after, drift.after_high],
        "lasting": drift.lasting,
        "worth_another_look": bool(found.advice),
    }


def new_evidence(known: dict[str, Any], drift: Drift, found: RoomDrift) -> str:
    """Say what has come since a drift was acknowledged; empty where nothing has.

    New evidence is: newer reference days; a change that begins after the days that were seen; a mean that has gone beyond the range that was
    acknowledged, away from the reference days or to the other side of them; a change that had passed and is back; another setting
    that was not worth a visit, and is now.
    """
    low, after, high = known["after"]
    if known["reference_from"] != found.days.first.isoformat():
        return "the settings were set anew, and it is held against the days after"
    if drift.since.isoformat() >= known["until"]:
        return "it has changed once more"
    up = after >= known["before"]
    if (drift.after > high) if up else (drift.after < low):
        return "it has gone further"
    if (drift.after < known["before"]) if up else (drift.after > known["before"]):
        return "it has turned the other way"
    if drift.lasting and not known["lasting"]:
        return "it has come back"
    if found.advice and not known["worth_another_look"]:
        return "another setting has become worth a visit"
    return ""


def acknowledge(ws: Workspace, building: str, room: str, *, analysis: int, reason: str, by: str) -> int:
    """Acknowledge all that counts in a room; returns how many drifts that were.

    Parameters
    ----------
    analysis
        The one that the page showed.

    Raises
    ------
    ReasonNeededError
        Without a reason.
    ConflictError
        If a newer analysis has come, or somebody was faster.
    """
    who, why = signed(by), reason.strip()
    if not why:
        raise ReasonNeededError(["an acknowledgement tells others why nobody need go there"])
    with ws.writing() as session:
        row_of(session, building)
        newest = analyses.latest_row(session, building)
        if newest is None or newest.id != analysis:
            raise ConflictError(["A newer analysis has come."])
        found = (drifts.read(ws.building_folder(building) / "results" / newest.folder) or {}).get(room)
        if found is None:
            raise NotThereError("watched room", room)
        rows = _rows(session, building)
        counting = []
        for drift in found.watched.drifts:
            row = rows.get((room, drift.channel, drift.statistic))
            if drift.lasting and _standing(drift, found, row).counts:
                counting.append((drift, row))
        if not counting:
            raise ConflictError([_faster(r for r in rows.values() if r.room == room)])
        for _, row in counting:
            if row is not None:
                row.superseded_at = now()
        session.flush()
        for drift, _ in counting:
            session.add(
                AcknowledgementRow(
                    building=building, room=room, channel=drift.channel, statistic=drift.statistic, evidence=evidence_of(drift, found),
                    reason=why, analysis=analysis, at=now(), by=who,
                )
            )  # fmt: skip
        return len(counting)


def _faster(rows: Iterable[AcknowledgementRow]) -> str:
    last = max(rows, key=lambda r: r.at, default=None)
    return "Nothing counts there any more." if last is None else f"{last.by} acknowledged it at {last.at:%H:%M} UTC."


def take_back(ws: Workspace, building: str, number: int, *, by: str) -> None:
    """Take an acknowledgement back; the drift counts again.

    Raises
    ------
    RefusedError
        If it was taken back already, or counts no more.
    """
    who = signed(by)
    with ws.writing() as session:
        row = session.get(AcknowledgementRow, number)
        if row is None or row.building != building:
            raise NotThereError("acknowledgement", number)
        if row.undone_at is not None:
            raise RefusedError(f"{row.undone_by} took it back already, at {row.undone_at:%H:%M} UTC.")
        if row.superseded_at is not None:
            raise RefusedError("It was acknowledged anew since, on newer evidence; take that back.")
        row.undone_at, row.undone_by = now(), who


@dataclass(frozen=True)
class Record:
    """One acknowledgement as said, for the history."""

    channel: str
    statistic: str
    told: Acknowledgement
    superseded_at: dt.datetime | None
    undone_at: dt.datetime | None
    undone_by: str | None


def history(ws: Workspace, building: str, room: str) -> list[Record]:
    """Return every acknowledgement of a room, also those taken back or superseded; the newest first."""
    with ws.reading() as session:
        query = select(AcknowledgementRow).where(
            AcknowledgementRow.building == building, AcknowledgementRow.room == room
        )
        return [
            Record(r.channel, r.statistic, Acknowledgement(r.id, r.reason, r.at, r.by), r.superseded_at, r.undone_at, r.undone_by)
            for r in session.scalars(query.order_by(AcknowledgementRow.id.desc()))
        ]  # fmt: skip

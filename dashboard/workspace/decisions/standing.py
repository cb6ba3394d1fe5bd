"""Where the channels stand, and what was ever decided about them."""

from __future__ import annotations

from sqlalchemy import func, select

from dashboard.workspace.buildings import row_of
from dashboard.workspace.choices import Place
from dashboard.workspace.decisions.records import ChannelState, Decision, decision_of, rows_standing, visit_of
from dashboard.workspace.space import Workspace
from dashboard.workspace.tables import ChannelRow, DecisionRow, VisitRow


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
        rows = {(r.room, r.channel): r for r in rows_standing(session, building)}
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
                None if row is None else decision_of(row),
                None if row is None or visit is None else visit_of(visit, row),
            )
        return result


def decided(ws: Workspace) -> dict[str, int]:
    """How many channels of each building a decision stands about; a building without any is left out."""
    stands = (DecisionRow.undone_at.is_(None), DecisionRow.superseded_at.is_(None))
    with ws.reading() as session:
        query = select(DecisionRow.building, func.count()).where(*stands).group_by(DecisionRow.building)
        return dict(session.execute(query).all())


def history(ws: Workspace, building: str, room: str | None = None, channel: str | None = None) -> list[Decision]:
    """Return every decision, also those undone or superseded; the newest first."""
    with ws.reading() as session:
        query = select(DecisionRow).where(DecisionRow.building == building).order_by(DecisionRow.id.desc())
        return [
            decision_of(r) for r in session.scalars(query) if room in (None, r.room) and channel in (None, r.channel)
        ]

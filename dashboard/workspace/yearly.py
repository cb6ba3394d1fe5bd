"""The owner's report of a building in a workspace: as recommended, or as accepted."""

from __future__ import annotations

from dashboard.workspace import analyses, buildings, decisions
from dashboard.workspace.space import Workspace
from tuning.owner import OwnerReport, owner_report


def report(ws: Workspace, building: str, number: int, *, accepted: bool) -> OwnerReport:
    """Work out a building's year.

    Parameters
    ----------
    number
        The analysis that it rests on.
    accepted
        Whether the settings that stand decided count (what is undecided or rejected stays as it is), else the recommended ones.
    """
    settings = None
    if accepted:
        settings = {
            place: s.decision.settings
            for place, s in decisions.states(ws, building).items()
            if s.decision is not None and s.decision.kind != "reject"
        }
    return owner_report(buildings.site(ws, building), analyses.with_weeks(ws, building, number), settings=settings)


def decided(ws: Workspace, building: str) -> bool:
    """Whether any decision stands."""
    return any(s.decision is not None for s in decisions.states(ws, building).values())

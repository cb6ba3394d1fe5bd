"""Settings to start with in the rooms of a building that have no log, taught by the workspace's other buildings as well."""

from __future__ import annotations

from dashboard.workspace import analyses, buildings
from dashboard.workspace.errors import WorkspaceError
from dashboard.workspace.space import Workspace
from tuning.results import ChannelResult
from tuning.starting import StartingSettings, starting_settings

MOST_BUILDINGS = 20
"""Other buildings that teach, the ones made last: each takes a moment to read. Chosen by us."""


def starts(ws: Workspace, building: str, number: int) -> tuple[StartingSettings, ...]:
    """Where to start with every channel that an analysis found no log of; empty where every channel has one.

    Parameters
    ----------
    number
        The analysis that the page shows.
    """
    here = analyses.summary(ws, building, number).channels
    if all(c.start is not None for c in here):
        return ()
    return starting_settings(buildings.site(ws, building), here, own=_elsewhere(ws, building))


def _elsewhere(ws: Workspace, building: str) -> list[ChannelResult]:
    found: list[ChannelResult] = []
    others = [b.id for b in buildings.all_of(ws) if b.id != building]
    for other in others[-MOST_BUILDINGS:]:
        latest = analyses.latest(ws, other)
        if latest is None:
            continue
        try:
            found += analyses.summary(ws, other, latest.id).channels
        except (WorkspaceError, OSError):
            # A building that cannot be read teaches nothing; its own page says why.
            continue
    return found

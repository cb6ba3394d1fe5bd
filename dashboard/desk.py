"""A workspace as the pages see it: the store of each building, with the desk at which people decide."""

from __future__ import annotations

import threading
from dataclasses import dataclass

from dashboard.figures.timeline import Raster, Timeline
from dashboard.store import Desk, Load, Pictures, Store
from dashboard.workspace import Workspace, analyses, jobs
from dashboard.workspace.analyses import Shown
from dashboard.workspace.errors import NotThereError
from tuning.results import Analysis, ChannelResult


class WorkspaceStores:
    """The stores of all buildings of a workspace."""

    def __init__(self, ws: Workspace) -> None:
        self._ws = ws
        self.workspace: Workspace | None = ws
        self._pictures: dict[tuple[str, int], Pictures] = {}
        self._lock = threading.Lock()
        self.reading = threading.Lock()

    def of(self, building: str) -> Store | None:
        """Return the store of a building as it is now; ``None`` where there is no such building."""
        if not building:
            return None
        try:
            shown = analyses.shown(self._ws, building)
        except NotThereError:
            return None
        return WorkspaceStore(self._ws, building, shown, self)

    def pictures(self, building: str, number: int, zone: str) -> Pictures:
        """Return the pictures of an analysis; those of earlier ones of the building are let go."""
        with self._lock:
            kept = self._pictures.get((building, number))
            if kept is None:
                for old in [k for k in self._pictures if k[0] == building]:
                    del self._pictures[old]
                kept = self._pictures[building, number] = Pictures(zone)
            return kept


@dataclass(frozen=True)
class WorkspaceStore:
    """The latest analysis of one building."""

    ws: Workspace
    building: str
    shown: Shown
    stores: WorkspaceStores

    @property
    def number(self) -> int | None:
        """Of the analysis; ``None`` before the first."""
        return self.shown.number

    def load(self) -> Load:
        """Say which analysis is shown, whether it is outdated, and how far a newer one is."""
        job = jobs.last(self.ws, self.building)
        going = (job.share, job.what or "waiting for the worker") if job is not None and job.open else None
        trouble = job.error or "" if job is not None and job.state == "failed" else ""
        if self.number is not None:
            changed = analyses.changes_since(self.ws, self.building, self.number)
            return Load("ready", 1.0, "", self.number, again=going, trouble=trouble, outdated=tuple(changed))
        if going:
            return Load("loading", *going)
        return Load("failed", 0.0, trouble) if trouble else Load("empty", 0.0, "")

    def analysis(self) -> Analysis | None:
        """Return the latest analysis, without frames."""
        if self.number is None:
            return None
        with self.stores.reading:
            return self.shown.summary()

    def full(self, channel: ChannelResult) -> ChannelResult:
        """Return a channel with its frames."""
        if self.number is None:
            return channel
        # A dozen figures of a page ask at once; one of them reads, the others wait for it.
        with self.stores.reading:
            return self.shown.full(channel.room, channel.channel)

    def pictures(self, channel: ChannelResult) -> tuple[Timeline, Raster] | None:
        """Return a channel laid out along time."""
        analysis = self.analysis()
        if analysis is None or self.number is None:
            return None
        return self.stores.pictures(self.building, self.number, analysis.time_zone).of(channel)

    @property
    def desk(self) -> Desk | None:
        """Where people decide about this analysis."""
        return None if self.number is None else Desk(self.ws, self.building, self.number)

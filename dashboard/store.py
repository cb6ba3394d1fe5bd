"""Where the pages get an analysis from. The browser holds a version number; the frames stay here."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, Protocol

from dashboard.figures.timeline import Raster, Timeline, raster, timeline
from dashboard.workspace import Workspace
from tuning.errors import TuningError
from tuning.pipeline import Progress, analyse_folder
from tuning.results import Analysis, ChannelResult

Analyse = Callable[..., Analysis]
FIRST_VERSION = 1


@dataclass(frozen=True)
class Load:
    """How far an analysis has come.

    Attributes
    ----------
    state
        ``loading``, ``ready`` or ``failed``; ``empty`` where nothing was analysed yet.
    share
        Share done, 0…1.
    what
        What is being done, or what went wrong.
    version
        Number of the analysis that is ready; ``None`` while there is none.
    defect
        Whether the program failed, and nothing that a person could mend.
    again
        With ``ready``: a newer analysis is on its way, this share of it is done, and what is being done.
    trouble
        With ``ready``: why a newer analysis failed; else empty.
    outdated
        With ``ready``: what has changed since.
    """

    state: Literal["loading", "ready", "failed", "empty"]
    share: float
    what: str
    version: int | None = None
    defect: bool = False
    again: tuple[float, str] | None = None
    trouble: str = ""
    outdated: tuple[str, ...] = ()


@dataclass(frozen=True)
class Desk:
    """Where people decide about the channels of one analysis of one building."""

    ws: Workspace
    building: str
    analysis: int


class Store(Protocol):
    """What the pages ask for."""

    @property
    def desk(self) -> Desk | None:
        """Where people decide; ``None`` where an analysis is only looked at."""

    def load(self) -> Load:
        """How far the analysis has come."""

    def analysis(self) -> Analysis | None:
        """Return the analysis, once ready."""

    def full(self, channel: ChannelResult) -> ChannelResult:
        """Return a channel with its frames; an analysis of many rooms may hold them back until a room is looked at."""

    def pictures(self, channel: ChannelResult) -> tuple[Timeline, Raster] | None:
        """Return a channel laid out along time; ``None`` without motion."""


class Stores(Protocol):
    """Where the pages find the store of a building.

    Attributes
    ----------
    workspace
        Where people's decisions are kept; ``None`` where buildings are only shown.
    """

    workspace: Workspace | None

    def of(self, building: str) -> Store | None:
        """Return the store of a building; a server of one building knows it as the empty name. ``None`` where there is none."""


PICTURES_KEPT = 24
"""Channels whose pictures are kept: a year of one is some tens of megabytes. Chosen by us."""


class Pictures:
    """Timelines, made once a channel; the ones looked at last are kept."""

    def __init__(self, zone: str) -> None:
        self._zone = zone
        self._made: OrderedDict[tuple[str, str], tuple[Timeline, Raster] | None] = OrderedDict()
        self._lock = threading.Lock()

    def of(self, channel: ChannelResult) -> tuple[Timeline, Raster] | None:
        """Return the channel laid out along time."""
        key = (channel.room, channel.channel)
        # Several figures of a page ask at once; one of them does the work.
        with self._lock:
            if key not in self._made:
                line = timeline(channel, zone=self._zone)
                self._made[key] = None if line is None else (line, raster(line))
            self._made.move_to_end(key)
            if len(self._made) > PICTURES_KEPT:
                self._made.popitem(last=False)
            return self._made[key]


class FixedStore:
    """An analysis that is there already."""

    desk: Desk | None = None
    workspace: Workspace | None = None

    def __init__(self, analysis: Analysis) -> None:
        self._analysis = analysis
        self._pictures = Pictures(analysis.time_zone)

    def load(self) -> Load:
        """Return ready, always."""
        return Load("ready", 1.0, "", FIRST_VERSION)

    def analysis(self) -> Analysis | None:
        """Return the analysis."""
        return self._analysis

    def of(self, building: str) -> Store | None:
        """Return itself for the empty name."""
        return None if building else self

    def full(self, channel: ChannelResult) -> ChannelResult:
        """Return the channel as it is."""
        return channel

    def pictures(self, channel: ChannelResult) -> tuple[Timeline, Raster] | None:
        """Return a channel laid out along time."""
        return self._pictures.of(channel)


class FolderStore:
    """A building folder, analysed in a thread of its own while the pages already answer.

    Parameters
    ----------
    folder
        With ``site.toml`` and the logs.
    analyse
        Called with the folder and ``progress``.
    """

    desk: Desk | None = None
    workspace: Workspace | None = None

    def __init__(self, folder: Path, *, analyse: Analyse = analyse_folder) -> None:
        self._folder, self._analyse = folder, analyse
        self._load = Load("loading", 0.0, "starting")
        self._ready: FixedStore | None = None
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin the analysis; returns at once."""
        self._thread = threading.Thread(target=self._run, name="analysis", daemon=True)
        self._thread.start()

    def wait(self, timeout_s: float | None = None) -> Load:
        """Wait until the analysis has ended, and say how."""
        if self._thread is not None:
            self._thread.join(timeout_s)
        return self._load

    def load(self) -> Load:
        """How far the analysis has come."""
        return self._load

    def analysis(self) -> Analysis | None:
        """Return the analysis, once ready."""
        return None if self._ready is None else self._ready.analysis()

    def of(self, building: str) -> Store | None:
        """Return itself for the empty name."""
        return None if building else self

    def full(self, channel: ChannelResult) -> ChannelResult:
        """Return the channel as it is."""
        return channel

    def pictures(self, channel: ChannelResult) -> tuple[Timeline, Raster] | None:
        """Return a channel laid out along time."""
        return None if self._ready is None else self._ready.pictures(channel)

    def _say(self) -> Progress:
        def say(share: float, what: str) -> None:
            self._load = replace(self._load, share=share, what=what)

        return say

    def _run(self) -> None:
        try:
            self._ready = FixedStore(self._analyse(self._folder, progress=self._say()))
        except (TuningError, OSError) as error:
            self._load = Load("failed", 0.0, " ".join(str(error).split()))
        except Exception as error:
            # A page that waits for ever would hide a defect; the trace goes on to the log of the server.
            what = f"The analysis broke off, which is a defect of the program: {type(error).__name__}."
            self._load = Load("failed", 0.0, what, defect=True)
            raise
        else:
            self._load = Load("ready", 1.0, "", FIRST_VERSION)

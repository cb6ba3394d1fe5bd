"""Finished analyses: which there are, what they rest on, what has changed since, and their results for the pages."""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
import shutil
import uuid
from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.workspace import inputs as given
from dashboard.workspace import saved
from dashboard.workspace.buildings import document, revision_of
from dashboard.workspace.errors import NotThereError, RefusedError
from dashboard.workspace.inputs import Inputs
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import AnalysisRow
from tuning import __version__
from tuning.results import Analysis, ChannelResult

CHANNELS_KEPT = 16
"""Channels with frames that are kept in memory. Chosen by us: a year of one is some tens of megabytes."""


@dataclass(frozen=True)
class AnalysisInfo:
    """A finished analysis. ``inputs`` is what it rests on: version, files, document, verdicts."""

    id: int
    building: str
    version: str
    inputs: Inputs
    created_at: dt.datetime
    created_by: str


def latest(ws: Workspace, building: str) -> AnalysisInfo | None:
    """Return the newest analysis of a building; ``None`` before the first."""
    with ws.reading() as session:
        row = latest_row(session, building)
        return None if row is None else _info(row)


def info(ws: Workspace, building: str, number: int) -> AnalysisInfo:
    """Return what is known of an analysis. Raises as :func:`row_of`."""
    with ws.reading() as session:
        return _info(row_of(session, building, number))


def latest_row(session: Session, building: str) -> AnalysisRow | None:
    """Return the row of the newest analysis."""
    query = select(AnalysisRow).where(AnalysisRow.building == building)
    return session.scalar(query.order_by(AnalysisRow.id.desc()).limit(1))


def row_of(session: Session, building: str, number: int) -> AnalysisRow:
    """Return the row of an analysis.

    Raises
    ------
    NotThereError
        If the building has no such analysis.
    """
    row = session.get(AnalysisRow, number)
    if row is None or row.building != building:
        raise NotThereError("analysis", number)
    return row


def all_of(ws: Workspace, building: str) -> list[AnalysisInfo]:
    """Return all analyses of a building, the newest first."""
    with ws.reading() as session:
        query = select(AnalysisRow).where(AnalysisRow.building == building)
        return [_info(row) for row in session.scalars(query.order_by(AnalysisRow.id.desc()))]


def changes_since(ws: Workspace, building: str, number: int, room: str | None = None) -> list[str]:
    """Say what an analysis no longer agrees with, as far as it bears on a room (or on any); empty where it is up to date."""
    with ws.reading() as session:
        return stale(session, building, row_of(session, building, number), None if room is None else {room})


def stale(session: Session, building: str, row: AnalysisRow, rooms: Collection[str] | None) -> list[str]:
    """As :func:`changes_since`, for some rooms, inside a transaction."""
    return given.changes(row.inputs, given.present(session, building), rooms=rooms)


@dataclass(frozen=True)
class Shown:
    """A building as it is now, and an analysis of it: what every callback of a page starts from, read in one go.

    ``number`` is ``None`` before the first analysis. ``site`` and ``called`` are the names that building and rooms have now.
    """

    number: int | None
    results: Path
    site: str
    called: tuple[tuple[str, str], ...]
    pruned_by: str | None = None

    def summary(self) -> Analysis:
        """Return the results without frames, under the present names."""
        return _summary(self._there(), self.site, self.called)

    def full(self, room: str, channel: str) -> ChannelResult:
        """Return one channel with its frames, under the present name of its room.

        Raises
        ------
        NotThereError
            If the analysis has no such channel.
        """
        found = _full(self._there(), room, channel, dict(self.called).get(room) or room)
        if found is None:
            raise NotThereError("channel", f"{room}/{channel}")
        return found

    def _there(self) -> Path:
        if self.pruned_by is not None:
            raise RefusedError(
                f"The results of analysis {self.number} were let go by {self.pruned_by}. Load the page anew."
            )
        return self.results


def shown(ws: Workspace, building: str, number: int | None = None) -> Shown:
    """Return a building with one of its analyses, the newest where none is named.

    Raises
    ------
    NotThereError
        If there is no such building, or it has no such analysis.
    """
    columns = select(AnalysisRow.id, AnalysisRow.folder, AnalysisRow.pruned_at, AnalysisRow.pruned_by)
    mine = columns.where(AnalysisRow.building == building)
    mine = mine.order_by(AnalysisRow.id.desc()).limit(1) if number is None else mine.where(AnalysisRow.id == number)
    with ws.reading() as session:
        revision = revision_of(session, building)
        row = session.execute(mine).first()
    if row is None and number is not None:
        raise NotThereError("analysis", number)
    site, called = _names(ws, building, revision)
    if row is None:
        return Shown(None, _results(ws, building), site, called)
    by = None if row.pruned_at is None else row.pruned_by or ""
    return Shown(row.id, _results(ws, building) / row.folder, site, called, by)


@functools.lru_cache(maxsize=64)
def _names(ws: Workspace, building: str, _revision: int) -> tuple[str, tuple[tuple[str, str], ...]]:
    """Names of building and rooms, read from its document once for each revision."""
    facts, _ = document(ws, building)
    rooms = facts.get("rooms", {}).items()
    return facts["site"].get("name") or "", tuple((room, entry.get("name") or room) for room, entry in rooms)


def summary(ws: Workspace, building: str, number: int) -> Analysis:
    """Return the results of an analysis without frames, under the names that building and rooms have now."""
    return shown(ws, building, number).summary()


@functools.lru_cache(maxsize=8)
def _summary(folder: Path, site: str, called: tuple[tuple[str, str], ...]) -> Analysis:
    analysis, names = saved.load(folder), dict(called)
    channels = (dataclasses.replace(c, room_name=names.get(c.room, c.room_name)) for c in analysis.channels)
    return dataclasses.replace(analysis, site=site or analysis.site, channels=tuple(channels))


def same_room(ws: Workspace, building: str, one: int, other: int, room: str) -> bool:
    """Whether two analyses say the same of a room: all of it was taken over, at the same prices; not where one of them is not there."""
    folders = []
    with ws.reading() as session:
        for number in (one, other):
            row = session.get(AnalysisRow, number)
            if row is None or row.building != building or row.pruned_at is not None:
                return False
            folders.append(_results(ws, building) / row.folder)
    before, after = (_of_room(folder, room) for folder in folders)
    return before == after and bool(after["channels"])


def _of_room(folder: Path, room: str) -> dict[str, Any]:
    known = saved.document(folder)
    return {
        key: [c for c in value if c["room"] == room] if key == "channels" else value
        for key, value in known.items()
        if key != "generated"
    }


def with_weeks(ws: Workspace, building: str, number: int) -> Analysis:
    """As :func:`summary`, with the week of each channel (``time_use.week``)."""
    analysis = summary(ws, building, number)
    with ws.reading() as session:
        row = row_of(session, building, number)
    weeks = saved.weeks(_results(ws, building) / row.folder)
    channels = (
        c
        if c.time_use is None
        else dataclasses.replace(c, time_use=dataclasses.replace(c.time_use, week=weeks.get((c.room, c.channel))))
        for c in analysis.channels
    )
    return dataclasses.replace(analysis, channels=tuple(channels))


def full_channel(ws: Workspace, building: str, number: int, room: str, channel: str) -> ChannelResult:
    """Return one channel with its frames; see :meth:`Shown.full`."""
    return shown(ws, building, number).full(room, channel)


@functools.lru_cache(maxsize=CHANNELS_KEPT)
def _full(folder: Path, room: str, channel: str, called: str) -> ChannelResult | None:
    found = saved.load_channel(folder, room, channel)
    return None if found is None else dataclasses.replace(found, room_name=called)


def _results(ws: Workspace, building: str) -> Path:
    return ws.building_folder(building) / "results"


def keep(
    ws: Workspace,
    building: str,
    analysis: Analysis,
    inputs: Inputs,
    *,
    by: str,
    job: int | None = None,
    also: Callable[[Session], None] | None = None,
    kept: dict[tuple[str, str], dict[str, Any]] | None = None,
    beside: Callable[[Path], None] | None = None,
) -> int:
    """Write a finished analysis: first its folder, under a name that nobody knows; then, in one step, the row that names it.

    Parameters
    ----------
    inputs
        What it rests on, as it was when the work began.
    also
        Done in the same transaction; raises to keep nothing.
    kept
        Entries of channels that are taken over from an earlier analysis.
    beside
        Writes more into the folder.
    """
    name = uuid.uuid4().hex
    results = _results(ws, building)
    results.mkdir(parents=True, exist_ok=True)
    unfinished = results / f".{name}"
    try:
        saved.save(analysis, unfinished, name, kept)
        if beside:
            beside(unfinished)
        unfinished.rename(results / name)
        with ws.writing() as session:
            if also:
                also(session)
            row = AnalysisRow(
                building=building, job=job, folder=name, version=__version__, inputs=inputs, created_at=now(), created_by=by
            )  # fmt: skip
            session.add(row)
            session.flush()
            return row.id
    except BaseException:
        for left in (unfinished, results / name):
            shutil.rmtree(left, ignore_errors=True)
        raise


def sweep(ws: Workspace) -> int:
    """Delete what interrupted jobs left behind. Call it only while no job runs. Returns how many folders went."""
    with ws.reading() as session:
        known = set(session.scalars(select(AnalysisRow.folder)))
    buildings = ws.folder / "buildings"
    left = [f for f in buildings.glob("*/results/*") if f.name not in known]
    left += [*buildings.glob("*/readings/.*"), *buildings.glob("*/laid-*")]
    for folder in left:
        shutil.rmtree(folder, ignore_errors=True)
    return len(left)


def _info(row: AnalysisRow) -> AnalysisInfo:
    return AnalysisInfo(row.id, row.building, row.version, row.inputs, row.created_at, row.created_by)

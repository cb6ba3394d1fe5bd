"""Does a mapping read? What would be read with it, before anything is written."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from tuning.errors import TuningError
from tuning.logs import Logs, read_logs
from tuning.mapping.model import Mapping
from tuning.mapping.write import mapped_site
from tuning.results import Finding


@dataclass(frozen=True)
class RoomCheck:
    """What would be read of a room: rows by quantity, over all channels; ``usable`` where motion or occupancy is among them."""

    room: str
    rows: dict[str, int]
    channels: tuple[str, ...]
    start: dt.datetime
    end: dt.datetime

    @property
    def usable(self) -> bool:
        """Whether there is a motion log to analyse."""
        return "motion" in self.rows or "occupied" in self.rows


@dataclass(frozen=True)
class MappingCheck:
    """What comes of a mapping.

    Attributes
    ----------
    reads
        Whether the logs can be read with it.
    problem
        The one line that says why not; None where they can.
    rows
        Readings of rooms of the mapping.
    rooms
        By room, those with readings.
    silent
        Rooms of ``site.toml`` without a reading.
    start, end
        Span of all readings. [UTC]
    findings
        What was noticed while reading.
    whole
        Whether the files were read to their ends; else ``most_rows`` of each.
    """

    reads: bool
    problem: str | None
    rows: int
    rooms: tuple[RoomCheck, ...]
    silent: tuple[str, ...]
    start: dt.datetime | None
    end: dt.datetime | None
    findings: tuple[Finding, ...]
    whole: bool


def check_mapping(folder: Path, mapping: Mapping, *, most_rows: int | None = None) -> MappingCheck:
    """Read a folder as a mapping would have it, without writing anything.

    Parameters
    ----------
    folder
        With the logs, and ``site.toml`` if there is one.
    mapping
        To be tried.
    most_rows
        Read about so many rows of each file, which is quick enough to follow a person's corrections; all of them if None.

    Returns
    -------
    What would be read. A problem that a person can mend is in :attr:`MappingCheck.problem`, not raised.
    """
    try:
        site = mapped_site(folder, mapping)
        logs = read_logs(folder, site, most_rows=most_rows)
    except TuningError as error:
        return MappingCheck(
            reads=False,
            problem=str(error),
            rows=0,
            rooms=(),
            silent=(),
            start=None,
            end=None,
            findings=(),
            whole=most_rows is None,
        )
    rooms = _rooms(logs)
    return MappingCheck(
        reads=True,
        problem=None,
        rows=sum(sum(room.rows.values()) for room in rooms),
        rooms=rooms,
        silent=tuple(name for name in site.rooms if name not in {room.room for room in rooms}),
        start=logs.start,
        end=logs.end,
        findings=logs.findings,
        whole=most_rows is None,
    )


def _rooms(logs: Logs) -> tuple[RoomCheck, ...]:
    found = []
    for (room,), part in logs.series.group_by("room", maintain_order=True):
        rows = part.group_by("quantity").agg(pl.col("rows").sum()).sort("quantity")
        channels = part["channel"].drop_nulls().unique().sort()
        first, last = part["first"].min(), part["last"].max()
        assert isinstance(first, dt.datetime)
        assert isinstance(last, dt.datetime)
        found.append(RoomCheck(str(room), dict(rows.iter_rows()), tuple(channels), first, last))
    return tuple(found)

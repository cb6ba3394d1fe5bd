"""What is proposed (frozen dataclasses, out) and what a person makes of it (frozen pydantic, in)."""

from __future__ import annotations

import dataclasses
import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from tuning.site import ColumnMeaning, Control, LogLayout, Quantity, known_zone

Layout = Literal["long", "wide", "points"]
Role = Literal["reading", "other"]

SURE = 0.8
"""From this confidence on a column needs no second look. Chosen by us; how often it is right is measured in ``tests/benchmarks``."""


@dataclass(frozen=True)
class Preview:
    """What a column holds, from the rows that were looked at.

    Attributes
    ----------
    first
        First values, as the file writes them.
    rows, empty
        Rows that were looked at, and how many of them hold no value here.
    low, high
        Range of the numbers, None where there are none.
    kinds
        How many different values.
    interval_s
        Regular sampling interval; None where rows come as they please. [s]
    start, end
        First and last time with a value. Naive: local times without an offset; else UTC.
    whole
        Whether all rows of the files were looked at.
    """

    first: tuple[str, ...]
    rows: int
    empty: int
    low: float | None
    high: float | None
    kinds: int
    interval_s: float | None
    start: dt.datetime | None
    end: dt.datetime | None
    whole: bool


@dataclass(frozen=True)
class ColumnProposal:
    """What a column, or a point, seems to be.

    Attributes
    ----------
    name
        As the file spells it; a key of ``[logs.columns]``.
    role
        ``reading``: one of the six quantities. ``other``: to be left out (temperature, a status, a comment).
    quantity, room, channel, detector
        As in ``[logs.columns]``; None where nothing tells, or where the whole room shares it.
    scale
        What to multiply values with.
    confidence
        0…1, of the least sure part of it; :attr:`sure` from ``SURE`` on.
    reasons
        Sentences: what tells, and what speaks against it.
    alternatives
        Other quantities that it could be, the likelier first.
    """

    name: str
    role: Role
    quantity: Quantity | None
    room: str | None
    channel: str | None
    detector: str | None
    scale: float
    confidence: float
    reasons: tuple[str, ...]
    preview: Preview
    alternatives: tuple[Quantity, ...] = ()

    @property
    def sure(self) -> bool:
        """Whether it needs no second look."""
        return self.confidence >= SURE

    @property
    def meaning(self) -> ColumnMeaning | None:
        """What ``site.toml`` would say of it; None where it is left out, or room or quantity are not known."""
        if self.role == "other" or self.quantity is None or self.room is None:
            return None
        return ColumnMeaning(
            room=self.room, quantity=self.quantity, channel=self.channel, detector=self.detector, scale=self.scale
        )


@dataclass(frozen=True)
class TimeProposal:
    """Which columns hold the time, and how it is written.

    ``time_format`` is None where the readers know the form by themselves; ``offset`` says whether times carry one.
    """

    columns: tuple[str, ...]
    time_format: str | None
    stamp: Literal["start", "end"]
    offset: bool
    confidence: float
    reasons: tuple[str, ...]
    first: tuple[str, ...]

    @property
    def sure(self) -> bool:
        """Whether it needs no second look."""
        return self.confidence >= SURE


@dataclass(frozen=True)
class TableProposal:
    """Files of one kind and how they are laid out.

    Attributes
    ----------
    files
        Names of the files, in order.
    patterns
        What fits these files and no other log of the folder: ``files`` of one or more ``[[logs]]``.
    layout
        ``long``: as the README has it, nothing to map. ``wide``: a column per series. ``points``: a row per reading, named by point.
    point, value
        Points: columns that name the point, and the one with the value.
    columns
        Wide: every column but the time's. Points: every point. Long: every series that is there, for the preview.
    """

    files: tuple[str, ...]
    patterns: tuple[str, ...]
    layout: Layout
    time: TimeProposal
    point: tuple[str, ...]
    value: str
    columns: tuple[ColumnProposal, ...]
    reasons: tuple[str, ...]

    def logs(self) -> tuple[LogLayout, ...]:
        """``[[logs]]`` tables that read these files; none where no column is a reading of a known room."""
        columns = {c.name: c.meaning for c in self.columns if c.meaning is not None}
        if self.layout != "long" and not columns:
            return ()
        point: str | tuple[str, ...] = self.point[0] if len(self.point) == 1 else self.point
        more: dict[str, Any] = {"point": point, "value": self.value} if self.layout == "points" else {}
        return tuple(
            LogLayout(
                files=pattern,
                layout=self.layout,
                time=self.time.columns[0] if len(self.time.columns) == 1 else self.time.columns,
                stamp=self.time.stamp,
                time_format=self.time.time_format,
                columns={} if self.layout == "long" else columns,
                **more,
            )
            for pattern in self.patterns
        )


@dataclass(frozen=True)
class RoomProposal:
    """A room that the columns belong to. ``channels`` holds each channel's control; ``known``: ``site.toml`` has the room."""

    id: str
    name: str
    use: str
    channels: dict[str, Control]
    known: bool
    confidence: float
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Proposal:
    """What the files of a folder seem to be.

    Attributes
    ----------
    problems
        A line per file that nothing can be made of.
    left
        Files that are no logs: results of this program, models of the building.
    time_zone
        The building's, from ``site.toml`` if there is one; else this machine's, to be confirmed; None where neither is known.
    """

    folder: Path
    tables: tuple[TableProposal, ...]
    rooms: tuple[RoomProposal, ...]
    problems: tuple[str, ...]
    left: tuple[str, ...]
    time_zone: str | None
    zone_known: bool

    def mapping(self) -> Mapping:
        """What would be written if nobody corrected anything."""
        return Mapping(
            logs=tuple(layout for table in self.tables for layout in table.logs()),
            rooms={r.id: MappedRoom(name=r.name, use=r.use, channels=dict(r.channels)) for r in self.rooms},
            confirm=tuple(
                c.name for t in self.tables if t.layout != "long" for c in t.columns if c.meaning and not c.sure
            ),
            time_zone=self.time_zone,
        )

    def document(self) -> dict[str, Any]:
        """Plain values, fit for JSON; times in ISO 8601. Each column has ``sure`` beside what it proposes."""
        found: dict[str, Any] = _plain(dataclasses.asdict(self))
        for table, given in zip(found["tables"], self.tables, strict=True):
            table["time"]["sure"] = given.time.sure
            for column, proposed in zip(table["columns"], given.columns, strict=True):
                column["sure"] = proposed.sure
        return found


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, dt.datetime):
        return value.isoformat()
    return str(value) if isinstance(value, Path) else value


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class MappedRoom(_Model):
    """A room to be added to ``site.toml``, or one that is there already and may lack channels."""

    name: str = ""
    use: str = "office"
    channels: dict[str, Control] = Field(default_factory=dict)


class Mapping(_Model):
    """What a person made of a proposal.

    Attributes
    ----------
    logs
        The ``[[logs]]`` tables; those of ``site.toml`` stay where there are none.
    rooms
        Rooms by id. What ``site.toml`` says of a room stays; rooms and channels that it lacks are added with defaults to be confirmed.
    name, time_zone
        For a ``[site]`` table that lacks them.
    confirm
        Columns and points that are written with a mark, because nobody was sure of them.
    """

    logs: tuple[LogLayout, ...] = ()
    rooms: dict[str, MappedRoom] = Field(default_factory=dict)
    confirm: tuple[str, ...] = ()
    name: str = ""
    time_zone: Annotated[str | None, AfterValidator(lambda z: z if z is None else known_zone(z))] = None

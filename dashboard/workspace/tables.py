"""Tables of the workspace's database. Rows stay inside this package; functions hand out frozen dataclasses.

Nothing that a person said is ever deleted or written over: an undo adds who undid it and when.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from sqlalchemy import JSON, BigInteger, DateTime, Dialect, ForeignKey, Index, MetaData, TypeDecorator, text
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class UtcTime(TypeDecorator[dt.datetime]):
    """A time with zone outside, without one (and meaning UTC) in the database."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002
        """Turn to UTC; a time without zone is a defect."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value} has no zone")
        return value.astimezone(dt.UTC).replace(tzinfo=None)

    def process_result_value(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002
        """Say that it is UTC."""
        return None if value is None else value.replace(tzinfo=dt.UTC)


class Base(DeclarativeBase):
    """Maps Python types to columns."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(column_0_label)s",
            "uq": "uq_%(table_name)s_%(column_0_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012  SQLAlchemy reads it from the class
        dt.datetime: UtcTime,
        dict[str, Any]: JSON(none_as_null=True),
        list[Any]: JSON(none_as_null=True),
    }


def one_standing(name: str, *columns: str, where: str) -> Index:
    """Let one row at most stand of each, whatever was taken back before."""
    return Index(name, *columns, unique=True, sqlite_where=text(where), postgresql_where=text(where))


class WorkspaceRow(Base):
    """Which workspace this database belongs to, where it does not lie in its folder. One row at most."""

    __tablename__ = "workspace"
    id: Mapped[str] = mapped_column(primary_key=True)


class BuildingRow(Base):
    """A building. ``document`` is its ``site.toml`` as JSON; ``revision`` counts its edits."""

    __tablename__ = "building"
    id: Mapped[str] = mapped_column(primary_key=True)
    document: Mapped[dict[str, Any]]
    revision: Mapped[int] = mapped_column(default=0)
    created_at: Mapped[dt.datetime]
    created_by: Mapped[str]
    removed_at: Mapped[dt.datetime | None]
    removed_by: Mapped[str | None]


class EditRow(Base):
    """One edit of a building's document: ``changes`` lists ``{"path", "before", "after"}``; a key that is not there is told by its lack."""

    __tablename__ = "edit"
    id: Mapped[int] = mapped_column(primary_key=True)
    building: Mapped[str] = mapped_column(ForeignKey("building.id"), index=True)
    at: Mapped[dt.datetime]
    by: Mapped[str]
    changes: Mapped[list[Any]]
    undoes: Mapped[int | None] = mapped_column(ForeignKey("edit.id"))


class FileRow(Base):
    """A log as uploaded. ``name`` is what the person called it, ``stored`` the harmless name that it has on disk."""

    __tablename__ = "file"
    id: Mapped[int] = mapped_column(primary_key=True)
    building: Mapped[str] = mapped_column(ForeignKey("building.id"), index=True)
    name: Mapped[str]
    stored: Mapped[str] = mapped_column(unique=True)
    size: Mapped[int] = mapped_column(BigInteger)
    sha256: Mapped[str]
    added_at: Mapped[dt.datetime]
    added_by: Mapped[str]
    removed_at: Mapped[dt.datetime | None]
    removed_by: Mapped[str | None]


class UploadRow(Base):
    """A file on its way. ``received`` bytes are safely on disk; ``modified`` tells two files of one name apart; ``file`` once it has arrived."""

    __tablename__ = "upload"
    id: Mapped[str] = mapped_column(primary_key=True)
    building: Mapped[str] = mapped_column(ForeignKey("building.id"), index=True)
    name: Mapped[str]
    size: Mapped[int] = mapped_column(BigInteger)
    sha256: Mapped[str | None]
    modified: Mapped[int] = mapped_column(BigInteger, server_default="0")
    received: Mapped[int] = mapped_column(BigInteger, server_default="0")
    created_at: Mapped[dt.datetime]
    touched_at: Mapped[dt.datetime]
    by: Mapped[str]
    file: Mapped[int | None] = mapped_column(ForeignKey("file.id"))
    ended: Mapped[str | None]
    """``arrived``, ``cancelled`` or ``expired``; null while it goes on."""


class JobRow(Base):
    """Work for a worker process. ``state``: ``waiting``, ``running``, ``done``, ``failed`` or ``cancelled``."""

    __tablename__ = "job"
    id: Mapped[int] = mapped_column(primary_key=True)
    building: Mapped[str] = mapped_column(ForeignKey("building.id"), index=True)
    kind: Mapped[str]
    params: Mapped[dict[str, Any]]
    state: Mapped[str] = mapped_column(index=True)
    share: Mapped[float] = mapped_column(default=0.0)
    what: Mapped[str] = mapped_column(default="")
    worker: Mapped[str | None]
    heartbeat: Mapped[dt.datetime | None]
    tries: Mapped[int] = mapped_column(default=0)
    error: Mapped[str | None]
    cancel: Mapped[bool] = mapped_column(default=False)
    created_at: Mapped[dt.datetime]
    created_by: Mapped[str]
    started_at: Mapped[dt.datetime | None]
    ended_at: Mapped[dt.datetime | None]


class AnalysisRow(Base):
    """A finished analysis.

    ``inputs`` is all that it rests on, so that what has changed since can be told; ``folder`` holds its results, until they are let go.
    """

    __tablename__ = "analysis"
    id: Mapped[int] = mapped_column(primary_key=True)
    building: Mapped[str] = mapped_column(ForeignKey("building.id"), index=True)
    job: Mapped[int | None] = mapped_column(ForeignKey("job.id"), unique=True)
    folder: Mapped[str]
    version: Mapped[str]
    inputs: Mapped[dict[str, Any]]
    created_at: Mapped[dt.datetime]
    created_by: Mapped[str]
    pruned_at: Mapped[dt.datetime | None]
    pruned_by: Mapped[str | None]


class ChannelRow(Base):
    """How often something was decided about a channel. Two people who decide at once meet here."""

    __tablename__ = "channel"
    building: Mapped[str] = mapped_column(ForeignKey("building.id"), primary_key=True)
    room: Mapped[str] = mapped_column(primary_key=True)
    channel: Mapped[str] = mapped_column(primary_key=True)
    revision: Mapped[int] = mapped_column(default=0)


class DecisionRow(Base):
    """One decision about one channel. ``batch`` is shared by those that were taken with one click."""

    __tablename__ = "decision"
    __table_args__ = (
        Index("ix_decision_channel", "building", "room", "channel"),
        # The last line of defence: of one channel, one decision stands.
        one_standing(
            "uq_decision_standing", "building", "room", "channel", where="undone_at IS NULL AND superseded_at IS NULL"
        ),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    building: Mapped[str] = mapped_column(ForeignKey("building.id"))
    room: Mapped[str]
    channel: Mapped[str]
    batch: Mapped[str] = mapped_column(index=True)
    kind: Mapped[str]
    hold_off_s: Mapped[float | None]
    target_lx: Mapped[float | None]
    mode: Mapped[str]
    was: Mapped[dict[str, Any]]
    recommended: Mapped[dict[str, Any]]
    extra_cost: Mapped[float | None]
    reason: Mapped[str]
    marks: Mapped[list[Any]]
    analysis: Mapped[int] = mapped_column(ForeignKey("analysis.id"))
    at: Mapped[dt.datetime]
    by: Mapped[str]
    superseded_at: Mapped[dt.datetime | None]
    undone_at: Mapped[dt.datetime | None]
    undone_by: Mapped[str | None]


class VisitRow(Base):
    """A channel set on site: from ``set_at`` on the new settings are in force, and are verified."""

    __tablename__ = "visit"
    __table_args__ = (one_standing("uq_visit_standing", "decision", where="undone_at IS NULL"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    building: Mapped[str] = mapped_column(ForeignKey("building.id"), index=True)
    room: Mapped[str]
    channel: Mapped[str]
    decision: Mapped[int] = mapped_column(ForeignKey("decision.id"))
    set_at: Mapped[dt.datetime]
    set_by: Mapped[str]
    note: Mapped[str]
    at: Mapped[dt.datetime]
    by: Mapped[str]
    undone_at: Mapped[dt.datetime | None]
    undone_by: Mapped[str | None]


class VerdictRow(Base):
    """A person's word on one switch-off: was somebody there."""

    __tablename__ = "verdict"
    __table_args__ = (
        Index("ix_verdict_channel", "building", "room", "channel"),
        one_standing("uq_verdict_standing", "building", "room", "channel", "time", where="undone_at IS NULL"),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    building: Mapped[str] = mapped_column(ForeignKey("building.id"))
    room: Mapped[str]
    channel: Mapped[str]
    time: Mapped[dt.datetime]
    present: Mapped[bool]
    note: Mapped[str]
    at: Mapped[dt.datetime]
    by: Mapped[str]
    undone_at: Mapped[dt.datetime | None]
    undone_by: Mapped[str | None]


class AcknowledgementRow(Base):
    """Somebody has seen what has drifted in a room, and says why it need not count.

    ``evidence`` is what was known of it then, so that new evidence can be told from old.
    """

    __tablename__ = "acknowledgement"
    __table_args__ = (
        Index("ix_acknowledgement_room", "building", "room"),
        one_standing(
            "uq_acknowledgement_standing",
            "building",
            "room",
            "channel",
            "statistic",
            where="undone_at IS NULL AND superseded_at IS NULL",
        ),
    )
    id: Mapped[int] = mapped_column(primary_key=True)
    building: Mapped[str] = mapped_column(ForeignKey("building.id"))
    room: Mapped[str]
    channel: Mapped[str]
    """Empty for what the room as a whole does."""
    statistic: Mapped[str]
    evidence: Mapped[dict[str, Any]]
    reason: Mapped[str]
    analysis: Mapped[int] = mapped_column(ForeignKey("analysis.id"))
    at: Mapped[dt.datetime]
    by: Mapped[str]
    superseded_at: Mapped[dt.datetime | None]
    undone_at: Mapped[dt.datetime | None]
    undone_by: Mapped[str | None]


class WatchedFolderRow(Base):
    """A folder of this machine that a building takes new logs from. ``path`` is below the folder that the server was started with."""

    __tablename__ = "watched_folder"
    __table_args__ = (one_standing("uq_watched_folder_standing", "building", where="ended_at IS NULL"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    building: Mapped[str] = mapped_column(ForeignKey("building.id"))
    path: Mapped[str]
    at: Mapped[dt.datetime]
    by: Mapped[str]
    ended_at: Mapped[dt.datetime | None]
    ended_by: Mapped[str | None]


class ArrivalRow(Base):
    """A file that was found in a watched folder, once for each content.

    ``file`` where it was taken in; else ``problem`` says why not, tried with the building's facts of ``revision``. ``asked_at``: when its
    analysis was asked for. ``gone_at``: when it was no longer there although it had not been taken in.
    """

    __tablename__ = "arrival"
    __table_args__ = (Index("uq_arrival_content", "building", "sha256", unique=True),)
    id: Mapped[int] = mapped_column(primary_key=True)
    building: Mapped[str] = mapped_column(ForeignKey("building.id"))
    name: Mapped[str]
    size: Mapped[int] = mapped_column(BigInteger)
    modified: Mapped[int] = mapped_column(BigInteger)
    sha256: Mapped[str]
    file: Mapped[int | None] = mapped_column(ForeignKey("file.id"))
    problem: Mapped[str | None]
    revision: Mapped[int]
    at: Mapped[dt.datetime]
    asked_at: Mapped[dt.datetime | None]
    gone_at: Mapped[dt.datetime | None]

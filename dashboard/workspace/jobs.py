"""Long work, as rows that a worker process takes up. A job belongs to the worker whose name it carries, as long as that one gives signs of life."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any, Literal

from sqlalchemy import and_, or_, select, update
from sqlalchemy.orm import Session

from dashboard.workspace import lines
from dashboard.workspace.buildings import row_of, signed
from dashboard.workspace.errors import NotThereError, RefusedError
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import JobRow

State = Literal["waiting", "running", "done", "failed", "cancelled"]
LEASE_S = 10.0
"""A worker that gave no sign of life for so long is taken for dead. Chosen by us: ten beats, for a busy machine."""
BEAT_S = 1.0


class LostError(Exception):
    """The job is no longer this worker's."""


class CancelledError(Exception):
    """Somebody no longer wants the job."""


@dataclass(frozen=True)
class Job:
    """A piece of work. ``share`` done, 0…1; ``what`` is being done; ``error`` is one line for people."""

    id: int
    building: str
    kind: str
    params: dict[str, Any]
    state: State
    share: float
    what: str
    tries: int
    error: str | None
    cancel: bool
    created_at: dt.datetime
    created_by: str
    ended_at: dt.datetime | None

    @property
    def open(self) -> bool:
        """Whether it goes on."""
        return self.state in ("waiting", "running")


def ask(ws: Workspace, building: str, kind: str, *, by: str, rooms: list[str] | None = None) -> int:
    """Ask for work; returns the number of the job.

    One that waits and would do the same, or more, is returned instead of a second one.

    Parameters
    ----------
    rooms
        Only these; all where ``None``.
    """
    who = signed(by)
    with ws.writing(who) as session:
        return ask_in(session, building, kind, who=who, rooms=rooms)


def ask_in(session: Session, building: str, kind: str, *, who: str, rooms: list[str] | None = None) -> int:
    """As :func:`ask`, inside a transaction."""
    row_of(session, building)
    waiting = session.scalars(
        select(JobRow).where(JobRow.building == building, JobRow.kind == kind, JobRow.state == "waiting")
    )
    for row in waiting:
        if row.params["rooms"] is None:
            return row.id
        row.params = {"rooms": None if rooms is None else sorted({*row.params["rooms"], *rooms})}
        return row.id
    row = JobRow(
        building=building, kind=kind, params={"rooms": rooms}, state="waiting", created_at=now(), created_by=who
    )
    session.add(row)
    session.flush()
    lines.say_once_kept(session, lines.JOBS, "job.asked", job=row.id, building=building, kind=kind, rooms=rooms)
    return row.id


def claim(ws: Workspace, worker: str) -> Job | None:
    """Take up the job that waits longest, or one whose worker is dead; ``None`` where there is none.

    A job that broke off too often fails instead.
    """
    with ws.writing() as session:
        dead = and_(JobRow.state == "running", JobRow.heartbeat < now() - dt.timedelta(seconds=LEASE_S))
        session.execute(
            update(JobRow)
            .where(dead, JobRow.tries >= ws.limits.workers.tries)
            .values(
                state="failed",
                ended_at=now(),
                error=f"The work broke off {ws.limits.workers.tries} times. The logs may be too large for this machine's memory.",
            )
        )
        session.execute(update(JobRow).where(dead, JobRow.cancel).values(state="cancelled", ended_at=now()))
        first = select(JobRow.id).where(or_(JobRow.state == "waiting", dead)).order_by(JobRow.id).limit(1)
        row = session.scalar(
            update(JobRow)
            .where(JobRow.id == first.scalar_subquery())
            .values(state="running", worker=worker, heartbeat=now(), tries=JobRow.tries + 1, started_at=now())
            .returning(JobRow)
        )
        return None if row is None else _job(row)


def beat(ws: Workspace, job: int, worker: str, *, share: float | None = None, what: str | None = None) -> None:
    """Give a sign of life, and say how far the work is.

    Raises
    ------
    LostError
        If another worker has it.
    CancelledError
        If nobody wants it any more.
    """
    values: dict[str, Any] = {"heartbeat": now()}
    if share is not None:
        values |= {"share": share, "what": what or ""}
    with ws.writing() as session:
        mine = (JobRow.id == job, JobRow.worker == worker, JobRow.state == "running")
        row = session.execute(update(JobRow).where(*mine).values(**values).returning(JobRow.cancel)).first()
    if row is None:
        raise LostError(f"job {job}")
    if row[0]:
        raise CancelledError(f"job {job}")


def end(ws: Workspace, job: int, worker: str, state: State, *, error: str | None = None) -> bool:
    """End a job that is still this worker's; tells whether it was."""
    with ws.writing() as session:
        return end_in(session, job, worker, state, error=error)


def end_in(session: Any, job: int, worker: str, state: State, *, error: str | None = None) -> bool:
    """As :func:`end`, inside a transaction."""
    mine = (JobRow.id == job, JobRow.worker == worker, JobRow.state == "running")
    values = {"state": state, "error": error, "ended_at": now()} | ({"share": 1.0} if state == "done" else {})
    return session.execute(update(JobRow).where(*mine).values(**values)).rowcount == 1


def release(ws: Workspace, worker: str, *, counted: bool = True) -> int:
    """Give back what a worker had that is known to be dead; returns how many jobs that were.

    ``counted``: whether the job is to blame. One whose worker was told to end has lost nothing but time.
    """
    with ws.writing() as session:
        mine = (JobRow.worker == worker, JobRow.state == "running")
        if counted:
            # Taken up like that of any worker that is dead, or given up if it died too often.
            given: dict[str, Any] = {"heartbeat": now() - dt.timedelta(seconds=2 * LEASE_S)}
        else:
            given = {"state": "waiting", "worker": None, "tries": JobRow.tries - 1, "share": 0.0, "what": ""}
        back = session.scalars(update(JobRow).where(*mine).values(**given).returning(JobRow.id)).all()
        for job in back:
            lines.say_once_kept(session, lines.JOBS, "job.back", job=job, counted=counted)
        return len(back)


def cancel(ws: Workspace, job: int, *, by: str) -> None:
    """No longer want a job. One that waits ends at once, one that runs at its next step.

    Raises
    ------
    RefusedError
        If it has ended.
    """
    with ws.writing(signed(by)) as session:
        row = session.get(JobRow, job)
        if row is None:
            raise NotThereError("job", job)
        if row.state == "waiting":
            row.state, row.ended_at = "cancelled", now()
        elif row.state != "running":
            raise RefusedError("The work had ended already.")
        row.cancel = True


def get(ws: Workspace, job: int) -> Job:
    """One job."""
    with ws.reading() as session:
        row = session.get(JobRow, job)
        if row is None:
            raise NotThereError("job", job)
        return _job(row)


def last(ws: Workspace, building: str) -> Job | None:
    """Return the job of a building that was asked for last."""
    with ws.reading() as session:
        row = session.scalar(select(JobRow).where(JobRow.building == building).order_by(JobRow.id.desc()).limit(1))
        return None if row is None else _job(row)


def running_somewhere(ws: Workspace) -> bool:
    """Whether a worker that is alive works on anything."""
    with ws.reading() as session:
        alive = JobRow.heartbeat >= now() - dt.timedelta(seconds=LEASE_S)
        return session.scalar(select(JobRow.id).where(JobRow.state == "running", alive).limit(1)) is not None


def _job(r: JobRow) -> Job:
    return Job(
        id=r.id,
        building=r.building,
        kind=r.kind,
        params=r.params,
        state=r.state,  # type: ignore[arg-type]
        share=r.share,
        what=r.what,
        tries=r.tries,
        error=r.error,
        cancel=r.cancel,
        created_at=r.created_at,
        created_by=r.created_by,
        ended_at=r.ended_at,
    )

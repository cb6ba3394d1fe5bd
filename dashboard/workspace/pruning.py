"""Old analyses: which may go, what that frees, and letting them go.

The rule: an analysis stays whole while it is one of the newest, or younger than so many days, or anything that people decided rests on it, even a
decision that was taken back. What is let go are the results of the others. Their rows stay, with the logs, the facts, the verdicts and the version
each rested on, and who let the results go; analysing the same again gives them anew.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from dashboard.workspace import saved
from dashboard.workspace.buildings import row_of, signed
from dashboard.workspace.errors import ConflictError, RefusedError
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import AnalysisRow, Base, JobRow


@dataclass(frozen=True)
class Rule:
    """What stays whatever else: so many of the newest, and all younger than so many days. Defaults chosen by us.

    Raises
    ------
    RefusedError
        If not even the newest would stay.
    """

    newest: int = 5
    days: float = 30.0

    def __post_init__(self) -> None:
        """Keep the newest, whatever somebody asks for."""
        if self.newest < 1 or self.days < 0:
            raise RefusedError(
                "The newest analysis always stays: keep 1 or more, and those of the last 0 days or more."
            )


@dataclass(frozen=True)
class Old:
    """An analysis that may go. ``size`` is what that frees [B]."""

    id: int
    created_at: dt.datetime
    created_by: str
    size: int


@dataclass(frozen=True)
class Plan:
    """What a rule comes to.

    Attributes
    ----------
    going
        Analyses whose results would go, the oldest first.
    newest, young, decided
        How many stay because they are among the newest, else because they are young, else because decisions rest on them.
    """

    going: tuple[Old, ...]
    newest: int
    young: int
    decided: int

    @property
    def size(self) -> int:
        """What it frees. [B]."""
        return sum(old.size for old in self.going)


def plan(ws: Workspace, building: str, rule: Rule) -> Plan:
    """Say what would go under a rule. Nothing is changed."""
    with ws.reading() as session:
        row_of(session, building)
        rows, kept = _judged(session, building, rule)
    results = ws.building_folder(building) / "results"
    going = [row for row in rows if row.id not in kept]
    needed = needed_by(results, [row.folder for row in rows if row.id in kept])
    return Plan(
        tuple(
            Old(row.id, row.created_at, row.created_by, sum(p.stat().st_size for p in _loose(results / row.folder, needed)))
            for row in going
        ),
        *(sum(why == word for why in kept.values()) for word in ("newest", "young", "decided")),
    )  # fmt: skip


def prune(ws: Workspace, building: str, numbers: Collection[int], rule: Rule, *, by: str) -> int:
    """Let the results of analyses go, all or none; returns how many bytes that freed.

    Parameters
    ----------
    numbers
        Those that a person was shown and agreed to.

    Raises
    ------
    ConflictError
        If one of them may no longer go, because somebody decided on it meanwhile.
    RefusedError
        If an analysis is under way, which may build on an older one.
    """
    who = signed(by)
    with ws.writing(who) as session:
        row_of(session, building)
        if session.scalar(
            select(JobRow.id).where(JobRow.building == building, JobRow.state.in_(("waiting", "running"))).limit(1)
        ):
            raise RefusedError("An analysis is under way; let it end first.")  # fmt: skip
        rows, kept = _judged(session, building, rule)
        may = {row.id: row for row in rows if row.id not in kept}
        if not set(numbers) <= set(may):
            raise ConflictError([f"Analysis {n} stays under this rule." for n in sorted(set(numbers) - set(may))])
        for number in numbers:
            may[number].pruned_at, may[number].pruned_by = now(), who
    # Named as gone first: what a crash leaves on the disk is swept when the worker next starts.
    return sweep(ws, building)


def sweep(ws: Workspace, building: str) -> int:
    """Delete the files of analyses that were let go, except what others took over from them; returns how many bytes that freed."""
    with ws.reading() as session:
        rows = session.execute(
            select(AnalysisRow.folder, AnalysisRow.pruned_at).where(AnalysisRow.building == building)
        ).all()
    results = ws.building_folder(building) / "results"
    needed = needed_by(results, [folder for folder, gone in rows if gone is None])
    freed = 0
    for folder in (results / name for name, gone in rows if gone is not None):
        for path in _loose(folder, needed):
            freed += path.stat().st_size
            path.unlink(missing_ok=True)
        for inner in sorted((p for p in folder.rglob("*") if p.is_dir()), reverse=True):
            if not any(inner.iterdir()):
                inner.rmdir()
        if folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()
    return freed


def _judged(session: Session, building: str, rule: Rule) -> tuple[list[AnalysisRow], dict[int, str]]:
    """Analyses that have their results, the oldest first, and why those stay that stay."""
    rows = list(
        session.scalars(
            select(AnalysisRow)
            .where(AnalysisRow.building == building, AnalysisRow.pruned_at.is_(None))
            .order_by(AnalysisRow.id)
        )
    )
    rested_on = _rested_on(session)
    newest = {row.id for row in rows[-rule.newest :]}
    since = now() - dt.timedelta(days=rule.days)
    kept = {}
    for row in rows:
        if row.id in newest:
            kept[row.id] = "newest"
        elif row.created_at >= since:
            kept[row.id] = "young"
        elif row.id in rested_on:
            kept[row.id] = "decided"
    return rows, kept


def _rested_on(session: Session) -> set[int]:
    """Analyses that anything in the database speaks of: whatever table it is in, also one that is added later."""
    found: set[int] = set()
    for table in Base.metadata.sorted_tables:
        for key in table.foreign_keys:
            if key.column.table.name == AnalysisRow.__tablename__:
                found |= set(session.scalars(select(key.parent).where(key.parent.is_not(None)).distinct()))
    return found


def needed_by(results: Path, folders: Collection[str]) -> set[Path]:
    """Files of frames that kept analyses speak of, some of them in the folders of earlier ones."""
    found: set[Path] = set()
    for folder in folders:
        path = results / folder / saved.DOCUMENT
        if path.is_file():
            found |= {results / name for name in _frames(json.loads(path.read_text(encoding="utf-8")))}
    return found


def _frames(value: Any) -> Iterator[str]:
    if isinstance(value, dict):
        if saved.FRAME in value:
            yield value[saved.FRAME]
        else:
            for inner in value.values():
                yield from _frames(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _frames(inner)


def _loose(folder: Path, needed: set[Path]) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file() and path not in needed]

"""Buildings, and what their ``site.toml`` would say: edited key by key, with history, never written over unseen."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from dashboard.workspace import documents
from dashboard.workspace.actors import actor, need
from dashboard.workspace.documents import MISSING, Document, Path
from dashboard.workspace.errors import ConflictError, NotThereError, RefusedError, WrongValueError
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import BuildingRow, EditRow, FileRow
from dashboard.workspace.texts import check_texts, with_marks
from tuning.site import Site

MOST_ID = 48
_LOGS = (FileRow.removed_at.is_(None), FileRow.stored.not_like("%.toml"))


@dataclass(frozen=True)
class BuildingInfo:
    """A building in a list. ``revision`` counts its edits."""

    id: str
    name: str
    rooms: int
    channels: int
    files: int
    revision: int
    created_at: dt.datetime
    created_by: str


@dataclass(frozen=True)
class Change:
    """One key before and after. ``before`` or ``after`` is ``None`` with ``added`` or ``removed`` where it was not there."""

    path: Path
    before: Any
    after: Any
    added: bool
    removed: bool


@dataclass(frozen=True)
class Edit:
    """What somebody changed with one click. ``undone_by`` is the number of the edit that took it back."""

    id: int
    at: dt.datetime
    by: str
    changes: tuple[Change, ...]
    undoes: int | None
    undone_by: int | None


def create(ws: Workspace, document: Document, *, by: str) -> str:
    """Make a building, of a whole document or of one that is just begun; returns its id, fit for an address.

    Raises
    ------
    WrongValueError
        If something in it is wrong.
    """
    who = signed(by)
    document = documents.plain(document)
    documents.check(document)
    with ws.writing(who) as session:
        name = _free_id(session, document["site"].get("name", ""))
        session.add(BuildingRow(id=name, document=document, revision=0, created_at=now(), created_by=who))
    return name


def signed(by: str) -> str:
    """The name of a person, without which nothing is written: that of the account that acts, else the one given.

    Raises
    ------
    WrongValueError
        If there is none.
    """
    who = actor()
    return named(by) if who is None else who.name


def named(by: str) -> str:
    """The name of a person in one line, whoever says it.

    Raises
    ------
    WrongValueError
        If there is none.
    RefusedError
        If a sign is in it that no text can hold.
    """
    check_texts(by)
    name = " ".join("".join(c if c.isprintable() else " " for c in by).split())
    if not name:
        raise WrongValueError(("your name",), "say who you are first, so that others know whom to ask")
    return name[:80]


def _free_id(session: Session, name: str) -> str:
    ascii_name = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    stem = re.sub(r"[^a-z0-9]+", "-", ascii_name.lower()).strip("-")[:MOST_ID].strip("-") or "building"
    taken = set(session.scalars(select(BuildingRow.id).where(BuildingRow.id.startswith(stem))))
    return next(i for n in range(1, len(taken) + 2) if (i := stem if n == 1 else f"{stem}-{n}") not in taken)


def row_of(session: Session, building: str) -> BuildingRow:
    """Return a building's row.

    Raises
    ------
    NotThereError
        If there is none.
    ForbiddenError
        If the account that acts may not look at it, whether it is there or not.
    """
    need("look", building)
    row = session.get(BuildingRow, building)
    if row is None or row.removed_at is not None:
        raise NotThereError("building", building)
    return row


def revision_of(session: Session, building: str) -> int:
    """Return a building's revision, without reading its document; raises as :func:`row_of` does."""
    need("look", building)
    row = session.execute(
        select(BuildingRow.revision, BuildingRow.removed_at).where(BuildingRow.id == building)
    ).first()
    if row is None or row.removed_at is not None:
        raise NotThereError("building", building)
    return int(row.revision)


def all_of(ws: Workspace, *, removed: bool = False) -> list[BuildingInfo]:
    """List the buildings, in the order of their names; or those that were removed."""
    with ws.reading() as session:
        counted = dict(
            session.execute(select(FileRow.building, func.count()).where(*_LOGS).group_by(FileRow.building)).all()
        )
        gone = BuildingRow.removed_at
        rows = session.scalars(select(BuildingRow).where(gone.is_not(None) if removed else gone.is_(None)))
        infos = [_info(row, counted.get(row.id, 0)) for row in rows]
    return sorted(infos, key=lambda b: (b.name.casefold(), b.id))


def info(ws: Workspace, building: str) -> BuildingInfo:
    """One building as in the list."""
    with ws.reading() as session:
        files = select(func.count()).where(FileRow.building == building, *_LOGS)
        return _info(row_of(session, building), session.scalars(files).one())


def _info(row: BuildingRow, files: int) -> BuildingInfo:
    rooms = row.document.get("rooms", {})
    return BuildingInfo(
        id=row.id,
        name=row.document["site"].get("name") or row.id,
        rooms=len(rooms),
        channels=sum(len(room.get("channels", {})) for room in rooms.values()),
        files=files,
        revision=row.revision,
        created_at=row.created_at,
        created_by=row.created_by,
    )


def document(ws: Workspace, building: str) -> tuple[Document, int]:
    """Return what is known of a building, and its revision."""
    with ws.reading() as session:
        row = row_of(session, building)
        return row.document, row.revision


def site(ws: Workspace, building: str) -> Site:
    """Return the building as the analysis reads it.

    Raises
    ------
    WrongValueError
        If something is missing yet.
    """
    return documents.site_of(document(ws, building)[0])


def edit(ws: Workspace, building: str, changes: Mapping[Path, Any], *, by: str, revision: int | None) -> int:
    """Change keys of a building's document, all or none.

    Parameters
    ----------
    changes
        Address → new value; ``documents.MISSING`` takes the key away (a room with all its channels, too).
    by
        Who.
    revision
        The document's revision that the person saw; ``None`` skips the check, for machines that looked a moment ago.

    Returns
    -------
    The revision after.

    Raises
    ------
    ConflictError
        If somebody else changed the same keys since.
    WrongValueError
        If ``site.toml`` would not take it.
    """
    who = signed(by)
    with ws.writing(who) as session:
        row = row_of(session, building)
        if revision is not None and revision != row.revision:
            _only_other_keys(session, row, revision, changes)
        return _apply(session, row, changes, who, undoes=None)


def _apply(session: Session, row: BuildingRow, changes: Mapping[Path, Any], who: str, *, undoes: int | None) -> int:
    after = row.document
    for path, value in changes.items():
        after = documents.put(after, path, value if value is MISSING else documents.plain(value))
    done = [
        {"path": list(path)}
        # A file of a database may hold the sign from before it was refused: taking it out must not fail for what the history would say.
        | ({} if (was := documents.get(row.document, path)) is MISSING else {"before": with_marks(was)})
        | ({} if (then := documents.get(after, path)) is MISSING else {"after": then})
        for path in changes
    ]
    done = [c for c in done if c.get("before", MISSING) != c.get("after", MISSING)]
    if not done:
        return row.revision
    documents.check(after)
    row.document, row.revision = after, row.revision + 1
    session.add(EditRow(building=row.id, at=now(), by=who, changes=done, undoes=undoes))
    return row.revision


def _only_other_keys(session: Session, row: BuildingRow, revision: int, changes: Mapping[Path, Any]) -> None:
    """Let two people edit different things at once."""
    newer = session.scalars(
        select(EditRow).where(EditRow.building == row.id).order_by(EditRow.id.desc()).limit(row.revision - revision)
    ).all()
    clash = [
        f"{e.by} changed {'.'.join(c['path'])} at {e.at:%H:%M} UTC."
        for e in newer
        for c in e.changes
        if any(_overlap(tuple(c["path"]), path) for path in changes)
    ]
    if clash:
        raise ConflictError(clash)


def _overlap(a: Sequence[str], b: Sequence[str]) -> bool:
    shorter = min(len(a), len(b))
    return tuple(a[:shorter]) == tuple(b[:shorter])


def undo_edit(ws: Workspace, building: str, number: int, *, by: str) -> int:
    """Take an edit back; returns the revision after.

    Raises
    ------
    ConflictError
        If one of its keys was changed again since.
    RefusedError
        If it was undone already.
    """
    who = signed(by)
    with ws.writing(who) as session:
        row = row_of(session, building)
        given = session.get(EditRow, number)
        if given is None or given.building != building:
            raise NotThereError("edit", number)
        if session.scalar(select(EditRow.id).where(EditRow.undoes == number)):
            raise RefusedError("This edit was undone already.")
        moved = [c for c in given.changes if documents.get(row.document, c["path"]) != c.get("after", MISSING)]
        if moved:
            raise ConflictError([f"{'.'.join(c['path'])} was changed again since." for c in moved])
        back = {tuple(c["path"]): c.get("before", MISSING) for c in given.changes}
        return _apply(session, row, back, who, undoes=number)


def history(ws: Workspace, building: str, *, most: int = 200) -> list[Edit]:
    """Edits of a building, the newest first."""
    with ws.reading() as session:
        row_of(session, building)
        mine = select(EditRow).where(EditRow.building == building)
        rows = session.scalars(mine.order_by(EditRow.id.desc()).limit(most)).all()
        undone = {r.undoes: r.id for r in session.scalars(mine.where(EditRow.undoes.is_not(None)))}
    return [Edit(r.id, r.at, r.by, tuple(_change(c) for c in r.changes), r.undoes, undone.get(r.id)) for r in rows]


def _change(c: dict[str, Any]) -> Change:
    return Change(tuple(c["path"]), c.get("before"), c.get("after"), "before" not in c, "after" not in c)


def remove(ws: Workspace, building: str, *, by: str) -> None:
    """Take a building out of the list. Nothing is deleted: :func:`restore` brings it back."""
    who = signed(by)
    with ws.writing(who) as session:
        row = row_of(session, building)
        row.removed_at, row.removed_by = now(), who


def restore(ws: Workspace, building: str, *, by: str) -> None:
    """Bring a removed building back."""
    with ws.writing(signed(by)) as session:
        row = session.get(BuildingRow, building)
        if row is None:
            raise NotThereError("building", building)
        row.removed_at = row.removed_by = None

"""Files on their way in: piece by piece, to be gone on with after a reload, a lost line, or a server that was killed.

What was confirmed is on the disk. A file that has arrived is renamed into its building and named in the database; both can be done again
after a crash between them.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import re
import secrets
import shutil
import threading
import unicodedata
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from dashboard.workspace.buildings import row_of, signed
from dashboard.workspace.errors import NotThereError, RefusedError, WorkspaceError
from dashboard.workspace.files import FACTS_SUFFIX, is_facts, uploaded
from dashboard.workspace.guarded import UNFILTERED
from dashboard.workspace.limits import CHUNK, amount
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import FileRow, UploadRow
from dashboard.workspace.texts import check_texts
from tuning.logs.sources import SUFFIXES

MOST_CHUNK = 2 * CHUNK
TAKEN = (*SUFFIXES, ".ttl", ".zinc", ".json", FACTS_SUFFIX)
"""Logs in any container, models of the building, and what is known of it."""
MOST_FACTS = 1024**2
"""A ``site.toml`` may have so much [B]. Chosen by us: that of 2,000 rooms."""
MOST_NAME = 200

_locks: defaultdict[str, threading.Lock] = defaultdict(threading.Lock)


class OffsetError(WorkspaceError):
    """A piece does not join on to what is there; ``offset`` is where the next one has to begin."""

    def __init__(self, offset: int) -> None:
        self.offset = offset
        super().__init__(f"The next piece begins at byte {offset}.")


class TooLargeError(WorkspaceError):
    """There is no room for it."""


class BrokenError(WorkspaceError):
    """What arrived is not what was sent."""


@dataclass(frozen=True)
class Upload:
    """A file on its way. ``received`` of ``size`` bytes are safe. ``file`` is its number in the building once it has arrived."""

    id: str
    building: str
    name: str
    size: int
    received: int
    ended: str | None
    file: int | None
    by: str
    touched_at: dt.datetime


def begin(
    ws: Workspace, building: str, name: str, size: int, *, by: str, modified: int = 0, sha256: str | None = None
) -> Upload:
    """Begin an upload, or go on with one of the same file.

    Parameters
    ----------
    name, size, modified
        What the browser says of the file; the name is shown, never used as a path. [B, ms]
    sha256
        Of the whole file, if known; what arrives is then held against it.

    Raises
    ------
    RefusedError
        If it is no log by its name, or empty; if a sign is in the name that no text can hold.
    TooLargeError
        If it is too large, or there is no room.
    """
    check_texts(name)
    who, shown = signed(by), name_of(name)
    if size <= 0:
        raise RefusedError(f"{shown} is empty. Export it again.")
    if not shown.lower().endswith(TAKEN):
        raise RefusedError(
            f"{shown} is no log by its name. Logs end in {', '.join(SUFFIXES)}; facts come as site.toml."
        )
    if is_facts(shown) and size > MOST_FACTS:
        raise TooLargeError(f"{shown} has {size:,} bytes; a site.toml may have {MOST_FACTS // 1024**2} MiB. Is it one?")
    if size > ws.limits.uploads.file:
        raise TooLargeError(
            f"{shown} has {size:,} bytes; a file may have {amount(ws.limits.uploads.file)}. Split it, or pack it."
        )
    with ws.writing(who) as session:
        row_of(session, building)
        same = session.scalar(
            select(UploadRow).where(
                UploadRow.building == building, UploadRow.name == shown, UploadRow.size == size,
                UploadRow.modified == modified, UploadRow.ended.is_(None),
            )
        )  # fmt: skip
        if same is not None:
            same.touched_at = now()
            return _upload(same)
        _room_for(ws, session, shown, size)
        row = UploadRow(
            id=secrets.token_hex(16), building=building, name=shown, size=size, sha256=sha256, modified=modified,
            received=0, created_at=now(), touched_at=now(), by=who,
        )  # fmt: skip
        session.add(row)
        session.flush()
        return _upload(row)


def take(ws: Workspace, building: str, path: Path, *, by: str, sha256: str | None = None) -> str:
    """Bring in a file of this machine whole; returns the name that it has in the building's folder."""
    upload = begin(ws, building, path.name, path.stat().st_size, by=by, modified=path.stat().st_mtime_ns, sha256=sha256)
    with path.open("rb") as file:
        file.seek(upload.received)
        while upload.ended is None:
            upload = add(ws, upload.id, upload.received, file, min(CHUNK, upload.size - upload.received))
    with ws.reading() as session:
        row = session.get(FileRow, upload.file)
        if row is None:
            raise NotThereError("log", path.name)
        return row.stored


def name_of(name: str) -> str:
    """A file's name as it is shown: its last part, in one line."""
    last = re.split(r"[\\/]", name)[-1]
    return (
        "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in last).strip()[-MOST_NAME:] or "unnamed"
    )


def _room_for(ws: Workspace, session: Session, name: str, size: int) -> None:
    # Room is shared by all buildings, also by those that the person may not look at.
    of_all = {"execution_options": {UNFILTERED: True}}
    coming = int(session.scalar(select(func.sum(UploadRow.size)).where(UploadRow.ended.is_(None)), **of_all) or 0)
    kept = int(session.scalar(select(func.sum(FileRow.size)), **of_all) or 0)
    free = shutil.disk_usage(ws.folder).free
    most = ws.limits.uploads
    if coming + size > most.on_the_way:
        raise TooLargeError(f"{name}: too much is on its way at once. Wait for the others, or stop one.")
    if coming + kept + size > most.kept:
        raise TooLargeError(f"{name}: the workspace holds {amount(most.kept)} of logs at most. Use another workspace.")
    if size > free - most.free:
        raise TooLargeError(f"{name}: the disk is nearly full. Make room, then go on.")


def get(ws: Workspace, token: str) -> Upload:
    """How far an upload is."""
    with ws.reading() as session:
        return _upload(_row(session, token))


def add(ws: Workspace, token: str, offset: int, stream: IO[bytes], length: int) -> Upload:
    """Take the next piece; once it is confirmed by returning, it is on the disk. The last one brings the file into its building.

    Raises
    ------
    OffsetError
        If the piece does not begin where the last one ended.
    TooLargeError
        If there is more of it than the file has.
    BrokenError
        If less came than was announced, or the whole is not what its sum says.
    RefusedError
        If the upload has ended.
    """
    # Two pieces at once, from two tabs, must not interleave.
    with _locks[token]:
        with ws.reading() as session:
            row = _upload(_row(session, token))
        if row.ended == "arrived" and offset == row.size and length == 0:
            return row
        if row.ended:
            raise RefusedError(f"{row.name} is no longer on its way ({row.ended}).")
        there = _safe(ws, row)
        if there < row.received:
            # The disk lost what it had promised to keep; what is left is a beginning still.
            _set_received(ws, token, there)
        if offset != there:
            raise OffsetError(there)
        if length > MOST_CHUNK or offset + length > row.size:
            raise TooLargeError(f"{row.name}: more bytes than announced.")
        if length:
            _write(part(ws, token), offset, stream, length)
        _set_received(ws, token, offset + length)
        if offset + length == row.size:
            return _arrive(ws, token)
        return get(ws, token)


def _safe(ws: Workspace, upload: Upload) -> int:
    """How many bytes of an upload are on the disk, of those that the database knows."""
    if (
        upload.received == upload.size
        and (uploaded(ws, upload.building) / stored_name(upload.name, upload.id)).exists()
    ):
        return upload.size
    return min(upload.received, _size(part(ws, upload.id)))


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


def _set_received(ws: Workspace, token: str, received: int) -> None:
    with ws.writing() as session:
        row = _row(session, token)
        row.received, row.touched_at = received, now()


def part(ws: Workspace, token: str) -> Path:
    """Where a file is while it is on its way."""
    if not re.fullmatch(r"[0-9a-f]{32}", token):
        raise NotThereError("upload", token)
    return ws.folder / "uploads" / f"{token}.part"


def _write(path: Path, offset: int, stream: IO[bytes], length: int) -> None:
    path.parent.mkdir(exist_ok=True)
    left = length
    with path.open("r+b" if path.exists() else "w+b") as file:
        file.seek(offset)
        while left:
            block = stream.read(min(left, 1 << 20))
            if not block:
                raise BrokenError("The line broke in the middle of a piece; send it again.")
            file.write(block)
            left -= len(block)
        file.truncate()
        file.flush()
        os.fsync(file.fileno())


def _arrive(ws: Workspace, token: str) -> Upload:
    """Bring a whole file into its building. May be done again after a crash at any point of it."""
    with ws.reading() as session:
        row = _row(session, token)
        building, wanted, stored = row.building, row.sha256, stored_name(row.name, token)
    waiting, final = part(ws, token), uploaded(ws, building) / stored
    at = waiting if waiting.exists() else final
    found = _sum(at)
    if wanted and wanted.lower() != found:
        waiting.unlink(missing_ok=True)
        _end(ws, token, "broken")
        raise BrokenError(f"{row.name} arrived damaged. Send it again.")
    final.parent.mkdir(parents=True, exist_ok=True)
    if waiting.exists():
        waiting.rename(final)
    with ws.writing() as session:
        row = _row(session, token)
        if row.ended is None:
            twin = session.scalar(
                select(FileRow).where(
                    FileRow.building == building, FileRow.sha256 == found, FileRow.removed_at.is_(None)
                )
            )
            if twin is None:
                twin = FileRow(
                    building=building, name=row.name, stored=stored, size=row.size, sha256=found, added_at=now(), added_by=row.by
                )  # fmt: skip
                session.add(twin)
                session.flush()
            row.file, row.ended = twin.id, "arrived"
        again = session.get(FileRow, row.file)
        result = _upload(row)
    if again is not None and again.stored != stored:
        # The very same file was there already.
        final.unlink(missing_ok=True)
    _locks.pop(token, None)
    return result


def stored_name(name: str, token: str) -> str:
    """Name that a file has on disk: harmless whatever the person's own is, and still to be recognised.

    Examples
    --------
    >>> stored_name("../../etc/Räume März.CSV", "0123456789abcdef")
    'raume-marz-01234567.csv'
    """
    suffix = max((s for s in TAKEN if name.lower().endswith(s)), key=len)
    plain = unicodedata.normalize("NFKD", name_of(name)[: -len(suffix)]).encode("ascii", "ignore").decode().lower()
    stem = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60].strip("-") or "log"
    return f"{stem}-{token[:8]}{suffix}"


def _sum(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def stop(ws: Workspace, token: str, *, why: str = "cancelled") -> None:
    """Forget a file that is on its way."""
    with _locks[token]:
        _end(ws, token, why)
        part(ws, token).unlink(missing_ok=True)
    _locks.pop(token, None)


def _end(ws: Workspace, token: str, why: str) -> None:
    with ws.writing() as session:
        row = _row(session, token)
        if row.ended is None:
            row.ended = why


def unfinished(ws: Workspace, building: str) -> list[Upload]:
    """Files of a building that have not wholly arrived."""
    with ws.reading() as session:
        query = select(UploadRow).where(UploadRow.building == building, UploadRow.ended.is_(None))
        return [_upload(r) for r in session.scalars(query.order_by(UploadRow.created_at))]


def recover(ws: Workspace) -> int:
    """Bring in what had arrived when the server was killed; returns how many files that were."""
    with ws.reading() as session:
        query = select(UploadRow).where(UploadRow.ended.is_(None), UploadRow.received == UploadRow.size)
        # One whose bytes the disk lost is asked for again when somebody goes on with it.
        whole = [u.id for u in map(_upload, session.scalars(query)) if _safe(ws, u) == u.size]
    for token in whole:
        with _locks[token]:
            _arrive(ws, token)
    return len(whole)


def expire(ws: Workspace) -> int:
    """Forget what nobody goes on with; returns how many files that were."""
    with ws.reading() as session:
        old = list(
            session.scalars(
                select(UploadRow.id).where(
                    UploadRow.ended.is_(None), UploadRow.touched_at < now() - ws.limits.uploads.expire
                )
            )
        )
        going = set(session.scalars(select(UploadRow.id).where(UploadRow.ended.is_(None))))
    for token in old:
        stop(ws, token, why="expired")
    for path in (ws.folder / "uploads").glob("*.part"):
        if path.stem not in going - set(old):
            path.unlink(missing_ok=True)
    return len(old)


def _row(session: Session, token: str) -> UploadRow:
    row = session.get(UploadRow, token)
    if row is None:
        raise NotThereError("upload", token)
    return row


def _upload(r: UploadRow) -> Upload:
    return Upload(r.id, r.building, r.name, r.size, r.received, r.ended, r.file, r.by, r.touched_at)

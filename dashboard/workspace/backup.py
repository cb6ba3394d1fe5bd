"""A workspace → one file, while it is worked in. See :mod:`dashboard.workspace.restoring` for the way back.

The file is a tar: ``files/…`` as they lie in the workspace, ``tables/NAME.jsonl`` with the rows of one state of the database, the same for
either kind of database, and last ``manifest.json`` with the size and sum of each. Left out is what can be made again (readings, laid-out folders).

Files get their final name before the row that names them and are never written over, so what a state of the database names is on the
disk when that state is seen. Only old analyses may be let go while their files are copied: then the database is looked at once more.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import io
import json
import os
import tarfile
import tempfile
import uuid
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, Final

from sqlalchemy import select

from dashboard.workspace import limits, pruning, saved, uploads
from dashboard.workspace.access_tables import AuditRow
from dashboard.workspace.database import newest, reader, reflected
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.files import uploaded
from dashboard.workspace.space import Workspace, now
from dashboard.workspace.tables import AnalysisRow, FileRow, UploadRow, WorkspaceRow
from tuning import __version__

FORMAT: Final = 1
MANIFEST: Final = "manifest.json"
FILES: Final = "files/"
TABLES: Final = "tables/"
SUFFIX: Final = ".jsonl"
OWN: Final = frozenset({WorkspaceRow.__tablename__})
"""Tables that say where the database is, which is another place after restoring."""
LOOKS = 5
"""So often is the database looked at anew because files had gone. Chosen by us: letting analyses go takes a click each time."""
BLOCK = 1 << 20
ROWS = 1000


@dataclass(frozen=True)
class BackedUp:
    """What a backup holds. ``size`` is the file's [B]. ``missing``: files that the database names and the disk had lost before."""

    path: Path
    rows: int
    files: int
    size: int
    missing: tuple[str, ...]
    audit: tuple[int, str] | None


@dataclass
class State:
    """One state of a database: ``tables`` as written rows; ``named``: paths inside the workspace that it speaks of, with their slashes."""

    tables: dict[str, tuple[IO[bytes], int]] = field(default_factory=dict)
    named: set[str] = field(default_factory=set)
    coming: list[tuple[str, str, str, int]] = field(default_factory=list)
    """Uploads that go on: token, building, name, bytes that are safe."""
    audit: tuple[int, str] | None = None


def back_up(ws: Workspace, out: Path) -> BackedUp:
    """Write a backup; it appears under its name only when it is whole.

    Parameters
    ----------
    out
        File that is not there yet; or a folder, in which it is called after the workspace and the time.

    Raises
    ------
    RefusedError
        If the file is there, or would lie in the workspace.
    """
    if out.is_dir():
        out = out / f"{ws.folder.name}-{now():%Y%m%dT%H%M%SZ}.tar"
    if out.exists():
        raise RefusedError(f"{out} is there already, and no backup is written over. Choose another name.")
    if out.resolve().is_relative_to(ws.folder):
        raise RefusedError(f"{out} lies in the workspace, and would be lost with it. Choose a place elsewhere.")
    unfinished = out.parent / f".{out.name}.{uuid.uuid4().hex}"
    try:
        # It holds all that the workspace holds, hashes of passwords among it: for its owner's eyes.
        with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            with tarfile.open(fileobj=file, mode="w", format=tarfile.PAX_FORMAT) as tar, ExitStack() as held:
                told = _write(ws, tar, held)
            file.flush()
            os.fsync(file.fileno())
        unfinished.rename(out)
    finally:
        unfinished.unlink(missing_ok=True)
    rows = sum(t["rows"] for t in told["tables"].values())
    size = out.stat().st_size
    return BackedUp(out, rows, len(told["files"]), size, tuple(told["missing"]), told["audit"])


def _write(ws: Workspace, tar: tarfile.TarFile, held: ExitStack) -> dict[str, Any]:
    copied: dict[str, dict[str, Any]] = {}
    missing: list[str] = []
    for _ in range(LOOKS):
        state = _state(ws, held)
        missing = []
        for name in sorted(state.named - copied.keys()):
            if not _copy(tar, copied, name, ws.folder / name):
                missing.append(name)
        if not missing:
            break
    for token, building, name, received in state.coming:
        part = uploads.part(ws, token)
        # It may have arrived since.
        arrived = uploaded(ws, building) / uploads.stored_name(name, token)
        relative = part.relative_to(ws.folder).as_posix()
        if received:
            _ = _copy(tar, copied, relative, part, received) or _copy(tar, copied, relative, arrived, received)
    _copy(tar, copied, limits.NAME, ws.folder / limits.NAME)
    tables = {}
    for name, (rows, count) in state.tables.items():
        rows.seek(0)
        size, found = _add(tar, f"{TABLES}{name}{SUFFIX}", rows, rows.seek(0, os.SEEK_END))
        tables[name] = {"rows": count, "size": size, "sha256": found}
    manifest = {
        "format": FORMAT, "version": __version__, "schema": newest(), "made_at": now().isoformat(),
        "database": ws.engine.dialect.name, "tables": tables, "files": copied, "missing": missing, "audit": state.audit,
    }  # fmt: skip
    text = json.dumps(manifest, ensure_ascii=False, indent=1).encode()
    _add(tar, MANIFEST, io.BytesIO(text), len(text))
    return manifest


def _copy(
    tar: tarfile.TarFile, copied: dict[str, dict[str, Any]], name: str, path: Path, most: int | None = None
) -> bool:
    """Copy a file, or its first so many bytes; tells whether it was there."""
    try:
        with path.open("rb") as file:
            there = os.fstat(file.fileno()).st_size
            size, found = _add(tar, FILES + name, file, there if most is None else min(most, there))
    except FileNotFoundError:
        return False
    copied[name] = {"size": size, "sha256": found}
    return True


def _add(tar: tarfile.TarFile, name: str, file: IO[bytes], size: int) -> tuple[int, str]:
    file.seek(0)
    info = tarfile.TarInfo(name)
    info.size, info.mode, info.mtime = size, 0o600, int(now().timestamp())
    summed = Summed(file)
    tar.addfile(info, summed)
    return size, summed.sum.hexdigest()


class Summed(io.RawIOBase):
    """A file that is summed up as it is read."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file, self.sum = file, hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        """Read on."""
        block = self._file.read(size)
        self.sum.update(block)
        return block


def _state(ws: Workspace, held: ExitStack) -> State:
    """See one state of the database: its rows, and the files that they name."""
    state = State()
    with reader(ws.engine).connect() as connection, connection.begin():
        for table in reflected(connection).sorted_tables:
            if table.name not in OWN:
                written = held.enter_context(tempfile.TemporaryFile())  # noqa: SIM115
                query = select(table).order_by(*table.primary_key).execution_options(yield_per=ROWS)
                state.tables[table.name] = (written, _rows(connection.execute(query).mappings(), written))
        logs = connection.execute(select(FileRow.building, FileRow.stored)).all()
        whole = select(AnalysisRow.building, AnalysisRow.folder).where(AnalysisRow.pruned_at.is_(None))
        results = connection.execute(whole).all()
        going = select(UploadRow.id, UploadRow.building, UploadRow.name, UploadRow.received)
        state.coming = [
            (r.id, r.building, r.name, r.received) for r in connection.execute(going.where(UploadRow.ended.is_(None)))
        ]
        last = select(AuditRow.number, AuditRow.hash).order_by(AuditRow.number.desc()).limit(1)
        state.audit = next(((r.number, r.hash) for r in connection.execute(last)), None)
    paths = {uploaded(ws, building) / stored for building, stored in logs}
    for building in {b for b, _ in results}:
        where = ws.building_folder(building) / "results"
        folders = [folder for b, folder in results if b == building]
        # Also named where it has gone, so that this shows.
        paths |= {where / name / saved.DOCUMENT for name in folders} | pruning.needed_by(where, folders)
        paths |= {p for name in folders for p in (where / name).rglob("*") if p.is_file()}
    state.named = {p.relative_to(ws.folder).as_posix() for p in paths}
    return state


def _rows(found: Any, out: IO[bytes]) -> int:
    count = 0
    for row in found:
        plain = {k: v.isoformat() if isinstance(v, dt.datetime) else v for k, v in row.items()}
        # In ASCII: a text kept before halves of signs were refused may hold one, which no encoding takes.
        out.write(json.dumps(plain).encode("ascii") + b"\n")
        count += 1
    return count

"""A backup → a workspace in an empty folder, in either kind of database: the files first, then the database that names them.

A backup of an earlier schema is brought forward as an old workspace is: its rows are put into tables as they were then.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
import shutil
import tarfile
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import IO, Any, Final

from sqlalchemy import URL, Connection, DateTime, Engine, Integer, Table, func, inspect, select, text
from sqlalchemy.exc import DatabaseError

from dashboard.workspace import audit
from dashboard.workspace.address import parse, shown
from dashboard.workspace.backup import BLOCK, FILES, FORMAT, MANIFEST, ROWS, SUFFIX, TABLES
from dashboard.workspace.belonging import FILE, hold_together
from dashboard.workspace.database import connect, known, migrate_in, reflected, writer
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.space import Workspace

UNFINISHED: Final = ".restoring.sqlite"
KEYS: Final = frozenset({"format", "version", "schema", "made_at", "tables", "files", "missing", "audit"})
PLAIN: Final = re.compile(r"[^/\0\\]+(/[^/\0\\]+)*")


@dataclass(frozen=True)
class Restored:
    """What was restored. ``audit``: what a look through the log of who did what gave."""

    made_at: str
    rows: int
    files: int
    missing: tuple[str, ...]
    audit: audit.Verified


def restore(backup: Path, folder: Path, *, database: str | None = None) -> Restored:
    """Make a workspace of a backup.

    Parameters
    ----------
    folder
        Empty, or not there yet.
    database
        URL of an empty database of PostgreSQL; ``None`` for a file in the folder.

    Raises
    ------
    RefusedError
        If the folder or the database is not empty, the file is no backup, is damaged, or was made by a newer program. Nothing is left behind.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise RefusedError(f"{folder} is not empty, and nothing is written over. Choose an empty folder.")
    url = None if database is None else parse(database)
    try:
        with tarfile.open(backup, "r:") as tar:
            manifest, members = _look(backup, tar)
            there = folder.exists()
            folder.mkdir(parents=True, exist_ok=True)
            try:
                _files(backup, tar, members, manifest, folder)
                _database(backup, tar, members, manifest, folder, url)
                with closing(Workspace(folder, database=database)) as ws:
                    held = audit.verify(ws, head=tuple(manifest["audit"]) if manifest["audit"] else None)
            except BaseException:
                for left in folder.iterdir():
                    shutil.rmtree(left) if left.is_dir() else left.unlink()
                if not there:
                    folder.rmdir()
                raise
    except (tarfile.TarError, EOFError) as error:
        raise RefusedError(f"{backup}: no backup of a workspace, or only a part of one ({error}).") from error
    rows = sum(t["rows"] for t in manifest["tables"].values())
    return Restored(manifest["made_at"], rows, len(manifest["files"]), tuple(manifest["missing"]), held)


def _look(backup: Path, tar: tarfile.TarFile) -> tuple[dict[str, Any], dict[str, tarfile.TarInfo]]:
    """Read what a backup says it holds, and see that it holds just that."""
    found = tar.getmembers()
    members = {m.name: m for m in found}
    if MANIFEST not in members:
        raise RefusedError(f"{backup}: no backup of a workspace, or only a part of one ({MANIFEST} is missing).")
    with _open(tar, members[MANIFEST]) as file:
        try:
            manifest = json.load(file)
        except ValueError:
            manifest = None
    if not isinstance(manifest, dict) or not manifest.keys() >= KEYS:
        raise RefusedError(f"{backup}: no backup of a workspace ({MANIFEST} says something else).")
    if manifest["format"] != FORMAT or manifest["schema"] not in known():
        raise RefusedError(
            f"{backup}: this backup was made by a newer holdoff ({manifest['version']}, schema {manifest['schema']}). "
            "Restore it with that version; nothing was changed."
        )
    wanted = {MANIFEST} | {FILES + n for n in manifest["files"]} | {f"{TABLES}{n}{SUFFIX}" for n in manifest["tables"]}
    odd = {
        m.name for m in found if not m.isreg() or not PLAIN.fullmatch(m.name) or {".", ".."} & set(m.name.split("/"))
    }
    if odd or len(found) != len(members) or wanted != set(members):
        raise RefusedError(f"{backup}: what is in it is not what its {MANIFEST} says. Take another backup.")
    return manifest, members


def _open(tar: tarfile.TarFile, member: tarfile.TarInfo) -> IO[bytes]:
    file = tar.extractfile(member)
    assert file is not None  # a regular file, as was looked at
    return file


def _files(
    backup: Path, tar: tarfile.TarFile, members: dict[str, tarfile.TarInfo], manifest: dict[str, Any], folder: Path
) -> None:
    for name, said in manifest["files"].items():
        path, found = folder / name, hashlib.sha256()
        path.parent.mkdir(parents=True, exist_ok=True)
        with _open(tar, members[FILES + name]) as file, path.open("xb") as out:
            while block := file.read(BLOCK):
                found.update(block)
                out.write(block)
        _same(backup, name, said, found.hexdigest())


def _same(backup: Path, name: str, said: dict[str, Any], found: str) -> None:
    if said["sha256"] != found:
        raise RefusedError(f"{backup}: {name} is damaged in it. Take another backup; nothing was restored.")


def _database(
    backup: Path,
    tar: tarfile.TarFile,
    members: dict[str, tarfile.TarInfo],
    manifest: dict[str, Any],
    folder: Path,
    url: URL | None,
) -> None:
    """Fill the database, whole or not at all."""
    for name, said in manifest["tables"].items():
        with _open(tar, members[f"{TABLES}{name}{SUFFIX}"]) as file:
            _same(backup, name, said, hashlib.file_digest(file, "sha256").hexdigest())  # type: ignore[arg-type]
    engine = connect(url or folder / UNFINISHED)
    try:
        _empty(engine, url)
        with writer(engine, migrating=True).begin() as connection:
            migrate_in(connection, to=manifest["schema"])
            tables = reflected(connection)
            for table in tables.sorted_tables:
                if table.name in manifest["tables"]:
                    with _open(tar, members[f"{TABLES}{table.name}{SUFFIX}"]) as file:
                        found = _rows(file, table)
                        while rows := list(islice(found, ROWS)):
                            connection.execute(table.insert(), rows)
            if url is not None:
                _count_on(connection, tables.sorted_tables)
            migrate_in(connection)
        if url is not None:
            hold_together(engine, folder, url)
    except DatabaseError as error:
        where = FILE if url is None else shown(url)
        raise RefusedError(f"{where}: the database does not take what is in the backup ({error.orig}).") from error
    finally:
        engine.dispose()
    if url is None:
        (folder / UNFINISHED).rename(folder / FILE)


def _empty(engine: Engine, url: URL | None) -> None:
    with engine.connect() as connection:
        if url is not None and inspect(connection).get_table_names():
            raise RefusedError(
                f"{shown(url)}: this database is not empty, and nothing is written over. Make a new one."
            )


def _rows(file: IO[bytes], table: Table) -> Iterator[dict[str, Any]]:
    times = [c.name for c in table.columns if isinstance(c.type, DateTime)]
    for line in file:
        row = json.loads(line)
        yield row | {name: dt.datetime.fromisoformat(row[name]) for name in times if row[name] is not None}


def _count_on(connection: Connection, tables: list[Table]) -> None:
    """Have PostgreSQL number new rows after those that were put in."""
    for table in tables:
        key = next(iter(table.primary_key))
        if len(table.primary_key) == 1 and isinstance(key.type, Integer):
            last = connection.scalar(select(func.max(key)))
            if last is not None:
                # Nothing where the number is not the database's to give.
                counter = text("SELECT setval(pg_get_serial_sequence(:t, :c), :n)")
                connection.execute(counter, {"t": table.name, "c": key.name, "n": last})

"""Which database a workspace has: the file in its folder, or one of PostgreSQL, which the folder names without its password.

One database belongs to one workspace. Both hold the same token, so that a folder never meets the database of another one, nor an empty one in
the place of its own: what the database does not name is swept from the disk.
"""

from __future__ import annotations

import json
import os
import uuid
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

from sqlalchemy import URL, Engine, insert, select

from dashboard.workspace.address import VARIABLE, parse, shown
from dashboard.workspace.database import writer
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.tables import WorkspaceRow

FILE: Final = "holdoff.sqlite"
NOTE: Final = "database.json"


@dataclass(frozen=True)
class Noted:
    """What a folder says of its database. ``url`` has no password."""

    url: str
    workspace: str


def is_workspace(folder: Path) -> bool:
    """Whether a folder holds a workspace."""
    return (folder / FILE).is_file() or (folder / NOTE).is_file()


def of(folder: Path, database: str | None) -> Path | URL:
    """Return where a workspace has its database, or will have it.

    Parameters
    ----------
    database
        URL, for a new workspace, or to say the password or another address of the same database; ``None`` takes what the folder says.

    Raises
    ------
    RefusedError
        If a URL is given for a workspace with a file.
    """
    if database is None:
        noted = _read(folder)
        return folder / FILE if noted is None else parse(noted.url)
    if (folder / FILE).is_file():
        raise RefusedError(
            f"{folder}: this workspace keeps its database in {FILE}, not on a server. To move it there: holdoff backup, then "
            f"holdoff restore into an empty folder with --database. To go on with the file, leave --database and {VARIABLE} out."
        )
    return parse(database)


def _read(folder: Path) -> Noted | None:
    path = folder / NOTE
    if not path.is_file():
        return None
    try:
        return Noted(**json.loads(path.read_text(encoding="utf-8")))
    except (ValueError, TypeError) as error:
        raise RefusedError(
            f"{path}: this should say which database the workspace has. Restore it from a backup."
        ) from error


def hold_together(engine: Engine, folder: Path, url: URL) -> None:
    """See that folder and database belong to each other; a new folder and a new database do from now on.

    Raises
    ------
    RefusedError
        If they do not.
    """
    noted = _read(folder)
    with writer(engine).begin() as connection:
        token = connection.scalar(select(WorkspaceRow.id))
        if noted is not None and token != noted.workspace:
            raise RefusedError(
                f"{folder}: the database {shown(url)} is not that of this workspace. Check {VARIABLE} and --database; "
                f"{NOTE} says which one it was."
            )
        if noted is None and token is not None:
            raise RefusedError(
                f"{shown(url)}: this database holds the workspace of another folder. Make an empty one for each workspace."
            )
        if token is None:
            token = uuid.uuid4().hex
            connection.execute(insert(WorkspaceRow).values(id=token))
        if noted != (found := Noted(shown(url), token)):
            # Before the database keeps its token: a crash between leaves a folder that is refused in words, and never one that takes any database.
            _write(folder, found)


def _write(folder: Path, noted: Noted) -> None:
    unfinished = folder / f".{uuid.uuid4().hex}"
    with unfinished.open("w", encoding="utf-8") as file:
        json.dump(asdict(noted), file, indent=1)
        file.flush()
        os.fsync(file.fileno())
    unfinished.replace(folder / NOTE)

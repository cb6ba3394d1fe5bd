"""A workspace: a folder that holds several buildings, their logs, and everything people decided about them.

```
workspace/
  holdoff.sqlite            what people decided, and the list of what follows; or
  database.json             which database of PostgreSQL holds that
  holdoff.toml              limits, where somebody set any
  uploads/TOKEN.part        files on their way
  buildings/ID/uploaded/    logs as uploaded, never changed
  buildings/ID/readings/    the same as Parquet, made again when the mapping changes
  buildings/ID/results/     one folder for each analysis
```
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.orm import Session

from dashboard.workspace import limits as limits_of
from dashboard.workspace.belonging import hold_together, is_workspace, of
from dashboard.workspace.database import open_database, reader, writer
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.guarded import GuardedSession
from dashboard.workspace.limits import Limits
from dashboard.workspace.marks import Marks
from dashboard.workspace.texts import check_statements


def now() -> dt.datetime:
    """Return the time, UTC."""
    return dt.datetime.now(dt.UTC)


class Workspace:
    """An open workspace.

    Parameters
    ----------
    folder
        Created when missing. A folder that holds something else is refused.
    database
        URL of a database of PostgreSQL; see :func:`~dashboard.workspace.belonging.of`.
    logs_under
        Folder of this machine below which a building may name one that new logs are taken from; none may where ``None``.
    limits
        In place of those that :func:`dashboard.workspace.limits.of` finds.

    Raises
    ------
    ConfigError
        If the file with the limits has a problem.
    RefusedError
        If the folder is no workspace and not empty, or belongs to a newer program; if the database is another workspace's, or does not answer.
    """

    def __init__(
        self, folder: Path, *, database: str | None = None, logs_under: Path | None = None, limits: Limits | None = None
    ) -> None:
        self.logs_under = None if logs_under is None else logs_under.resolve()
        self.folder = folder.resolve()
        self.limits = limits_of.of(self.folder) if limits is None else limits
        limits_of.hold_to(self.limits)
        if not is_workspace(self.folder) and any(p.name != limits_of.NAME for p in _listed(self.folder)):
            raise RefusedError(
                f"{folder}: not empty, and neither a workspace nor a building folder. Choose an empty one."
            )
        where = of(self.folder, database)
        self.folder.mkdir(parents=True, exist_ok=True)
        self.engine = open_database(where)
        self.url = None if isinstance(where, Path) else where
        if self.url is not None:
            try:
                hold_together(self.engine, self.folder, self.url)
            except RefusedError:
                self.engine.dispose()
                raise
        # Only now: what was kept before there was this rule is migrated, and restored, as it is.
        check_statements(self.engine)
        self._writer, self._reader = writer(self.engine), reader(self.engine)
        self.marks = Marks(self.engine)

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Open a transaction that sees one state of the database and changes nothing."""
        with GuardedSession(self._reader) as session:
            yield session

    @contextmanager
    def writing(self, by: str = "") -> Iterator[Session]:
        """Open a transaction that no other writer comes between; all of it is kept, or nothing.

        ``by``: the name that the person gave, for the audit log; where it is left out, the rows say it.
        """
        with GuardedSession(self._writer, expire_on_commit=False, info={"by": by}) as session, session.begin():
            yield session

    def building_folder(self, building: str) -> Path:
        """Where a building keeps its files."""
        return self.folder / "buildings" / building

    def close(self) -> None:
        """Let go of the database."""
        self.marks.close()
        self.engine.dispose()


def _listed(folder: Path) -> list[Path]:
    return list(folder.iterdir()) if folder.exists() else []


__all__ = ["Workspace", "is_workspace", "now"]

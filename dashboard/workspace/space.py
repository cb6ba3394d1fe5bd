"""A workspace: a folder that holds several buildings, their logs, and everything people decided about them.

```
workspace/
  holdoff.sqlite            what people decided, and the list of what follows
  uploads/TOKEN.part        files on their way
  buildings/ID/files/       logs as uploaded, never changed
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

from dashboard.workspace.database import open_database
from dashboard.workspace.errors import RefusedError

DATABASE = "holdoff.sqlite"


def now() -> dt.datetime:
    """Return the time, UTC."""
    return dt.datetime.now(dt.UTC)


class Workspace:
    """An open workspace.

    Parameters
    ----------
    folder
        Created when missing. A folder that holds something else is refused.

    Raises
    ------
    RefusedError
        If the folder is no workspace and not empty, or belongs to a newer program.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder.resolve()
        if not is_workspace(self.folder) and self.folder.exists() and any(self.folder.iterdir()):
            raise RefusedError(
                f"{folder}: not empty, and neither a workspace nor a building folder. Choose an empty one."
            )
        self.engine = open_database(self.folder / DATABASE)
        self._writer = self.engine.execution_options(begin="IMMEDIATE")

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Open a transaction that sees one state of the database and changes nothing."""
        with Session(self.engine) as session:
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Open a transaction that no other writer comes between; all of it is kept, or nothing."""
        with Session(self._writer, expire_on_commit=False) as session, session.begin():
            yield session

    def building_folder(self, building: str) -> Path:
        """Where a building keeps its files."""
        return self.folder / "buildings" / building

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()


def is_workspace(folder: Path) -> bool:
    """Whether a folder holds a workspace."""
    return (folder / DATABASE).is_file()

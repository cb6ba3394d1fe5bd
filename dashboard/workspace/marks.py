"""Whether anything was written to the database since: a mark that costs next to nothing, and what was read while it was the same."""

from __future__ import annotations

import sqlite3
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, Final, TypeVar

from sqlalchemy import Engine

T = TypeVar("T")
KEPT: Final = 512
"""Answers that are kept: a few for each person who is logged in and each building. Chosen by us."""


class Marks:
    """Gives marks of a database: two that are equal mean that nothing was committed between them, by whichever process.

    Parameters
    ----------
    engine
        Of the database.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._looking: sqlite3.Connection | None = None
        self._lock = threading.Lock()
        self._kept: OrderedDict[Hashable, tuple[str, Any]] = OrderedDict()

    def now(self) -> str:
        """Return the mark of what is committed now."""
        if self._engine.dialect.name == "sqlite":
            with self._lock:
                if self._looking is None:
                    self._looking = self._connect()
                # Counts what others have committed; this connection never writes, so that all are others.
                return str(self._looking.execute("PRAGMA data_version").fetchone()[0])
        with self._engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            # Which transactions are over and which still run: readers who see the same of it see the same rows.
            return str(connection.exec_driver_sql("SELECT pg_current_snapshot()::text").scalar_one())

    def _connect(self) -> sqlite3.Connection:
        # A connection of its own, because the count is each connection's, and starts anew with it.
        return sqlite3.connect(
            str(self._engine.url.database), timeout=15.0, isolation_level=None, check_same_thread=False
        )

    def kept(self, mark: str, name: Hashable, read: Callable[[], T]) -> T:
        """Return what was read under this name while the mark was the same, else read it.

        Parameters
        ----------
        mark
            Taken before: what is read is as new as the mark says, or newer.
        """
        with self._lock:
            found = self._kept.get(name)
            if found is not None and found[0] == mark:
                self._kept.move_to_end(name)
                return found[1]
        value = read()
        with self._lock:
            self._kept[name] = (mark, value)
            self._kept.move_to_end(name)
            if len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return value

    def close(self) -> None:
        """Let go of the database."""
        with self._lock:
            if self._looking is not None:
                self._looking.close()
                self._looking = None
            # The next connection counts anew.
            self._kept.clear()

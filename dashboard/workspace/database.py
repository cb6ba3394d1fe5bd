"""The database of a workspace: SQLite with a write-ahead log, brought up to date when it is opened."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from alembic.util.exc import CommandError
from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.exc import DatabaseError

from dashboard.workspace.errors import RefusedError

BUSY_MS = 15_000
"""How long one writer waits for another. Chosen by us: no transaction of ours takes more than a moment."""
MIGRATIONS = Path(__file__).parent / "migrations"


def connect(path: Path) -> Engine:
    """Open a database file, created when missing, without looking at its tables."""
    engine = create_engine(f"sqlite:///{path}", connect_args={"timeout": BUSY_MS / 1000})

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: Any) -> None:
        # The driver's own transactions begin late and never immediately; ours begin where we say.
        connection.isolation_level = None
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        cursor.execute("PRAGMA journal_mode=WAL")
        cursor.execute("PRAGMA synchronous=FULL")
        cursor.execute("PRAGMA foreign_keys=ON")
        cursor.close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        options = connection.get_execution_options()
        if options.get("migrating"):
            # Tables are rebuilt one by one; what points at them is whole again only at the end.
            connection.exec_driver_sql("PRAGMA foreign_keys=OFF")
        connection.exec_driver_sql(f"BEGIN {options.get('begin', 'DEFERRED')}")

    return engine


def open_database(path: Path) -> Engine:
    """Open a database and bring its tables up to date.

    Raises
    ------
    RefusedError
        If it is no database of a workspace, or one of a newer program.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    engine = connect(path)
    try:
        migrate(engine)
    except CommandError as error:
        engine.dispose()
        raise RefusedError(
            f"{path}: this workspace was written by a newer holdoff ({error}). Open it with that version; nothing was changed."
        ) from error
    except DatabaseError as error:
        engine.dispose()
        raise RefusedError(f"{path}: not a database of a workspace ({error.orig}). Choose another folder.") from error
    return engine


def migrate(engine: Engine, *, to: str = "head") -> None:
    """Run the migrations that are missing, in one transaction: server and worker may open at the same time, one of them migrates."""
    with engine.connect() as connection:
        if to == "head" and revision(connection) == ScriptDirectory(str(MIGRATIONS)).get_current_head():
            return
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    with engine.execution_options(begin="IMMEDIATE", migrating=True).begin() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, to)
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        if broken:
            raise RuntimeError(f"a migration broke references: {broken[:3]}")
    # Connections of a migration do not heed foreign keys; new ones do.
    engine.dispose()


def revision(connection: Connection) -> str | None:
    """Name of the last migration that was run."""
    there = connection.execute(text("SELECT 1 FROM sqlite_master WHERE name = 'alembic_version'")).first()
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar() if there else None

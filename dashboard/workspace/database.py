"""The database of a workspace: SQLite with a write-ahead log, or PostgreSQL. It is brought up to date when it is opened.

Both keep the same promise: one writer at a time, from before it looks until it has written; readers see one state and wait for nobody; what was
committed is on the disk.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from alembic.util.exc import CommandError
from sqlalchemy import JSON, URL, Connection, Engine, MetaData, create_engine, event, inspect, text
from sqlalchemy.exc import DatabaseError

from dashboard.workspace.address import shown
from dashboard.workspace.errors import RefusedError

BUSY_MS = 15_000
"""How long one writer waits for another. Chosen by us: no transaction of ours takes more than a moment."""
IDLE_MS = 60_000
"""A transaction whose client says nothing for so long has lost it: PostgreSQL takes it back. Chosen by us, for the same reason."""
CONNECT_S = 10
WRITERS: Final = 0x686F6C64
"""Name of the lock that writers take in PostgreSQL, the same in every holdoff."""
MIGRATIONS = Path(__file__).parent / "migrations"


def connect(where: Path | URL) -> Engine:
    """Open a database file, created when missing, or one of PostgreSQL, without looking at its tables.

    Raises
    ------
    RefusedError
        If the driver for PostgreSQL is not installed.
    """
    return _sqlite(where) if isinstance(where, Path) else _postgresql(where)


def _sqlite(path: Path) -> Engine:
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
        connection.exec_driver_sql(f"BEGIN {'IMMEDIATE' if options.get('writes') else 'DEFERRED'}")

    return engine


def _postgresql(url: URL) -> Engine:
    patience: dict[str, Any] = {"connect_timeout": CONNECT_S} if "connect_timeout" not in url.query else {}
    try:
        # A server that was started anew is found again at the next look.
        engine = create_engine(url, pool_pre_ping=True, connect_args=patience)
    except ModuleNotFoundError as error:
        raise RefusedError("A database of PostgreSQL needs an extra: pip install 'holdoff[postgres]'.") from error

    @event.listens_for(engine, "connect")
    def _prepare(connection: Any, _record: Any) -> None:
        connection.autocommit = True
        connection.execute(
            f"SET lock_timeout = {BUSY_MS}; SET idle_in_transaction_session_timeout = {IDLE_MS}; "
            "SET synchronous_commit = on; SET timezone = 'UTC'"
        )
        connection.autocommit = False

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        if connection.get_execution_options().get("writes"):
            # Each statement after it sees all that the writer before has written (read committed).
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITERS})")

    return engine


def writer(engine: Engine, **options: Any) -> Engine:
    """Return an engine whose transactions no other writer comes between."""
    return engine.execution_options(writes=True, **options)


def reader(engine: Engine) -> Engine:
    """Return an engine whose transactions see one state, and change nothing where the database can be told so."""
    if engine.dialect.name == "sqlite":
        return engine
    return engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)


def open_database(where: Path | URL) -> Engine:
    """Open a database and bring its tables up to date.

    Raises
    ------
    RefusedError
        If it is no database of a workspace, or one of a newer program, or cannot be reached.
    """
    engine, name = connect(where), str(where) if isinstance(where, Path) else shown(where)
    try:
        migrate(engine)
    except CommandError as error:
        engine.dispose()
        raise RefusedError(
            f"{name}: this workspace was written by a newer holdoff ({error}). Open it with that version; nothing was changed."
        ) from error
    except DatabaseError as error:
        engine.dispose()
        if isinstance(where, Path):
            raise RefusedError(
                f"{name}: not a database of a workspace ({error.orig}). Choose another folder."
            ) from error
        raise RefusedError(f"{name}: the database does not answer as it should ({error.orig}).") from error
    return engine


def migrate(engine: Engine, *, to: str = "head") -> None:
    """Run the migrations that are missing, in one transaction: server and worker may open at the same time, one of them migrates."""
    with engine.connect() as connection:
        if to == "head" and revision(connection) == newest():
            return
    with writer(engine, migrating=True).begin() as connection:
        migrate_in(connection, to=to)
    # Connections of a migration do not heed foreign keys; new ones do.
    engine.dispose()


def newest() -> str | None:
    """Name of the last migration that this program knows."""
    return ScriptDirectory(str(MIGRATIONS)).get_current_head()


def known() -> set[str]:
    """Names of all migrations that this program knows."""
    return {r.revision for r in ScriptDirectory(str(MIGRATIONS)).walk_revisions()}


def migrate_in(connection: Connection, *, to: str = "head") -> None:
    """As :func:`migrate`, inside a transaction of a writer that does not heed foreign keys."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, to)
    broken = references_broken(connection)
    if broken:
        raise RuntimeError(f"a migration broke references: {broken[:3]}")


def references_broken(connection: Connection) -> list[Any]:
    """Rows that point at nothing; PostgreSQL never lets it come to that."""
    if connection.dialect.name != "sqlite":
        return []
    return list(connection.exec_driver_sql("PRAGMA foreign_key_check"))


def reflected(connection: Connection) -> MetaData:
    """Tables as they are in the database, whatever schema that is, without Alembic's own; ``None`` is never JSON's null."""
    found = MetaData()

    @event.listens_for(found, "column_reflect")
    def _nulls(_inspector: Any, _table: Any, column: Any) -> None:
        if isinstance(column["type"], JSON):
            column["type"] = JSON(none_as_null=True)

    found.reflect(connection)
    found.remove(found.tables["alembic_version"])
    return found


def revision(connection: Connection) -> str | None:
    """Name of the last migration that was run."""
    there = inspect(connection).has_table("alembic_version")
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar() if there else None

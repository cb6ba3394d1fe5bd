"""Tests of what is kept run over both databases: ``pytestmark = pytest.mark.usefixtures("database")``, or the fixture by name."""

import os
import shutil
import uuid
from pathlib import Path

import psycopg
import pytest

from dashboard.workspace import belonging, space
from dashboard.workspace.address import parse
from dashboard.workspace.database import connect, migrate, open_database
from tests.postgres import VARIABLE, programs, running


class Databases:
    """Empty databases of a server, made when they are asked for."""

    def __init__(self, url):
        self.url, self._made = url, []
        self._template = self._named(self.fresh())
        engine = connect(parse(self.of(self._template)))
        migrate(engine)
        engine.dispose()

    @staticmethod
    def _named(url):
        return parse(url).database

    def of(self, name):
        """URL of a database of this name."""
        return parse(self.url).set(database=name).render_as_string(hide_password=False)

    def _do(self, statement):
        with psycopg.connect(self.url.replace("+psycopg", ""), autocommit=True) as connection:
            connection.execute(statement)

    def fresh(self, *, migrated=False):
        """URL of a new database: with nothing in it, or with tables as they are now."""
        name = f"holdoff_{uuid.uuid4().hex}"
        self._do(f"CREATE DATABASE {name}" + (f" TEMPLATE {self._template}" if migrated else ""))
        self._made.append(name)
        return self.of(name)

    def drop(self, *, keep=1):
        """Take them away again, but for the oldest so many."""
        while len(self._made) > keep:
            self._do(f"DROP DATABASE {self._made.pop()} WITH (FORCE)")


@pytest.fixture(scope="session", autouse=True)
def tables(tmp_path_factory):
    """A new file of SQLite is a copy of one that was opened once, as a new database of PostgreSQL is: all migrations cost more than most tests.

    Only in this process; whatever a test starts opens its databases from nothing, and so does a test with ``from_nothing``.
    """
    made = tmp_path_factory.mktemp("tables") / "holdoff.sqlite"
    open_database(made).dispose()

    def opened(where):
        if isinstance(where, Path) and not where.exists():
            shutil.copyfile(made, where)
        return open_database(where)

    with pytest.MonkeyPatch.context() as monkeypatch:
        monkeypatch.setattr(space, "open_database", opened)
        yield


@pytest.fixture
def from_nothing(monkeypatch):
    """Databases of SQLite are made by the migrations, as for whoever starts the program."""
    monkeypatch.setattr(space, "open_database", open_database)


@pytest.fixture(scope="session")
def postgres():
    """Databases of a server that .ci/run started, else of one that is started here."""
    given = os.environ.get(VARIABLE)
    if given is None and programs() is None:
        pytest.skip("there is no PostgreSQL here (apt-get install postgresql); .ci/run does not go without")
    if given is not None:
        databases = Databases(given)
        yield databases
        databases.drop(keep=0)
    else:
        with running() as started:
            yield Databases(started.url)


def _kept_there(request, monkeypatch):
    if request.param == "sqlite":
        yield request.param
        return
    databases = request.getfixturevalue("postgres")

    def of(folder, url):
        where = belonging.of(folder, url)
        fresh = isinstance(where, Path) and not where.exists()
        return parse(databases.fresh(migrated=True)) if fresh else where

    monkeypatch.setattr(space, "of", of)
    yield request.param
    databases.drop()


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request, monkeypatch):
    """Every workspace that is new in this test has its database there."""
    yield from _kept_there(request, monkeypatch)


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def database_of_all(request):
    """Every workspace that is new in this file has its database there; not beside the fixture above, which takes its databases away."""
    with pytest.MonkeyPatch.context() as monkeypatch:
        yield from _kept_there(request, monkeypatch)

"""Fifty kills at random moments over each database, and ten of the database's own server. Run with ``-m benchmark -s``."""

import signal
import time
from collections import Counter

import pytest

from dashboard.workspace import space
from dashboard.workspace.belonging import of
from tests.building import SITE, office_days, write
from tests.dashboard.databases import database, postgres  # noqa: F401  fixtures
from tests.dashboard.test_killing import kill_servers, kill_workers
from tests.postgres import running

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(3000)]

KILLS_OF_SERVER, KILLS_OF_WORKER, KILLS_OF_DATABASE = 34, 16, 10


def say(name, told, more=""):
    counted = Counter(next(iter(one)) for one in told)
    print(
        f"\n{name}: confirmed {len(told)}, none lost: "
        + ", ".join(f"{k} {n}" for k, n in sorted(counted.items()))
        + more
    )


def test_kills_of_a_server_lose_nothing(tmp_path, database):  # noqa: F811
    told = kill_servers(tmp_path, KILLS_OF_SERVER)
    say(f"{database}, {KILLS_OF_SERVER} kills of the server", told)


def test_kills_of_a_worker_lose_nothing(tmp_path, database):  # noqa: F811
    (tmp_path / "folder").mkdir()
    folder = write(tmp_path / "folder", office_days(days=60), site=SITE)
    hit = kill_workers(tmp_path, folder, KILLS_OF_WORKER)
    print(f"{database}, {KILLS_OF_WORKER} kills of the worker: every analysis whole or not there; hit at {sorted(hit)}")


def test_kills_of_the_databases_own_server_lose_nothing(tmp_path, monkeypatch):
    with running(safe=True) as server:
        monkeypatch.setattr(space, "of", lambda folder, url: of(folder, url or server.url))
        took = []

        def gone():
            begun = time.monotonic()
            server.stop(signal.SIGQUIT)
            server.start()
            took.append(time.monotonic() - begun)

        told = kill_servers(tmp_path, KILLS_OF_DATABASE, also=gone)
    say(
        f"{KILLS_OF_DATABASE} kills of server and database",
        told,
        f"; the database was back after {max(took):.1f} s at most",
    )

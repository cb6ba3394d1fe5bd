"""A made-up analysis, and servers that listen on this machine only."""

import threading
from contextlib import contextmanager

import pytest
import waitress

from dashboard.app import create_app
from dashboard.store import FixedStore
from tests.dashboard import synthetic


@pytest.fixture(scope="session")
def analysis():
    return synthetic.analysis()


@pytest.fixture(scope="session")
def channel():
    return synthetic.channel()


@contextmanager
def serving(store):
    """Serve a store on a free port; gives the address."""
    server = waitress.create_server(create_app(store).server, host="127.0.0.1", port=0, threads=8)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.effective_port}"
    finally:
        server.close()
        thread.join(timeout=10)


@pytest.fixture(scope="session")
def made_up_site(analysis):
    with serving(FixedStore(analysis)) as url:
        yield url

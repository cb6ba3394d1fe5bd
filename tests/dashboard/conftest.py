"""A made-up analysis, servers that listen on this machine only, and a browser."""

import threading
from contextlib import contextmanager
from pathlib import Path

import pytest
import waitress
from playwright.sync_api import expect, sync_playwright
from waitress import wasyncore

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
def answering(app):
    """Answer for a WSGI application on a free port; gives the address."""
    server = waitress.create_server(app, host="127.0.0.1", port=0, threads=8)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.effective_port}"
    finally:
        # First the workers: one that still answers would write to what is closed.
        server.task_dispatcher.shutdown(timeout=10)
        # Closed by the loop itself: a descriptor closed under its select is an error there.
        server.trigger.pull_trigger(lambda: wasyncore.close_all(server._map))
        thread.join(timeout=10)


@contextmanager
def serving(store):
    """Serve a store on a free port; gives the address."""
    with answering(create_app(store).server) as url:
        yield url


@pytest.fixture(scope="session")
def made_up_site(analysis):
    with serving(FixedStore(analysis)) as url:
        yield url


CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync"),
]
SIZES = [(1280, 900), (390, 844)]


@pytest.fixture(scope="session")
def browser():
    assert CHROMIUM.is_file(), "chromium is missing: apt-get install chromium"
    # A busy machine may take its time; what is asserted is that it comes, not how fast.
    expect.set_options(timeout=20_000)
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield started
        started.close()


@pytest.fixture(params=SIZES, ids=lambda size: f"{size[0]} px")
def page(browser, request):
    """A page that notes every console error and refuses, and notes, every request to elsewhere."""
    width, height = request.param
    context = browser.new_context(viewport={"width": width, "height": height}, reduced_motion="reduce")
    page = context.new_page()
    page.complaints, page.outside = [], []
    page.on("console", lambda m: page.complaints.append(m.text) if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda e: page.complaints.append(f"{e} {e.stack}"))

    def only_here(route):
        if route.request.url.startswith(("http://127.0.0.1:", "data:", "blob:")):
            route.continue_()
        else:
            page.outside.append(route.request.url)
            route.abort()

    page.route("**/*", only_here)
    yield page
    context.close()

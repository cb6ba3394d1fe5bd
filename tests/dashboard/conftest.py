"""A made-up analysis, servers that listen on this machine only, and a browser."""

import threading
import zlib
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
import waitress
from argon2 import PasswordHasher
from playwright.sync_api import expect, sync_playwright

from dashboard.app import create_app
from dashboard.store import FixedStore
from dashboard.workspace import accounts
from tests.dashboard import synthetic
from tests.dashboard.databases import database, database_of_all, from_nothing, postgres, tables  # noqa: F401  fixtures


@pytest.fixture(scope="session")
def analysis():
    return synthetic.analysis()


@pytest.fixture(scope="session")
def channel():
    return synthetic.channel()


@pytest.fixture(scope="session", autouse=True)
def hasher():
    """Passwords are hashed with next to no work, which else takes most of the time of a test with accounts; gives the program's own hasher."""
    own = accounts.HASHER
    with pytest.MonkeyPatch.context() as monkeypatch:
        monkeypatch.setattr(accounts, "HASHER", PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
        yield own


def hung_up(server):
    """Close a server and what it still says to somebody, with the files that long answers were kept in."""
    for channel in list(server.active_channels.values()):
        channel.handle_close()
    server.close()


PORTS = []
"""Where servers have listened, and others do again: a page keeps what it compiled by address."""


def listening(app):
    """A server on a free port."""
    port = PORTS.pop() if PORTS else 0
    try:
        return waitress.create_server(app, host="127.0.0.1", port=port, threads=8)
    except OSError:  # somebody else has taken it since
        return waitress.create_server(app, host="127.0.0.1", port=0, threads=8)


@contextmanager
def answering(app):
    """Answer for a WSGI application on a free port; gives the address."""
    server = listening(app)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.effective_port}"
    finally:
        # First the workers: one that still answers would write to what is closed.
        server.task_dispatcher.shutdown(timeout=10)
        # Closed by the loop itself: a descriptor closed under its select is an error there. Where something else has just woken it, it has
        # closed what would wake it before that is done.
        with suppress(OSError):
            server.trigger.pull_trigger(lambda: hung_up(server))
        thread.join(timeout=10)
        PORTS.append(server.effective_port)


@contextmanager
def serving(store):
    """Serve a store on a free port; gives the address."""
    with answering(create_app(store).server) as url:
        yield url


@pytest.fixture(scope="session")
def made_up_site(analysis):
    with serving(FixedStore(analysis)) as url:
        yield url


# The shell without windows where Debian's package is there: a page costs it a tenth of the processor time.
CHROMIUMS = [Path("/usr/bin/chromium-headless-shell"), Path("/usr/bin/chromium")]
CHROMIUM = next((path for path in CHROMIUMS if path.is_file()), CHROMIUMS[-1])
FLAGS = [
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync"),
    # Nothing but this machine is reached, by name or by number.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost",
]
HERE = ("http://127.0.0.1:", "data:", "blob:", "about:")
SIZES = [(1280, 900), (390, 844)]


@pytest.fixture(scope="session")
def browser():
    assert CHROMIUM.is_file(), "chromium is missing: apt-get install chromium"
    # A busy machine may take its time; what is asserted is that it comes, not how fast.
    expect.set_options(timeout=60_000)
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield started
        started.close()


def pytest_generate_tests(metafunc):
    """Both widths, or one by turns where a module says that its tests are about what is done and not about how it lies on the screen."""
    said = [mark.args[0] for mark in metafunc.definition.iter_markers("parametrize")]
    if "page" in metafunc.fixturenames and "page" not in said:
        by_turns = any(metafunc.definition.iter_markers("width_by_turns"))
        turn = zlib.crc32(metafunc.function.__name__.encode()) % len(SIZES)
        sizes = [SIZES[turn]] if by_turns else SIZES
        metafunc.parametrize("page", sizes, indirect=True, ids=lambda size: f"{size[0]} px")


class Tab:
    """A page that goes from test to test: a new one has a process of its own, which costs more than what most tests do in it.

    A test finds it without history, cookies, stored values, cache, listeners, routes and what was said over the browser's own protocol.
    Scripts for every page cannot be taken back: the page goes with the test that added one.
    """

    def __init__(self, browser):
        self._browser, self._page = browser, None

    def page(self):
        """The page, as new."""
        if self._page is None:
            self._open()
        self._page.complaints, self._page.outside = [], []
        return self._page

    def _open(self):
        context = self._browser.new_context(reduced_motion="reduce")
        self._page = page = context.new_page()
        page.on("console", lambda m: page.complaints.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda e: page.complaints.append(f"{e} {e.stack}"))
        page.on("request", self._asked)
        self._session, self._origins = context.new_cdp_session(page), set()
        self._listeners, self._sessions, self._scripts = [], [], []
        page.on = self._noting(page.on, self._listeners)
        page.add_init_script = self._noting(page.add_init_script, self._scripts)
        context.new_cdp_session = self._noting(context.new_cdp_session, self._sessions)

    @staticmethod
    def _noting(do, notes):
        """The same, noting what it was given and what it gave."""

        def done(*given):
            gave = do(*given)
            notes.append((given, gave))
            return gave

        return done

    def _asked(self, request):
        if not request.url.startswith(HERE):
            self._page.outside.append(request.url)
        elif request.is_navigation_request():
            self._origins.add("/".join(request.url.split("/")[:3]))

    def clear(self):
        """Take away what a test left."""
        # Of a page that does not let it be taken away, the next test is to know nothing.
        page, self._page = self._page, None
        context = page.context
        if self._scripts or context.pages != [page]:
            context.close()
            return
        for given, _ in self._listeners:
            page.remove_listener(*given)
        for _, session in self._sessions:
            session.detach()
        page.unroute_all()
        # What a page stored goes where a page of its origin asks for it; the server has mostly gone.
        page.route("**/*", lambda route: route.fulfill(body="", content_type="text/html"))
        for origin in self._origins:
            page.goto(origin)
            page.evaluate("localStorage.clear(), sessionStorage.clear()")
        page.unroute_all()
        context.clear_cookies()
        for notes in (self._origins, self._listeners, self._sessions):
            notes.clear()
        self._session.send("Network.clearBrowserCache")
        self._session.send("Page.resetNavigationHistory")
        page.mouse.move(-1, -1)
        page.emulate_media(media="null", color_scheme="null")
        self._page = page


@pytest.fixture(scope="session")
def tab(browser):
    return Tab(browser)


@pytest.fixture
def page(tab, request):
    """A page that notes every console error and every request to elsewhere, which the browser's flags refuse.

    Requests are not taken in hand one by one (``page.route``): that would turn off the browser's cache, and each page that is opened would
    load and compile all libraries anew.
    """
    width, height = request.param
    page = tab.page()
    page.set_viewport_size({"width": width, "height": height})
    page.set_default_timeout(60_000)
    yield page
    tab.clear()

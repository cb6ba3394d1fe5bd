"""``holdoff serve`` and ``holdoff demo``: buildings in the browser, on this machine only."""

from __future__ import annotations

import logging
import os
import signal
import socket
import sys
import threading
from collections.abc import Callable, Iterable
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import urlsplit

import waitress

import dashboard
from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.store import FolderStore, Stores
from dashboard.workspace import Workspace, is_workspace, jobs, uploads
from dashboard.workspace.importing import import_folder
from dashboard.workspace.keeper import Keeper
from tuning.errors import FolderError
from tuning.site import read_site

THREADS = 8
Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]
LOOPBACK = ("127.0.0.1", "localhost", "::1")
DEMO_HAND = "holdoff demo"
"""Who is said to have brought the demo building in."""


def serve(folder: Path | None, *, port: int = 8050, host: str = "127.0.0.1") -> None:
    """Serve a workspace, or show a building folder, until interrupted.

    The pages answer at once; the analysis runs beside them.

    Parameters
    ----------
    folder
        A workspace, created where it is missing; or a building folder, with ``site.toml`` and the logs, which is only looked at. Where
        ``None``: the current folder if it is one of them, else ``holdoff-workspace`` in it.
    port, host
        Where to listen. Nothing but this machine reaches the default.

    Raises
    ------
    TuningError
        If the folder or its ``site.toml`` has a problem; problems of the logs show on the page.
    OSError
        If the port is taken.
    """
    # A page asks for a dozen things at once; that they wait a moment for a thread is no news.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    folder = folder or _here()
    if (folder / "site.toml").is_file() and not is_workspace(folder):
        # What can be said at once is said on the terminal, before a browser is opened.
        read_site(folder)
        store = FolderStore(folder)
        _run(store, store.start, folder=folder, host=host, port=port)
    else:
        with closing(Workspace(folder)) as ws:
            serve_workspace(ws, host=host, port=port)


def _here() -> Path:
    here = Path()
    return here if is_workspace(here) or (here / "site.toml").is_file() else here / "holdoff-workspace"


def serve_workspace(ws: Workspace, *, port: int = 8050, host: str = "127.0.0.1") -> None:
    """Serve an open workspace, with a worker beside the server, until interrupted. See :func:`serve`."""
    uploads.recover(ws)
    keeper = Keeper(ws)
    try:
        _run(WorkspaceStores(ws), keeper.start, folder=ws.folder, host=host, port=port)
    finally:
        keeper.close()


def _run(stores: Stores, start: Callable[[], None], *, folder: Path, host: str, port: int) -> None:
    app = create_app(stores).server
    served = own_names_only(app) if host in LOOPBACK else app
    server = waitress.create_server(served, sockets=[_listen(host, port)], threads=THREADS)
    if threading.current_thread() is threading.main_thread():
        # Whoever asks the program to end lets it end its worker and tidy up, as Ctrl+C does.
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    start()
    sys.stdout.write(f"holdoff: {folder} on http://{host}:{port} (Ctrl+C ends)\n")
    sys.stdout.flush()
    try:
        server.run()
    finally:
        server.close()


def own_names_only(application: Application) -> Application:
    """Answer only to names of this machine, so that no page from elsewhere reads here under a name that it has pointed at this machine."""

    def answer(environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        if urlsplit(f"//{environ.get('HTTP_HOST', '')}").hostname in LOOPBACK:
            return application(environ, start)
        start("403 Forbidden", [("Content-Type", "text/plain")])
        return [b"Only this machine is served."]

    return answer


def _listen(host: str, port: int) -> socket.socket:
    try:
        return socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET)
    except OSError as error:
        why = (
            f"port {port} of {host} cannot be opened ({os.strerror(error.errno or 0)}); choose another one with --port"
        )
        raise OSError(error.errno, why) from error


def demo_folder() -> Path:
    """Return the folder of the demo building, which stands beside the packages in a checkout.

    Raises
    ------
    FolderError
        If it is not there.
    """
    folder = Path(dashboard.__file__).resolve().parent.parent / "demo_logs"
    if not (folder / "site.toml").is_file():
        raise FolderError(
            folder,
            "the demo building is not here",
            "It comes with the source: install holdoff from a checkout with pip install -e",
        )
    return folder


def demo(port: int = 8050) -> None:
    """Serve a workspace with the demo building in it; it lasts until the program ends. See :func:`serve`."""
    folder = demo_folder()
    with TemporaryDirectory(prefix="holdoff-demo-") as name, closing(Workspace(Path(name) / "workspace")) as ws:
        building = import_folder(ws, folder, by=DEMO_HAND)
        jobs.ask(ws, building, "analyse", by=DEMO_HAND)
        serve_workspace(ws, port=port)

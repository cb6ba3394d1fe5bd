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
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import urlsplit

import waitress

import dashboard
from dashboard import operation
from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.stopping import Stop
from dashboard.store import FolderStore, Stores
from dashboard.workspace import Workspace, accounts, is_workspace, jobs, limits, lines, uploads
from dashboard.workspace.address import asked
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.importing import import_folder
from dashboard.workspace.keeper import Keeper
from dashboard.workspace.limits import Limits
from tuning import __version__
from tuning.errors import FolderError
from tuning.site import read_site

Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]
LOOPBACK = ("127.0.0.1", "localhost", "::1")
FORWARDED = {"x-forwarded-for", "x-forwarded-host", "x-forwarded-proto"}
"""What a trusted proxy says of the one who asks: where from, for which name, over TLS or not."""
DEMO_HAND = "holdoff demo"
"""Who is said to have brought the demo building in."""


@dataclass(frozen=True)
class Listening:
    """Where to listen. ``proxy``: address of a proxy whose word on the asking side is taken; it does TLS.

    ``metrics``: port of this machine for the figures of :mod:`dashboard.operation`; ``lines``: whether each request, job and worker is a line
    of JSON (:mod:`dashboard.workspace.lines`).
    """

    port: int = 8050
    host: str = "127.0.0.1"
    proxy: str | None = None
    metrics: int | None = None
    lines: bool = False

    @property
    def alone(self) -> bool:
        """Whether nobody but this machine can ask."""
        return self.host in LOOPBACK and self.proxy is None


def serve(
    folder: Path | None,
    at: Listening | None = None,
    *,
    logs_under: Path | None = None,
    config: Path | None = None,
    database: str | None = None,
) -> None:
    """Serve a workspace, or show a building folder, until interrupted.

    The pages answer at once; the analysis runs beside them.

    Parameters
    ----------
    folder
        A workspace, created where it is missing; or a building folder, with ``site.toml`` and the logs, which is only looked at. Where
        ``None``: the current folder if it is one of them, else ``holdoff-workspace`` in it.
    at
        Where to listen, see :class:`Listening`. Nothing but this machine reaches the default.
    logs_under
        Folder of this machine below which administrators may name, for each building, one that new logs are taken from.
    config
        File with limits, see :mod:`dashboard.workspace.limits`, in place of the workspace's own.
    database
        URL of a database of PostgreSQL; ``None``: the one that the environment or the folder names, else a file.

    Raises
    ------
    TuningError
        If the folder or its ``site.toml`` has a problem; problems of the logs show on the page. If others could ask, and there are no
        accounts.
    OSError
        If the port is taken.
    """
    # A page asks for a dozen things at once; that they wait a moment for a thread is no news.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    folder, at = folder or _here(), at or Listening()
    if logs_under is not None and not logs_under.is_dir():
        raise FolderError(
            logs_under, "this is no folder", "Logs are taken from folders below it: name one that is there"
        )
    if (folder / "site.toml").is_file() and not is_workspace(folder):
        # What can be said at once is said on the terminal, before a browser is opened.
        read_site(folder)
        if not at.alone:
            raise RefusedError(
                f"{folder} is a building folder, which is shown to this machine only: it has no accounts. Serve a workspace instead."
            )
        store = FolderStore(folder)
        _run(store, store.start, folder=folder, at=at)
    else:
        held = limits.read(config) if config else None
        with closing(Workspace(folder, database=asked(database), logs_under=logs_under, limits=held)) as ws:
            serve_workspace(ws, at)


def _here() -> Path:
    here = Path()
    return here if is_workspace(here) or (here / "site.toml").is_file() else here / "holdoff-workspace"


def serve_workspace(ws: Workspace, at: Listening) -> None:
    """Serve an open workspace, with a worker beside the server, until interrupted. See :func:`serve`."""
    if not at.alone and not accounts.administered(ws):
        where = f"{at.host} can be reached by others" if at.host not in LOOPBACK else "a proxy lets others in"
        raise RefusedError(
            f"{where}, and this workspace has no accounts, so that everybody could change everything. "
            f"Make one first: holdoff user add {ws.folder} YOUR-NAME --role administer."
        )
    uploads.recover(ws)
    if at.lines:
        lines.begin()
    keeper = Keeper(ws)
    try:
        _run(WorkspaceStores(ws), keeper.start, folder=ws.folder, at=at)
    finally:
        keeper.close()


def _run(stores: Stores, start: Callable[[], None], *, folder: Path, at: Listening) -> None:
    bounds = (Limits() if stores.workspace is None else stores.workspace.limits).server
    app = create_app(stores).server
    served = own_names_only(app) if at.alone else app
    trusted = {"trusted_proxy": at.proxy, "trusted_proxy_headers": FORWARDED} if at.proxy else {}
    server = waitress.create_server(
        served,
        sockets=[_listen(at.host, at.port)],
        threads=bounds.threads,
        connection_limit=bounds.connections,
        asyncore_use_poll=True,
        **trusted,
    )
    stop = Stop(server, patience_s=bounds.patience.total_seconds())
    if threading.current_thread() is threading.main_thread():
        # Whoever asks the program to end lets it answer, end its worker and tidy up.
        signal.signal(signal.SIGTERM, lambda *_: stop.ask())
    figures = operation.tell(app, port=at.metrics) if at.metrics and stores.workspace else None
    start()
    if not at.alone and at.proxy is None:
        sys.stdout.write(
            "holdoff: without TLS, names and passwords can be read on the way; put a proxy before it (--trusted-proxy).\n"
        )
    host = f"[{at.host}]" if ":" in at.host else at.host
    sys.stdout.write(f"holdoff: {folder} on http://{host}:{at.port} (Ctrl+C ends)\n")
    sys.stdout.flush()
    lines.say(
        lines.PROCESSES, "server.started", version=__version__, host=at.host, port=at.port, threads=bounds.threads
    )
    try:
        server.run()
        server.task_dispatcher.shutdown(timeout=1)
    finally:
        server.close()
        lines.say(lines.PROCESSES, "server.ended", cut_off=stop.cut_off)
        if figures is not None:
            figures()


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
        serve_workspace(ws, Listening(port))

"""``holdoff serve`` and ``holdoff demo``: a building folder in the browser, on this machine only."""

from __future__ import annotations

import logging
import os
import socket
import sys
from pathlib import Path

import waitress

import dashboard
from dashboard.app import create_app
from dashboard.store import FolderStore
from tuning.errors import FolderError
from tuning.site import read_site

THREADS = 8


def serve(folder: Path, *, port: int = 8050, host: str = "127.0.0.1") -> None:
    """Serve a building folder until interrupted.

    The pages answer at once; the analysis runs beside them.

    Parameters
    ----------
    folder
        With ``site.toml`` and the logs.
    port, host
        Where to listen. Nothing but this machine reaches the default.

    Raises
    ------
    TuningError
        If the folder or its ``site.toml`` has a problem; problems of the logs show on the page.
    OSError
        If the port is taken.
    """
    # What can be said at once is said on the terminal, before a browser is opened.
    read_site(folder)
    # A page asks for a dozen things at once; that they wait a moment for a thread is no news.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    store = FolderStore(folder)
    server = waitress.create_server(create_app(store).server, sockets=[_listen(host, port)], threads=THREADS)
    store.start()
    sys.stdout.write(f"holdoff: {folder} on http://{host}:{port} (Ctrl+C ends)\n")
    sys.stdout.flush()
    try:
        server.run()
    finally:
        server.close()


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
    """Serve the demo building. See :func:`serve`."""
    serve(demo_folder(), port=port)

"""Keeps a worker process alive beside the server."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import uuid
from pathlib import Path

import dashboard
from dashboard.workspace import jobs
from dashboard.workspace.space import Workspace

AGAIN_S = 0.5
"""Pause before a worker that died is replaced. Chosen by us."""


class Keeper:
    """Starts a worker, and another one when it dies. Its jobs go on where a new worker takes them up."""

    def __init__(self, ws: Workspace) -> None:
        self._ws = ws
        self._ended = threading.Event()
        self.process: subprocess.Popen[bytes] | None = None
        self._thread = threading.Thread(target=self._keep, name="keeper", daemon=True)

    def start(self) -> None:
        """Start the first worker; returns at once."""
        self._thread.start()

    def close(self) -> None:
        """End the worker."""
        self._ended.set()
        if self.process is not None:
            self.process.terminate()
        self._thread.join(timeout=10)

    def _keep(self) -> None:
        while not self._ended.is_set():
            name = uuid.uuid4().hex
            # A worker finds our packages wherever they were found here.
            root = str(Path(dashboard.__file__).parent.parent)
            paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
            self.process = subprocess.Popen(
                [sys.executable, "-m", "dashboard.workspace.worker", str(self._ws.folder), name],
                stdin=subprocess.PIPE,
                env=os.environ | {"PYTHONPATH": os.pathsep.join(paths)},
            )
            if self._ended.is_set():
                self.process.terminate()
            self.process.wait()
            if self.process.stdin:
                self.process.stdin.close()
            jobs.release(self._ws, name)
            self._ended.wait(AGAIN_S)

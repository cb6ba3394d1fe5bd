"""Keeps worker processes alive beside the server."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import uuid
from pathlib import Path

from sqlalchemy.exc import OperationalError

import dashboard
from dashboard.workspace import jobs, lines
from dashboard.workspace.address import VARIABLE
from dashboard.workspace.space import Workspace

AGAIN_S = 0.5
"""Pause before a worker that died is replaced. Chosen by us."""
THREADS = ("POLARS_MAX_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


class Keeper:
    """Starts as many workers as the limits say, and another one when one dies. Its jobs go on where a new worker takes them up."""

    def __init__(self, ws: Workspace) -> None:
        self._ws = ws
        self._ended = threading.Event()
        self.processes: dict[int, subprocess.Popen[bytes]] = {}
        self._threads = [
            threading.Thread(target=self._keep, args=(n,), name=f"keeper-{n}", daemon=True)
            for n in range(ws.limits.workers.count)
        ]

    @property
    def process(self) -> subprocess.Popen[bytes] | None:
        """The first worker."""
        return self.processes.get(0)

    def start(self) -> None:
        """Start the workers; returns at once."""
        if len(self._threads) > 1 and not jobs.running_somewhere(self._ws):
            # With one worker it does so itself, also after an accident; among several nobody else works only now.
            from dashboard.workspace.worker import tidy  # noqa: PLC0415  a second that a server of one worker need not wait

            tidy(self._ws)
        for thread in self._threads:
            thread.start()

    def close(self) -> None:
        """End the workers. What they were at goes back to the queue, with nothing lost but the time."""
        self._ended.set()
        for process in list(self.processes.values()):
            process.terminate()
        for thread in self._threads:
            thread.join(timeout=10)

    def _keep(self, number: int) -> None:
        while not self._ended.is_set():
            name = uuid.uuid4().hex
            process = subprocess.Popen(
                self._command(name, first=number == 0), stdin=subprocess.PIPE, env=self._environment()
            )
            self.processes[number] = process
            lines.say(lines.PROCESSES, "worker.started", worker=name, pid=process.pid)
            if self._ended.is_set():
                process.terminate()
            code = process.wait()
            if process.stdin:
                process.stdin.close()
            # Told to end, by us or by whoever runs the machine: no fault of the job's.
            asked = self._ended.is_set() or code == -signal.SIGTERM
            back = 0
            with contextlib.suppress(OperationalError):
                # Where the database does not answer, the job is taken up when the lease has run out.
                back = jobs.release(self._ws, name, counted=not asked)
            lines.say(
                lines.PROCESSES, "worker.ended", worker=name, pid=process.pid, code=code, asked=asked, jobs_back=back
            )
            self._ended.wait(AGAIN_S)

    def _command(self, name: str, *, first: bool) -> list[str]:
        said = ["--logs-under", str(self._ws.logs_under)] if self._ws.logs_under else []
        said += ["--config", str(self._ws.limits.source)] if self._ws.limits.source else []
        said += ["--lines"] if lines.written() else []
        said += [] if first else ["--beside"]
        return [sys.executable, "-m", "dashboard.workspace.worker", str(self._ws.folder), name, *said]

    def _environment(self) -> dict[str, str]:
        # A worker finds our packages wherever they were found here.
        root = str(Path(dashboard.__file__).parent.parent)
        paths = [root, *filter(None, [os.environ.get("PYTHONPATH")])]
        threads = self._ws.limits.workers.threads
        held = {} if threads is None else dict.fromkeys(THREADS, str(threads))
        # Where only its own user can read it, unlike the arguments.
        url = "" if self._ws.url is None else self._ws.url.render_as_string(hide_password=False)
        return os.environ | held | {"PYTHONPATH": os.pathsep.join(paths), VARIABLE: url}

"""The process that does the long work: ``python -m dashboard.workspace.worker FOLDER``.

It is started anew, never forked (polars' threads do not live through a fork), and ends when the one that started it does: its standard input
is a pipe that closes then.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
import threading
import time
import traceback
import uuid
from collections.abc import Callable
from pathlib import Path

from sqlalchemy.exc import OperationalError

from dashboard.workspace import analyses, buildings, files, intake, jobs, limits, lines, pruning, uploads
from dashboard.workspace import inputs as given
from dashboard.workspace.address import asked
from dashboard.workspace.analyse import analyse
from dashboard.workspace.errors import NotThereError
from dashboard.workspace.jobs import CancelledError, Job, LostError
from dashboard.workspace.limits import NAME, amount
from dashboard.workspace.space import Workspace
from tuning.errors import TuningError

LOOK_S = 0.25
"""How often a worker with nothing to do looks for work. Chosen by us: nobody notices the wait, and a look takes a millisecond."""
EXPIRE_S = 3600.0
SAY_S = 0.2
"""Progress of the same step is told no oftener. Chosen by us."""
STEP_S = 1.0
"""Nor written as a line. Chosen by us."""
MEMORY_EXIT = 77
"""Exit status of a worker that took too much memory."""


def main(ws: Workspace, name: str, *, sweeps: bool = True) -> None:
    """Work until the one that started it ends.

    ``sweeps``: whether it also tidies up and looks at watched folders; one worker of a workspace does.
    """
    # Another worker may take up a job at any moment, and what it writes would be swept away.
    if sweeps and ws.limits.workers.count == 1 and not jobs.running_somewhere(ws):
        tidy(ws)
    expired = looked = -EXPIRE_S
    watcher = intake.Watcher(ws)
    while True:
        if sweeps and time.monotonic() - expired > EXPIRE_S:
            uploads.expire(ws)
            expired = time.monotonic()
        job = jobs.claim(ws, name)
        if job is None and sweeps and time.monotonic() - looked > intake.LOOK_S:
            with contextlib.suppress(OperationalError):
                # A database that is busy for once: the next look comes soon.
                watcher.look()
            looked = time.monotonic()
        elif job is None:
            time.sleep(LOOK_S)
        else:
            run(ws, job, name)


def tidy(ws: Workspace) -> None:
    """Delete what interrupted jobs left behind, and what old analyses left; only while no job runs."""
    analyses.sweep(ws)
    for info in buildings.all_of(ws):
        pruning.sweep(ws, info.id)


def run(ws: Workspace, job: Job, worker: str) -> None:
    """Do one job to its end, whatever that is."""
    begun = time.monotonic()

    def tell(event: str, **known: object) -> None:
        seconds = round(time.monotonic() - begun, 1)
        lines.say(lines.JOBS, f"job.{event}", job=job.id, building=job.building, seconds=seconds, **known)

    tell("started", kind=job.kind, rooms=job.params["rooms"], tries=job.tries, worker=worker)
    with _beating(ws, job.id, worker, tell) as stopped:
        said, doing, told = 0.0, "", 0.0

        def progress(share: float, what: str) -> None:
            nonlocal said, doing, told
            if stopped:
                raise stopped[0]
            if what != doing and time.monotonic() - told > STEP_S:
                told = time.monotonic()
                tell("step", share=round(share, 3), what=what)
            if what != doing or time.monotonic() - said > SAY_S:
                jobs.beat(ws, job.id, worker, share=share, what=what)
                said, doing = time.monotonic(), what

        def done(session: object) -> None:
            if not jobs.end_in(session, job.id, worker, "done"):
                raise LostError(f"job {job.id}")

        try:
            analyse(
                ws, job.building, rooms=job.params["rooms"], by=job.created_by, job=job.id, progress=progress, also=done
            )
            tell("done")
        except LostError:
            tell("lost")
        except CancelledError:
            jobs.end(ws, job.id, worker, "cancelled")
            tell("cancelled")
        except (TuningError, OSError) as error:
            why = _in_words(ws, job, " ".join(str(error).split()))
            jobs.end(ws, job.id, worker, "failed", error=why)
            tell("failed", why=why)
        except Exception as error:  # noqa: BLE001  a defect: told on the page, with its trace on the terminal
            if not lines.written():
                traceback.print_exc()
            what = f"The analysis broke off, which is a defect of the program: {type(error).__name__}. The terminal shows where."
            jobs.end(ws, job.id, worker, "failed", error=what)
            tell("failed", why=what, trace=traceback.format_exc())


def _in_words(ws: Workspace, job: Job, text: str) -> str:
    try:
        with ws.reading() as session:
            return files.in_words(text, given.present(session, job.building))
    except NotThereError:
        return text


@contextlib.contextmanager
def _beating(ws: Workspace, job: int, worker: str, tell: Callable[..., None]):  # type: ignore[no-untyped-def]
    """Give signs of life beside the work; holds why to stop, once there is a reason. Ends the process where it takes too much memory."""
    stopped: list[Exception] = []
    ended = threading.Event()

    def beat() -> None:
        while not ended.wait(jobs.BEAT_S):
            most = ws.limits.workers.memory
            if most is not None and resident() > most:
                why = (
                    f"This needs more memory than {amount(most)}. An analysis may take so much (workers.memory in {NAME}). "
                    "Raise the limit, or analyse fewer rooms at a time."
                )
                jobs.end(ws, job, worker, "failed", error=why)
                tell("failed", why=why)
                # Nothing gives memory back as surely; the keeper starts another worker.
                os._exit(MEMORY_EXIT)
            try:
                jobs.beat(ws, job, worker)
            except (LostError, CancelledError) as error:
                stopped.append(error)
                return
            except Exception:  # noqa: BLE001  a database that is busy for once is no reason to stop
                traceback.print_exc()

    thread = threading.Thread(target=beat, name="heartbeat", daemon=True)
    thread.start()
    try:
        yield stopped
    finally:
        ended.set()
        thread.join()


def resident() -> int:
    """Memory of this process that is in use [B]."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


def _end_with_parent() -> None:
    sys.stdin.buffer.read()
    os._exit(0)


if __name__ == "__main__":
    threading.Thread(target=_end_with_parent, name="parent", daemon=True).start()
    with contextlib.suppress(OSError, AttributeError):
        # The pages come first.
        os.nice(19)
    parser = argparse.ArgumentParser(prog="python -m dashboard.workspace.worker")
    parser.add_argument("folder", type=Path)
    parser.add_argument("name", nargs="?", default=uuid.uuid4().hex)
    parser.add_argument("--logs-under", type=Path)
    parser.add_argument("--config", type=Path, help="in place of the workspace's own limits")
    parser.add_argument("--lines", action="store_true", help="write what happens as lines of JSON")
    parser.add_argument("--beside", action="store_true", help="another worker tidies up and looks at watched folders")
    said = parser.parse_args()
    if said.lines:
        lines.begin()
    with contextlib.suppress(KeyboardInterrupt):
        main(
            Workspace(
                said.folder,
                database=asked(None),
                logs_under=said.logs_under,
                limits=limits.read(said.config) if said.config else None,
            ),
            said.name,
            sweeps=not said.beside,
        )

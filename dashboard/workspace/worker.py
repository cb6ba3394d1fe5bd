"""The process that does the long work: ``python -m dashboard.workspace.worker FOLDER``.

It is started anew, never forked (polars' threads do not live through a fork), and ends when the one that started it does: its standard input
is a pipe that closes then.
"""

from __future__ import annotations

import contextlib
import os
import sys
import threading
import time
import traceback
import uuid
from pathlib import Path

from dashboard.workspace import analyses, files, jobs, uploads
from dashboard.workspace import inputs as given
from dashboard.workspace.analyse import analyse
from dashboard.workspace.errors import NotThereError
from dashboard.workspace.jobs import CancelledError, Job, LostError
from dashboard.workspace.space import Workspace
from tuning.errors import TuningError

LOOK_S = 0.25
"""How often a worker with nothing to do looks for work. Chosen by us: nobody notices the wait, and a look takes a millisecond."""
EXPIRE_S = 3600.0
SAY_S = 0.2
"""Progress of the same step is told no oftener. Chosen by us."""


def main(folder: Path, name: str) -> None:
    """Work until the one that started it ends."""
    ws = Workspace(folder)
    if not jobs.running_somewhere(ws):
        analyses.sweep(ws)
    expired = -EXPIRE_S
    while True:
        if time.monotonic() - expired > EXPIRE_S:
            uploads.expire(ws)
            expired = time.monotonic()
        job = jobs.claim(ws, name)
        if job is None:
            time.sleep(LOOK_S)
        else:
            run(ws, job, name)


def run(ws: Workspace, job: Job, worker: str) -> None:
    """Do one job to its end, whatever that is."""
    with _beating(ws, job.id, worker) as stopped:
        said, doing = 0.0, ""

        def progress(share: float, what: str) -> None:
            nonlocal said, doing
            if stopped:
                raise stopped[0]
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
        except LostError:
            return
        except CancelledError:
            jobs.end(ws, job.id, worker, "cancelled")
        except (TuningError, OSError) as error:
            jobs.end(ws, job.id, worker, "failed", error=_in_words(ws, job, " ".join(str(error).split())))
        except Exception as error:  # noqa: BLE001  a defect: told on the page, with its trace on the terminal
            traceback.print_exc()
            what = f"The analysis broke off, which is a defect of the program: {type(error).__name__}. The terminal shows where."
            jobs.end(ws, job.id, worker, "failed", error=what)


def _in_words(ws: Workspace, job: Job, text: str) -> str:
    try:
        with ws.reading() as session:
            return files.in_words(text, given.present(session, job.building))
    except NotThereError:
        return text


@contextlib.contextmanager
def _beating(ws: Workspace, job: int, worker: str):  # type: ignore[no-untyped-def]
    """Give signs of life beside the work; holds why to stop, once there is a reason."""
    stopped: list[Exception] = []
    ended = threading.Event()

    def beat() -> None:
        while not ended.wait(jobs.BEAT_S):
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


def _end_with_parent() -> None:
    sys.stdin.buffer.read()
    os._exit(0)


if __name__ == "__main__":
    threading.Thread(target=_end_with_parent, name="parent", daemon=True).start()
    with contextlib.suppress(OSError, AttributeError):
        # The pages come first.
        os.nice(5)
    with contextlib.suppress(KeyboardInterrupt):
        main(Path(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else uuid.uuid4().hex)

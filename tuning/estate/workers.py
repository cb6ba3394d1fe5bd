"""Buildings → outcomes as they come: by processes of this machine, or by a Dask cluster. A lost worker costs the building it was at."""

from __future__ import annotations

import os
import queue
import signal
import threading
import uuid
from collections import deque
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import replace
from multiprocessing import active_children, get_context

from tuning import __version__
from tuning.errors import TuningError
from tuning.estate.places import Building
from tuning.estate.task import Outcome, analyse_building

RETRIES = 2
"""How often a building is tried again whose worker was lost or whose files could not be read. Chosen by us."""
THREAD_LIMITS = ("POLARS_MAX_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
CONNECT_S = 15
"""A scheduler that is there answers in this time. [s]; chosen by us."""


def cores() -> int:
    """Processor cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def by_processes(buildings: Sequence[Building], *, workers: int, retries: int = RETRIES) -> Generator[Outcome]:
    """Analyse buildings by a pool of processes, the largest first; outcomes as they finish.

    Every worker is a pool of one: the standard library gives up a whole pool where one of its processes is lost.
    """
    waiting = deque((b, 1) for b in sorted(buildings, key=lambda b: -b.size))
    done: queue.SimpleQueue[Outcome | BaseException] = queue.SimpleQueue()
    stop, mine = threading.Event(), set[int]()

    def serve() -> None:
        pool = _pool_of_one()
        try:
            while waiting and not stop.is_set():
                building, tries = waiting.popleft()
                try:
                    mine.add(pool.submit(os.getpid).result())
                    done.put(replace(pool.submit(analyse_building, building).result(), tries=tries))
                except BrokenProcessPool:
                    # Waits: the one lost may still be on its way out, and would outlive the run as a child of ours.
                    pool.shutdown()
                    pool = _pool_of_one()
                    _again(waiting, done, building, tries, retries, "the worker was lost: killed, or out of memory")
                except OSError as error:
                    _again(waiting, done, building, tries, retries, _line(error))
        except IndexError:
            # Another took the last one.
            return
        except BaseException as error:  # noqa: BLE001  handed to whoever waits
            done.put(error)
        finally:
            pool.shutdown()

    threads = [threading.Thread(target=serve, name=f"estate-{i}") for i in range(min(workers, len(buildings)))]
    left = len(buildings)
    with _threads_each(max(1, cores() // max(workers, 1))):
        for thread in threads:
            thread.start()
        try:
            while left:
                outcome = done.get()
                if isinstance(outcome, BaseException):
                    raise outcome
                left -= 1
                yield outcome
        finally:
            stop.set()
            while any(thread.is_alive() for thread in threads):
                if left:
                    # Broken off: what is being worked on is given up, and begun anew by the next run.
                    for child in active_children():
                        if child.pid in mine:
                            child.terminate()
                threads[0].join(0.1)
            for thread in threads:
                thread.join()


def _again(
    waiting: deque[tuple[Building, int]],
    done: queue.SimpleQueue[Outcome | BaseException],
    building: Building,
    tries: int,
    retries: int,
    why: str,
) -> None:
    if tries <= retries:
        waiting.appendleft((building, tries + 1))
    else:
        done.put(
            Outcome(building.name, building.fingerprint, error=f"{why} ({tries} tries)", lasting=False, tries=tries)
        )


def _pool_of_one() -> ProcessPoolExecutor:
    # Spawned, never forked: polars' threads do not survive a fork.
    return ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_alone)


def _alone() -> None:
    """Leave an interrupt from the keyboard to the process that shares out the work."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def _threads_each(most: int) -> Iterator[None]:
    """Let processes started from here use so many threads, where the environment does not say otherwise."""
    added = [name for name in THREAD_LIMITS if name not in os.environ]
    os.environ.update(dict.fromkeys(added, str(most)))
    try:
        yield
    finally:
        for name in added:
            os.environ.pop(name, None)


def _line(error: BaseException) -> str:
    return " ".join(str(error).split())[:300] or type(error).__name__


def by_cluster(buildings: Sequence[Building], *, address: str, retries: int = RETRIES) -> Generator[Outcome]:
    """Analyse buildings on a Dask cluster, the largest first; outcomes as they finish.

    Raises
    ------
    TuningError
        If the extra is not installed, or no scheduler answers at the address.
    """
    try:
        from distributed import Client, as_completed  # noqa: PLC0415  an extra
    except ImportError as error:
        raise TuningError("--cluster needs Dask, which is an extra. Run: pip install 'holdoff[cluster]'.") from error
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise TuningError(
            f"{address}: no Dask scheduler answers ({_line(error)}). Give its address such as tcp://host:8786. Start one."
        ) from error
    run = uuid.uuid4().hex
    with client:
        futures = {}
        for rank, building in enumerate(sorted(buildings, key=lambda b: -b.size)):
            # A key of its own in each run: the scheduler must not give an earlier run's result.
            made = client.submit(
                analyse_building, building, __version__, key=f"{building.name}-{run}", retries=retries, priority=-rank
            )
            futures[made] = building
        waiting = as_completed(list(futures), loop=client.loop)
        for future in waiting:
            building = futures.pop(future)
            wrong = future.exception()
            if wrong is None:
                yield future.result()
            else:
                yield Outcome(building.name, building.fingerprint, error=_line(wrong), lasting=False)
            # The result is written here by now, and the cluster need not keep it.
            future.release()

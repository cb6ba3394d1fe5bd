"""A gigabyte of logs backed up and restored while somebody decides. Run with ``-m benchmark -s``."""

import random
import threading
import time

import pytest

from dashboard.workspace import uploads
from dashboard.workspace.backup import back_up
from dashboard.workspace.restoring import restore
from tests.dashboard.databases import database, postgres  # noqa: F401  fixtures
from tests.dashboard.test_backup import adjust
from tests.dashboard.workspaces import ANNA, analysed, analysed_again

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(1200)]

SIZE, ANALYSES = 1024**3, 50
"""Of the log [B]; and how many analyses lie beside it."""


def test_a_gigabyte_is_backed_up_while_somebody_decides(tmp_path, database):  # noqa: F811
    ws, building, number = analysed(tmp_path / "w")
    (tmp_path / "log.csv").write_bytes(random.Random(1).randbytes(1024**2) * (SIZE // 1024**2))
    uploads.take(ws, building, tmp_path / "log.csv", by=ANNA)
    for _ in range(ANALYSES):
        number = analysed_again(ws, building)
    ended, waits = threading.Event(), []

    def decide():
        while not ended.wait(0.05):
            begun = time.perf_counter()
            adjust(ws, building, 300.0 if len(waits) % 2 else 900.0, number)
            waits.append(time.perf_counter() - begun)

    thread = threading.Thread(target=decide)
    thread.start()
    time.sleep(2)
    alone = sorted(waits)
    begun, used = time.perf_counter(), time.process_time()
    made = back_up(ws, tmp_path / "all.tar")
    took, used = time.perf_counter() - begun, time.process_time() - used
    beside = sorted(waits[len(alone) :])
    ended.set()
    thread.join()
    again, own = time.perf_counter(), time.process_time()
    restore(made.path, tmp_path / "again")
    print(
        f"\n{database}: {made.rows} rows, {made.files} files, {made.size / 1024**2:.0f} MiB: backed up in {took:.1f} s "
        f"({used:.1f} s of processor with the decisions), restored in {time.perf_counter() - again:.1f} s "
        f"({time.process_time() - own:.1f} s); a decision took {1000 * alone[len(alone) // 2]:.0f} ms in the middle, "
        f"{1000 * beside[len(beside) // 2]:.0f} ms meanwhile, {1000 * beside[-1]:.0f} ms at most"
    )
    ws.close()

"""Time and memory of `holdoff estate` on an estate of :mod:`tests.benchmarks.large_estate`, beside two yardsticks.

    python -m tests.benchmarks.estate ROOT                                   (analysis, reading, pandas)
    python -m tests.benchmarks.estate ROOT --cluster                         (a local Dask cluster of two workers, one killed in mid-run)
    python -m tests.benchmarks.estate ROOT --pandas-buildings 2              (the replay of two buildings only, scaled to all)

The yardsticks: polars reading the same columns of the same files, and a plain pandas replay of the same candidates, which for each channel and
each hold-off finds the pauses that outlast it and the lit time. The replay tells no stillness from absence, has no intervals, light or findings.
Pandas has no reader of Parquet here, so polars reads for it. Memory is the sum over all processes of what each holds alone and its part of what it
shares (PSS), asked twenty times a second. Time of processor counts all of them but a cluster's workers.
"""

import argparse
import os
import resource
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from tests.benchmarks.measured import measure

READING = """
import polars as pl
rows = 0
for file in sorted(__import__("pathlib").Path(sys.argv[1]).glob("*/log.parquet")):
    rows += len(pl.scan_parquet(file).select("time", "room", "channel", "quantity", "value").collect())
"""
PANDAS = """
import pathlib, pandas as pd, polars as pl
rows = 0
for file in sorted(pathlib.Path(sys.argv[1]).glob("*/log.parquet"))[: int(sys.argv[2]) or None]:
    log = pl.read_parquet(file, columns=["time", "room", "quantity"])
    log = pd.DataFrame({name: log[name].to_numpy() if name == "time" else log[name].to_list() for name in log.columns})
    motion = log[log["quantity"] == "motion"]
    for room, one in motion.groupby("room"):
        pause = one["time"].sort_values().diff().dt.total_seconds().dropna()
        for hold_off_s in (60, 120, 180, 300, 600, 900, 1200, 1500, 1800):
            switch_offs = (pause > hold_off_s).sum()
            lit_h = pause.clip(upper=hold_off_s).sum() / 3600
        rows += 1
"""


def measured(arguments, *, watch=os.getpid):
    """Run a command; its wall time, processor time, the peak memory of it and all below `watch` [MiB], and what it printed."""
    peak, over = [0.0], threading.Event()

    def look():
        while not over.is_set():
            peak[0] = max(peak[0], sum(map(pss_mib, below(watch()))))
            over.wait(0.05)

    begin, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    process = subprocess.Popen(arguments, stdout=subprocess.PIPE, text=True)
    watcher = threading.Thread(target=look)
    watcher.start()
    told = process.communicate()[0]
    took = time.perf_counter() - begin
    over.set()
    watcher.join()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu_s = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return took, cpu_s, peak[0], process.returncode, told


def below(pid):
    """Processes that a process started, and theirs."""
    found, left = [], [pid]
    while left:
        one = left.pop()
        try:
            kids = [int(k) for t in Path(f"/proc/{one}/task").iterdir() for k in (t / "children").read_text().split()]
        except OSError:
            continue
        found += kids
        left += kids
    return found


def pss_mib(pid):
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    return next((int(line.split()[1]) / 1024 for line in lines if line.startswith("Pss:")), 0.0)


def on_a_cluster(command, after_s):
    """The command on a local cluster of two workers, one of which is killed."""
    from distributed import LocalCluster  # noqa: PLC0415  the yardsticks need it not

    os.environ["POLARS_MAX_THREADS"] = "1"
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, host="127.0.0.1") as cluster:

        def kill():
            pid = next(iter(cluster.workers.values())).pid
            os.kill(pid, signal.SIGKILL)
            print(f"killed worker {pid} after {after_s:.0f} s")

        timer = threading.Timer(after_s, kill)
        timer.start()
        result = measured([*command, "--cluster", cluster.scheduler_address])
        timer.cancel()
        return result


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("root", type=Path)
    parser.add_argument("--out", type=Path, help="keep the results here")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--cluster", action="store_true")
    parser.add_argument("--kill-after", type=float, default=20.0)
    parser.add_argument("--pandas-buildings", type=int, default=0, help="all where 0")
    parser.add_argument("--no-yardsticks", action="store_true")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        out = given.out or Path(scratch) / "out"
        command = [sys.executable, "-m", "tuning.cli", "estate", str(given.root), "--out", str(out), "--again"]
        run = (
            on_a_cluster(command, given.kill_after)
            if given.cluster
            else measured([*command, "--workers", str(given.workers)])
        )
        took, cpu_s, peak, status, told = run
        print(next(line for line in told.splitlines() if "readings;" in line))
        print(
            f"exit {status}; whole command {took:.1f} s ({cpu_s:.0f} s of processor); peak over all processes {peak:.0f} MiB"
        )
    if given.no_yardsticks:
        return
    buildings = len(list(given.root.glob("*/log.parquet")))
    plain = measure(given.root, READING)
    print(f"polars reads the same columns ({plain.rows:,} rows) in {plain}; ratio {took / plain.wall_s:.0f}")
    some = given.pandas_buildings or buildings
    replay = measure(given.root, PANDAS.replace("int(sys.argv[2])", str(given.pandas_buildings)))
    whole = replay.wall_s * buildings / some
    scaled = "" if some == buildings else f", {whole:.0f} s scaled to all"
    print(f"pandas replays {some} of {buildings} buildings in {replay}{scaled}; ratio {took / whole:.1f}")


if __name__ == "__main__":
    main()

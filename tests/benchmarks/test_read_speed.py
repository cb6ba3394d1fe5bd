"""How long reading takes and how much memory, beside plain polars on the same file. Run with ``-m benchmark -s``.

Each reading runs in a process of its own, so that its peak memory is its own.
"""

import json
import subprocess
import sys

import numpy as np
import polars as pl
import pytest

CHANNELS = 100
MIB = 1 << 20

OURS = """
from pathlib import Path
from tuning.logs import read_logs
from tuning.site import read_site
folder = Path(sys.argv[1]).parent
logs = read_logs(folder, read_site(folder))
rows = int(logs.series["rows"].sum())
"""
CHECKED = """
from pathlib import Path
from tuning.check import check_folder
check = check_folder(Path(sys.argv[1]).parent)
rows = sum(s.rows for s in check.series)
"""
PLAIN = """
import polars as pl
frame = pl.read_{kind}(sys.argv[1])
rows = len(frame)
"""
MEASURED = """
import json, sys, time
begin = time.perf_counter()
{work}
took = time.perf_counter() - begin
# Not ru_maxrss, which a process inherits from the one that started it.
peak = next(line for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(json.dumps([rows, took, int(peak.split()[1]) / 1024]))
"""


def measure(path, work):
    """Rows, seconds and peak memory [MiB] of a process, imports included."""
    run = [sys.executable, "-c", MEASURED.format(work=work), str(path)]
    return json.loads(subprocess.run(run, capture_output=True, text=True, check=True).stdout)


def motion_log(rows):
    """Motion events of 100 channels over 90 days, in order of time, to the millisecond; no two of a channel at one time."""
    rng = np.random.default_rng(1)
    time = np.sort(rng.choice(90 * 86_400_000, rows, replace=False)) + 1_767_225_600_000
    channel = rng.integers(0, CHANNELS, rows)
    names = pl.Series([f"room{i:03d}" for i in range(CHANNELS)])
    return pl.DataFrame(
        {
            "time": pl.Series(time).cast(pl.Datetime("ms", "UTC")),
            "room": names[channel],
            "channel": pl.Series(["main"] * CHANNELS)[channel],
            "quantity": pl.Series(["motion"] * CHANNELS)[channel],
            "value": rng.integers(0, 2, rows),
        }
    )


def building(folder):
    rooms = "".join(
        f'[rooms.room{i:03d}]\nuse = "office"\n[rooms.room{i:03d}.channels.main]\n' for i in range(CHANNELS)
    )
    (folder / "site.toml").write_text(f'[site]\ntime_zone = "Europe/Copenhagen"\n{rooms}', encoding="utf-8")


def write_csv(folder, rows):
    building(folder)
    frame = motion_log(rows).with_columns(pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ"))
    frame.write_csv(folder / "log.csv")


def compare(path, kind, rows):
    ours, plain = measure(path, OURS), measure(path, PLAIN.format(kind=kind))
    assert ours[0] == plain[0] == rows
    print(
        f"\n{kind}: {rows:,} rows, {path.stat().st_size / MIB:.0f} MiB: {ours[1]:.1f} s, {ours[2]:.0f} MiB;"
        f" polars alone {plain[1]:.1f} s, {plain[2]:.0f} MiB; ratio {ours[1] / plain[1]:.1f}"
    )
    return ours


@pytest.mark.benchmark
@pytest.mark.timeout(600)
def test_ten_million_rows_of_csv(tmp_path):
    write_csv(tmp_path, 10_000_000)

    _, seconds, memory = compare(tmp_path / "log.csv", "csv", 10_000_000)

    assert seconds <= 20
    assert memory <= 1.5 * 1024


@pytest.mark.benchmark
@pytest.mark.timeout(600)
def test_ten_million_rows_of_csv_read_converted_and_checked(tmp_path):
    """The whole of ``holdoff check``, in which every channel is analysed too."""
    write_csv(tmp_path, 10_000_000)

    rows, seconds, memory = measure(tmp_path / "log.csv", CHECKED)

    print(f"\n{rows:,} rows read, converted and checked: {seconds:.1f} s, {memory:.0f} MiB")
    assert rows == 10_000_000
    assert seconds <= 20
    assert memory <= 1.5 * 1024


@pytest.mark.benchmark
@pytest.mark.timeout(600)
def test_twenty_million_rows_of_parquet(tmp_path):
    building(tmp_path)
    motion_log(20_000_000).write_parquet(tmp_path / "log.parquet")

    _, seconds, memory = compare(tmp_path / "log.parquet", "parquet", 20_000_000)

    assert seconds <= 10
    assert memory <= 512

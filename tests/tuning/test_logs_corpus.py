"""Every bad input ends in a result or in one clear line: no traceback, no hang over 10 s, memory below 1 GiB."""

import contextlib
import gzip
import os
import subprocess
import sys

import polars as pl
import pytest

from tests.tuning.bad_logs import CASES, FRAME, flip, parquet
from tests.tuning.log_files import MOTION, long_lines, put, site
from tuning.errors import LogError, TuningError
from tuning.logs import read_logs, sources

HEAVY = [
    "a gzip bomb",
    "4 million equal rows in a zip",
    "a workbook larger than it says",
    "40 MB without a line end",
    "a long log with 10,000 more columns",
]
GIB = 1024**3


def test_the_corpus_has_at_least_60_inputs_that_differ():
    assert len({name for name, _, _ in CASES}) == len(CASES) >= 60


LIGHT = [case for case in CASES if case[0] not in HEAVY]


@pytest.mark.timeout(10)
@pytest.mark.parametrize(("make", "expected"), [case[1:] for case in LIGHT], ids=[case[0] for case in LIGHT])
def test_a_bad_input_ends_in_a_result_or_one_line(tmp_path, make, expected):
    make(tmp_path)

    try:
        logs = read_logs(tmp_path, site())
    except TuningError as error:
        one_line(str(error), expected, tmp_path)
    else:
        assert expected in (None, ...), "read without a word"
        assert logs.readings("r101").height > 0


def one_line(text, expected, folder):
    assert text.isprintable()
    assert text.endswith(".")
    assert expected is not None, text
    assert expected is ... or text.startswith(expected.replace("{}", str(folder))), text


MEASURED = """
import sys, time
from pathlib import Path
from tests.tuning.log_files import site
from tuning.errors import TuningError
from tuning.logs import read_logs
began = time.process_time()
try:
    rows = read_logs(Path(sys.argv[1]), site()).readings("r101").height
    print(f"read {rows} rows", file=sys.stderr)
except TuningError as error:
    print(error, file=sys.stderr)
# Not ru_maxrss, which a process inherits from the one that started it.
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")), time.process_time() - began)
"""


@pytest.mark.parametrize("name", HEAVY)
def test_a_heavy_input_ends_so_too_and_memory_stays_bounded(tmp_path, name):
    make, expected = next(case[1:] for case in CASES if case[0] == name)
    make(tmp_path)

    done = subprocess.run(
        [sys.executable, "-c", MEASURED, str(tmp_path)],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
        env=os.environ,
    )

    assert int(done.stdout.split()[0]) * 1024 < GIB
    assert float(done.stdout.split()[1]) < 10, "seconds of the processor"
    (told,) = done.stderr.splitlines()
    if told.startswith("read "):
        assert expected in (None, ...), "read without a word"
        assert told != "read 0 rows"
    else:
        one_line(told, expected, tmp_path)


@pytest.mark.parametrize(("limit", "value"), [("ratio_from", 1000), ("unpacked", 100_000)])
def test_a_decompression_bomb_is_stopped(tmp_path, monkeypatch, limit, value):
    put(tmp_path, "log.csv.gz", gzip.compress(("\n".join(long_lines(*[MOTION] * 50_000))).encode()))
    monkeypatch.setattr(sources.BOUNDS, limit, value)
    monkeypatch.setattr(sources.BOUNDS, "ratio", 50 if limit == "ratio_from" else 1e9)

    with pytest.raises(
        LogError, match=r"^log.csv.gz: [\d,]+ bytes unpack to more than [\d,]+\. Archives may unpack to "
    ):
        read_logs(tmp_path, site())


COMMAND = "import sys; from tuning import cli; sys.argv = ['holdoff', 'recommend', sys.argv[1]]; cli.main()"


def test_the_command_tells_one_line_of_a_damaged_page(tmp_path, capfd):
    """Over some damaged pages polars prints a report of its own before it raises; a person is told one line."""
    put(tmp_path, "site.toml", '[site]\ntime_zone = "UTC"\n[rooms.r101]\n[rooms.r101.channels.wall]\n')
    frame = FRAME.head(3000)
    whole = [
        parquet(frame, compression="uncompressed"),
        parquet(frame.cast({"room": pl.Categorical}), compression="zstd"),
    ]
    for seed in range(2000):
        put(tmp_path, "log.parquet", flip(whole[seed % 2][:-8], seed, 8) + whole[seed % 2][-8:])
        with contextlib.suppress(TuningError):
            read_logs(tmp_path, site())
            continue
        if "panicked" in capfd.readouterr().err:
            break
    else:
        pytest.fail("no damage made polars print")

    run = [sys.executable, "-c", COMMAND, str(tmp_path)]
    done = subprocess.run(run, capture_output=True, text=True, check=False, timeout=60)

    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert done.stderr.startswith("holdoff: log.parquet: not a whole Parquet file (")


@pytest.mark.benchmark
def test_a_gigabyte_of_one_line(tmp_path):
    with (tmp_path / "log.csv").open("wb") as stream:
        stream.write(b"time,room,channel,quantity,value\n")
        for _ in range(1024):
            stream.write(b"7" * (1 << 20))

    with pytest.raises(TuningError, match="row 2: the line is longer than 16 MiB"):
        read_logs(tmp_path, site())

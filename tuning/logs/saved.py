"""Logs as Parquet: read once from whatever they came in, then room by room in a moment."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator, Mapping
from functools import lru_cache
from pathlib import Path

import polars as pl

from tuning.logs.reader import Logs
from tuning.logs.store import Rows, smallest
from tuning.results import Finding
from tuning.schemas import TIME

SERIES_FILE, FINDINGS_FILE = "series.parquet", "findings.json"


def save_logs(logs: Logs, folder: Path) -> None:
    """Write logs into a folder that is not there yet: a file per room with ``series``, ``time`` (UTC) and ``value``, sorted by both."""
    folder.mkdir(parents=True)
    for index, (_, part) in enumerate(logs.series.group_by("room", maintain_order=True)):
        rows = [
            pl.DataFrame({"time": pl.Series(logs.times_us(n)).cast(TIME), "value": logs.values(n)}).select(
                series=pl.lit(n, dtype=pl.UInt16), time="time", value=pl.col("value").cast(pl.Float64)
            )
            for n in part["series"]
        ]
        pl.concat(rows).write_parquet(folder / f"{index}.parquet")
    logs.series.write_parquet(folder / SERIES_FILE)
    findings = [dataclasses.asdict(f) for f in logs.findings]
    (folder / FINDINGS_FILE).write_text(json.dumps(findings, ensure_ascii=False), encoding="utf-8")


def load_logs(folder: Path) -> Logs:
    """Open logs that :func:`save_logs` wrote; the rows of a room are read when they are asked for."""
    series = pl.read_parquet(folder / SERIES_FILE)
    findings = json.loads((folder / FINDINGS_FILE).read_text(encoding="utf-8"))
    return Logs(series, tuple(Finding(**f) for f in findings), _Saved(folder, series))


class _Saved(Mapping[int, Rows]):
    """Rows by number of the series; those of the room read last are kept."""

    def __init__(self, folder: Path, series: pl.DataFrame) -> None:
        rooms = series["room"].unique(maintain_order=True).to_list()
        self._file = {n: folder / f"{rooms.index(room)}.parquet" for n, room in series.select("series", "room").rows()}
        self._read = lru_cache(maxsize=1)(_read)

    def __getitem__(self, number: int) -> Rows:
        return self._read(self._file[number])[number]

    def __iter__(self) -> Iterator[int]:
        return iter(self._file)

    def __len__(self) -> int:
        return len(self._file)


def _read(path: Path) -> dict[int, Rows]:
    parts = pl.read_parquet(path).partition_by("series", maintain_order=True)
    return {
        int(p["series"][0]): Rows(p["time"].to_physical().to_numpy(), smallest(p["value"].to_numpy())) for p in parts
    }

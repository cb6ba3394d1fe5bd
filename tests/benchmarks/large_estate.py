"""A large estate to measure speed on: buildings as Parquet partitions, every channel with a year of its own.

    python -m tests.benchmarks.large_estate ROOT --channels 1000

Only the load is realistic, not the people. A channel holds a hundred thousand motions a year by default, as a detector writes that reports
each movement of people who are there for a third of the opening hours; the lengths of absences are stretched so that the log ends with the
year. The light goes off under the hold-off in force, people who are there react, every third room has a reading every five minutes.
"""

import argparse
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import polars as pl

from tests.benchmarks.large_building import (
    DAY_S,
    HOLD_OFFS_S,
    LUX_EVERY,
    OPEN_S,
    USES,
    frame_of,
    illuminance,
    output_of,
)

WORKING_DAYS = 260
SHARES = (0.92, 0.05, 0.03)
"""Pauses of people who move, who keep still, and of nobody."""


def pauses(rng, rows, hold_off_s):
    """Pauses [s] that add up to the opening hours of a year; a present person in the dark reacts."""
    kind = rng.choice(3, rows, p=SHARES)
    median = np.array([rng.uniform(12, 28), rng.uniform(90, 200), 1200.0])[kind]
    pause = median * np.exp(np.array([0.7, 0.8, 1.0])[kind] * rng.standard_normal(rows))
    in_the_dark = (kind < 2) & (pause > hold_off_s) & (rng.random(rows) < 0.8)
    pause = np.where(in_the_dark, hold_off_s + 4.0 * np.exp(0.5 * rng.standard_normal(rows)), pause)
    away = kind == 2
    left_s = WORKING_DAYS * OPEN_S - pause[~away].sum()
    # However many rows are asked for, somebody is away for a fifth of the time at least, and the log ends with the year or later.
    pause[away] *= max(left_s, 0.2 * WORKING_DAYS * OPEN_S) / pause[away].sum()
    return np.round(np.maximum(pause, 0.5), 3)


def motions(rng, rows, hold_off_s):
    """Times of motions [s] within the opening hours of working days, increasing."""
    open_s = np.cumsum(pauses(rng, rows, hold_off_s))
    day = (open_s // OPEN_S).astype(np.int64)
    return (day // 5 * 7 + day % 5) * DAY_S + 7.5 * 3600 + open_s % OPEN_S


def room_log(number, rows):
    """The log of one room with one channel."""
    rng = np.random.default_rng([11, number])
    room, hold_off_s = f"room{number:04d}", HOLD_OFFS_S[number % len(HOLD_OFFS_S)]
    motion = motions(rng, rows, hold_off_s)
    output = output_of(motion, hold_off_s, 100.0)
    frames = [frame_of(room, None, "motion", motion, np.ones(rows)), frame_of(room, "main", "output", *output)]
    if number % LUX_EVERY == 0:
        frames.append(frame_of(room, "main", "illuminance", *illuminance(rng, motion, output, rng.uniform(250, 500))))
    return pl.concat(frames)


def write_building(root, numbers, rows):
    """Write one partition: ``building=NAME/site.toml`` and ``building=NAME/log.parquet``, sorted by time."""
    folder = Path(root) / f"building=house{numbers[0]:04d}"
    folder.mkdir(parents=True, exist_ok=True)
    tables = [
        f'[rooms.room{i:04d}]\nuse = "{USES[i % len(USES)]}"\n[rooms.room{i:04d}.channels.main]\nload_w = {150 + i % 100}\n'
        f"hold_off_s = {HOLD_OFFS_S[i % len(HOLD_OFFS_S)]}\ntarget_lx = 400\n"
        for i in numbers
    ]
    head = f'[site]\nname = "House {numbers[0]:04d}"\ntime_zone = "Europe/Copenhagen"\n'
    (folder / "site.toml").write_text(head + "".join(tables), encoding="utf-8")
    pl.concat([room_log(i, rows) for i in numbers]).sort("time").write_parquet(folder / "log.parquet")


def write_large_estate(root, *, channels, rows=100_000, per_building=10, processes=2):
    """Write an estate.

    Parameters
    ----------
    root
        Folder to write into.
    channels
        Channels in all, one a room.
    rows
        Motions of each channel, over a year.
    per_building
        Channels of a building; ten channels make two buildings all the same.
    processes
        Buildings written at a time.
    """
    size = max(1, min(per_building, channels // 2))
    groups = [range(first, min(first + size, channels)) for first in range(0, channels, size)]
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        list(pool.map(partial(write_building, str(root), rows=rows), groups))


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("root", type=Path)
    parser.add_argument("--channels", type=int, default=100)
    parser.add_argument("--rows", type=int, default=100_000, help="motions of each channel over the year")
    parser.add_argument("--per-building", type=int, default=10)
    given = parser.parse_args()
    write_large_estate(given.root, channels=given.channels, rows=given.rows, per_building=given.per_building)


if __name__ == "__main__":
    main()

"""Write the demo building: an invented library with a music school, six weeks of logs, and the stated truth.

Run from the project's root: ``python -m demo_logs.generate``. The same seed gives the same files. The code shares nothing with
the library that judges the logs.
"""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from demo_logs.building import ROOMS
from demo_logs.light import daylight, make_sky
from demo_logs.logs import Lit, light, pressed_off, rows
from demo_logs.loop import Lived, Surroundings, live
from demo_logs.model import CANDIDATES_S, TIME_ZONE, WEEKS, Room
from demo_logs.people import People, people
from demo_logs.site_text import site_text
from demo_logs.truth import LongRun, room_truth

HERE = Path(__file__).parent
SEED = 20260302
REPLICATES = 6
"""Six weeks lived over again with other people, for the long-run truth."""
CSV_ROOM = "store"
"""This room comes from another export: CSV with local times, to show that formats may be mixed."""


@dataclass(frozen=True)
class Simulated:
    """One room over the six weeks of the log."""

    room: Room
    crowd: People
    around: Surroundings
    lived: Lived
    lit: list[Lit]


def _rng(*what: object) -> np.random.Generator:
    # Named streams: a change in one room leaves the others as they are.
    return np.random.default_rng([SEED, *(zlib.crc32(str(w).encode()) for w in what)])


def simulate(room: Room) -> Simulated:
    """Live the six weeks of the log in one room, under its hold-off in force."""
    sky = make_sky(_rng("sky"))
    levels = tuple(daylight(channel, sky) for channel in room.channels)
    crowd = people(room, _rng(room.key, "people"))
    around = Surroundings(sky, levels, pressed_off(room, crowd, _rng(room.key, "presses")))
    lived = live(room, crowd, around, room.hold_off_s, _rng(room.key, "light"))
    return Simulated(room, crowd, around, lived, light(room, lived, around, room.hold_off_s))


def long_run(simulated: Simulated) -> list[LongRun]:
    """Live the six weeks again with other people, under each candidate hold-off."""
    room, found = simulated.room, []
    for number in range(REPLICATES):
        crowd = people(room, _rng(room.key, "people", number))
        # Presses belong to lessons of the log; others press at other times.
        around = replace(simulated.around, pressed_off=pressed_off(room, crowd, _rng(room.key, "presses", number)))
        for hold_off_s in CANDIDATES_S:
            lived = live(room, crowd, around, hold_off_s, _rng(room.key, "light", number, hold_off_s))
            # A relay follows the same motions, and at this pass the same candidate.
            same = replace(room, channels=tuple(replace(c, hold_off_s=None) for c in room.channels))
            found.append(LongRun(hold_off_s, crowd, lived, light(same, lived, around, hold_off_s)))
    return found


def write_logs(frames: list[pl.DataFrame]) -> None:
    """Write the long logs: Parquet for all rooms but one, CSV with local times for that one."""
    log = pl.concat(frames)
    names = pl.col("room", "channel", "quantity")
    log.filter(pl.col("room") != CSV_ROOM).with_columns(names.cast(pl.Categorical)).write_parquet(
        HERE / "library.parquet", compression="zstd", compression_level=19
    )
    log.filter(pl.col("room") == CSV_ROOM).sort("time", maintain_order=True).with_columns(
        pl.col("time").dt.convert_time_zone(TIME_ZONE).dt.strftime("%Y-%m-%d %H:%M:%S"), pl.col("value").cast(pl.Int64)
    ).write_csv(HERE / f"{CSV_ROOM}.csv")


def main() -> None:
    """Write the demo building into this folder."""
    frames: list[pl.DataFrame] = []
    truth: dict[str, Any] = {}
    for room in ROOMS:
        simulated = simulate(room)
        frames.append(
            rows(room, simulated.lived, simulated.lit, simulated.around, simulated.around.sky, _rng(room.key, "log"))
        )
        truth[room.key] = room_truth(
            room, simulated.crowd, simulated.lived, simulated.lit, simulated.around, long_run(simulated), WEEKS
        )
        print(f"{room.key}: {len(simulated.lived.motions)} motions, {len(simulated.lived.off)} false-offs")
    write_logs(frames)
    (HERE / "site.toml").write_text(site_text(ROOMS, make_sky(_rng("sky")), _rng("spots")), encoding="utf-8")
    (HERE / "truth.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()

"""What other evidence brings: simulated rooms with nothing else in the log, and with a corridor outside, a door detector, a metered screen.

    python -m tests.simulation ROOMS --rooms 105 --weeks 6 --seed 3            (writes the rooms; minutes)
    python -m tests.benchmarks.other_evidence ROOMS [--uses office ...]         (adds to copies of them, and judges)

The Brier score is the mean square of (probability that somebody was there − truth) over pauses of more than a minute.
"""

import argparse
import multiprocessing as mp
import shutil
import tempfile
import zlib
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import polars as pl

from tests.benchmarks.accuracy import _judge
from tests.simulation.outside import corridor, door, screen
from tuning.pipeline import analyse_folder
from tuning.site import read_site

USES = ("office", "meeting room", "reading room", "copy room", "toilet", "store room")
VARIANTS = ("nothing else", "corridor", "door", "screen", "all three")
LONGER_S = 60.0


def with_others(folder, target, variant):
    """Copy a room and add what other detectors would have seen."""
    shutil.copytree(folder, target)
    room = next(iter(read_site(folder).rooms))
    presence = pl.read_parquet(folder / "truth" / "presence.parquet").sort("start")
    rng = np.random.default_rng(zlib.crc32(f"{folder.name}".encode()))
    toml = (target / "site.toml").read_text(encoding="utf-8")
    log = pl.read_parquet(folder / "log.parquet").with_columns(detector=pl.lit(None, dtype=pl.String))
    frames = [log]
    if variant in ("corridor", "all three"):
        frames.append(corridor(rng, presence))
        toml += '\n[rooms.outside]\nuse = "corridor"\n'
    if variant in ("door", "all three"):
        frames.append(door(rng, presence, room))
    if variant in ("screen", "all three"):
        frames.append(screen(rng, presence, room))
        toml += f'\n[rooms.{room}.channels.screen]\ncontrol = "relay"\nload_w = 62\nhold_off_s = 900\n'
    (target / "site.toml").write_text(toml, encoding="utf-8")
    columns = ["time", "room", "channel", "detector", "quantity", "value"]
    pl.concat([f.select(columns) for f in frames]).sort("time", maintain_order=True).write_parquet(
        target / "log.parquet"
    )
    return presence


def brier(channel, presence):
    """Squared errors of "somebody was there throughout" over pauses of more than a minute."""
    gaps = channel.gaps.filter((pl.col("gap_s") > LONGER_S) & (pl.col("end_kind") == "motion"))
    start, end = (presence[c].dt.epoch("us").to_numpy() for c in ("start", "end"))
    at = gaps["start"].dt.epoch("us").to_numpy()
    until = at + np.round(gaps["gap_s"].to_numpy() * 1e6).astype(np.int64)
    i = np.searchsorted(start, at + 500_000, side="right") - 1
    there = (i >= 0) & (end[np.maximum(i, 0)] >= until - 500_000)
    return (gaps["p_still"].to_numpy() - there) ** 2


def judge(job):
    folder, variant = job
    with tempfile.TemporaryDirectory() as scratch:
        target = Path(scratch) / folder.name
        presence = with_others(folder, target, variant)
        lights = [c for c in analyse_folder(target).channels if c.control != "relay"]
        errors = np.concatenate([brier(c, presence) for c in lights])
        return variant, errors, [j for j in (_judge(c, target) for c in lights) if j is not None]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("rooms", type=Path)
    parser.add_argument("--uses", nargs="*", default=USES)
    parser.add_argument("--most", type=int, default=1000, help="judge so many rooms at most")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    folders = sorted(p for p in given.rooms.iterdir() if (p / "site.toml").is_file())
    folders = [p for p in folders if next(iter(read_site(p).rooms.values())).use in given.uses][: given.most]
    jobs = [(folder, variant) for variant in VARIANTS for folder in folders]
    with ProcessPoolExecutor(given.processes, mp_context=mp.get_context("spawn")) as pool:
        done = list(pool.map(judge, jobs))
    print(f"{len(folders)} rooms")
    for variant in VARIANTS:
        mine = [d for d in done if d[0] == variant]
        errors = np.concatenate([d[1] for d in mine])
        judged = [j for d in mine for j in d[2]]
        p, false = (np.concatenate([getattr(j, n) for j in judged]) for n in ("p_false", "false"))
        called, regret = p > 0.5, np.array([j.regret for j in judged])
        false = false.astype(bool)
        print(
            f"{variant:13s} Brier {errors.mean():.4f} of {len(errors)} pauses "
            f"(mean of rooms {np.mean([d[1].mean() for d in mine if len(d[1])]):.4f}); "
            f"regret mean {regret.mean():.3f}, 90th percentile {np.quantile(regret, 0.9):.2f}, worst {regret.max():.2f}; "
            f"precision {false[called].mean():.3f}, recall {called[false].mean():.3f}"
        )


if __name__ == "__main__":
    main()

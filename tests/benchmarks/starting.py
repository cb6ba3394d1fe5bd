"""How good starting settings are on simulated rooms, taken as if they had no log.

    python -m tests.simulation ROOMS --rooms 105 --weeks 6 --seed 2     (writes the rooms; minutes)
    python -m tests.benchmarks.starting ROOMS                           (belief alone: fast)
    python -m tests.benchmarks.starting ROOMS --pooled                  (and with the other rooms of the use analysed: minutes)

Judged are the true long-run rates under the setting that is advised: whether the 90 % ranges hold them, and the regret against the best setting.
"""

import argparse
import dataclasses
import multiprocessing as mp
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import polars as pl

from tuning.pipeline import analyse_folder
from tuning.site import read_site
from tuning.starting import starting_settings

WORTHLESS = 0.01
FRAMES = ("motions", "gaps", "switch_offs", "episodes", "output", "draws", "time_use")
FIXED_S = (600, 900, 1200)


def analysed(folder):
    """Channels of a room without their frames."""
    return [dataclasses.replace(c, **dict.fromkeys(FRAMES)) for c in analyse_folder(folder).channels]


def judge(folder, others):
    """One row a channel: what was said, and what is true."""
    site = read_site(folder)
    truth = pl.read_parquet(folder / "truth" / "truth_curve.parquet").sort("hold_off_s")
    rows = []
    for s in starting_settings(site, [], own=others):
        t = truth.filter(pl.col("channel") == s.channel)
        hold = np.log(t["hold_off_s"].to_numpy().astype(float))
        best = float(t["cost"].min())
        if best < WORTHLESS:
            continue

        def true(name, seconds, t=t, hold=hold):
            return float(np.interp(np.log(seconds), hold, t[name].to_numpy()))

        set_s = s.settings.hold_off_s
        rows.append(
            {
                "use": s.use,
                "set_s": set_s,
                "weight": s.weight,
                "regret": true("cost", set_s) / best - 1,
                **{f"regret_{d}": true("cost", d) / best - 1 for d in FIXED_S},
                **{
                    f"{q}_in": e.low <= true(q, set_s) <= e.high
                    for q, e in (
                        ("false_offs", s.false_offs),
                        ("wasted_on_h", s.wasted_on_h),
                        ("energy_kwh", s.energy_kwh),
                    )
                },
                **{
                    f"{q}_width": np.log((e.high + 0.05) / (e.low + 0.05))
                    for q, e in (
                        ("false_offs", s.false_offs),
                        ("wasted_on_h", s.wasted_on_h),
                        ("energy_kwh", s.energy_kwh),
                    )
                },
                "false_said": s.false_offs.middle,
                "false_true": true("false_offs", set_s),
                "waste_said": s.wasted_on_h.middle,
                "waste_true": true("wasted_on_h", set_s),
            }
        )
    return rows


def told(title, frame):
    """Print the figures."""
    print(f"{title}: {len(frame)} channels; own rooms weigh {frame['weight'].mean():.2f} in the mean")
    r = frame["regret"]
    print(f"  regret: mean {r.mean():.2f}, median {r.median():.2f}, 90th percentile {r.quantile(0.9):.2f}")
    print(
        "  everywhere the same: " + ", ".join(f"{d // 60} min mean {frame[f'regret_{d}'].mean():.2f}" for d in FIXED_S)
    )
    for q in ("false_offs", "wasted_on_h", "energy_kwh"):
        print(
            f"  90 % range of {q} holds the truth in {frame[f'{q}_in'].mean():.3f}; high over low {np.exp(frame[f'{q}_width'].mean()):.1f}"
        )
    uses = frame.group_by("use").agg(
        pl.len().alias("n"),
        *(pl.col(c).median() for c in ("set_s", "regret", "false_said", "false_true", "waste_said", "waste_true")),
    )
    for u in uses.sort("use").iter_rows(named=True):
        print(
            f"    {u['use']:18s} {u['n']:3d}: {u['set_s'] / 60:4.0f} min, regret {u['regret']:.2f}; "
            f"false-offs {u['false_said']:.2f}, true {u['false_true']:.2f}; "
            f"light for nobody {u['waste_said']:.1f} h, true {u['waste_true']:.1f} (medians)"
        )


def main():
    """Judge the rooms of a folder."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("rooms", type=Path)
    parser.add_argument("--pooled", action="store_true")
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    folders = sorted(p for p in given.rooms.iterdir() if (p / "truth" / "truth_curve.parquet").is_file())
    told("belief alone", pl.DataFrame([r for f in folders for r in judge(f, [])]))
    if given.pooled:
        with ProcessPoolExecutor(given.processes, mp_context=mp.get_context("spawn")) as pool:
            known = dict(zip(folders, pool.map(analysed, folders, chunksize=2), strict=True))
        rows = [r for f in folders for r in judge(f, [c for g in folders if g != f for c in known[g]])]
        told("with the other rooms of the use", pl.DataFrame(rows))


if __name__ == "__main__":
    main()

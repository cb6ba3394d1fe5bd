"""How good the estimate of manual-on is on simulated rooms that are set to auto-on.

    python -m tests.simulation ROOMS --rooms 105 --weeks 6 --seed 3     (writes the rooms; minutes)
    python -m tests.benchmarks.mode_accuracy ROOMS                      (judges the estimates)

The truth of a room is one run of four to twenty-four weeks under either mode with other random numbers than its log, so a difference
holds the noise of both.
"""

import argparse
import json
import multiprocessing as mp
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from tuning.pipeline import analyse_folder


def judge(folder):
    """Presses, saved energy and today's energy a week of a room, estimated and true; ``None`` where the mode is not judged."""
    (room,) = json.loads((folder / "truth" / "parameters.json").read_text(encoding="utf-8")).values()
    channels = analyse_folder(folder).channels
    advice = [c.mode for c in channels]
    if any(m is None for m in advice) or not room["mode_truth"]:
        return None
    auto, manual = (room["mode_truth"][m] for m in ("auto-on", "manual-on"))
    # Channels of a room come on together: one press serves them all.
    presses = max(m.presses for m in advice)
    low, high = min(m.presses_interval[0] for m in advice), max(m.presses_interval[1] for m in advice)
    return {
        "room": folder.name,
        "use": room["use"],
        "presses": presses,
        "presses_true": manual["presses"],
        "held": low <= manual["presses"] <= high,
        "ons": max(m.switch_ons for m in advice),
        "ons_true": auto["switch_ons"],
        "saved": sum(m.saved_kwh for m in advice),
        "saved_true": auto["energy_kwh"] - manual["energy_kwh"],
        "energy": auto["energy_kwh"],
    }


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("rooms", type=Path)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--every", type=int, default=1, help="judge every so-manieth room")
    given = parser.parse_args()
    folders = sorted(p for p in given.rooms.iterdir() if (p / "site.toml").is_file())[:: given.every]
    with ProcessPoolExecutor(given.processes, mp_context=mp.get_context("spawn")) as pool:
        rows = [row for row in pool.map(judge, folders) if row is not None]
    column = {name: np.array([row[name] for row in rows]) for name in rows[0]}
    share = (column["saved"] - column["saved_true"]) / column["energy"]
    off = np.abs(np.log(np.maximum(column["presses"], 0.5) / np.maximum(column["presses_true"], 0.5)))
    ons = np.abs(np.log(np.maximum(column["ons"], 0.5) / np.maximum(column["ons_true"], 0.5)))
    print(
        f"rooms {len(rows)}; true saving of manual-on {np.mean(column['saved_true'] / column['energy']):.3f} of the energy in the mean"
    )
    print(
        f"error of the saving, as a share of the energy: median {np.median(np.abs(share)):.3f}, "
        f"90th percentile {np.quantile(np.abs(share), 0.9):.3f}, mean with sign {share.mean():+.3f}"
    )
    print(
        f"presses off by a factor of: median {np.exp(np.median(off)):.2f}, 90th percentile {np.exp(np.quantile(off, 0.9)):.2f}"
    )
    print(
        f"switch-ons of today off by a factor of: median {np.exp(np.median(ons)):.2f} (how much two runs differ by chance)"
    )
    for use in sorted(set(column["use"])):
        mine = column["use"] == use
        print(
            f"  {use:18s} {mine.sum():3d}: saving {column['saved'][mine].mean():.2f} kWh, true {column['saved_true'][mine].mean():.2f}; "
            f"presses {column['presses'][mine].mean():.1f}, true {column['presses_true'][mine].mean():.1f}"
        )


if __name__ == "__main__":
    main()

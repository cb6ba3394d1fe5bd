"""A trial inside the log: false-offs estimated from both periods, against the truth. Run with ``-m benchmark -s``."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from tests.simulation.building import write_building
from tests.simulation.room import simulate
from tuning.pipeline import analyse_folder

LONGEST_S = 1200
ROOMS = (
    (11, "office"),
    (12, "reading room"),
    (15, "office"),
    (21, "open-plan office"),
    (22, "meeting room"),
    (24, "office"),
    (25, "reading room"),
    (26, "copy room"),
    (27, "meeting room"),
)


def error(room, folder):
    """Mean absolute log error of false-offs a week, plus 0.2, at hold-offs up to 20 min; and the hold-off taken to be in force."""
    write_building(room, folder)
    channel = analyse_folder(folder).channels[0]
    truth = room.truth_curve.filter(pl.col("channel") == channel.channel)
    rate = dict(zip(truth["hold_off_s"], truth["false_offs"], strict=True))
    points = [p for p in channel.delay_curve if p.hold_off_s in rate and p.hold_off_s <= LONGEST_S]
    off = [abs(np.log((p.false_offs + 0.2) / (rate[p.hold_off_s] + 0.2))) for p in points]
    return float(np.mean(off)), channel.current.hold_off_s


def without_history(room, hold_off_s, log):
    channels = {
        name: {k: v for k, v in table.items() if k != "settings_history"} | {"hold_off_s": hold_off_s}
        for name, table in room.channels.items()
    }
    return replace(room, log=log, spec=room.spec | {"channels": channels})


@pytest.mark.benchmark
@pytest.mark.timeout(3600)
def test_both_periods_together_are_better_than_either_alone(tmp_path):
    errors = {"both": [], "shorter": [], "longer": []}
    for seed, use in ROOMS:
        room = simulate(seed, use, weeks=6, hold_off_s=180, hold_off_changes=((21, 900),), mode="auto-on")
        middle = room.log["time"].min() + (room.log["time"].max() - room.log["time"].min()) / 2
        parts = {
            "both": room,
            "shorter": without_history(room, 180, room.log.filter(pl.col("time") < middle)),
            "longer": without_history(room, 900, room.log.filter(pl.col("time") >= middle)),
        }
        for name, part in parts.items():
            off, held = error(part, tmp_path / f"{seed}{name}")
            errors[name].append(off)
            assert held == pytest.approx(180 if name == "shorter" else 900, rel=0.02)
    mean = {name: float(np.mean(values)) for name, values in errors.items()}
    print("\nmean log error of false-offs: " + ", ".join(f"{name} {value:.2f}" for name, value in mean.items()))

    assert mean["both"] < mean["shorter"]
    assert mean["both"] < mean["longer"]

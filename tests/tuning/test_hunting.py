"""Hunting: predicted from a log in which the dead band was wide, then seen where it is narrow, in a loop that walks through time."""

import datetime as dt
import functools
from zoneinfo import ZoneInfo

import polars as pl
import pytest

from tests.building import write
from tests.simulation.hunting import switched_room
from tuning.light.split import split_light
from tuning.pipeline import analyse_folder
from tuning.site import Channel, Room
from tuning.target.result import light_result

START = dt.datetime(2026, 3, 2, tzinfo=dt.UTC)
ZONE = ZoneInfo("Europe/Copenhagen")
SEEDS = range(6)
LAMP_LX, TASK_PER_LX = 260.0, 2.0


@functools.cache
def walk(seed, *, threshold_lx=240.0, dead_band_lx, delay_s=60.0):
    peak_lx = (350, 450, 600)[seed % 3]
    return switched_room(
        seed, threshold_lx=threshold_lx, dead_band_lx=dead_band_lx, lamp_lx=LAMP_LX, peak_lx=peak_lx, delay_s=delay_s, start=START
    )  # fmt: skip


def light_of(room, *, threshold_lx=240.0):
    spots = [
        {"output_pct": 100, "task_lx": TASK_PER_LX * LAMP_LX, "detector_lx": LAMP_LX},
        {"output_pct": 0, "task_lx": TASK_PER_LX * 200, "detector_lx": 200},
    ]
    channel = Channel.model_validate(
        {"load_w": 200, "hold_off_s": 900, "target_lx": threshold_lx, "control": "switched", "spot_readings": spots}
    )
    split = split_light(room.reading, {"main": room.output}, own_channel="main")
    return light_result(
        split, channel="main", room=Room(use="office", channels={"main": channel}), output=room.output, occupied=room.occupied,
        usable_days=21.0, zone=ZONE, seed=1,
    )  # fmt: skip


@functools.cache
def wide(seed):
    """Light of a room whose dead band is far wider than its lamps."""
    return light_of(walk(seed, dead_band_lx=2 * LAMP_LX))


def finding(light, code):
    return next((f for f in light.findings if f.code == code), None)


SITE = """
[site]
name = "Test house"
time_zone = "Europe/Copenhagen"
[rooms.a]
use = "office"
[rooms.a.channels.main]
load_w = 200
hold_off_s = 900
target_lx = 240
control = "switched"
"""


def analysed(folder, room):
    """The whole analysis; people move every 40 s while they are there."""
    moves = room.occupied.select(
        time=pl.datetime_ranges("start", "end", interval="40s", time_unit="us", time_zone="UTC")
    ).explode("time")

    def long(frame, quantity, channel):
        return frame.select(
            "time", room=pl.lit("a"), channel=pl.lit(channel), quantity=pl.lit(quantity), value=pl.col("value").cast(pl.Float64)
        )  # fmt: skip

    log = pl.concat(
        [
            long(moves.with_columns(value=1.0), "motion", ""),
            long(room.reading, "illuminance", "main"),
            long(room.output, "output", "main"),
        ]
    ).sort("time")
    return analyse_folder(write(folder, log, site=SITE)).channels[0]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("delay_s", [60.0, 180.0])
def test_a_dead_band_narrower_than_the_lamps_hunts_and_is_found(tmp_path, seed, delay_s):
    room = walk(seed, dead_band_lx=0.2 * LAMP_LX, delay_s=delay_s)
    assert room.hunting_share > 0.02, "the loop itself must hunt"

    c = analysed(tmp_path, room)

    (found,) = (f for f in c.findings if f.code == "hunting")
    # two turns to each switch-off by light, but for those in hours that hunted little
    assert 0.6 * 2 * room.switch_offs < found.evidence["turns"] <= 2 * room.switch_offs
    # switch-offs by light are no switch-offs by absence
    assert c.current.hold_off_s == 900
    assert "hold-off-mismatch" not in [f.code for f in c.findings]
    assert len(c.switch_offs) <= 2 * 21


@pytest.mark.parametrize("seed", SEEDS)
def test_a_wide_dead_band_is_not_called_hunting(tmp_path, seed):
    room = walk(seed, dead_band_lx=1.2 * LAMP_LX)
    assert room.hunting_share == 0
    assert "hunting" not in [f.code for f in analysed(tmp_path, room).findings]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("delay_s", [60.0, 180.0])
def test_the_dead_band_advised_does_not_hunt(seed, delay_s):
    advised = finding(wide(seed), "dead-band").evidence["dead_band_lx"]
    assert LAMP_LX < advised < 1.3 * LAMP_LX

    room = walk(seed, dead_band_lx=float(advised), delay_s=delay_s)

    assert room.hunting_share == 0


@pytest.mark.parametrize("seed", SEEDS)
def test_how_much_a_narrow_dead_band_would_hunt_is_foretold(seed):
    """From a log that does not hunt: the time in which daylight lies less than the lamps below the threshold."""
    told = finding(wide(seed), "dead-band")
    threshold = wide(seed).recommended_target_lx

    share = walk(seed, threshold_lx=threshold, dead_band_lx=0.0).hunting_share

    assert told.evidence["share_at_risk"] == pytest.approx(share, abs=0.06)

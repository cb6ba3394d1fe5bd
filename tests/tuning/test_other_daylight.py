"""Daylight of a channel that logs no reading, from another one's; and of lamps that always burn together."""

from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from tuning.channel.light import UNCALIBRATED_SPREAD, _task_per_daylight, tells_daylight
from tuning.light.other_daylight import PLACE_RATIO, other_daylight
from tuning.light.split import Contribution, LightSplit
from tuning.results import LightResult
from tuning.site import SpotReading

DAYS = 4
TARGET_LX, FULL_LX, RATIO, SPILL_LX = 420.0, 450.0, 1.8, 60.0


def frames():
    """Four days under a sine of daylight, and a dimmed light that holds its target in ``RATIO`` times it, beside a neighbour at half."""
    minute = np.arange(DAYS * 1440)
    daylight = np.maximum(0, 220 * np.sin(2 * np.pi * (minute / 1440 - 0.25)))
    time = pl.Series("time", 1_772_409_600_000_000 + minute * 60_000_000).cast(pl.Datetime("us", "UTC"))
    output = np.clip((TARGET_LX - SPILL_LX - RATIO * daylight) / FULL_LX, 0.02, 1)
    light = pl.DataFrame({"time": time, "reading_lx": daylight, "daylight_lx": daylight, "lamps_lx": daylight * 0})
    mine = pl.DataFrame({"time": time, "value": 100 * output})
    theirs = pl.DataFrame({"time": time, "value": np.full(len(minute), 50.0)})
    lamps = {"wall": Contribution(400, 390, 410, 20, separable=True)}
    return LightSplit(lamps, light, None, ()), mine, theirs


SPOTS = (
    SpotReading(output_pct=100, task_lx=700, detector_lx=FULL_LX),
    SpotReading(output_pct=0, task_lx=300, detector_lx=200),
)


def test_a_dimmed_light_tells_how_much_more_daylight_its_own_detector_gets():
    split, mine, theirs = frames()

    found = other_daylight(
        split, names=("b", "a"), outputs=(mine, theirs), dimmed=True, target_lx=TARGET_LX, spots=SPOTS
    )

    assert found is not None
    assert found.ratio == pytest.approx(RATIO, rel=0.05)
    assert found.task_per_daylight == pytest.approx(1.5)
    noon = np.array([split.daylight["time"].dt.epoch("us")[720]])
    assert found.at(noon)[0] == pytest.approx(RATIO * 220, rel=0.05)


@pytest.mark.parametrize(
    ("names", "ratio"),
    [
        (("window", "wall"), PLACE_RATIO),
        (("Wand", "Fenster"), 1 / PLACE_RATIO),
        (("window", "main"), PLACE_RATIO),
        (("north", "south"), None),
    ],
)
def test_without_hand_readings_only_the_place_of_the_rows_says_anything(names, ratio):
    split, mine, theirs = frames()

    found = other_daylight(split, names=names, outputs=(mine, theirs), dimmed=True, target_lx=TARGET_LX, spots=())

    assert (found and found.ratio) == (ratio and pytest.approx(ratio))


def together(high_lx):
    lamps = {name: Contribution(200, 0, high_lx, 20, separable=False) for name in ("wall", "window")}
    return LightSplit(lamps, frames()[0].daylight, None, ())


def test_lamps_that_always_burn_together_leave_the_daylight_known_where_their_sum_is():
    assert tells_daylight(together(430), "wall")
    assert not tells_daylight(together(700), "wall"), "the sum is known within half of itself at most"


@pytest.mark.parametrize(
    ("target_lx", "spots", "expected"),
    [
        (280.0, (), (500 / 280, UNCALIBRATED_SPREAD)),
        (500.0, (), (1.0, UNCALIBRATED_SPREAD)),
        (50.0, (), (3.0, UNCALIBRATED_SPREAD)),
        (None, (), (1.0, 0.0)),
        (280.0, ("a hand reading",), (1.0, 0.0)),
    ],
)
def test_a_target_that_somebody_set_says_what_the_task_gets(target_lx, spots, expected):
    channel = SimpleNamespace(target_lx=target_lx, spot_readings=spots)
    given = SimpleNamespace(channel=channel, room=SimpleNamespace(required_lx=500.0))

    assert _task_per_daylight(given, LightResult()) == pytest.approx(expected)

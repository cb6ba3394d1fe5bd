"""A channel without a reading of its own, in a room where another channel's detector sees its lamps."""

import numpy as np
import polars as pl
import pytest

from tests.building import SITE, START, write
from tests.simulation import simulate, write_building
from tuning.light.borrowed import beside_the_detector
from tuning.pipeline import analyse_folder
from tuning.site import Channel


def two_channels(folder, seed, **more):
    room = simulate(
        seed, "open-plan office", weeks=3, hold_off_s=300, with_truth=False, windows=True, own_detectors=False, swapped=False,
        dims_p=0.0, leave_off_p=0.0, control="dimmed", **more,
    )  # fmt: skip
    write_building(room, folder)
    return room, {c.channel: c for c in analyse_folder(folder).channels}


@pytest.fixture(scope="module")
def simulated(tmp_path_factory):
    return two_channels(tmp_path_factory.mktemp("one_detector"), 13, spot_readings=True)


def test_the_lamps_are_known_in_the_rooms_reading(simulated):
    """Truth: what the window channel's lamps give at the wall channel's detector."""
    room, found = simulated
    window = room.parameters["channels"][1]
    assert window["name"] == "window"
    light = found["window"].light
    assert light.electric_lx_at_full == pytest.approx(window["lamp_lx"] * window["to_other"], rel=0.05)
    assert light.typical_day is not None
    finding = next(f for f in found["window"].findings if f.code == "borrowed-reading")
    assert finding.evidence["reading_of"] == "wall"


def test_hand_readings_beside_another_detector_make_no_target(simulated):
    """The simulation's luxmeter stood beside the window channel's own display, which nobody logs."""
    _, found = simulated
    assert found["window"].light.recommended_target_lx is None
    assert found["window"].recommended.target_lx == found["window"].current.target_lx
    assert found["wall"].light.recommended_target_lx is not None


def test_lamps_that_cannot_be_parted_are_not_guessed(tmp_path):
    """Here both channels always switched together: the room's own detector says so, and the other channel gets nothing."""
    _, found = two_channels(tmp_path, 11)
    assert "inseparable" in [f.code for f in found["wall"].findings]
    assert found["window"].light.electric_lx_at_full is None


def test_a_hand_reading_tells_beside_which_detector_it_was_taken():
    def spots(*rows):
        table = [{"output_pct": p, "task_lx": 500, "detector_lx": d} for p, d in rows]
        return Channel.model_validate({"spot_readings": table}).spot_readings

    assert beside_the_detector(spots((100, 110)), at_full_lx=100)
    assert beside_the_detector(spots((60, 62), (0, 400)), at_full_lx=100)
    assert not beside_the_detector(spots((100, 300)), at_full_lx=100)
    assert not beside_the_detector(spots((0, 100)), at_full_lx=100), "daylight alone cannot tell"
    assert not beside_the_detector((), at_full_lx=100)


def written(folder, *, seen_lx):
    """Two weeks with one detector; `seen_lx` is what the side channel's lamps add to its reading. Written by hand, without any noise."""
    day, minute = 86_400, 60
    t = np.arange(0, 14 * day, minute)
    hour = t / 3600 % 24
    main, side = (hour >= 0.5) & (hour < 9), (hour >= 3) & (hour < 6)  # hours after 8 h UTC, where the log begins
    lux = np.round(400 * main + seen_lx * side).astype(float)

    def frame(at, value, quantity, channel):
        time = pl.Series(at.astype(np.int64) * 1_000_000).cast(pl.Duration("us")) + START
        return pl.DataFrame({"time": time.cast(pl.Datetime("us", "UTC")), "value": value.astype(float)}).select(
            "time", room=pl.lit("a"), channel=pl.lit(channel), quantity=pl.lit(quantity), value="value"
        )

    def changes(lit):
        at = np.flatnonzero(np.append(True, np.diff(lit.astype(int)) != 0))
        return t[at] - 30, 100.0 * lit[at]

    moves = t[main & (t % 240 == 0)]
    log = pl.concat(
        [
            frame(moves, np.ones(moves.size), "motion", ""),
            frame(t, lux, "illuminance", "main"),
            frame(*changes(main), "output", "main"),
            frame(*changes(side), "output", "side"),
        ]
    ).sort("time")
    side_spots = """
[rooms.a.channels.side]
load_w = 100
hold_off_s = 300
target_lx = 100
spot_readings = [{output_pct = 100, task_lx = 700, detector_lx = 152}, {output_pct = 0, task_lx = 200, detector_lx = 100}]
"""
    return write(folder, log, site=SITE + side_spots)


def test_hand_readings_beside_the_shared_detector_tie_it_to_the_task(tmp_path):
    found = {c.channel: c for c in analyse_folder(written(tmp_path, seen_lx=150)).channels}
    light = found["side"].light
    assert light.electric_lx_at_full == pytest.approx(150, rel=0.02)
    assert light.calibrated
    assert light.target_curve


def test_a_lamp_that_the_shared_detector_does_not_see_gets_no_light_result(tmp_path):
    found = {c.channel: c for c in analyse_folder(written(tmp_path, seen_lx=0)).channels}
    assert found["side"].light.electric_lx_at_full is None
    assert "borrowed-reading" not in [f.code for f in found["side"].findings]
    assert found["main"].light.electric_lx_at_full == pytest.approx(400, rel=0.02)

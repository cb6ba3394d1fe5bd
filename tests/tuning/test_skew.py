"""Two clocks, one for motion and one for the light: found to ten seconds, brought together, and the recommendation does not move."""

import functools

import numpy as np
import polars as pl
import pytest

from tests.simulation.building import write_building
from tests.simulation.faults import faulty_room
from tuning.motion import US
from tuning.pipeline import analyse_folder
from tuning.quality.skew import clock_skew

SKEW_S = 240.0


def analysed(folder, kind, seed, use, **planted):
    write_building(faulty_room(seed, kind, use=use, **planted), folder)
    return analyse_folder(folder).channels


def skews(channel):
    return [f.evidence["late_s"] for f in channel.findings if f.code == "clock-skew"]


def steps_apart(channel, other):
    allowed = [p.hold_off_s for p in channel.delay_curve if p.allowed]
    return abs(
        int(np.argmin(np.abs(np.array(allowed) - channel.recommended.hold_off_s)))
        - int(np.argmin(np.abs(np.array(allowed) - other.recommended.hold_off_s)))
    )


@pytest.fixture(scope="module")
def straight(tmp_path_factory):
    """Channels of a room with one clock, analysed once for both ways in which the other clock may go wrong."""
    return functools.cache(
        lambda seed, use: analysed(tmp_path_factory.mktemp("straight"), "skew", seed, use, skew_s=0.0)
    )


@pytest.mark.parametrize("late_s", [SKEW_S, -SKEW_S], ids=["light late", "light early"])
@pytest.mark.parametrize(
    ("seed", "use"),
    [(9001, "office"), (9002, "classroom"), (9003, "toilet"), (9004, "corridor"), (9005, "meeting room")],
)
def test_four_minutes_are_found_to_ten_seconds_and_do_not_move_the_recommendation(
    tmp_path, straight, seed, use, late_s
):
    straight = straight(seed, use)
    skewed = analysed(tmp_path / "skewed", "skew", seed, use, skew_s=late_s)

    for before, after in zip(straight, skewed, strict=True):
        assert skews(before) == []
        assert skews(after) == pytest.approx([late_s], abs=10)
        assert after.observed_hold_off_s == pytest.approx(before.observed_hold_off_s, abs=2)
        assert steps_apart(before, after) <= 1


def lamp(on_s, off_s):
    """Output of a lamp that is on from each of some times to the one beside it [s]."""
    t = np.stack([on_s, off_s], axis=1).ravel()
    time = pl.Series(np.round(t * US).astype(np.int64)).cast(pl.Datetime("us", "UTC"))
    return pl.DataFrame({"time": time, "value": np.tile([100.0, 0.0], len(on_s))})


def test_switch_ons_that_come_with_every_first_movement_give_the_skew():
    first = np.arange(40) * 7000.0 + np.random.default_rng(1).uniform(0, 3000, 40)
    moved = np.sort(np.concatenate([first, first + 20, first + 30]) * US).astype(np.int64)

    found = clock_skew(lamp(first + 61.5, first + 900), moved, moved)

    assert found.most_s == pytest.approx(61.5, abs=1)
    assert found.share == 1.0


def test_a_lamp_on_a_time_switch_has_no_lag_in_common_with_people():
    rng = np.random.default_rng(2)
    moved = np.sort(rng.uniform(0, 30 * 86400, 3000) * US).astype(np.int64)
    on = np.arange(30) * 86400.0 + 25_000

    assert clock_skew(lamp(on, on + 40_000), moved, moved) is None


def test_motion_sampled_by_the_minute_still_gives_the_skew_to_ten_seconds():
    rng = np.random.default_rng(3)
    first = np.sort(rng.uniform(0, 40 * 86400, 200))
    first = first[np.append(True, np.diff(first) > 2000)]
    sampled = np.floor(first / 60) * 60 * US

    found = clock_skew(
        lamp(first + 240, first + 900), sampled.astype(np.int64), sampled.astype(np.int64), resolution_s=60
    )

    assert found.most_s == pytest.approx(240, abs=10)


@pytest.mark.parametrize(
    ("way", "late"),
    [("drift", lambda t: 5.0 + 3.0 * t / 86_400), ("jumps", lambda t: np.where(t < 18 * 86_400, 0.0, 3600.0))],
)
def test_a_clock_that_runs_slow_or_was_set_is_followed(way, late):
    rng = np.random.default_rng(4)
    first = np.concatenate([day * 86_400 + np.sort(rng.uniform(25_000, 60_000, 14)) for day in range(40)])
    first = first[np.append(True, np.diff(first) > 600)]
    moved = np.sort(np.concatenate([first, first + 20, first + 31]) * US).astype(np.int64)

    found = clock_skew(lamp(first + late(first), first + late(first) + 400), moved, moved)

    assert found.way == way
    away = np.abs(first - 18 * 86_400) > 3 * 86_400
    stamped = np.round((first + late(first)) * US).astype(np.int64)
    assert found.at(stamped)[away] == pytest.approx(late(first)[away], abs=4)


def sampled_lamp(moved_s, *, every_s, hold_off_s, late_s=0.0):
    """Output of a lamp that follows movement with a hold-off, looked at every so often [s]."""
    t = np.arange(0.0, moved_s[-1] + 2 * hold_off_s, every_s)
    last = np.searchsorted(moved_s, t, side="right") - 1
    on = (last >= 0) & (t - moved_s[np.maximum(last, 0)] < hold_off_s)
    time = pl.Series(np.round((t + late_s) * US).astype(np.int64)).cast(pl.Datetime("us", "UTC"))
    return pl.DataFrame({"time": time, "value": np.where(on, 100.0, 0.0)})


def visited(seed):
    """Movements of visits of some twenty minutes, hours apart [s]."""
    rng = np.random.default_rng(seed)
    visits = np.cumsum(rng.uniform(3600, 20_000, 150))
    return np.sort(np.concatenate([v + np.cumsum(rng.exponential(80.0, 12)) for v in visits]))


@pytest.mark.parametrize("every_s", [60.0, 300.0])
@pytest.mark.parametrize("seed", range(6))
def test_people_who_go_on_moving_after_the_switch_on_do_not_make_a_coarse_log_late(seed, every_s):
    moved = visited(seed)
    at = np.round(moved * US).astype(np.int64)

    found = clock_skew(sampled_lamp(moved, every_s=every_s, hold_off_s=300.0), at, at)

    assert found is None or found.most_s == 0


@pytest.mark.parametrize("late_s", [90.0, -90.0, 3600.0])
def test_a_light_sampled_by_the_minute_still_gives_the_skew_to_ten_seconds(late_s):
    moved = visited(1)
    at = np.round(moved * US).astype(np.int64)

    found = clock_skew(sampled_lamp(moved, every_s=60.0, hold_off_s=300.0, late_s=late_s), at, at)

    assert found.most_s == pytest.approx(late_s, abs=10)

"""What > and ≥ mean, at the boundary itself; the conventions stand in ``tuning.schemas``."""

import datetime as dt
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from tests.building import SITE, START, rows
from tuning.diagnosis.facts import local_day, local_days
from tuning.gaps import LOG_GAP, find_gaps
from tuning.logs import read_frame
from tuning.motion import US, built_in_hold_off_s, motions
from tuning.readings import RoomReadings
from tuning.schemas import READINGS, require
from tuning.site import parse_site
from tuning.stretches import spread

BUILDING = parse_site(SITE, Path("site.toml"))
S0 = round(START.timestamp()) * US


def motion_of(log):
    logs = read_frame(pl.DataFrame(log), BUILDING)
    span = (round(logs.start.timestamp() * US), round(logs.end.timestamp() * US))
    return motions(RoomReadings(logs.readings("a")), "main", span_us=span)


def seconds(us):
    return ((us - S0) / US).tolist()


def test_an_event_is_an_instant():
    log = motion_of(rows([(0, 1), (10, 1), (400, 1)]))

    assert log.kind == "events"
    assert seconds(log.start_us) == seconds(log.end_us) == [0, 10, 400]
    assert find_gaps(log).gap_s.tolist() == [10, 390]


def test_a_pulse_covers_from_its_1_to_its_0():
    log = motion_of(rows([(0, 1), (4, 0), (100, 1), (107, 0), (500, 1), (503, 0)]))

    assert log.kind == "pulses"
    assert seconds(log.end_us) == [4, 107, 503]
    assert find_gaps(log).gap_s.tolist() == [96, 393]


def test_a_sample_of_1_covers_its_whole_interval_and_the_next_one_touches():
    values = [(60 * i, 1 if i in (3, 4, 9) else 0) for i in range(30)]
    log = motion_of(rows(values))

    assert log.kind == "samples"
    assert log.resolution_s == 60
    assert seconds(log.start_us) == [180, 540]
    assert seconds(log.end_us) == [300, 600]
    assert find_gaps(log).gap_s[0] == 240


def test_a_log_gap_censors_the_gap_where_the_log_breaks_off():
    values = [(60 * i, 1 if i == 3 else 0) for i in range(30)] + [
        (7200 + 60 * i, 1 if i == 5 else 0) for i in range(30)
    ]
    found = find_gaps(motion_of(rows(values)))

    assert found.end_kind.tolist()[0] == LOG_GAP
    # From the end of the sample at 180 s to the end of the last sample before the break.
    assert found.gap_s[0] == 30 * 60 - 240


def test_detectors_of_one_room_are_merged_where_they_overlap_or_touch():
    a = [dict(r, detector="d1") for r in rows([(0, 1), (5, 0), (50, 1), (53, 0)])]
    b = [dict(r, detector="d2") for r in rows([(5, 1), (9, 0), (80, 1), (81, 0)])]
    log = motion_of(a + b)

    assert log.detectors == 2
    assert seconds(log.start_us) == [0, 50, 80]
    assert seconds(log.end_us) == [9, 53, 81]


@pytest.mark.parametrize("shortest_s", [300.0, 900.0])
def test_the_runs_of_a_held_state_pile_up_at_its_hold_off(shortest_s):
    runs = np.concatenate([np.full(20, shortest_s), np.linspace(shortest_s + 100, 9000, 60)])

    assert built_in_hold_off_s(runs, resolution_s=0.0) == pytest.approx(shortest_s, abs=1)


def test_runs_that_do_not_pile_up_hold_no_hold_off():
    assert built_in_hold_off_s(np.geomspace(20, 9000, 60), resolution_s=0.0) is None


def test_a_frame_of_another_schema_is_refused():
    with pytest.raises(TypeError, match="readings: expected"):
        require(pl.DataFrame({"time": [dt.datetime(2026, 1, 1, tzinfo=dt.UTC)]}), READINGS, "readings")


def test_a_movement_at_midnight_belongs_to_the_day_that_begins():
    offset = 3600 * US
    midnights = np.arange(20_000, 20_004) * 86_400 * US - offset
    moved = np.sort(np.concatenate([midnights[:1] + 5 * US, midnights[1:3], midnights[1:3] - 1, midnights[3:] + 7]))

    assert local_days(moved, offset).tolist() == [0, 0, 1, 1, 2, 3]
    assert (local_days(moved, offset) == local_day(moved, offset) - 20_000).all()
    assert local_days(moved[:1], offset).tolist() == [0]


@pytest.mark.parametrize(("stretches", "times"), [(0, 9), (1, 9), (40, 500), (40, 3), (5, 0)])
def test_each_of_sorted_times_has_the_value_of_its_stretch(stretches, times):
    rng = np.random.default_rng(stretches)
    bounds, t = np.sort(rng.integers(0, 60, stretches)), np.sort(rng.integers(-5, 65, times))
    values = rng.random(stretches + 1)

    # A time at a bound belongs to what begins there; of two bounds at once the later one holds.
    expected = [values[sum(bound <= at for bound in bounds)] for at in t]
    assert spread(values, bounds, t).tolist() == expected

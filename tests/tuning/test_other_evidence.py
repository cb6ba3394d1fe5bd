"""What else in the log tells at a pause's ends that somebody left: learned, and silent where it says nothing."""

import datetime as dt

import numpy as np
import polars as pl
import pytest

from tests.building import START, rows
from tuning.gaps import find_gaps
from tuning.motion import motions
from tuning.presence.other_evidence import MOST_TELLING, evidence_ratio, near, passages, pattern_ratio, patterns
from tuning.readings import RoomReadings
from tuning.schemas import READINGS

STILL, ABSENT = 200, 40


def examples():
    still = np.repeat([1.0, 0.0], [STILL, ABSENT])
    return still, 1.0 - still


def test_a_pattern_says_what_its_shares_say():
    still, absent = examples()
    seen = np.concatenate([np.repeat([1, 0], [20, 180]), np.repeat([1, 0], [36, 4])])

    ratio = pattern_ratio(seen, still, absent)

    # Shares 10 % and 90 %, each drawn toward 50 % by the weight of a few examples.
    assert ratio[seen == 1].max() == pytest.approx(np.log(0.1 / 0.9), abs=0.25)
    assert ratio[seen == 0].min() == pytest.approx(np.log(0.9 / 0.1), abs=0.5)
    assert np.abs(ratio).max() <= MOST_TELLING


def test_a_corridor_elsewhere_says_next_to_nothing():
    still, absent = examples()
    seen = (np.random.default_rng(1).random(STILL + ABSENT) < 0.3).astype(np.int64)

    assert np.abs(pattern_ratio(seen, still, absent)).max() < 0.4


def test_without_examples_of_a_class_nothing_is_said():
    assert not pattern_ratio(np.array([0, 1, 1]), np.ones(3), np.zeros(3)).any()


def test_of_many_rooms_outside_only_those_count_that_tell_most():
    still, absent = examples()
    tells = np.concatenate([np.zeros(STILL, np.int64), np.ones(ABSENT, np.int64)])
    rooms = {f"outside:{k}": tells for k in range(5)}

    two = evidence_ratio({k: rooms[k] for k in list(rooms)[:2]}, still, absent)

    assert evidence_ratio(rooms, still, absent).tolist() == two.tolist()


def test_what_is_seen_near_an_end():
    at = np.array([0, 100, 200], dtype=np.int64) * 1_000_000

    assert near(passages(np.array([95, 218]) * 1_000_000), at, before_s=6, after_s=17).tolist() == [0, 1, 0]
    assert near(passages(np.array([95, 217]) * 1_000_000), at, before_s=4, after_s=17).tolist() == [0, 0, 1]


@pytest.mark.parametrize("events", [0, 1, 400])
def test_put_together_or_not_the_same_is_seen_near_any_time(events):
    rng = np.random.default_rng(events)
    times = np.sort(rng.integers(0, 20_000, events))
    at = rng.integers(-50, 20_050, 2000)

    found = near(passages(times * 1_000_000, 23.0), at * 1_000_000, before_s=3, after_s=20)

    assert found.tolist() == [int(((times >= t - 3) & (times <= t + 20)).any()) for t in at]


def test_every_source_in_a_log_is_read():
    """Two pauses: the first ends at the desk and draws power on, in the second the door saw the leaver, the corridor, too, and a press."""
    motion = [("desk", 0), ("desk", 10), ("desk", 200), ("door", 205), ("door", 2000), ("desk", 2004)]
    log = []
    for detector, t in motion:
        log += [row | {"detector": detector} for row in rows([(t, 1)])]
    log += [row | {"detector": None} for row in rows([(206, 0)], channel="main", quantity="override")]
    power = [(-100, 60), (203, 60), (215, 1), (2003, 60)]
    log += [row | {"detector": None} for row in rows(power, channel="screen", quantity="power")]
    readings = (
        pl.DataFrame(log, schema_overrides={"detector": pl.String})
        .with_columns(channel=pl.when(pl.col("channel") == "").then(None).otherwise("channel"))
        .sort("time")
        .cast({"time": READINGS["time"]})
        .select(list(READINGS))
        .cast(dict(READINGS))
    )
    start = round(START.timestamp() * 1e6)
    span = (start, start + round(dt.timedelta(hours=1).total_seconds() * 1e6))
    gaps = find_gaps(motions(RoomReadings(readings), "main", span_us=span))
    first, second = np.flatnonzero(gaps.gap_s > 100)[:2]

    corridor = passages(np.array([start + 212_000_000, start + 1_990_000_000]))
    found = patterns(RoomReadings(readings), "main", gaps, {"corridor": corridor})

    assert set(found) == {"outside:corridor", "detectors", "press", "load:screen"}
    assert [found["outside:corridor"][k] for k in (first, second)] == [0, 3]
    assert found["detectors"][first] != found["detectors"][second]
    assert [found["press"][k] for k in (first, second)] == [0, 1]
    assert [found["load:screen"][k] for k in (first, second)] == [0, 1]

"""Hours and energy of a channel equal what a pencil gives."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from tuning.gaps import find_gaps
from tuning.motion import US, MotionLog
from tuning.site import Channel
from tuning.time_use import time_use

ZONE = ZoneInfo("Europe/Copenhagen")
MONDAY = dt.datetime(2026, 1, 12, tzinfo=ZONE)
HOUR_US = 3600 * US


def at(hours):
    """UTC epoch of so many hours after Monday's local midnight. [µs]."""
    return np.round(MONDAY.timestamp() * US + np.asarray(hours, float) * HOUR_US).astype(np.int64)


def series(pairs):
    return pl.DataFrame(
        {
            "time": pl.Series(at([h for h, _ in pairs])).cast(pl.Datetime("us", "UTC")),
            "value": [float(v) for _, v in pairs],
        }
    )


NOTHING = series([]).cast({"value": pl.Float64})


def use(hours, covered, **more):
    log = MotionLog(at(hours), at(hours), at(covered), "events", 0.0, 1)
    gaps = find_gaps(log)
    given = {
        "hold_off_s": np.full(len(gaps), 900.0),
        "p_still": (gaps.gap_s < 1800).astype(float),
        "minds": np.ones(len(gaps)),
        "output": NOTHING,
        "power": NOTHING,
        "channel": Channel(load_w=200, standby_w=2),
        "zone": ZONE,
    }
    return time_use(log, gaps, **given | more)


# Tuesday: movements at 9:00, 9:20, 9:30 and 14:00; hold-off 15 min; one week of log. Pauses of 20, 10 min, then long ones.
# held: 15 + 10 + 15 + 15 min = 55 min. Pauses below half an hour are stillness: occupied 20 + 10 = 30 min.
MOVES, WEEK = [33, 33 + 1 / 3, 33.5, 38], [[0, 168]]


def test_held_and_occupied_hours_are_counted_by_hand():
    found = use(MOVES, WEEK)

    assert found.held_h == pytest.approx(55 / 60)
    assert found.occupied_h == pytest.approx(30 / 60)
    assert found.lit_h == found.held_h
    assert found.energy_basis == "hold-off"
    assert found.energy_kwh == pytest.approx((55 / 60 * 200 + (168 - 55 / 60) * 2) / 1000)


def test_two_weeks_of_the_same_give_the_same_week():
    once, twice = use(MOVES, WEEK), use([*MOVES, *(m + 168 for m in MOVES)], [[0, 336]])

    assert twice.held_h == pytest.approx(once.held_h)
    assert twice.energy_kwh == pytest.approx(once.energy_kwh)


def test_the_week_says_which_hour_it_was():
    week = use(MOVES, WEEK).week

    # 9 to 10 on Tuesday: 15 + 10 + 15 of 60 minutes held, 30 occupied.
    assert week["held"][24 + 9] == pytest.approx(40 / 60)
    assert week["occupied"][24 + 9] == pytest.approx(30 / 60)
    assert week["held"][24 + 14] == pytest.approx(15 / 60)
    assert week["held"].sum() == pytest.approx(55 / 60)
    assert (week["covered_h"] == 1).all()


def test_what_lies_in_a_hole_of_the_log_does_not_count():
    found = use(MOVES, [[0, 36], [84, 168]])

    # 120 h count; 40 min of holding lie in them, the movement at 14:00 does not.
    assert found.held_h == pytest.approx(40 / 60 * 168 / 120)
    assert found.week["covered_h"].sum() == pytest.approx(120)


def test_needed_time_is_occupied_time_in_which_daylight_does_not_do():
    found = use(MOVES, WEEK, minds=np.array([0.25, 1.0, 1.0, 1.0]))

    assert found.needed_h == pytest.approx((20 * 0.25 + 10) / 60)


def test_energy_follows_the_logged_output_and_its_standby():
    # 2 h at full, 3 h at half, the rest of the week off.
    found = use(MOVES, WEEK, output=series([(10, 100), (12, 50), (15, 0)]))

    assert found.lit_h == pytest.approx(5)
    assert found.energy_basis == "output"
    assert found.energy_kwh == pytest.approx((2 * 200 + 3 * (2 + 198 * 0.5) + 163 * 2) / 1000)


def test_a_meter_outweighs_the_output_and_a_short_one_does_not():
    output = series([(10, 100), (12, 0)])
    metered = use(MOVES, WEEK, output=output, power=series([(0, 3), (10, 150), (12, 3)]))
    short = use(MOVES, WEEK, output=output, power=series([(100, 3), (101, 3)]))

    assert metered.energy_basis == "metered"
    assert metered.energy_kwh == pytest.approx((2 * 150 + 166 * 3) / 1000)
    assert short.energy_basis == "output"


def test_hours_of_the_week_follow_the_clock_through_its_change():
    # Clocks go forward on Sunday 29 March 2026; 9 o'clock is 9 o'clock in the weeks before and after.
    start = dt.datetime(2026, 3, 23, tzinfo=ZONE)
    moves = [dt.datetime(2026, 3, 24, 9, tzinfo=ZONE), dt.datetime(2026, 3, 31, 9, tzinfo=ZONE)]
    us = np.array([round(m.timestamp() * US) for m in moves])
    span = np.array([[round(start.timestamp() * US), round(dt.datetime(2026, 4, 6, tzinfo=ZONE).timestamp() * US)]])
    log = MotionLog(us, us, span, "events", 0.0, 1)
    gaps = find_gaps(log)

    week = time_use(
        log, gaps, hold_off_s=np.full(2, 900.0), p_still=np.zeros(2), minds=np.ones(2), output=NOTHING, power=NOTHING,
        channel=Channel(load_w=200), zone=ZONE,
    ).week  # fmt: skip

    assert week.filter(pl.col("held") > 0)["hour"].to_list() == [24 + 9]
    assert week["covered_h"].sum() == pytest.approx(335)


def test_the_dark_of_a_false_off_is_weighed_by_how_likely_it_was_one():
    offs = pl.DataFrame({"p_false": [1.0, 0.5, 0.0, 0.9], "resumed_after_s": [6.0, 12.0, 5000.0, None]})

    assert use(MOVES, WEEK, switch_offs=offs).dark_s == pytest.approx((6 + 0.5 * 12) / 1.5)
    assert use(MOVES, WEEK, switch_offs=offs.tail(1)).dark_s is None

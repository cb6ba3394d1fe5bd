"""A channel along time: what each cell of the raster and each span of a day says."""

import datetime as dt
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from dashboard.figures.timeline import (
    COLUMNS,
    DARK,
    EMPTY_LIT,
    PRESENT_LIT,
    PRESENT_UNLIT,
    UNKNOWN,
    Steps,
    raster,
    timeline,
)
from dashboard.figures.window import course, day_window, spans
from tests.dashboard.synthetic import ZONE, channel
from tuning.schemas import EPISODES, GAPS, MOTIONS, SWITCH_OFFS

MIDNIGHT = dt.datetime(2026, 3, 15, 23, tzinfo=dt.UTC)
"""Monday 16 March 2026, 00:00 in Copenhagen."""


def at(hours):
    return MIDNIGHT + dt.timedelta(hours=hours)


def line_of(motions_h, gaps, *, output=((0, 0.0),), offs=(), end_h=24, **changes):
    """A channel whose movements, pauses (start, length [h], p_still) and output are given in hours of the first local day."""
    names = {"room": "r", "channel": "c"}
    result = replace(
        channel(),
        start=at(0),
        end=at(end_h),
        motions=pl.DataFrame([names | {"start": at(a), "end": at(b)} for a, b in motions_h]).cast(dict(MOTIONS)),
        gaps=pl.DataFrame(
            [names | {"start": at(a), "gap_s": 3600.0 * n, "end_kind": "motion"} for a, n, _ in gaps], schema=GAPS
        ).with_columns(p_still=pl.Series([p for *_, p in gaps], dtype=pl.Float64)),
        output=pl.DataFrame({"time": [at(h) for h, _ in output], "output_pct": [v for _, v in output]}).cast(
            {"time": pl.Datetime("us", "UTC")}
        ),
        switch_offs=pl.DataFrame([names | {"time": at(h), "p_false": p} for h, p in offs], schema=SWITCH_OFFS),
        episodes=EPISODES.to_frame(),
        **changes,
    )
    return timeline(result, zone=ZONE)


def test_the_integral_of_steps_is_exact_between_and_beyond_its_points():
    steps = Steps(np.array([0, 10, 30]) * 1_000_000, np.array([1.0, 3.0, 0.0]))

    assert steps.until(np.array([-5, 5, 10, 20, 99]) * 1_000_000).tolist() == [0, 5, 10, 40, 70]
    assert steps.at(np.array([-1, 0, 10, 30]) * 1_000_000).tolist() == [0, 1, 3, 0]


def test_each_state_shows_where_it_was():
    line = line_of(
        [(8, 9), (10, 11), (12, 13)],
        [(9, 1, 0.0), (11, 1, 0.9), (13, 11, 0.0)],
        output=[(0, 0.0), (8, 70.0), (9.5, 0.0), (12, 50.0), (13, 0.0)],
    )
    state = raster(line).state

    assert state.shape == (1, COLUMNS)
    by_hour = {h: int(state[0, round(h * 12)]) for h in (4, 8.5, 9.25, 9.75, 10.5, 11.5, 12.5, 20)}
    assert by_hour == {
        4: DARK,
        8.5: PRESENT_LIT,
        9.25: EMPTY_LIT,
        9.75: DARK,
        10.5: PRESENT_UNLIT,
        11.5: PRESENT_UNLIT,
        12.5: PRESENT_LIT,
        20: DARK,
    }


def test_a_visit_of_a_minute_and_a_quarter_stays_visible_and_of_half_a_minute_does_not():
    short, long = 30 / 3600, 75 / 3600
    line = line_of(
        [(8, 8 + long), (10, 10 + short)], [(8 + long, 2 - long, 0.0), (10 + short, 14 - short, 0.0)], output=[(0, 0.0)]
    )

    state = raster(line).state[0]

    assert state[8 * 12] == PRESENT_UNLIT
    assert state[10 * 12] == DARK


def test_what_the_log_does_not_cover_is_no_reading():
    line = line_of([(8, 9), (15, 16)], [(9, 1, 0.0), (16, 8, 0.0)])

    state = raster(line).state[0]

    assert (state[10 * 12 : 15 * 12] == UNKNOWN).all()
    assert (state[: 8 * 12] == DARK).all(), "before the first movement the log runs"


def test_the_hour_that_the_clock_skips_is_no_reading_and_the_days_after_keep_local_time():
    fortnight = 24 * 14
    line = line_of([(0, 1), (fortnight, fortnight + 1)], [(1, fortnight - 1, 0.0)], end_h=fortnight + 1)
    made = raster(line)
    sunday = made.days.index(dt.date(2026, 3, 29))

    assert (made.state[sunday] == UNKNOWN).sum() == 12
    assert (made.state[sunday, 24:36] == UNKNOWN).all()
    # 14 × 24 h after midnight is one o'clock by the summer clock.
    assert made.state[made.days.index(dt.date(2026, 3, 30)), 12 : 2 * 12].tolist() == [PRESENT_UNLIT] * 12


def test_only_likely_wrong_switch_offs_are_marked_at_their_local_hour():
    line = line_of([(8, 9)], [(9, 15, 0.0)], offs=[(9.5, 0.8), (9.75, 0.3)])

    assert raster(line).left.rows() == [(dt.date(2026, 3, 16), 9.5, 0.8)]


def test_less_than_a_cell_beyond_midnight_is_no_day():
    assert len(line_of([(8, 9)], [(9, 15.02, 0.0)]).days) == 1
    assert len(line_of([(8, 9)], [(9, 15.2, 0.0)]).days) == 2


def test_spans_of_a_day_add_up_to_it_and_follow_each_other():
    line = line_of([(8, 9)], [(9, 15, 0.0)], output=[(0, 0.0), (8, 70.0), (9.5, 0.0)])

    found = spans(line, day_window(line, dt.date(2026, 3, 16)))

    assert found.state.tolist() == [DARK, PRESENT_LIT, EMPTY_LIT, DARK]
    assert found.length_s.tolist() == [8 * 3600, 3600, 1800, 14.5 * 3600]
    assert found.start[1].isoformat() == "2026-03-16T08:00:00"


def test_the_day_the_clocks_change_has_23_hours():
    line = timeline(channel(), zone=ZONE)

    assert spans(line, day_window(line, dt.date(2026, 3, 29))).length_s.sum() == 23 * 3600


def test_a_day_begins_with_the_value_that_holds_at_midnight():
    line = line_of([(8, 9)], [(9, 39, 0.0)])
    frame = pl.DataFrame({"time": [at(20), at(30)], "value": [1.0, 2.0]}).cast({"time": pl.Datetime("us", "UTC")})

    found = course(frame, day_window(line, dt.date(2026, 3, 17)), ZONE, column="value")

    told = [(t.isoformat(), v) for t, v in zip(found.at, found.value, strict=True)]
    assert told == [("2026-03-17T00:00:00", 1.0), ("2026-03-17T06:00:00", 2.0), ("2026-03-18T00:00:00", 2.0)]
    assert found.low is None


def test_without_motion_there_is_no_timeline():
    assert timeline(replace(channel(), motions=MOTIONS.to_frame()), zone=ZONE) is None


@pytest.mark.parametrize("name", ["lit, nobody there", "running, nobody there"])
def test_a_relay_runs_where_a_lamp_is_lit(name):
    control = "relay" if name.startswith("running") else "dimmed"

    assert timeline(replace(channel(), control=control), zone=ZONE).state_names[EMPTY_LIT] == name

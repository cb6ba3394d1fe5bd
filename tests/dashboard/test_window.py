"""Any stretch of time: what is exact, what is binned, and that binning loses neither time nor a dip."""

import datetime as dt
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from dashboard.figures.along_time import marked, time_figure
from dashboard.figures.theme import LIGHT
from dashboard.figures.timeline import US, timeline
from dashboard.figures.window import (
    BINS,
    EXACT,
    Window,
    counted,
    course,
    day_window,
    local_window,
    moved,
    scaled,
    shares,
    spans,
    within,
)
from tests.dashboard.plotted import plotted
from tests.dashboard.synthetic import DAYS, START, ZONE

time_figure = plotted(time_figure)

FIRST_US = round(START.timestamp() * US)


@pytest.fixture(scope="module")
def line(channel):
    return timeline(channel, zone=ZONE)


def whole(line):
    return within(line, line.first_us, line.first_us + 10**15)


def hour_of(t_us):
    return dt.datetime.fromtimestamp(t_us / US, tz=ZoneInfo(ZONE))


@pytest.mark.parametrize("length_s", [5, 60, 3600, 86400, 7 * 86400, 21 * 86400, 400 * 86400])
def test_bins_are_few_and_stand_on_round_times_of_the_clock(length_s):
    edges = Window(FIRST_US + 7 * US, FIRST_US + (7 + length_s) * US).edges_us(ZONE)

    assert edges[0] <= FIRST_US + 7 * US < edges[1]
    assert edges[-1] >= FIRST_US + (7 + length_s) * US
    assert len(edges) <= BINS + 3
    if length_s > 3600:
        assert all(hour_of(t).minute % 1 == 0 and hour_of(t).second == 0 for t in edges[:5])
    if length_s > 300 * 86400:
        # Across both changes of the clocks each bin is a whole local day.
        assert {hour_of(t).hour for t in edges} == {0}


def test_shares_of_a_bin_add_up_to_it_and_over_the_log_to_the_states(line):
    edges = whole(line).edges_us(ZONE)

    found = shares(line, edges)

    assert found.sum(axis=1) == pytest.approx(np.ones(len(edges) - 1), abs=1e-9)
    lit_h = (found[:, 3:].sum(axis=1) * np.diff(edges) / US / 3600).sum()
    known_lit = line.known_lit.until(edges[-1:])[0] / 3600
    assert lit_h == pytest.approx(known_lit, rel=1e-9)


def test_what_is_too_much_to_draw_one_by_one_is_binned(line):
    day = day_window(line, dt.date(2026, 3, 17))

    assert spans(line, day) is not None
    assert len(spans(line, day).state) <= EXACT


def minutes(values):
    """A change point each minute."""
    time = [START + dt.timedelta(minutes=i) for i in range(len(values))]
    return pl.DataFrame({"time": time, "value": values}).cast({"time": pl.Datetime("us", "UTC"), "value": pl.Float64})


def test_a_dip_of_a_minute_in_weeks_keeps_its_depth(line):
    values = np.full(DAYS * 1440, 400.0)
    values[9_999] = 3.0

    found = course(minutes(values), whole(line), ZONE, column="value")

    assert len(found.at) <= BINS + 3
    assert found.low.min() == 3.0
    assert found.high.min() == 400.0
    assert found.low.tolist().count(3.0) == 1


def test_the_mean_of_a_bin_is_over_time_and_not_over_rows(line):
    # 500 lx for fifty minutes with one row, 0 lx for ten minutes with ten rows, every hour.
    rows = [(h * 60, 500.0) for h in range(DAYS * 24)] + [
        (h * 60 + 50 + m, 0.0) for h in range(DAYS * 24) for m in range(10)
    ]
    time = [START + dt.timedelta(minutes=m) for m, _ in rows]
    frame = (
        pl.DataFrame({"time": time, "value": [v for _, v in rows]})
        .cast({"time": pl.Datetime("us", "UTC")})
        .sort("time")
    )

    found = course(frame, whole(line), ZONE, column="value")

    assert found.value[5:-5] == pytest.approx(np.full(len(found.value) - 10, 500 * 50 / 60))


def test_counts_of_movement_add_up(line):
    edges = whole(line).edges_us(ZONE)

    assert counted(line.motions, edges, column="start").sum() == len(line.motions)


def test_zooming_and_moving_stay_within_the_log(line):
    day = day_window(line, dt.date(2026, 3, 16))

    assert scaled(line, day, 1e9) == whole(line)
    assert scaled(line, day, 1e-9).length_s == 5
    assert moved(line, day, -3) == day
    assert moved(line, day, 1) == day_window(line, dt.date(2026, 3, 17))


@pytest.mark.parametrize(
    "ends", [("x", "y"), ("2026-03-18", "2026-03-17"), ("2026-03-17", ""), ("9999-12-31", "9999-12-31T23:59")]
)
def test_an_address_that_names_no_window_is_ignored_or_kept_in_the_log(line, ends):
    found = local_window(line, *ends)

    assert found is None or whole(line).first_us <= found.first_us < found.last_us <= whole(line).last_us


def test_the_whole_log_sends_little_more_than_a_day(channel, line):
    """What a page is sent does not grow with the time it shows."""
    bins = time_figure(channel, line, whole(line), LIGHT)

    longest = max(len(t.x) for t in bins.data if t.x is not None)
    assert longest <= max(2 * (BINS + 3), EXACT + 1)


def test_a_narrow_window_shows_each_switch_off_and_a_wide_one_the_likeliest(channel, line):
    day = day_window(line, dt.date(2026, 3, 17))
    first, last = (pl.lit(t).cast(pl.Datetime("us", "UTC")) for t in (day.first_us, day.last_us))
    of_day = channel.switch_offs.filter((pl.col("time") >= first) & (pl.col("time") < last))

    assert marked(line, day)["time"].to_list() == of_day["time"].to_list()
    times = marked(line, whole(line))["time"].to_list()
    assert all(a < b for a, b in pairwise(times))

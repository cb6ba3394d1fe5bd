"""Two real logs. The true head count is used to judge, never to estimate.

Convention: a motion sample of 1 covers its whole sampling interval, and a pause counts one false-off if the hold-off would have expired in
it while somebody was there. The log was taken without automatic switching, so nobody reacted to darkness.
"""

import itertools
import shutil

import numpy as np
import polars as pl
import pytest

from tuning.light.split import find_switching_steps
from tuning.logs import read_logs
from tuning.pipeline import analyse_folder
from tuning.site import read_site

OFFICE = """
[site]
name = "One office room"
time_zone = "{zone}"
[rooms.office]
use = "office"
[rooms.office.channels.main]
load_w = 200
[[logs]]
files = "*.csv"
layout = "wide"
time = ["Date", "Time"]
[logs.columns]
S6_PIR = {{ room = "office", quantity = "motion", detector = "S6" }}
S7_PIR = {{ room = "office", quantity = "motion", detector = "S7" }}
S1_Light = {{ room = "office", channel = "main", quantity = "illuminance" }}
"""

STATE = """
[site]
name = "Two offices"
time_zone = "Europe/Amsterdam"
[rooms.r917810]
use = "office"
[rooms.r917810.channels.main]
load_w = 200
[rooms.r999169]
use = "office"
[rooms.r999169.channels.main]
load_w = 200
"""


@pytest.fixture
def office(real_log, tmp_path):
    path = real_log("room_occupancy_estimation.csv")
    shutil.copy(path, tmp_path)
    (tmp_path / "site.toml").write_text(OFFICE.format(zone="Asia/Kolkata"), encoding="utf-8")
    return tmp_path


def counted_with_the_head_count(folder, hold_off_s):
    """False-offs by looking: pauses of both detectors in which the hold-off expires while the head count is above 0."""
    rows = pl.read_csv(folder / "room_occupancy_estimation.csv").with_columns(
        time=(pl.col("Date") + " " + pl.col("Time")).str.to_datetime("%Y/%m/%d %H:%M:%S")
    )
    t = rows["time"].dt.epoch("s").to_numpy()
    moved = ((rows["S6_PIR"] + rows["S7_PIR"]) > 0).to_numpy()
    people = rows["Room_Occupancy_Count"].to_numpy()
    count = 0
    seen = np.flatnonzero(moved)
    for a, b in itertools.pairwise(seen):
        covered_until = min(t[a] + 30, t[a + 1])
        if t[b] - covered_until > hold_off_s and (np.diff(t[a : b + 1]) < 120).all():
            count += people[np.searchsorted(t, covered_until + hold_off_s, side="right") - 1] > 0
    return count


@pytest.mark.parametrize(("hold_off_s", "published", "within"), [(60, 150, 0.25), (120, 63, 0.25), (300, 10, 0.40)])
def test_false_offs_agree_with_the_head_count(office, hold_off_s, published, within):
    channel = analyse_folder(office).channels[0]
    weeks = channel.usable_days / 7

    found = next(p.false_offs for p in channel.delay_curve if p.hold_off_s == hold_off_s) * weeks

    assert counted_with_the_head_count(office, hold_off_s) == pytest.approx(published, rel=0.05)
    assert found == pytest.approx(published, rel=within)


def test_the_recommended_hold_off_separates_presence_from_absence(office):
    channel = analyse_folder(office).channels[0]

    assert channel.recommended.hold_off_s == 600
    assert channel.decision == "change"
    assert channel.current.hold_off_s is None
    assert {p.basis for p in channel.delay_curve} == {"observed"}


def test_the_break_of_fifteen_days_is_a_log_gap_and_not_an_absence(office):
    channel = analyse_folder(office).channels[0]

    assert channel.days == pytest.approx(20.0, abs=1.0)
    assert channel.usable_days == pytest.approx(3.6, abs=0.1)
    assert (channel.gaps["end_kind"] == "log-gap").sum() >= 1
    assert channel.gaps.filter(pl.col("end_kind") == "motion")["gap_s"].max() < 86400


def test_the_electric_light_switches_nine_times(office):
    readings = read_logs(office, read_site(office)).readings("office")
    lux = readings.filter(pl.col("quantity") == "illuminance").select("time", "value")

    assert len(find_switching_steps(lux)) == 9


def test_times_without_offset_are_read_in_the_building_zone(office):
    first = read_logs(office, read_site(office)).start

    assert first.isoformat() == "2017-12-22T05:19:41+00:00"


@pytest.fixture
def offices(real_log, tmp_path):
    rows = pl.read_parquet(real_log("office_presence_state.parquet")).filter(pl.col("occupancy__bool").is_not_null())
    long = rows.select(
        time=pl.col("timestamp"),
        room="r" + pl.col("id").cast(pl.String),
        channel=pl.lit(""),
        quantity=pl.lit("occupied"),
        value=pl.col("occupancy__bool"),
    )
    long.write_parquet(tmp_path / "log.parquet")
    (tmp_path / "site.toml").write_text(STATE, encoding="utf-8")
    return tmp_path


def test_a_held_occupancy_state_shows_the_hold_off_inside_it(offices):
    for channel in analyse_folder(offices).channels:
        assert 14 * 60 <= channel.observed_hold_off_s <= 16 * 60


def test_nothing_is_claimed_below_a_hold_off_that_hides_it(offices):
    for channel in analyse_folder(offices).channels:
        assert min(p.hold_off_s for p in channel.delay_curve) >= 14 * 60


@pytest.mark.parametrize("words", ['time = "Time"', 'time = "Date"', ""])
def test_a_date_and_a_time_of_day_are_read_together(office, words):
    site = (office / "site.toml").read_text(encoding="utf-8").replace('time = ["Date", "Time"]', words)
    (office / "site.toml").write_text(site, encoding="utf-8")

    assert read_logs(office, read_site(office)).start.isoformat() == "2017-12-22T05:19:41+00:00"

"""The hold-off in force is read off the log, and believed before what was written down."""

from pathlib import Path

import numpy as np
import pytest

from tests.building import SITE, office_days, write
from tuning.hold_off import Lags, hold_off_in_force, observe
from tuning.motion import US
from tuning.pipeline import analyse_folder
from tuning.site import parse_site

BUILDING = parse_site(SITE, Path("site.toml"))
CHANNEL = BUILDING.rooms["a"].channels["main"]


def lags(values, *, width=1.0):
    """Switch-offs an hour apart with given lags [s]."""
    high = np.array(values, dtype=float)
    return Lags(np.arange(len(high), dtype=np.int64) * 3600 * US, high - width, high)


def test_a_sharp_mode_is_the_hold_off_though_a_third_are_presses():
    rng = np.random.default_rng(1)
    values = np.where(rng.random(60) < 0.33, rng.uniform(5, 290, 60), 300 + rng.uniform(0, 1, 60))

    found = observe(lags(values))

    assert [round(v) for _, v in found] == pytest.approx([300], abs=2)


def test_people_who_switch_off_as_they_leave_are_no_hold_off():
    rng = np.random.default_rng(4)
    leaving, empty = rng.uniform(0, 12, 50), 900 + rng.uniform(0, 1, 14)
    high = rng.permutation(np.concatenate([leaving, empty]))
    times = np.arange(64, dtype=np.int64) * 3600 * US

    def seen(longest_lit_pause_s):
        longest = np.full(64, longest_lit_pause_s)
        return [v for _, v in observe(Lags(times, np.maximum(high - 12, 0), high, longest, 60.0))]

    assert seen(700.0) == pytest.approx([900], abs=15)
    # A detector left in its walk test leaves no pause lit.
    assert seen(5.0)[0] < 15


def test_lags_without_a_mode_say_nothing():
    assert observe(lags(np.random.default_rng(2).uniform(5, 3000, 60))) == []


def test_sampled_output_gives_the_value_that_all_intervals_share():
    rng = np.random.default_rng(3)
    high = 600 + rng.uniform(0, 300, 40)

    found = observe(Lags(np.arange(40, dtype=np.int64) * 3600 * US, high - 300, high))

    assert found[0][1] == pytest.approx(600, abs=15)


def test_a_hold_off_that_changed_inside_the_log_is_found():
    found = observe(lags([300.0] * 40 + [900.0] * 40))

    assert [v for _, v in found] == pytest.approx([300, 900], abs=2)
    assert found[1][0] == pytest.approx(40 * 3600 * US, abs=4 * 3600 * US)


def test_the_log_is_believed_before_the_document_and_the_mismatch_is_named():
    force = hold_off_in_force(BUILDING, CHANNEL, lags([600.0] * 30))

    assert force.latest_s == pytest.approx(600, abs=2)
    assert [f.code for f in force.findings] == ["hold-off-mismatch"]
    assert "site.toml says 300 s" in force.findings[0].message


def test_without_output_the_document_stands():
    force = hold_off_in_force(BUILDING, CHANNEL, lags([]))

    assert force.latest_s == 300
    assert force.observed_s is None


def test_an_undocumented_hold_off_is_found_in_a_whole_log(tmp_path):
    site = SITE.replace("hold_off_s = 300\n", "")
    channel = analyse_folder(write(tmp_path, office_days(hold_off_s=300), site=site)).channels[0]

    assert channel.observed_hold_off_s == pytest.approx(300, abs=2)
    assert channel.current.hold_off_s == 300


def test_a_longer_hold_off_that_switches_off_ten_times_more_seldom_is_found_too():
    rng = np.random.default_rng(5)
    found = observe(lags([180.0] * 400 + list(900 + rng.uniform(0, 1, 40))))

    assert [v for _, v in found] == pytest.approx([180, 900], abs=2)
    assert found[1][0] == pytest.approx(400 * 3600 * US, abs=12 * 3600 * US)


def test_one_hold_off_among_presses_is_not_taken_for_two():
    rng = np.random.default_rng(6)
    values = np.where(rng.random(300) < 0.4, rng.uniform(5, 290, 300), 300 + rng.uniform(0, 1, 300))

    assert len(observe(lags(values))) == 1


def test_a_documented_history_splits_the_log_and_each_period_is_observed():
    history = "[[rooms.a.channels.main.settings_history]]\nfrom = 1970-01-11\nhold_off_s = 900\n"
    site = parse_site(SITE + history, Path("site.toml"))
    hourly = lags([300.0] * 239 + [1000.0] * 6)

    force = hold_off_in_force(site, site.rooms["a"].channels["main"], hourly)

    assert force.hold_off_s == pytest.approx([300, 1000], abs=2), "the log is believed in each period"
    assert force.from_us[1] == 10 * 86400 * US - 3600 * US, "from local midnight of the documented day"


def test_a_period_without_switch_offs_stands_as_documented():
    history = "[[rooms.a.channels.main.settings_history]]\nfrom = 1970-01-11\nhold_off_s = 1800\n"
    site = parse_site(SITE + history, Path("site.toml"))

    force = hold_off_in_force(site, site.rooms["a"].channels["main"], lags([300.0] * 200))

    assert force.hold_off_s == pytest.approx([300, 1800], abs=2)

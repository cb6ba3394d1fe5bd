"""Who minds the dark, learned from how soon movement resumes: on people who react by a rule that the estimate is not told."""

import numpy as np
import pytest

from tuning.channel.steps import minded
from tuning.light.who_minds import ERRORS, Need


def switch_offs(rng, *, true_ratio, told_ratio=1.0, need_lx=500.0, present=0.6, count=600, mean_pause_s=60.0):
    """Log-ratio of need and daylight as told, and time to the next movement [s], of some switch-offs in all kinds of daylight.

    A present person reacts after some seconds where ``true_ratio`` times the daylight leaves the task too dark, else moves when they would
    have moved. Where nobody is there, somebody comes after some minutes.
    """
    daylight = np.exp(rng.uniform(np.log(30), np.log(3000), count))
    there = rng.random(count) < present
    too_dark = true_ratio * daylight * np.exp(rng.normal(0, 0.08, count)) < need_lx
    resumed = np.where(there, rng.exponential(mean_pause_s, count), rng.exponential(400, count))
    resumed = np.where(there & too_dark, np.exp(rng.normal(np.log(5), 0.6, count)), resumed)
    return np.log(need_lx / (told_ratio * daylight)), resumed


def mean_error(need):
    return float(need.weight @ ERRORS * need.doubt)


@pytest.mark.parametrize("true_ratio", [0.6, 0.8, 1.0, 1.3, 1.7])
@pytest.mark.parametrize("mean_pause_s", [25.0, 150.0])
def test_the_log_tells_in_what_daylight_people_stop_minding(true_ratio, mean_pause_s):
    """Those who do not mind move soon, too, where pauses are short: no reason to take them for people who react."""
    short, resumed = switch_offs(np.random.default_rng(3), true_ratio=true_ratio, mean_pause_s=mean_pause_s)
    need = Need(short, 0.35)
    learned = need.learned(resumed)

    spread = float(np.sqrt(learned.weight @ (ERRORS * need.doubt - mean_error(learned)) ** 2))
    assert abs(mean_error(learned) + np.log(true_ratio)) < 2.5 * spread
    assert spread < need.doubt / 2
    truly = np.exp(-short) * true_ratio < 1
    clear = np.abs(short - np.log(true_ratio)) > 0.3
    wrong = np.abs(learned.minds() - truly)[clear].mean()
    assert wrong < 0.02
    assert wrong < np.abs(need.minds() - truly)[clear].mean()


def test_where_nobody_reacts_the_doubt_stays():
    """A corridor: whoever moves soon after a switch-off came in by chance, in the dark as by day."""
    short, resumed = switch_offs(np.random.default_rng(4), true_ratio=0.6, present=0.0)
    learned = Need(short, 0.35).learned(resumed)

    spread = 0.35 * np.sqrt(learned.weight @ ERRORS**2)
    assert mean_error(learned) == pytest.approx(0, abs=0.2)
    assert spread > 0.25
    few = Need(short[:3], 0.35).learned(resumed[:3])
    assert few.weight @ ERRORS**2 == pytest.approx(1, abs=0.25)


def test_hand_readings_leave_nothing_to_learn():
    short, resumed = switch_offs(np.random.default_rng(5), true_ratio=0.6)
    need = Need(short, 0.0)

    assert need.learned(resumed) is need
    assert Need(np.array([np.nan]), 0.35).learned(np.array([5.0])).minds().tolist() == [1.0]


def test_a_channel_without_movement_is_not_asked():
    assert minded({"main": (None, None)}) == {"main": (None, None)}

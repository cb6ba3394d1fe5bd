"""Busy and quiet stretches, on logs made by hand: what tells them apart, and what that does to pauses of minutes."""

import numpy as np
import pytest

from tests.tuning.test_stillness import classified, log_of
from tuning.gaps import find_gaps
from tuning.motion import US
from tuning.presence.pace import LEAST_GAPS, LONGEST_S, NEIGHBOURS, pace_around, stretches
from tuning.presence.stillness import Belief


def lessons_and_evenings(rng, days=60):
    """Lessons with breaks in which the room is empty, then somebody who works on alone and keeps still as long; nobody makes a burst.

    Gives the log, and the ends of pauses of two to six minutes with whether they are stillness.
    """
    t, told, now = [], [], 0.0

    def after(pause, still):
        nonlocal now
        now += pause
        t.append(now)
        if 120.0 < pause < 360.0:
            told.append((now, still))

    for _ in range(days):
        for _ in range(4):
            for _ in range(120):
                after(rng.exponential(11.0) + 1, True)
            after(rng.exponential(900.0) + 60, False)
        for _ in range(120):
            after(rng.lognormal(np.log(28.0), 1.0) + 1, True)
        after(rng.uniform(40_000.0, 60_000.0), False)
    return log_of(t), told


def test_a_pause_itself_says_nothing_of_the_pace_around_it():
    rng = np.random.default_rng(4)
    gaps = find_gaps(log_of(np.cumsum(rng.lognormal(np.log(20.0), 1.2, 4000))))
    index = np.flatnonzero(gaps.gap_s > 20.0)

    pace = pace_around(gaps, index)

    for row in (0, 5, len(index) // 2, len(index) - 1):
        at = index[row]
        around = [i for i in range(at - NEIGHBOURS, at + NEIGHBOURS + 1) if i != at and 0 <= i < len(gaps)]
        lengths = [min(max(gaps.gap_s[i], 1.0), LONGEST_S) for i in around]
        assert pace[row] == pytest.approx(np.mean(np.log(lengths)))
    assert abs(np.corrcoef(pace, np.log(gaps.gap_s[index]))[0, 1]) < 0.05


def test_a_log_falls_into_halves_or_stays_whole_where_there_is_too_little_of_it():
    pace = np.random.default_rng(1).normal(size=2 * LEAST_GAPS)

    busy, quiet = stretches(pace)

    assert pace[busy].max() <= np.median(pace) < pace[quiet].min()
    assert np.sort(np.concatenate([busy, quiet])).tolist() == list(range(len(pace)))
    assert [len(rows) for rows in stretches(pace[:-1])] == [len(pace) - 1]
    assert [len(rows) for rows in stretches(np.zeros(len(pace)))] == [len(pace)], "all alike"


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_same_pause_is_absence_amid_a_lesson_and_stillness_in_an_evening_alone(seed):
    motion, told = lessons_and_evenings(np.random.default_rng(seed))
    gaps = find_gaps(motion)
    ends = gaps.start_us + np.round(gaps.gap_s * US).astype(np.int64)
    at = np.searchsorted(ends, np.round(np.array([t for t, _ in told]) * US).astype(np.int64))
    still = np.array([s for _, s in told])

    def missed(stays):
        seen = classified(motion, belief=Belief(360.0, 2.0, stays=stays))[1]
        return np.mean((seen.p_still[at] - still) ** 2), seen.p_still[at]

    (apart, p), (alike, q) = missed(True), missed(False)

    assert apart < 0.5 * alike
    assert p[still].mean() > q[still].mean()
    assert p[~still].mean() < 0.4 < q[~still].mean()

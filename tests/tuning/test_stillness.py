"""Stillness, absence, reaction: what tells them apart, on logs made by hand."""

import numpy as np
import pytest

from tuning.gaps import find_gaps
from tuning.motion import US, MotionLog
from tuning.presence.signature import _fit_ends, density_ratio
from tuning.presence.stillness import Belief, Classified, classify, joined

OFFICE = Belief(600.0, 2.0)


def log_of(t_s):
    t = np.round(np.sort(np.array(t_s)) * US).astype(np.int64)
    return MotionLog(t, t, np.array([[int(t[0]), int(t[-1])]]), "events", 0.0, 1)


def classified(motion, *, hold_off_s=np.inf, **more):
    gaps = find_gaps(motion)
    n = len(gaps)
    given = {"hold_off_s": np.full(n, hold_off_s), "lit": np.ones(n), "minds": np.ones(n), "belief": OFFICE}
    return gaps, classify(gaps, motion, **(given | more))


def days_of_work(rng, *, hold_off_s=None, days=30, reaction=True):
    """Work in pauses of 25 s with bursts at the door; twice a day an absence of any length, three times a stillness of minutes."""
    t, kinds, now = [], [], 0.0
    for _ in range(days):
        for part in ("a", "still", "a", "still", "still", "night"):
            for _ in range(40):
                now += rng.exponential(25.0) + 1
                t.append(now)
            if part == "still":
                if hold_off_s and reaction:
                    now += hold_off_s + rng.lognormal(np.log(5), 0.4)
                else:
                    now += rng.lognormal(np.log(250.0), 0.4)
                kinds.append((now, "still"))
                t.append(now)
                continue
            t += [now + 1.5, now + 3.0, now + 4.5]
            now += 4.5 + (rng.exponential(1500.0) if part == "a" else 50_000)
            kinds.append((now, "absent"))
            t += [now, now + 1.5, now + 3.0, now + 4.5]
            now += 4.5
    return log_of(t), kinds


def of_kind(gaps, kinds, kind):
    ends = gaps.start_us + np.round(gaps.gap_s * US).astype(np.int64)
    wanted = np.round(np.array([t for t, k in kinds if k == kind]) * US).astype(np.int64)
    return np.isin(ends, wanted) & (gaps.gap_s > 100)


def test_bursts_at_both_ends_tell_absence_from_stillness_of_any_length():
    motion, kinds = days_of_work(np.random.default_rng(1))
    gaps, seen = classified(motion)

    assert seen.p_still[of_kind(gaps, kinds, "still")].mean() > 0.9
    assert seen.p_still[of_kind(gaps, kinds, "absent")].mean() < 0.1
    assert seen.p_false.sum() == 0, "nothing switches off, so nobody reacted"


def test_reactions_pile_up_just_beyond_the_hold_off():
    motion, kinds = days_of_work(np.random.default_rng(2), hold_off_s=300.0)
    gaps, seen = classified(motion, hold_off_s=300.0)

    assert seen.p_false[of_kind(gaps, kinds, "still")].mean() > 0.9
    assert seen.p_false[of_kind(gaps, kinds, "absent")].mean() < 0.02
    assert seen.reaction_median_s == pytest.approx(5.0, rel=0.2)


def test_nobody_is_left_in_the_dark_in_full_daylight():
    motion, _ = days_of_work(np.random.default_rng(2), hold_off_s=300.0)
    n = len(find_gaps(motion))

    assert classified(motion, hold_off_s=300.0, minds=np.zeros(n))[1].p_false.sum() == 0


def test_a_reviewers_word_is_certain():
    motion, kinds = days_of_work(np.random.default_rng(2), hold_off_s=300.0)
    gaps = find_gaps(motion)
    verdict = np.full(len(gaps), np.nan)
    still, absent = np.flatnonzero(of_kind(gaps, kinds, "still")), np.flatnonzero(of_kind(gaps, kinds, "absent"))
    verdict[still[0]], verdict[absent[0]] = 0.0, 1.0

    seen = classified(motion, hold_off_s=300.0, verdict=verdict)[1]

    assert seen.p_false[still[0]] == 0
    assert seen.p_false[absent[0]] == 1


def test_gaps_known_to_be_empty_stay_empty():
    motion, _ = days_of_work(np.random.default_rng(1))
    seen = classified(motion, never_present=np.ones(len(find_gaps(motion)), dtype=bool))[1]

    assert seen.p_still.max() == 0


def test_a_class_is_known_best_at_its_own_lengths():
    rng = np.random.default_rng(5)
    log_g, x = rng.normal(7.0, 0.5, 80), rng.normal(size=(80, 3))
    ends = _fit_ends(x, log_g, np.ones(80), np.eye(3))

    at = ends.widening(np.array([4.0, 7.0, 10.0]))

    assert at[1] < 1.02
    assert at[0] > 1.2
    assert at[2] == pytest.approx(at[0], rel=0.15)


def test_too_few_examples_say_nothing():
    x = np.random.default_rng(5).normal(size=(50, 2))
    one = np.zeros(50)
    one[:3] = 1.0

    assert density_ratio(x, np.full(50, 5.0), 1 - one, one).tolist() == [0.0] * 50


def test_periods_classified_apart_are_put_back_in_the_order_of_the_gaps():
    early = Classified(np.array([0.1, 0.2]), np.array([0.0, 0.1]), np.array([1.0, 2.0]), 4.0, 0.5, 0.1)
    late = Classified(np.array([0.9]), np.array([0.8]), np.array([3.0]), 6.0, 0.7, 0.8)

    both = joined([(np.array([0, 2]), early), (np.array([1]), late)])

    assert both.p_still.tolist() == [0.1, 0.9, 0.2]
    assert both.p_false.tolist() == [0.0, 0.8, 0.1]
    assert (both.reaction_median_s, both.reactions) == (6.0, pytest.approx(0.9)), "what is set now"


def busy_room(rng, days=30):
    """Hours in which many move steadily; now and then some minutes of one person alone; slower pauses about the breaks, in which nobody is there.

    Nothing at a pause's ends tells what it is. Gives the log, and the ends of pauses of one to three minutes, all of them stillness.
    """
    t, told, now = [], [], 0.0

    def after(pause):
        nonlocal now
        now += pause
        t.append(now)

    for _ in range(days):
        for _ in range(6):
            for pause in rng.gamma(6.0, 2.0, 200) + 1:
                after(pause)
            if rng.random() < 0.3:
                for pause in rng.lognormal(np.log(45.0), 0.7, 5) + 1:
                    after(pause)
                    told += [now] if 60.0 < pause < 200.0 else []
                for pause in rng.gamma(6.0, 2.0, 10) + 1:
                    after(pause)
            for _ in range(3):
                after(rng.lognormal(np.log(22.0), 0.6) + 1)
            after(rng.uniform(400.0, 900.0))
            for _ in range(3):
                after(rng.lognormal(np.log(22.0), 0.6) + 1)
        after(rng.uniform(40_000.0, 60_000.0))
    return log_of(t), told


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_a_long_stillness_is_not_taken_for_absence_because_most_are_short_and_alike(seed, monkeypatch):
    motion, told = busy_room(np.random.default_rng(seed))
    ends = find_gaps(motion)
    ends = ends.start_us + np.round(ends.gap_s * US).astype(np.int64)
    at = np.isin(ends, np.round(np.array(told) * US).astype(np.int64))
    lessons = Belief(360.0, 2.0, stays=True)

    seen = classified(motion, belief=lessons)[1]
    monkeypatch.setattr("tuning.presence.stillness.LONGER_COUNTS", 0.0)
    by_number = classified(motion, belief=lessons)[1]

    assert at.sum() > 60
    assert seen.p_still[at].mean() > 0.75
    assert 1 - seen.p_still[at].mean() < 0.5 * (1 - by_number.p_still[at].mean())
    assert seen.signature[at].mean() > by_number.signature[at].mean()


def test_reactions_are_not_told_too_seldom_where_most_hours_are_bright():
    """One stretch of ten is dark, and what outlasts the hold-off ends in a reaction; by day it ends as it will, some of it just as soon."""
    rng = np.random.default_rng(6)
    t, now, true = [], 0.0, []
    for stretch in range(300):
        minds = 0.8 if stretch % 10 == 0 else 0.01
        for _ in range(100):
            pause = 1 + rng.lognormal(np.log(20.0), 1.1)
            reacts = pause > 120.0 and rng.random() < minds
            true.append((now, minds, reacts))
            now += 120.0 + rng.lognormal(np.log(8), 0.6) if reacts else pause
            t.append(now)
        t += [now + 1.5, now + 3.0, now + 4.5]
        now += 4.5 + rng.exponential(20_000.0)
        t += [now, now + 1.5, now + 3.0]
        now += 3.0
        true.append((now, minds, False))
        now += 5.0
        t.append(now)
    motion = log_of(t)
    gaps = find_gaps(motion)
    which = np.searchsorted(np.array([at for at, *_ in true]), gaps.start_us / US + 1e-3) - 1
    minds, reacted = (np.array([row[k] for row in true])[np.maximum(which, 0)] for k in (1, 2))
    reacted = reacted & (gaps.gap_s > 120)

    told = classified(motion, hold_off_s=120.0, minds=minds)[1].p_false

    # By day some who sit on move just as soon; so many as mind are not told apart from them one by one.
    assert told.sum() == pytest.approx(reacted.sum(), rel=0.3)
    assert told[reacted].mean() > 0.75

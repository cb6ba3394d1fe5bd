"""Whether spells go on after a reaction, from gaps whose truth is drawn here."""

import numpy as np
import pytest

from tuning.gaps import ENDED_BY_MOTION, Gaps
from tuning.presence.stillness import Classified
from tuning.presence.whole_spells import survival_of

HOLD_OFF_S, REACTION_S = 180.0, 4.0


def room(*, goes_on: bool, waves: float, seed: int, spells: int = 6000, scale_s: float = 25.0):
    """Gaps of somebody who is always there: Weibull stillness of shape 0.6, cut by reactions at the hold-off, of one wave or more."""
    rng = np.random.default_rng(seed)
    gap_s, reacted = [], []
    for left in scale_s * rng.weibull(0.6, spells):
        rest = left
        while rest > HOLD_OFF_S:
            gap_s.append(HOLD_OFF_S + REACTION_S)
            reacted.append(1.0)
            more = rng.poisson(waves)
            gap_s += [3.0] * more
            reacted += [0.0] * more
            if not goes_on:
                rest = scale_s * rng.weibull(0.6)
                continue
            rest -= HOLD_OFF_S + REACTION_S
        gap_s.append(max(rest, 0.5))
        reacted.append(0.0)
    return np.array(gap_s), np.array(reacted)


def share_that_goes_on(gap_s, reacted):
    return found(gap_s, reacted)[1]


def found(gap_s, reacted):
    n = len(gap_s)
    start_us = np.round(np.concatenate([[0.0], np.cumsum(gap_s)[:-1]]) * 1e6).astype(np.int64)
    gaps = Gaps(start_us, gap_s, np.full(n, ENDED_BY_MOTION), np.arange(n), np.arange(1, n + 1))
    seen = Classified(np.ones(n), reacted, np.zeros(n), REACTION_S, 0.3, float(reacted.sum()))
    day, rng = np.zeros(n, dtype=np.int64), np.random.default_rng(0)
    limit_s = np.full(n, HOLD_OFF_S)
    return survival_of(gaps, seen, day, np.ones((1, 1)), limit_s=limit_s, scale_s=15.0, rng=rng)


@pytest.mark.parametrize(("goes_on", "low", "high"), [(False, 0.0, 0.3), (True, 0.7, 1.0)])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_pauses_after_reactions_tell_whether_the_spell_went_on(goes_on, low, high, seed):
    assert low <= share_that_goes_on(*room(goes_on=goes_on, waves=0.0, seed=seed)) <= high


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_spell_that_goes_on_behind_several_waves_is_told_from_one_that_does_not(seed):
    """Waves hide part of it: the share comes out too low, but not as nothing."""
    assert share_that_goes_on(*room(goes_on=True, waves=0.8, seed=seed)) > 0.2
    assert share_that_goes_on(*room(goes_on=False, waves=0.8, seed=seed)) < 0.1


def crowded_and_alone(*, goes_on: bool, seed: int):
    """Hours in which many move all the time, and hours of one alone who keeps still for longer."""
    rng = np.random.default_rng(seed)
    alone, reacted = (np.array_split(part, 60) for part in room(goes_on=goes_on, waves=0.0, seed=seed, scale_s=70.0))
    gap_s, reaction = [], []
    for hour, its in zip(alone, reacted, strict=True):
        crowd = rng.exponential(6.0, 300)
        gap_s += [crowd, hour]
        reaction += [np.zeros(len(crowd)), its]
    return np.concatenate(gap_s), np.concatenate(reaction)


@pytest.mark.parametrize(("goes_on", "low", "high"), [(False, 0.0, 0.3), (True, 0.7, 1.0)])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_pauses_after_reactions_are_held_beside_those_of_the_same_hours(goes_on, low, high, seed):
    """Held beside the pauses of all hours, those of one alone look like spells that go on."""
    assert low <= share_that_goes_on(*crowded_and_alone(goes_on=goes_on, seed=seed)) <= high


@pytest.mark.parametrize("goes_on", [False, True])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_time_that_a_reaction_takes_is_no_stillness(goes_on, seed):
    """Exponential stillness, of which e⁻¹ lasts a minute longer; taken for stillness, ten seconds of reacting looked as if nobody ever moved then."""
    rng = np.random.default_rng(seed)
    gap_s, reacted = [], []
    for left in rng.exponential(60.0, 40000):
        rest = left
        while rest > HOLD_OFF_S:
            gap_s.append(HOLD_OFF_S + 10.0)
            reacted.append(1.0)
            rest = rest - HOLD_OFF_S - 10.0 if goes_on else rng.exponential(60.0)
        gap_s.append(max(rest, 0.5))
        reacted.append(0.0)

    survival = found(np.array(gap_s), np.array(reacted))[0].at(np.array([HOLD_OFF_S, HOLD_OFF_S + 60.0]))[0]

    assert survival[1] / survival[0] == pytest.approx(np.exp(-1), rel=0.25)

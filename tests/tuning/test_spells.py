"""How long people keep still: the chain of reactions, false-offs by renewal, and the tail."""

import numpy as np
import pytest

from tuning.presence.spells import (
    EDGES_S,
    Survival,
    chain_offsets,
    false_offs_per_second,
    fit_survival,
    goes_on_share,
    spell_table,
)


def exponential(mean_s):
    return Survival((EDGES_S / mean_s)[None, :])


def test_chained_gaps_begin_where_the_spell_had_come_to():
    gaps = np.array([100.0, 305.0, 307.0, 50.0, 20.0])
    reaction = np.array([0.0, 1.0, 1.0, 0.0, 0.0])

    assert chain_offsets(gaps, reaction, np.ones(5, dtype=bool)).tolist() == [0, 0, 305, 612, 0]


def test_a_spell_goes_on_behind_the_waves_of_one_reaction():
    gaps = np.array([305.0, 3.0, 3.0, 120.0, 60.0])
    reaction = np.array([1.0, 0.0, 0.0, 0.0, 0.0])

    assert chain_offsets(gaps, reaction, np.ones(5, dtype=bool)).tolist() == [0, 0, 0, 311, 0]


def test_somebody_who_moves_on_for_a_minute_does_not_go_on_being_still():
    gaps = np.array([305.0, *[6.0] * 10, 120.0])
    reaction = np.array([1.0, *[0.0] * 11])

    assert chain_offsets(gaps, reaction, np.ones(12, dtype=bool)).max() == 0


def test_a_log_gap_breaks_the_chain():
    assert chain_offsets(np.array([305.0, 50.0]), np.array([1.0, 0.0]), np.array([True, False])).tolist() == [0, 0]


@pytest.mark.parametrize("goes_on", [0.0, 0.4, 1.0])
@pytest.mark.parametrize("hold_off_s", [60.0, 180.0, 600.0])
def test_false_offs_equal_a_walk_through_the_spells(goes_on, hold_off_s):
    """The formula against people who are followed one spell at a time; spells are exponential with a mean of 200 s."""
    mean_s, reaction_s, rng = 200.0, 5.0, np.random.default_rng(7)
    offs, time = 0, 0.0
    for _ in range(40_000):
        left = rng.exponential(mean_s)
        while left > hold_off_s:
            offs += 1
            time += hold_off_s + reaction_s
            left -= hold_off_s + reaction_s
            if rng.random() >= goes_on:
                left = 0.0
                break
        time += max(left, 0.0)

    found = false_offs_per_second(exponential(mean_s), np.array([hold_off_s]), goes_on=goes_on, reaction_s=reaction_s)

    # Poisson error of the walk, and a tenth for the chord of the survival between the grid's edges.
    assert found[0, 0] == pytest.approx(offs / time, rel=4 / np.sqrt(offs) + 0.02)


def test_exposure_and_ends_are_those_of_the_gaps():
    table = spell_table(
        np.array([0.0, 0.0, 100.0]), np.array([30.0, 250.0, 400.0]), np.array([1.0, 0.5, 1.0]), np.array([1.0, 0.0, 1.0]),
        np.array([0, 1, 1]), 2,
    )  # fmt: skip

    assert table.exposure.sum(axis=1).tolist() == pytest.approx([30.0, 0.5 * 250.0 + 300.0])
    assert table.ends.sum(axis=1).tolist() == [1.0, 1.0]


@pytest.mark.parametrize("shape", [0.4, 0.6, 1.0])
def test_the_tail_beyond_what_was_seen_is_within_its_band(shape):
    """Weibull spells cut at 300 s; their survival at 900 s is hidden, and must lie in the band of the draws."""
    rng = np.random.default_rng(3)
    length = 40.0 * rng.weibull(shape, 4000)
    seen, ended = np.minimum(length, 300.0), (length < 300.0).astype(float)
    day = rng.integers(0, 30, len(seen))
    table = spell_table(np.zeros(len(seen)), seen, np.ones(len(seen)), ended, day, 30)
    weights = np.vstack([np.ones(30), rng.multinomial(30, np.full(30, 1 / 30), size=400)])

    found = fit_survival(table, weights, scale_s=20.0, rng=rng).at(np.array([120.0, 900.0]))
    true = np.exp(-((np.array([120.0, 900.0]) / 40.0) ** shape))

    assert found[0, 0] == pytest.approx(true[0], rel=0.15)
    low, high = np.quantile(found[1:, 1], [0.02, 0.98])
    assert low <= true[1] <= high


def test_the_log_decides_whether_spells_go_on():
    likely, unlikely, weight = np.full(60, 3.0), np.zeros(60), np.ones(60)

    assert goes_on_share(unlikely, likely, weight)[0] > 0.9
    assert goes_on_share(likely, unlikely, weight)[0] < 0.1

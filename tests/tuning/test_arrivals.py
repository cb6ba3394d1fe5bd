"""How many absences to expect of each length, from waits for whoever comes next."""

import numpy as np
import pytest

from tuning.presence.arrivals import expected_absences

FIRST, STEP, CELLS = np.log(20.0), 0.12, 60
EDGES = np.exp(FIRST + np.arange(CELLS + 1) * STEP)


def counted(lengths):
    return np.histogram(lengths, EDGES)[0].astype(float)


def test_long_absences_tell_how_many_short_ones_to_expect():
    rng = np.random.default_rng(1)
    rate_s = rng.choice([200.0, 1500.0], 4000)
    lengths = rng.exponential(rate_s)
    counts = counted(lengths)
    # Of the short ones nine in ten are missing, as if they had been taken for stillness.
    short = EDGES[1:] < 60
    thinned = np.where(short, 0.1 * counts, counts)

    found = expected_absences(thinned, first=FIRST, step=STEP)

    assert found[short].sum() > 3 * thinned[short].sum()
    assert found[~short].sum() == pytest.approx(counts[~short].sum(), rel=0.1)


def test_absences_of_days_are_never_more_frequent_per_second_where_they_are_longer():
    counts = counted(np.random.default_rng(2).uniform(3600.0, 90_000.0, 500))
    long = EDGES[:-1] >= 3600

    per_second = expected_absences(counts, first=FIRST, step=STEP) / np.diff(EDGES)

    assert (np.diff(per_second[long]) <= 0).all()


def test_breaks_of_some_minutes_stand_out():
    # Who steps out for a coffee: hardly ever back at once, hardly ever gone for an hour.
    rng = np.random.default_rng(3)
    counts = counted(np.concatenate([rng.lognormal(np.log(280.0), 0.5, 400), rng.uniform(3600.0, 60_000.0, 60)]))
    among = (EDGES[1:] > 180) & (EDGES[1:] < 420)

    found = expected_absences(counts, first=FIRST, step=STEP)

    # A mixture of waits alone, which only ever fall, finds half of them.
    assert found[among].sum() > 0.62 * counts[among].sum()
    assert found[EDGES[1:] < 60].sum() < 0.12 * counts.sum()


def test_where_nobody_steps_out_to_return_no_length_stands_out():
    rng = np.random.default_rng(3)
    lengths = np.concatenate([rng.lognormal(np.log(280.0), 0.5, 400), rng.uniform(3600.0, 60_000.0, 60)])
    counts = counted(lengths)

    per_second = [
        expected_absences(counts, first=FIRST, step=STEP, breaks=breaks) / np.diff(EDGES) for breaks in (True, False)
    ]

    assert (np.diff(per_second[1]) < 0).all()
    assert per_second[0].argmax() > 0, "breaks rise before they fall"


def test_no_absences_are_nearly_none():
    assert expected_absences(np.zeros(CELLS), first=FIRST, step=STEP).sum() < 0.1

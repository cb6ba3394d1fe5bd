"""Our figures equal published ones; each value carries its source in ``tests/reference``."""

import numpy as np
import pytest

from tests.reference.published import (
    KAPLAN_MEIER_6MP,
    LENI_EXAMPLE,
    OCCUPANCY_FACTOR,
    OPTIMAL_TIME_OUT,
    RENT_OR_BUY,
)
from tuning.decision import break_even_s
from tuning.delay_curve import expiries_and_lit_s
from tuning.en15193 import OCCUPANCY_CONTROL, leni, occupancy_factor
from tuning.presence.spells import product_limit

QUANTILES = (np.arange(400_000) + 0.5) / 400_000


def test_product_limit_equals_the_printed_table():
    case = KAPLAN_MEIER_6MP
    t, survival, error = product_limit(np.array(case.inputs["duration"], float), np.array(case.inputs["ended"], bool))

    found = {int(time): (s, e) for time, s, e in zip(t, survival, error, strict=True)}
    for time, expected in case.expected.items():
        assert found[time] == pytest.approx(expected, abs=case.tolerance), case.source


@pytest.mark.parametrize("control", OCCUPANCY_FACTOR.expected)
def test_occupancy_factor_follows_its_ranges(control):
    case = OCCUPANCY_FACTOR
    found = [occupancy_factor(control, absence) for absence in case.inputs]

    assert found == pytest.approx(case.expected[control], abs=case.tolerance), case.source


@pytest.mark.parametrize("control", LENI_EXAMPLE.expected)
def test_leni_equals_the_worked_example(control):
    case = LENI_EXAMPLE
    factor = occupancy_factor(OCCUPANCY_CONTROL[control], 0.4)

    assert leni(**case.inputs, occupancy=factor) == pytest.approx(case.expected[control], abs=case.tolerance)


def test_a_share_in_percent_is_refused():
    with pytest.raises(ValueError, match="give shares, not percent"):
        occupancy_factor(0.9, 40)


def _cost(gap_s, hold_off_s, cost):
    """Cost per gap of each hold-off, from the program's own exact curve; energy costs 1 a second."""
    expiries, lit_s = expiries_and_lit_s(gap_s, hold_off_s)
    return (lit_s + cost * expiries) / len(gap_s)


def _clairvoyant(gap_s, cost):
    return np.minimum(gap_s, cost).mean()


@pytest.mark.parametrize("mean_s", [20.0, 200.0, 600.0, 2000.0, 20000.0])
def test_the_break_even_hold_off_never_costs_more_than_twice_the_clairvoyant(mean_s):
    case = RENT_OR_BUY
    gaps = -mean_s * np.log(1 - QUANTILES)
    # 0.6 a false-off at 1 kW and 3.6 a kWh: a thousandth a second.
    rule = break_even_s(0.6, 1000.0, 3.6)

    assert rule == pytest.approx(case.inputs["cost"])
    assert _cost(gaps, np.array([rule]), rule)[0] <= case.expected["deterministic"] * _clairvoyant(gaps, rule)


def test_the_break_even_bound_is_reached_by_gaps_just_longer_than_it():
    gaps = np.full(10, 600.001)

    assert _cost(gaps, np.array([600.0]), 600.0)[0] / _clairvoyant(gaps, 600.0) == pytest.approx(2.0)


@pytest.mark.parametrize("mean_s", [100.0, 600.0, 3000.0])
def test_the_best_fixed_hold_off_costs_at_most_e_over_e_minus_one(mean_s):
    gaps = -mean_s * np.log(1 - QUANTILES)
    candidates = np.concatenate([[0.001], np.geomspace(1, 1e6, 400)])

    best = _cost(gaps, candidates, 600.0).min()

    assert best <= RENT_OR_BUY.expected["known_distribution"] * _clairvoyant(gaps, 600.0)


def _lomax(shape, scale):
    return scale * ((1 - QUANTILES) ** (-1 / shape) - 1)


def _weibull(shape, scale):
    return scale * (-np.log(1 - QUANTILES)) ** (1 / shape)


def _two_exponentials(share, short_s, long_s):
    # Quantiles of a mixture: those of its parts, in its proportions.
    n = len(QUANTILES)
    first = round(share * n)
    u, v = (np.arange(first) + 0.5) / first, (np.arange(n - first) + 0.5) / (n - first)
    return np.concatenate([-short_s * np.log(1 - u), -long_s * np.log(1 - v)])


@pytest.mark.parametrize(
    ("gaps", "cost", "expected"),
    [
        pytest.param(_lomax(1.5, 60.0), 600.0, OPTIMAL_TIME_OUT.expected["lomax"], id="lomax"),
        pytest.param(_weibull(0.5, 60.0), 600.0, OPTIMAL_TIME_OUT.expected["weibull"], id="weibull"),
        *(
            pytest.param(_two_exponentials(0.9, 60.0, 3600.0), cost, expected, id=f"two exponentials, {cost:.0f}")
            for cost, expected in OPTIMAL_TIME_OUT.expected["mixture"].items()
        ),
    ],
)
def test_the_curve_has_its_least_cost_where_the_hazard_falls_to_the_price(gaps, cost, expected):
    best_s, least = expected
    candidates = best_s * np.geomspace(0.5, 2.0, 401)

    found = _cost(gaps, candidates, cost)

    # The least is flat: the cost is known to its printed digits, the place only to what 400,000 gaps resolve.
    assert found.min() == pytest.approx(least, rel=OPTIMAL_TIME_OUT.tolerance)
    assert candidates[found.argmin()] == pytest.approx(best_s, rel=0.06)


def test_nuisance_counts_in_presence_and_waste_in_absence_only():
    # q of the gaps are stillness, exponential with mean m; absences are long. Waste only with nobody there.
    q, m, c = 0.9, 60.0, 600.0
    best_s, least, false_off = OPTIMAL_TIME_OUT.expected["presence"]
    still = -m * np.log(1 - QUANTILES)
    candidates = best_s * np.geomspace(0.5, 2.0, 401)

    false_offs, _ = expiries_and_lit_s(still, candidates)
    cost = c * q * false_offs / len(still) + (1 - q) * candidates

    assert candidates[cost.argmin()] == pytest.approx(best_s, rel=0.01)
    assert cost.min() == pytest.approx(least, rel=0.0005)
    at_best, _ = expiries_and_lit_s(still, np.array([best_s]))
    assert q * at_best[0] / len(still) == pytest.approx(false_off, rel=0.001)

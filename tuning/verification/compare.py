"""Draws → figures with 90 % intervals, predicted against realised, and how sure they are in the terms of measurement and verification."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuning.motion import Floats
from tuning.verification.controls import Drift
from tuning.verification.normalise import Carried, Week
from tuning.verification.results import Compared, Estimate

LOW, HIGH = 0.05, 0.95
Z_90 = 1.645
"""A 90 % interval is so many standard errors to either side (normal distribution)."""


def estimate(draws: Floats, value: float | None = None) -> Estimate:
    """Estimate with its 90 % interval; the first draw is the log itself and does not count in the interval."""
    low, high = np.quantile(draws[1:], [LOW, HIGH])
    middle = float(draws[0]) if value is None else value
    return Estimate(middle, min(float(low), middle), max(float(high), middle))


@dataclass(frozen=True)
class Prices:
    """What a false-off [currency] and a kWh [currency] cost."""

    per_false_off: float
    per_kwh: float


def compared(carried: Carried, drift: Drift | None, prices: Prices) -> dict[str, Compared]:
    """Put every quantity together.

    Parameters
    ----------
    carried
        Weeks at the same conditions.
    drift
        What changed by itself in rooms left alone; ``None`` without any.
    prices
        Of a false-off and of energy.
    """

    def of(week: Week) -> dict[str, Floats]:
        cost = week.cost(prices.per_false_off, prices.per_kwh)
        return {
            "false_offs": week.false_offs,
            "wasted_on_h": week.wasted_on_h,
            "energy_kwh": week.energy_kwh,
            "cost": cost,
        }

    before, after, predicted = of(carried.before), of(carried.after), of(carried.predicted)
    logged_before, logged_after = of(carried.logged_before), of(carried.logged_after)
    by_controls = _by_controls(carried, drift, prices)
    result = {}
    for name in before:
        b, a, p = before[name], after[name], predicted[name]
        # The prediction and what happened before share their days.
        error = a - p
        low, high = np.quantile(error[1:], [LOW, HIGH])
        result[name] = Compared(
            before=estimate(b),
            after=estimate(a),
            change=estimate(a - b),
            predicted=estimate(p),
            predicted_change=estimate(p - b),
            held=bool(low <= 0 <= high),
            by_controls=by_controls.get(name),
            logged_before=float(logged_before[name][0]),
            logged_after=float(logged_after[name][0]),
        )
    return result


def _by_controls(carried: Carried, drift: Drift | None, prices: Prices) -> dict[str, Estimate]:
    if drift is None:
        return {}
    b, a = carried.own_before, carried.own_after
    found = {}
    false = wasted = None
    if drift.false_offs is not None:
        false = a.false_offs - b.false_offs * drift.false_offs
        found["false_offs"] = estimate(false)
    if drift.wasted_on_h is not None:
        wasted = a.wasted_kwh - b.wasted_kwh * drift.wasted_on_h
        found["wasted_on_h"] = estimate(a.wasted_on_h - b.wasted_on_h * drift.wasted_on_h)
    if false is not None and wasted is not None:
        found["cost"] = estimate(false * prices.per_false_off + wasted * prices.per_kwh)
    return found


def half_width(e: Estimate) -> float:
    """Half of the 90 % interval."""
    return (e.high - e.low) / 2


@dataclass(frozen=True)
class Precision:
    """How sure a change is.

    Attributes
    ----------
    at_90
        Half of the 90 % interval as a share of the change: IPMVP asks to state precision together with confidence.
    over_two_errors
        Whether the change exceeds twice its standard error (IPMVP, appendix B; from memory).
    under_half_at_68
        Whether the uncertainty at 68 % confidence is below half of the change (ASHRAE Guideline 14; seen second-hand).
    """

    at_90: float
    over_two_errors: bool
    under_half_at_68: bool


def precision_of(change: Estimate) -> Precision:
    """Say how sure a change is, taking the interval for that of a normal distribution."""
    error = half_width(change) / Z_90
    size = abs(change.value)
    if size <= 0:
        return Precision(float("inf"), over_two_errors=False, under_half_at_68=False)
    return Precision(half_width(change) / size, over_two_errors=size > 2 * error, under_half_at_68=error < 0.5 * size)

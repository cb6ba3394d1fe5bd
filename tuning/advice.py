"""Rates and a choice → what a person reads: the delay curve with its intervals, the settings to set, and how sure they are of them."""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy.special import gammaincinv

from tuning.decision import Choice, break_even_s, cheapest, within_ceiling
from tuning.gaps import Bools
from tuning.joint import Surface, cheapest_pair
from tuning.motion import Floats
from tuning.rates import Rates
from tuning.results import DelayPoint, LightResult, PerWeek, Sensitivity, Settings, Sureness
from tuning.schemas import DRAWS, PAIRS
from tuning.site import Building

WORTH_SHARE = 0.1
"""Share of the light's energy that a lower target must save. Chosen by us."""
TARGET_STEP = 0.05
"""A target nearer than a twentieth to the one in force is the same target. Chosen by us: no eye sees it."""


def target_to_set(now: float | None, light: LightResult, *, cheapest_lx: float | None) -> float | None:
    """Target to set. [lx].

    An uncalibrated one is shown but not set, because it might leave the task in the dark.

    Parameters
    ----------
    now
        The one in force. [lx]
    light
        What is known of the light.
    cheapest_lx
        The target of the cheapest pair of hold-off and target; ``None`` where none keeps the task lit. [lx]
    """
    new = cheapest_lx
    if new is None:
        return now
    if now is None:
        return new
    if not light.calibrated or abs(new - now) <= TARGET_STEP * now:
        return now
    energy = {p.target_lx: p.energy_kwh for p in light.target_curve}
    if new < now and energy.get(now, 0.0) - energy.get(new, 0.0) < WORTH_SHARE * energy.get(now, 0.0):
        # A lower target that saves next to nothing is not worth a darker room by mistake.
        return now
    return new


def settings_to_set(current: Settings, choice: Choice, rates: Rates, target_lx: float | None) -> Settings:
    """Settings to recommend: the ones in force unless something is to change."""
    hold_off_s = (
        current.hold_off_s if choice.index == in_force_index(current, rates) else float(rates.hold_off_s[choice.index])
    )
    if choice.decision in ("keep", "more-data", "fix-first"):
        return current
    return Settings(hold_off_s, target_lx, current.mode)


def cheapest_target(
    pairs: Surface | None, light: LightResult, allowed: Bools, building: Building, *, index: int
) -> float | None:
    """Target of the pair of hold-off and target that costs least, among the targets that keep the task lit. [lx].

    Parameters
    ----------
    pairs
        Every pair; without it, the smallest target that keeps the task lit.
    light
        What is known of the light.
    allowed
        Hold-offs that may be set.
    building
        For prices.
    index
        Hold-off at which the energy for people is counted.
    """
    least = light.recommended_target_lx
    if pairs is None or least is None:
        return least
    targets = np.array([p.target_lx for p in light.target_curve if p.target_lx >= least and p.settable])
    expected = pairs.expected(targets)
    cost = expected.cost(per_false_off=building.cost_per_false_off, price=building.electricity_price, index=index)
    return float(targets[cheapest_pair(cost, allowed)[1]])


def used_kwh(now: Rates, then: Rates, index: int) -> float:
    """Energy that another target saves a week while somebody is there. [kWh]."""
    now_kwh, then_kwh = (float((r.energy_kwh - r.wasted_kwh)[:, index].mean()) for r in (now, then))
    return now_kwh - then_kwh


def in_force_index(current: Settings, rates: Rates) -> int | None:
    """Index of the settings in force among the candidates."""
    return None if current.hold_off_s is None else nearest(rates.hold_off_s, current.hold_off_s)


def per_week(rates: Rates, cost: Floats, index: int) -> PerWeek:
    """Expected rates a week under one candidate."""
    return PerWeek(
        float(rates.false_offs[:, index].mean()),
        float(rates.wasted_on_h[:, index].mean()),
        float(rates.energy_kwh[:, index].mean()),
        float(cost[:, index].mean()),
    )


def _interval(draws: Floats) -> Floats:
    """90 % interval of each candidate, ``(2, candidates)``."""
    return np.asarray(np.quantile(draws[1:], [0.05, 0.95], axis=0))


def _rate_interval(draws: Floats, weeks: float) -> tuple[Floats, Floats]:
    """90 % intervals of long-run rates, no narrower than counting so few events in so many weeks allows (exact Poisson limits)."""
    low, high = _interval(draws)
    events = np.maximum(draws.mean(axis=0) * weeks, 0.0)
    # Less than one event in the whole log cannot be told from never.
    least = np.where(events >= 1, gammaincinv(events, 0.05) / weeks, 0.0)
    return np.minimum(low, least), np.maximum(high, gammaincinv(events + 1, 0.95) / weeks)


def delay_points(
    rates: Rates,
    cost: Floats,
    allowed: Bools,
    in_force_s: float,
    wide: Rates,
    wide_cost: Floats,
    usable_days: float,
) -> tuple[DelayPoint, ...]:
    """Delay curve for people and other programs.

    Parameters
    ----------
    rates, cost
        Per week, as the choice rests on them.
    allowed
        Which candidates may be recommended.
    in_force_s
        Hold-off in force; beyond it the curve is extrapolated. [s]
    wide, wide_cost
        The same with the doubt about who was there, for the 90 % intervals.
    usable_days
        Length of the log. [d]
    """
    rate, paid = rates.false_offs.mean(axis=0), cost.mean(axis=0)
    rate_low, rate_high = _rate_interval(wide.false_offs, max(usable_days / 7, 1e-6))
    wasted_low, wasted_high = _interval(wide.wasted_on_h)
    paid_low, paid_high = _interval(wide_cost)
    columns = {
        "false_offs": rate,
        "false_offs_low": np.minimum(rate_low, rate),
        "false_offs_high": np.maximum(rate_high, rate),
        "switch_offs": rates.switch_offs.mean(axis=0),
        "wasted_on_h": rates.wasted_on_h.mean(axis=0),
        "wasted_on_h_low": wasted_low,
        "wasted_on_h_high": wasted_high,
        "lit_h": rates.lit_h.mean(axis=0),
        "energy_kwh": rates.energy_kwh.mean(axis=0),
        "cost": paid,
        "cost_low": np.minimum(paid_low, paid),
        "cost_high": np.maximum(paid_high, paid),
    }
    return tuple(
        DelayPoint(
            hold_off_s=float(hold),
            basis="observed" if hold <= 1.02 * in_force_s else "extrapolated",
            allowed=bool(allowed[i]),
            **{name: float(column[i]) for name, column in columns.items()},
        )
        for i, hold in enumerate(rates.hold_off_s)
    )


def cheapest_hold_off_s(building: Building, rates: Rates, allowed: Bools) -> float:
    """Hold-off with the least expected cost among those allowed that keep to the ceiling on false-offs. [s]."""
    cost = rates.cost(per_false_off=building.cost_per_false_off, price=building.electricity_price).mean(axis=0)
    false_offs, ceiling = rates.false_offs.mean(axis=0), building.max_false_offs_per_week
    usable = within_ceiling(allowed, false_offs, rates.hold_off_s, ceiling=ceiling)
    return float(rates.hold_off_s[usable][cheapest(cost[usable])])


def sensitivity(building: Building, rates: Rates, usable: Bools) -> Sensitivity:
    """How the cheapest setting moves with the prices, among those that may be recommended."""
    base, price = building.cost_per_false_off, building.electricity_price
    false_offs, wasted = rates.false_offs.mean(axis=0), rates.wasted_kwh.mean(axis=0)
    holds, index = rates.hold_off_s[usable], np.flatnonzero(usable)

    def best(per_false_off: Floats | float, per_kwh: Floats | float) -> Floats:
        return holds[cheapest(np.outer(per_false_off, false_offs[index]) + np.outer(per_kwh, wasted[index]))]

    factors = np.array([0.25, 0.5, 1.0, 2.0, 4.0])
    chosen = best(base, price)
    scan = np.geomspace(0.01, 100, 161) * base if base > 0 else np.empty(0)
    picks = best(scan, price)
    lower = scan[(scan < base) & (picks != chosen)]
    upper = scan[(scan > base) & (picks != chosen)]
    return Sensitivity(
        by_false_off_cost=_pairs(factors * base, best(factors * base, price)),
        by_price=_pairs(factors * price, best(base, factors * price)),
        flips_at_cost=(float(lower[-1]) if len(lower) else None, float(upper[0]) if len(upper) else None),
        break_even_s=break_even_s(base, rates.power_wasted_w, price),
    )


def _pairs(prices: Floats, holds: Floats) -> tuple[tuple[float, float], ...]:
    return tuple(zip(prices.tolist(), holds.tolist(), strict=True))


def draws_frame(rates: Rates) -> pl.DataFrame:
    """Keep the resamples of every candidate, as DRAWS."""
    wide = rates.doubted()
    columns = {
        "false_offs": rates.false_offs,
        "wasted_kwh": rates.wasted_kwh,
        "false_offs_wide": wide.false_offs,
        "wasted_kwh_wide": wide.wasted_kwh,
    }
    by_candidate = {n: np.ascontiguousarray(np.broadcast_to(v, rates.false_offs.shape).T) for n, v in columns.items()}
    return pl.DataFrame({"hold_off_s": rates.hold_off_s, **by_candidate}).cast(dict(DRAWS))  # type: ignore[arg-type]


def pairs_frame(pairs: Surface | None, light: LightResult) -> pl.DataFrame | None:
    """Keep the expected rates of every pair of hold-off and target, as PAIRS; ``None`` where no pair is known."""
    if pairs is None:
        return None
    targets = np.array([p.target_lx for p in light.target_curve])
    found, hold_off_s = pairs.expected(targets), pairs.rates.hold_off_s
    names = ("false_offs", "wasted_on_h", "wasted_kwh", "energy_kwh")
    columns = {name: getattr(found, name).ravel() for name in names}
    pair = {"hold_off_s": np.repeat(hold_off_s, len(targets)), "target_lx": np.tile(targets, len(hold_off_s))}
    return pl.DataFrame(pair | columns, schema=PAIRS)


def sureness(cost: Floats, wide_cost: Floats, current: int | None, index: int) -> Sureness | None:
    """Say how sure a change is to pay; ``None`` where nothing changes or nothing is in force."""
    if current is None or current == index:
        return None
    gain = wide_cost[1:, current] - wide_cost[1:, index]
    low, high = np.quantile(gain, [0.05, 0.95])
    return Sureness(float((cost[:, current] > cost[:, index]).mean()), float(low), float(high))


def nearest(values: Floats, wanted: float) -> int:
    """Index of the value nearest to the one wanted."""
    return int(np.argmin(np.abs(values - wanted)))

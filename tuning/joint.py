"""Hold-off and target illuminance chosen together: what every pair of them would have brought.

A lower target makes light for nobody cheaper, and cheaper light for nobody pays for a longer hold-off; so the two settings belong to one
choice. What another target changes in a gap depends on the gap only by the light that the detector sees without the channel's own lamps.
Gaps are therefore collected by day and by that light, every hold-off is evaluated once per collection (exactly, as the delay curve is),
and a target enters as a factor on the collections. At the target in force nothing is modelled: its column is what the log shows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from tuning.circumstances import Circumstances
from tuning.delay_curve import by_day
from tuning.gaps import Bools, Gaps
from tuning.light import LightSplit
from tuning.lit_time import Loop, neighbours_at
from tuning.motion import Floats, Ints
from tuning.power import power_of_output
from tuning.rates import Rates
from tuning.results import LightResult
from tuning.site import Channel
from tuning.stillness import Classified

LEVELS = 64
"""Collections of gaps by the light without the own lamps. Chosen by us: each holds a sixty-fourth of the lit gaps."""


@dataclass(frozen=True)
class Response:
    """How a channel's output answers target and daylight.

    Attributes
    ----------
    channel
        For control and power.
    k
        Its lamps at full output, in the detector's reading. [lx]
    loop
        How a dimming control behaved in the log.
    in_force_lx
        Target in force. [lx]
    """

    channel: Channel
    k: float
    loop: Loop
    in_force_lx: float

    def output(self, targets_lx: Floats, others_lx: Floats) -> Floats:
        """Output while switched on, 0…1, shape (len(others_lx), len(targets_lx)); 0 where daylight keeps the lamps off."""
        if self.channel.control == "switched":
            return (others_lx[:, None] < targets_lx[None, :]).astype(np.float64)
        return self.loop.output(targets_lx, others_lx, self.k)

    def watts(self, output: Floats) -> Floats:
        """Power at such outputs. [W]."""
        return power_of_output(100 * output, self.channel, self.channel.power_w)


def response_of(light: LightResult, channel: Channel) -> Response | None:
    """What is known of a channel's control; ``None`` where lamps or target in force are not known."""
    target_lx = channel.target_lx if channel.target_lx is not None else light.held_level_lx
    if not light.electric_lx_at_full or target_lx is None or not light.target_curve:
        return None
    loop = Loop(light.lowest_output or 0.0, light.held_level_lx, light.out_above)
    return Response(channel, light.electric_lx_at_full, loop, target_lx)


@dataclass(frozen=True)
class Surface:
    """Rates under every pair of hold-off and target.

    Sums over gaps by day, level of other light and candidate hold-off, shape (days, levels, candidates): ``empty_s`` lit time with nobody
    there [s], ``empty_ws`` its energy [Ws], ``lit_s`` and ``lit_ws`` the same with and without people; ``unlit_…`` the time at which
    daylight kept the lamps off. ``minding_s`` (days, levels) is the stillness of people who mind. ``level_lx`` is each level's light. [lx]
    """

    rates: Rates
    response: Response
    level_lx: Floats
    empty_s: Floats
    empty_ws: Floats
    lit_s: Floats
    lit_ws: Floats
    unlit_empty_s: Floats
    unlit_s: Floats
    minding_s: Floats

    def at(self, target_lx: float) -> Rates:
        """Rates of all candidate hold-offs under a target; those of the log itself at the target in force."""
        if target_lx == self.response.in_force_lx:
            return self.rates
        out = self.response.output(np.array([target_lx, self.response.in_force_lx]), self.level_lx)
        watts = self.response.watts(out)
        on, was_on = out[:, 0] > 0, out[:, 1] > 0
        # lit in the log though the model says daylight kept it off: the log is right, and the model says nothing of a change
        stays = on | ~was_on
        more_w = np.where(on & was_on, watts[:, 0] - watts[:, 1], 0.0)
        new, new_w = on & ~was_on, np.where(on & ~was_on, watts[:, 0], 0.0)
        rates, days = self.rates, self.rates.days
        off_w = self.response.channel.standby_w

        def weekly(kept: Floats) -> Floats:
            return days.weights @ kept / days.weeks / 3600.0

        def lasting(seconds: Floats, watt_s: Floats, unlit_s: Floats, out_w: float) -> tuple[Floats, Floats]:
            """Hours and watt-hours a week that are lit under the target."""
            hours = np.tensordot(seconds, stays.astype(float), (1, 0)) + np.tensordot(unlit_s, new.astype(float), (1, 0))
            energy = (
                np.tensordot(watt_s, stays.astype(float), (1, 0))
                + np.tensordot(seconds, np.where(stays, more_w, out_w), (1, 0))
                + np.tensordot(unlit_s, new_w, (1, 0))
            )
            return weekly(hours), weekly(energy)

        wasted_h, wasted_wh = lasting(self.empty_s, self.empty_ws, self.unlit_empty_s, 0.0)
        lit_h, lit_wh = lasting(self.lit_s, self.lit_ws, self.unlit_s, off_w)
        was_h, was_wh = weekly(self.lit_s.sum(axis=1)), weekly(self.lit_ws.sum(axis=1))
        moving_kwh = np.maximum(rates.lit_h - was_h, 0.0) * rates.power_wasted_w / 1000
        share = lit_wh / np.maximum(was_wh, 1e-9)
        energy = rates.energy_kwh + (lit_wh - was_wh) / 1000 + moving_kwh * (share - 1)
        energy -= off_w * np.maximum(lit_h - was_h, 0.0) / 1000  # what is newly lit takes no standby then
        kept = days.weights @ (self.minding_s * stays).sum(axis=1) / np.maximum(days.weights @ self.minding_s.sum(axis=1), 1e-9)
        false_offs = rates.false_offs * kept[:, None]
        return replace(
            rates,
            false_offs=false_offs,
            switch_offs=rates.switch_offs - rates.false_offs + false_offs,
            wasted_on_h=wasted_h,
            wasted_kwh=wasted_wh / 1000,
            lit_h=rates.lit_h + lit_h - was_h,
            energy_kwh=np.maximum(energy, 0.0),
            power_wasted_w=float(rates.power_wasted_w * wasted_wh[0].sum() / max(float(rates.wasted_kwh[0].sum()) * 1000, 1e-9)),
        )

    def cost(self, targets_lx: Floats, *, per_false_off: float, price: float, index: int) -> Floats:
        """Expected cost a week of every pair, shape (candidates, targets): nuisance, light for nobody, and light for people.

        Light for people counts at the candidate ``index`` whatever the hold-off: a person who is not left in the dark is no cost.
        """
        columns = []
        for target in targets_lx.tolist():
            rates = self.at(target)
            used = (rates.energy_kwh - rates.wasted_kwh)[:, index].mean()
            columns.append(rates.cost(per_false_off=per_false_off, price=price).mean(axis=0) + used * price)
        return np.stack(columns, axis=1)


def surface(
    gaps: Gaps, seen: Classified, around: Circumstances, rates: Rates, *, response: Response, others_lx: Floats
) -> Surface:
    """Collect the gaps for :class:`Surface`.

    Parameters
    ----------
    gaps, seen, around
        The channel's gaps, their classification and circumstances.
    rates
        Rates under the settings in force, with the days that they rest on.
    response
        How the channel answers a target.
    others_lx
        Light at the detector without the own lamps in each gap, NaN where not known. [lx]
    """
    known = np.isfinite(others_lx)
    usual = float(np.median(others_lx[known])) if known.any() else 0.0
    others = np.where(known, others_lx, usual)
    edges = np.unique(np.quantile(others, np.linspace(0, 1, LEVELS + 1)[1:-1]))
    level = np.searchsorted(edges, others, side="right")
    levels, days = len(edges) + 1, rates.days.weights.shape[1]
    key = rates.days.day * levels + level
    size = np.bincount(level, minlength=levels)
    level_lx = np.bincount(level, weights=others, minlength=levels) / np.maximum(size, 1)

    def lasting(weight: Floats) -> Floats:
        _, seconds = by_day(gaps.gap_s, rates.hold_off_s, weight, key, days * levels)
        return seconds.reshape(days, levels, -1)

    absent = np.clip(1.0 - seen.p_still, 0, 1)
    minding = np.bincount(key, weights=seen.p_still * around.minds * around.lit * gaps.gap_s, minlength=days * levels)
    return Surface(
        rates,
        response,
        level_lx,
        empty_s=lasting(absent * around.lit),
        empty_ws=lasting(absent * around.lit * around.power_w),
        lit_s=lasting(around.lit),
        lit_ws=lasting(around.lit * around.power_w),
        unlit_empty_s=lasting(absent * (1 - around.lit)),
        unlit_s=lasting(1 - around.lit),
        minding_s=minding.reshape(days, levels),
    )


def others_at(split: LightSplit, output: pl.DataFrame, daylight_lx: Floats, at_us: Ints, *, own_lx: float) -> Floats:
    """Daylight and other channels' lamps at the detector. [lx]; NaN where daylight is not known.

    Parameters
    ----------
    split
        The reading taken apart.
    output
        ``time``, ``value`` [%] of the channel.
    daylight_lx
        Daylight at the times given. [lx]
    at_us
        UTC epoch. [µs]
    own_lx
        The channel's own lamps at full output. [lx]
    """
    return daylight_lx + neighbours_at(split, output, own_lx, at_us)


def cheapest_pair(cost: Floats, allowed: Bools) -> tuple[int, int]:
    """Indices of the hold-off and the target that cost least together, among the hold-offs allowed."""
    open_ = np.where(allowed[:, None], cost, np.inf)
    hold, target = np.unravel_index(int(np.argmin(open_)), open_.shape)
    return int(hold), int(target)

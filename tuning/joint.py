"""Hold-off and target illuminance chosen together: what every pair of them would have brought.

A lower target makes light for nobody cheaper, and cheaper light for nobody pays for a longer hold-off; so the two settings belong to one
choice. What another target changes in a gap depends on the gap only by the light that the detector sees without the channel's own lamps.
Gaps are therefore collected by day and by that light, every hold-off is evaluated once per collection (exactly, as the delay curve is),
and a target enters as a factor on the collections. At the target in force nothing is modelled: its column is what the log shows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tuning.delay_curve import delay_cells
from tuning.gaps import Bools, Gaps, Rows
from tuning.light.circumstances import Circumstances
from tuning.light.lit_time import Loop
from tuning.motion import Floats
from tuning.power import power_of_output
from tuning.presence.stillness import Classified
from tuning.rates import Rates
from tuning.results import LightResult
from tuning.site import Channel

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
    loop = Loop(light.lowest_output or 0.0, light.held_level_lx, np.inf if light.out_above is None else light.out_above)
    return Response(channel, light.electric_lx_at_full, loop, target_lx)


@dataclass(frozen=True)
class _Change:
    """What targets change at each level of other light: whether the lamps stay on, are newly on, and by how much power [W]; (targets, levels)."""

    stays: Floats
    more_w: Floats
    new: Floats
    new_w: Floats


@dataclass(frozen=True)
class _Lit:
    """Lit time [s], its energy [Ws] and the time at which daylight kept the lamps off [s], shape (days, levels, candidates)."""

    lit_s: Floats
    lit_ws: Floats
    unlit_s: Floats

    def under(self, change: _Change, *, out_w: float) -> tuple[Floats, Floats]:
        """Lit time [s] and energy [Ws] under other targets, levels summed; lamps that are out take ``out_w`` and it is not counted twice."""
        seconds = change.stays @ self.lit_s + change.new @ self.unlit_s
        energy = (
            change.stays @ self.lit_ws
            + np.where(change.stays > 0, change.more_w, out_w) @ self.lit_s
            + (change.new_w - out_w * change.new) @ self.unlit_s
        )
        return seconds, energy

    def expected(self, per_day: Floats) -> _Lit:
        """The same with the days summed, each weighted."""
        parts = (np.tensordot(per_day, part, (0, 0)) for part in (self.lit_s, self.lit_ws, self.unlit_s))
        return _Lit(*parts)


@dataclass(frozen=True)
class Expected:
    """Expected rates a week of pairs of hold-off and target, each of shape (candidates, targets)."""

    target_lx: Floats
    false_offs: Floats
    wasted_on_h: Floats
    wasted_kwh: Floats
    energy_kwh: Floats

    def cost(self, *, per_false_off: float, price: float, index: int) -> Floats:
        """Cost of every pair: nuisance, light for nobody, and light for people.

        Light for people counts at the candidate ``index`` whatever the hold-off: that nobody is left in the dark is no cost.
        """
        used_kwh = (self.energy_kwh - self.wasted_kwh)[index]
        return self.false_offs * per_false_off + price * (self.wasted_kwh + used_kwh)


@dataclass(frozen=True)
class Surface:
    """Rates under every pair of hold-off and target.

    Attributes
    ----------
    rates
        Rates at the target in force.
    response
        How the channel answers a target.
    level_lx
        Light without the own lamps of each collection of gaps. [lx]
    empty, every
        Light with nobody there, and light with or without people.
    minding_s
        Stillness of people who mind the dark, shape (days, levels). [s]
    """

    rates: Rates
    response: Response
    level_lx: Floats
    empty: _Lit
    every: _Lit
    minding_s: Floats

    def _change(self, targets_lx: Floats) -> _Change:
        out = self.response.output(np.append(targets_lx, self.response.in_force_lx), self.level_lx).T
        watts = self.response.watts(out)
        on, was_on = out[:-1] > 0, out[-1] > 0
        new = on & ~was_on
        return _Change(
            # lit in the log though the model says that daylight kept it off: the log is right, and the model knows of no change
            stays=(on | ~was_on).astype(np.float64),
            more_w=np.where(on & was_on, watts[:-1] - watts[-1], 0.0),
            new=new.astype(np.float64),
            new_w=np.where(new, watts[:-1], 0.0),
        )

    def at(self, target_lx: float) -> Rates:
        """Rates of all candidate hold-offs under a target; those of the log itself at the target in force."""
        if target_lx == self.response.in_force_lx:
            return self.rates
        change, rates = self._change(np.array([target_lx])), self.rates
        off_w = self.response.channel.standby_w
        empty_h, empty_wh = (self._weekly(part[:, 0]) for part in self.empty.under(change, out_w=0.0))
        lit_h, lit_wh = (self._weekly(part[:, 0]) for part in self.every.under(change, out_w=off_w))
        was_h, was_wh = self._weekly(self.every.lit_s.sum(axis=1)), self._weekly(self.every.lit_ws.sum(axis=1))
        weights = rates.days.weights
        minds, minded = weights @ (self.minding_s @ change.stays[0]), weights @ self.minding_s.sum(axis=1)
        false_offs = rates.false_offs * (minds / np.maximum(minded, 1e-9))[:, None]
        return replace(
            rates,
            false_offs=false_offs,
            switch_offs=np.maximum(rates.switch_offs - rates.false_offs + false_offs, 0.0),
            wasted_on_h=empty_h,
            wasted_kwh=empty_wh / 1000,
            lit_h=rates.lit_h + lit_h - was_h,
            energy_kwh=self._energy(lit_wh, was_h, was_wh),
            power_wasted_w=float(empty_wh[0].sum() / max(empty_h[0].sum(), 1e-9)),
        )

    def _weekly(self, by_day: Floats) -> Floats:
        """Hours a week in every resample, from seconds a day."""
        days = self.rates.days
        return np.asarray(days.weights @ by_day / days.weeks / 3600.0)

    def _energy(self, lit_wh: Floats, was_h: Floats, was_wh: Floats) -> Floats:
        """Energy a week, with the time of movement itself. [kWh]."""
        rates = self.rates
        moving_kwh = np.maximum(rates.lit_h - was_h, 0.0) * rates.power_wasted_w / 1000
        more = (lit_wh - was_wh) / 1000 + moving_kwh * (lit_wh / np.maximum(was_wh, 1e-9) - 1)
        return np.maximum(rates.energy_kwh + more, 0.0)

    def expected(self, targets_lx: Floats) -> Expected:
        """Expected rates of every pair, as :meth:`at` would give them one target after the other, by products over all targets at once."""
        days, rates = self.rates.days, self.rates
        per_day = (days.weights / days.weeks).mean(axis=0) / 3600
        empty, every = self.empty.expected(per_day), self.every.expected(per_day)
        was_h, was_wh = every.lit_s.sum(axis=0), every.lit_ws.sum(axis=0)
        minding_s = days.weights @ self.minding_s
        minded = np.maximum(minding_s.sum(axis=1), 1e-9)
        moving_kwh = np.maximum(rates.lit_h.mean(axis=0) - was_h, 0.0) * rates.power_wasted_w / 1000
        now = tuple(
            part.mean(axis=0) for part in (rates.false_offs, rates.wasted_on_h, rates.wasted_kwh, rates.energy_kwh)
        )
        change = self._change(targets_lx)
        empty_h, empty_wh = empty.under(change, out_w=0.0)
        _, lit_wh = every.under(change, out_w=self.response.channel.standby_w)
        share = minding_s @ change.stays.T / minded[:, None]
        false_offs = share.T @ rates.false_offs / len(share)
        more_kwh = (lit_wh - was_wh) / 1000 + moving_kwh * (lit_wh / np.maximum(was_wh, 1e-9) - 1)
        then = (false_offs, empty_h, empty_wh / 1000, np.maximum(now[3] + more_kwh, 0.0))
        in_force = (targets_lx == self.response.in_force_lx)[:, None]
        return Expected(targets_lx, *(np.where(in_force, a, b).T for a, b in zip(now, then, strict=True)))


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

    def lit_in(rows: Rows, weight: Floats) -> _Lit:
        cells = delay_cells(gaps.gap_s[rows], rates.hold_off_s, key[rows], days * levels)
        on, watts = weight * lit[rows], around.power_w[rows]
        parts = (cells.expired_and_lit_s(part)[1] for part in (on, on * watts, weight - on))
        return _Lit(*(seconds.reshape(days, levels, -1) for seconds in parts))

    lit = around.lit
    # Only in some gaps, the long ones, there may have been nobody.
    open_ = np.flatnonzero(seen.p_still < 1)
    minding = np.bincount(key, weights=seen.p_still * around.minds * lit * gaps.gap_s, minlength=days * levels)
    return Surface(
        rates,
        response,
        level_lx,
        empty=lit_in(open_, 1.0 - seen.p_still[open_]),
        every=lit_in(slice(None), np.ones(len(gaps))),
        minding_s=minding.reshape(days, levels).astype(np.float64),
    )


def cheapest_pair(cost: Floats, allowed: Bools) -> tuple[int, int]:
    """Indices of the hold-off and the target that cost least together, among the hold-offs allowed."""
    open_ = np.where(allowed[:, None], cost, np.inf)
    hold, target = np.unravel_index(int(np.argmin(open_)), open_.shape)
    return int(hold), int(target)

"""A channel's week under any settings, read off what its analysis kept."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuning.results import ChannelResult, Settings


@dataclass(frozen=True)
class Week:
    """A week under some settings. Energy as measured in the log, moved by what the analysis says the settings change."""

    energy_kwh: float
    false_offs: float
    wasted_on_h: float
    held_share: float
    """Held hours against those under the settings in force."""


def same(a: Settings, b: Settings) -> bool:
    """Whether hold-off and target are the same; what another mode saves is no part of the weekly rates."""
    return a.hold_off_s == b.hold_off_s and a.target_lx == b.target_lx


def week_now(c: ChannelResult) -> Week | None:
    """A week as the log shows it; ``None`` without motion."""
    if c.time_use is None:
        return None
    now = c.current_rates
    if now is None:
        # Nothing switches off: nobody is left in the dark, and all light without people is waste.
        return Week(c.time_use.energy_kwh, 0.0, max(c.time_use.lit_h - c.time_use.occupied_h, 0.0), 1.0)
    return Week(c.time_use.energy_kwh, now.false_offs, now.wasted_on_h, 1.0)


def week_under(c: ChannelResult, settings: Settings) -> Week | None:
    """A week under other settings; ``None`` where the analysis cannot tell.

    Parameters
    ----------
    c
        The channel; its frames are not needed.
    settings
        Hold-off [s] and target [lx]. Between candidates of the curves values are read along the logarithm of the hold-off and along the target.
    """
    now = week_now(c)
    if now is None or same(settings, c.current):
        return now
    held = _held_share(c, settings)
    new = c.recommended_rates if same(settings, c.recommended) else None
    if new is not None:
        before = c.current_rates.energy_kwh if c.current_rates else None
        energy = new.energy_kwh if before is None else now.energy_kwh + new.energy_kwh - before
        return Week(max(energy, 0.0), new.false_offs, new.wasted_on_h, held)
    if not c.delay_curve or settings.hold_off_s is None or c.current.hold_off_s is None:
        return None
    hold = np.log([p.hold_off_s for p in c.delay_curve])
    both = np.log([settings.hold_off_s, c.current.hold_off_s])
    if both.min() < hold[0] - 1e-9 or both.max() > hold[-1] + 1e-9:
        return None
    energy, old_energy = np.interp(both, hold, [p.energy_kwh for p in c.delay_curve])
    target = _target_kwh(c, settings)
    if target is None:
        return None
    return Week(
        max(now.energy_kwh + float(energy - old_energy) + target, 0.0),
        float(np.interp(both[0], hold, [p.false_offs for p in c.delay_curve])),
        float(np.interp(both[0], hold, [p.wasted_on_h for p in c.delay_curve])),
        held,
    )


def _held_share(c: ChannelResult, settings: Settings) -> float:
    if not c.delay_curve or settings.hold_off_s is None or c.current.hold_off_s is None:
        return 1.0
    hold = np.log([p.hold_off_s for p in c.delay_curve])
    new, old = np.interp(np.log([settings.hold_off_s, c.current.hold_off_s]), hold, [p.lit_h for p in c.delay_curve])
    return float(new / old) if old > 0 else 1.0


def _target_kwh(c: ChannelResult, settings: Settings) -> float | None:
    """What the target changes in a week [kWh]; ``None`` where no curve says."""
    if settings.target_lx == c.current.target_lx:
        return 0.0
    curve = c.light.target_curve
    if not curve or settings.target_lx is None or c.current.target_lx is None:
        return None
    lux = [p.target_lx for p in curve]
    both = np.array([settings.target_lx, c.current.target_lx])
    if both.min() < lux[0] or both.max() > lux[-1]:
        return None
    new, old = np.interp(both, lux, [p.energy_kwh for p in curve])
    return float(new - old)


def worth_of(c: ChannelResult, settings: Settings, *, price: float) -> tuple[float, float | None]:
    """What settings save a week against those in force, in the site's currency, and half of its 90 % range (``None`` where not known).

    Parameters
    ----------
    c
        The channel.
    settings
        Hold-off [s] and target [lx].
    price
        Of electricity, per kWh.
    """
    if same(settings, c.current) or c.current_rates is None:
        return 0.0, 0.0
    if same(settings, c.recommended):
        if c.recommended.hold_off_s == c.current.hold_off_s:
            # The target's part is taken as sure, as in the list of rooms.
            return c.worth_per_week, 0.0
        return c.worth_per_week, None if c.sure is None else (c.sure.saving_high - c.sure.saving_low) / 2
    if week_under(c, settings) is None:
        return 0.0, None
    hold = np.log([p.hold_off_s for p in c.delay_curve])
    both = np.log([settings.hold_off_s or 1.0, c.current.hold_off_s or 1.0])
    new, old = np.interp(both, hold, [p.cost for p in c.delay_curve])
    return float(old - new) - (_target_kwh(c, settings) or 0.0) * price, None

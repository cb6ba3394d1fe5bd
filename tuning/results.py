"""What the analysis hands out: frozen, with units in the names. Nothing here computes."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Any, Literal

import polars as pl

Severity = Literal["info", "warning", "blocking"]
Decision = Literal["change", "keep", "trial", "more-data", "fix-first"]
Basis = Literal["observed", "extrapolated"]


@dataclass(frozen=True)
class Finding:
    """Something a person should know, with the evidence and what to do.

    ``evidence`` holds plain JSON values; times as ISO 8601 UTC under the key ``times``.
    """

    code: str
    severity: Severity
    message: str
    evidence: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Settings:
    """What a technician sets. ``target_lx`` in the detector's own reading. [s, lx]."""

    hold_off_s: float | None
    target_lx: float | None
    mode: str


@dataclass(frozen=True)
class PerWeek:
    """Rates per week of 7 days over usable time."""

    false_offs: float
    wasted_on_h: float
    energy_kwh: float
    cost: float


@dataclass(frozen=True)
class DelayPoint:
    """The delay curve at one candidate hold-off; ``_low``/``_high`` bound a 90 % interval of the long-run rate."""

    hold_off_s: float
    false_offs: float
    false_offs_low: float
    false_offs_high: float
    switch_offs: float
    wasted_on_h: float
    wasted_on_h_low: float
    wasted_on_h_high: float
    lit_h: float
    energy_kwh: float
    cost: float
    cost_low: float
    cost_high: float
    basis: Basis
    allowed: bool = True


@dataclass(frozen=True)
class TargetPoint:
    """The target curve at one candidate target. Shares are of lit occupied time, 0…1."""

    target_lx: float
    energy_kwh: float
    under_lit_share: float
    over_lit_share: float
    mean_power_w: float = 0.0
    """Mean power in lit occupied time."""
    settable: bool = True
    """Whether the detector can be set to it."""


@dataclass(frozen=True)
class WantedLevel:
    """What people chose when they asked for another level: the 10th, 50th and 90th percentile at the task. [lx]."""

    ups: int
    downs: int
    detector_lx: float
    task_lx: float
    task_low_lx: float
    task_high_lx: float


@dataclass(frozen=True)
class LightResult:
    """The split of the reading, and the target that keeps the task lit.

    Attributes
    ----------
    electric_lx_at_full, electric_low, electric_high
        The channel's own lamps at full output, in the detector's reading, with a 90 % interval. [lx]
    steps
        How many switching or dimming steps it rests on.
    neighbours
        Contribution of the room's other channels at full output to this reading. [lx]
    task_per_daylight, task_per_electric
        Task illuminance per lux at the detector, with relative standard errors ``…_spread``.
    calibrated
        Whether spot readings tie the detector's reading to the task.
    wanted
        What people asked for by pressing, where they did.
    months, yearly_kwh
        Frame ``month``, ``daylight_lx``, ``under_lit_share``, ``energy_kwh`` of a year under the recommended target, and the year's energy.
    typical_day
        Frame ``minute`` of the local day, ``daylight_lx``, ``daylight_low_lx``, ``daylight_high_lx``, ``lamps_lx``, ``days``: see
        :func:`tuning.light.typical_day.typical_day`.
    required_lx
        What the task needs, never below the safety floor of the use. [lx]
    lowest_output, held_level_lx, out_above
        How a dimming control behaved: its least output while lit (0…1), the reading that it held [lx], and the multiple of the target at
        which daylight put the lamps out, ``None`` where it never did.
    daylight
        Frame ``time``, ``reading_lx``, ``daylight_lx``, ``lamps_lx`` (change points). Empty without illuminance.
    """

    electric_lx_at_full: float | None = None
    electric_low: float | None = None
    electric_high: float | None = None
    steps: int = 0
    neighbours: dict[str, float] = field(default_factory=dict)
    task_per_daylight: float = 1.0
    task_per_electric: float = 1.0
    calibrated: bool = False
    recommended_target_lx: float | None = None
    target_low_lx: float | None = None
    target_high_lx: float | None = None
    target_curve: tuple[TargetPoint, ...] = ()
    task_lx_lit: pl.DataFrame | None = None
    daylight: pl.DataFrame | None = None
    findings: tuple[Finding, ...] = ()
    task_per_daylight_spread: float = 0.0
    task_per_electric_spread: float = 0.0
    wanted: WantedLevel | None = None
    months: pl.DataFrame | None = None
    yearly_kwh: float | None = None
    typical_day: pl.DataFrame | None = None
    required_lx: float | None = None
    lowest_output: float | None = None
    held_level_lx: float | None = None
    out_above: float | None = None


@dataclass(frozen=True)
class Sensitivity:
    """How the recommended hold-off moves when an assumption does.

    ``flips_at_cost`` is the cost of a false-off at which another setting becomes best, downward and upward; ``None``
    where it never does within a factor of 100.
    """

    by_false_off_cost: tuple[tuple[float, float], ...] = ()
    by_window_s: tuple[tuple[float, float], ...] = ()
    by_price: tuple[tuple[float, float], ...] = ()
    flips_at_cost: tuple[float | None, float | None] = (None, None)
    break_even_s: float | None = None


@dataclass(frozen=True)
class Sureness:
    """How sure a change of hold-off is to pay: share of resampled days in which it does, and a 90 % interval of its saving a week."""

    p_better: float
    saving_low: float
    saving_high: float


@dataclass(frozen=True)
class TimeUse:
    """What the log itself shows of a channel's time and energy, per week of 7 days over usable time; see :mod:`tuning.time_use`.

    Attributes
    ----------
    held_h
        The detector asked for light: movement, and the hold-off in force after it. [h]
    lit_h
        The light was on; as held where no output was logged. [h]
    occupied_h, needed_h
        Expected time with somebody there, and of that the time in which daylight alone did not do. [h]
    energy_kwh, energy_basis
        Energy, and whether it was ``metered``, follows from the logged ``output``, or from ``hold-off`` and load alone.
    dark_s
        Mean time that a false-off left somebody in the dark. [s]; ``None`` where none was seen.
    week
        Frame ``hour`` (0…167 from Monday midnight, local), ``covered_h`` in the whole log, and ``held``, ``lit``, ``occupied``, ``needed`` as
        shares of it, 0…1.
    """

    held_h: float
    lit_h: float
    occupied_h: float
    needed_h: float
    energy_kwh: float
    energy_basis: Literal["metered", "output", "hold-off"]
    dark_s: float | None = None
    week: pl.DataFrame | None = None


@dataclass(frozen=True)
class Terms:
    """What bound the choice of a hold-off, beside the prices.

    Attributes
    ----------
    in_force_s
        Hold-off in force, ``None`` where nothing switches off. [s]
    ceiling
        Most false-offs a week that may be expected, if any.
    visit_cost
        What a visit costs, in the site's currency.
    motions
        Movements in the log.
    blocked
        Whether a fault must be mended first.
    reach_s
        Longest hold-off that the log foretells, ``None`` where it foretells all. [s]
    due
        Whether somebody changes something else in the room anyway.
    """

    in_force_s: float | None
    ceiling: float | None
    visit_cost: float
    motions: int
    blocked: bool
    reach_s: float | None = None
    due: bool = False


@dataclass(frozen=True)
class ModeAdvice:
    """A week under manual-on beside one under auto-on, under the hold-off in force; intervals of 90 % by resampled days.

    Attributes
    ----------
    recommended
        The mode to set.
    fits, allowed
        Whether manual-on fits the room's use, and whether the code that holds there allows it.
    switch_ons, unneeded, presses
        Switch-ons of today, those of them that nobody needed, and presses under manual-on, a week.
    saved_kwh, worth
        Energy that manual-on saves a week, and what that is worth less the presses, in the site's currency.
    passers, moments, bright
        The unneeded switch-ons by kind, a week: nobody stayed at all, somebody stayed for moments only, daylight would have done.
    presses_cost
        What the presses cost people a week, in the site's currency.
    """

    recommended: str
    fits: bool
    allowed: bool
    switch_ons: float
    unneeded: float
    presses: float
    presses_interval: tuple[float, float]
    saved_kwh: float
    saved_kwh_interval: tuple[float, float]
    worth: float
    worth_interval: tuple[float, float]
    passers: float = 0.0
    moments: float = 0.0
    bright: float = 0.0
    presses_cost: float = 0.0


@dataclass(frozen=True)
class ChannelResult:
    """Everything that is known and advised about one channel."""

    room: str
    channel: str
    room_name: str
    use: str
    control: str
    load_w: float
    start: dt.datetime | None
    end: dt.datetime | None
    days: float
    usable_days: float
    current: Settings
    observed_hold_off_s: float | None
    recommended: Settings
    decision: Decision
    reasons: tuple[str, ...]
    current_rates: PerWeek | None
    recommended_rates: PerWeek | None
    delay_curve: tuple[DelayPoint, ...]
    light: LightResult
    findings: tuple[Finding, ...]
    sensitivity: Sensitivity = Sensitivity()
    target_saving: float = 0.0
    """What the recommended target saves a week against the one in force, in the site's currency."""
    trial_days: int | None = None
    cost_per_false_off: float | None = None
    """What a false-off of this channel costs: its own price, else the building's."""
    mode: ModeAdvice | None = None
    """``None`` where nothing can be said about the mode."""
    motions: pl.DataFrame | None = None
    """MOTIONS of this channel, for pictures."""
    gaps: pl.DataFrame | None = None
    """GAPS plus ``p_still`` and ``p_minding``."""
    switch_offs: pl.DataFrame | None = None
    episodes: pl.DataFrame | None = None
    output: pl.DataFrame | None = None
    """``time``, ``output_pct`` change points, for pictures."""
    covered_us: tuple[tuple[int, int], ...] = ()
    """Stretches in which the motion log counts, UTC epoch. [µs]"""
    draws: pl.DataFrame | None = None
    """DRAWS: what the resampled days say of every candidate, so that other prices can be tried without the log."""
    pairs: pl.DataFrame | None = None
    """PAIRS: what is expected of every hold-off under every target; ``None`` where the log cannot tell what another target changes."""
    terms: Terms | None = None
    """What the choice was bound by, so that it can be made again at other prices."""
    cost_at_target: tuple[float, ...] = ()
    """Expected cost a week of each candidate of the delay curve under the recommended target, where that differs from the one in force."""
    sure: Sureness | None = None
    time_use: TimeUse | None = None
    """What share of the time the channel was lit, occupied and needed; ``None`` without motion."""
    daily: pl.DataFrame | None = None
    """DAILY of :mod:`tuning.watching`: what each day says, so that drift can be told when more days have come."""

    @property
    def worth_per_week(self) -> float:
        """What the recommendation saves a week against the current settings, in the site's currency."""
        if self.current_rates is None or self.recommended_rates is None:
            return 0.0
        return self.current_rates.cost - self.recommended_rates.cost + self.target_saving


@dataclass(frozen=True)
class Analysis:
    """The whole building."""

    site: str
    currency: str
    time_zone: str
    generated: dt.datetime
    version: str
    channels: tuple[ChannelResult, ...]
    findings: tuple[Finding, ...] = ()
    cost_per_false_off: float = 0.0
    electricity_price: float = 0.0

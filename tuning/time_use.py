"""Motions, output and power → what share of the time a channel was held on, lit, occupied and needed, and the energy it took.

Counted from the log as it stands, over the time in which the log can be trusted, by the hour of the local week; no candidate is tried
and nothing is resampled. Who was there is an expectation: movement counts whole, a pause by the probability that somebody kept still
through it, spread evenly over the pause.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from tuning.gaps import Gaps
from tuning.motion import US, Floats, Ints, MotionLog, times_us
from tuning.power import power_of_output
from tuning.results import TimeUse
from tuning.site import Channel

STEP_US = 1800 * US
"""Time is cut at every half hour, so that it falls into one hour of the week also where the zone is half an hour off."""
WEEK_H = 168
METERED_SHARE = 0.5
"""A power series that tells of less than half of the usable time is not taken for the channel's meter. Chosen by us."""


@dataclass(frozen=True)
class _Pieces:
    """The log cut into pieces that lie in one half hour and are trusted or not. ``counted`` is 1 where trusted, ``length_s`` 0 elsewhere."""

    bounds_us: Ints
    counted: Floats

    @property
    def length_s(self) -> Floats:
        return np.diff(self.bounds_us) / US * self.counted

    def seconds(self, begin_us: Ints, *parts: tuple[Floats, Floats | float]) -> tuple[Floats, ...]:
        """Weighted seconds of disjoint, sorted stretches in each piece, for each of several pairs of lengths [s] and weights."""
        if len(begin_us) == 0:
            return tuple(np.zeros(len(self.counted)) for _ in parts)
        begun = np.searchsorted(begin_us, self.bounds_us, side="right")
        last = np.maximum(begun - 1, 0)
        since_s = (self.bounds_us - begin_us[last]) / US
        found = []
        for length_s, weight in parts:
            # Of the stretch that a bound cuts, what lies beyond it is not done yet.
            ahead_s = np.maximum(length_s[last] - since_s, 0.0) * (
                weight if isinstance(weight, float) else weight[last]
            )
            until = np.where(begun > 0, np.cumsum(weight * length_s)[last] - ahead_s, 0.0)
            found.append(np.diff(until) * self.counted)
        return tuple(found)

    def of_series(self, series: pl.DataFrame, value: Floats) -> Floats:
        """Seconds times value, where each value stands until the next row and the last to the end of the log."""
        t = times_us(series)
        length_s = np.diff(t, append=max(int(self.bounds_us[-1]), int(t[-1]))) / US
        return self.seconds(t, (length_s, value))[0]


def time_use(
    motion: MotionLog,
    gaps: Gaps,
    *,
    hold_off_s: Floats,
    p_still: Floats,
    minds: Floats,
    output: pl.DataFrame,
    power: pl.DataFrame,
    channel: Channel,
    zone: ZoneInfo,
    switch_offs: pl.DataFrame | None = None,
) -> TimeUse | None:
    """Count a channel's hours and energy.

    Parameters
    ----------
    motion, gaps
        Movement and the pauses in it.
    hold_off_s
        Hold-off in force in each gap; infinite where nothing switches off. [s]
    p_still, minds
        Probability that somebody was there throughout each gap, and that a person would have minded the dark.
    output
        ``time``, ``value`` [%]; may be empty.
    power
        The channel's own metered series, ``time``, ``value`` [W]; may be empty.
    channel
        For the power at an output.
    zone
        The building's zone.
    switch_offs
        SWITCH_OFFS, for the time that false-offs left people in the dark.

    Returns
    -------
    ``None`` where no time is covered.
    """
    if motion.usable_days <= 0:
        return None
    pieces = _pieces(motion.covered_us)
    moving_us = motion.end_us - motion.start_us
    moving = moving_needed = np.zeros(len(pieces.counted))
    if moving_us.any():  # those of an event log are instants
        wanted = np.ones(len(motion.start_us))
        wanted[gaps.motion_before] = minds
        moving, moving_needed = pieces.seconds(motion.start_us, (moving_us / US, 1.0), (moving_us / US, wanted))
    held, occupied, needed = pieces.seconds(
        gaps.start_us, (np.minimum(gaps.gap_s, hold_off_s), 1.0), (gaps.gap_s, p_still), (gaps.gap_s, p_still * minds)
    )
    held, occupied, needed = held + moving, occupied + moving, needed + moving_needed
    lit = held if output.is_empty() else pieces.of_series(output, (output["value"].to_numpy() > 0).astype(float))
    energy_j, basis = _energy(pieces, channel, output, power, held)
    hours = WEEK_H / pieces.length_s.sum()  # seconds of the log → hours a week
    return TimeUse(
        held_h=float(held.sum() * hours),
        lit_h=float(lit.sum() * hours),
        occupied_h=float(occupied.sum() * hours),
        needed_h=float(needed.sum() * hours),
        energy_kwh=float(energy_j * hours / 1000),
        energy_basis=basis,
        dark_s=_dark_s(switch_offs),
        week=_week(pieces, {"held": held, "lit": lit, "occupied": occupied, "needed": needed}, zone),
    )


def _pieces(covered_us: Ints) -> _Pieces:
    first, last = int(covered_us[0, 0]), int(covered_us[-1, 1])
    steps = np.arange(first // STEP_US, last // STEP_US + 2, dtype=np.int64) * STEP_US
    bounds = np.unique(np.concatenate([steps, covered_us.ravel()]))
    middle = (bounds[1:] + bounds[:-1]) // 2
    at = np.searchsorted(covered_us[:, 0], middle, side="right") - 1
    inside = (at >= 0) & (middle < covered_us[np.maximum(at, 0), 1])
    return _Pieces(bounds, inside.astype(float))


def _energy(
    pieces: _Pieces, channel: Channel, output: pl.DataFrame, power: pl.DataFrame, held: Floats
) -> tuple[float, Literal["metered", "output", "hold-off"]]:
    """Energy in the time that counts [J], and what it rests on."""
    usable_s = float(pieces.length_s.sum())
    if len(power) > 1:
        metered_s = float(pieces.of_series(power, np.ones(len(power))).sum())
        if metered_s >= METERED_SHARE * usable_s:
            # What the meter missed is taken to have been as what it saw.
            return float(pieces.of_series(power, power["value"].to_numpy()).sum()) * usable_s / metered_s, "metered"
    if not output.is_empty():
        watts = power_of_output(output["value"].to_numpy(), channel, channel.power_w)
        before_s = usable_s - float(pieces.of_series(output, np.ones(len(output))).sum())
        return float(pieces.of_series(output, watts).sum()) + before_s * channel.standby_w, "output"
    on_s = float(held.sum())
    return on_s * channel.power_w + (usable_s - on_s) * channel.standby_w, "hold-off"


def _dark_s(switch_offs: pl.DataFrame | None) -> float | None:
    """Mean time from a false-off to the movement that ended it, each weighed by how likely it was one. [s]."""
    if switch_offs is None:
        return None
    known = switch_offs.drop_nulls(["resumed_after_s", "p_false"])
    weight = known["p_false"].to_numpy()
    if weight.sum() < 1:
        return None
    return float((weight * known["resumed_after_s"].to_numpy()).sum() / weight.sum())


def _week(pieces: _Pieces, seconds: dict[str, Floats], zone: ZoneInfo) -> pl.DataFrame:
    """Shares of the trusted time by hour of the local week."""
    local = pl.Series(pieces.bounds_us[:-1]).cast(pl.Datetime("us", "UTC")).dt.convert_time_zone(zone.key)
    hour = ((local.dt.weekday().cast(pl.Int64) - 1) * 24 + local.dt.hour()).to_numpy()
    length = np.bincount(hour, weights=pieces.length_s, minlength=WEEK_H)
    shares = {
        name: np.bincount(hour, weights=s, minlength=WEEK_H) / np.maximum(length, 1e-9) for name, s in seconds.items()
    }
    return pl.DataFrame({"hour": np.arange(WEEK_H), "covered_h": length / 3600, **shares})

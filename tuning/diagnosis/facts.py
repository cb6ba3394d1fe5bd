"""What a diagnosis looks at: one channel with all that the analysis has made of it so far."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from tuning.gaps import Gaps
from tuning.hold_off import HoldOffInForce, Lags
from tuning.light.split import LightSplit
from tuning.motion import US, Floats, Ints, MotionLog, times_us
from tuning.readings import RoomReadings
from tuning.site import Channel, Room
from tuning.stretches import number_of

NIGHT_FROM_H, NIGHT_TO_H = 22.0, 5.0
"""Hours in which a building of people who go home is empty. Chosen by us."""
UNKNOWN_HOLD_OFF_S = 1800.0
"""Stands in for a hold-off that is neither documented nor seen: the longest that detectors are usually set to (common practice, no source)."""


@dataclass(frozen=True)
class Facts:
    """One channel.

    Attributes
    ----------
    readings
        READINGS of the room, mended.
    reading
        ``time``, ``value`` [lx] of the detector that governs the channel; may be empty.
    output
        ``time``, ``value`` [%]; may be empty.
    presses_us
        Presses of the channel, UTC epoch. [µs]
    split
        The reading taken apart, where there is one that tells daylight.
    offset_us
        UTC offset of the building. [µs]
    span_us
        First and last time of the building's log. [µs]
    """

    name: str
    room: Room
    channel: Channel
    readings: RoomReadings
    reading: pl.DataFrame
    output: pl.DataFrame
    motion: MotionLog
    gaps: Gaps
    in_force: HoldOffInForce
    lags: Lags
    presses_us: Ints
    split: LightSplit | None
    offset_us: int
    span_us: tuple[int, int]

    @property
    def hold_s(self) -> float:
        """The hold-off in force, or what stands in for it. [s]."""
        held = self.in_force.latest_s
        return held if np.isfinite(held) else UNKNOWN_HOLD_OFF_S

    @property
    def weeks(self) -> float:
        """Usable time."""
        return max(self.motion.usable_days / 7, 0.1)

    @property
    def output_us(self) -> Ints:
        """Times of the output's rows."""
        return times_us(self.output)

    @property
    def output_pct(self) -> Floats:
        """Values of the output's rows."""
        return self.output["value"].to_numpy()

    def offs_us(self) -> Ints:
        """Moments at which the output went to zero."""
        on = self.output_pct > 0
        return self.output_us[1:][on[:-1] & ~on[1:]] if len(on) > 1 else np.empty(0, dtype=np.int64)

    def ons_us(self) -> Ints:
        """Moments at which the output left zero."""
        on = self.output_pct > 0
        return self.output_us[1:][~on[:-1] & on[1:]] if len(on) > 1 else np.empty(0, dtype=np.int64)


def local_day(t_us: Ints, offset_us: int) -> Ints:
    """Number of the local day that each time falls on."""
    return (t_us + offset_us) // (86_400 * US)


def local_days(t_us: Ints, offset_us: int) -> Ints:
    """Number of the local day that each of sorted times falls on, counted from the first."""
    first, last = (int(day) for day in local_day(t_us[[0, -1]], offset_us))
    return number_of(np.arange(first + 1, last + 1) * (86_400 * US) - offset_us, t_us)


def local_hour(t_us: Ints, offset_us: int) -> Floats:
    """Local hour of the day, 0 to 24."""
    return ((t_us + offset_us) % (86_400 * US)) / (3600 * US)


def value_in_force(t_us: Ints, value: Floats, at_us: Ints) -> Floats:
    """Value of a series at given times; NaN before its first row."""
    if len(t_us) == 0:
        return np.full(len(at_us), np.nan)
    index = np.searchsorted(t_us, at_us, side="right") - 1
    return np.where(index >= 0, value[np.maximum(index, 0)], np.nan)

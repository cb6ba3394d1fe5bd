"""Which days a room is held against: they begin anew with each change of settings that was set on site."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import polars as pl

from tuning.site import Room

REFERENCE_DAYS = 42
"""Days that are the reference where nobody says otherwise. Chosen by us: six weeks."""


@dataclass(frozen=True)
class ReferenceDays:
    """First reference day, and the day after the last. ``decided``: the local day on which settings were last set; ``None`` where never."""

    first: dt.date
    to: dt.date
    decided: dt.date | None = None

    def of(self, daily: Mapping[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
        """Leave out the days before the first."""
        return {name: frame.filter(pl.col("day") >= self.first) for name, frame in daily.items()}


def last_set(room: Room, zone: ZoneInfo) -> dt.date | None:
    """Local day on which a channel of a room was last set, by ``settings_history``; ``None`` where never."""
    days = [_day(c.from_, zone) for channel in room.channels.values() for c in channel.settings_history]
    return max(days, default=None)


def reference_days(room: Room, zone: ZoneInfo, *, log_from: dt.date) -> ReferenceDays:
    """Return the reference days of a room: the first six weeks after it was last set, or of the log where it never was.

    The day of the change counts on neither side. What changes within the reference days is not drift; in those weeks the change is
    verified (:mod:`tuning.verification`), against the days before it.

    Parameters
    ----------
    log_from
        The log's first local day.
    """
    decided = last_set(room, zone)
    first = log_from if decided is None else max(log_from, decided + dt.timedelta(days=1))
    return ReferenceDays(first, first + dt.timedelta(days=REFERENCE_DAYS), decided)


def _day(when: dt.date, zone: ZoneInfo) -> dt.date:
    if not isinstance(when, dt.datetime):
        return when
    return (when.astimezone(zone) if when.tzinfo else when).date()

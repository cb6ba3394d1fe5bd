"""A room's days → what has drifted since the reference days, in words."""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from tuning.watching.drift import Change, Series, find_change
from tuning.watching.statistics import EPOCH, STATISTICS, Kind, Statistic, day_of, series_of, watchable

FALSE_ALARMS = 1.0
"""False alarms a room and year that are put up with, over all that is watched in it."""


@dataclass(frozen=True)
class Drift:
    """Something that has changed.

    Attributes
    ----------
    channel
        Whose lamps it is; empty for what the room as a whole does.
    statistic, kind, label, unit
        What: a column of DAILY, what it tells of, and words.
    since, since_low, since_high
        First day after the change, with a 90 % interval.
    found
        Day whose log showed it.
    before, after, after_low, after_high
        Mean value before and after, the latter with a 90 % interval, in ``unit``.
    lasting
        Whether the last days are still so.
    message
        One or two sentences.
    first_found
        Day whose log first showed a drift of this statistic: earlier than ``found`` where that passed, and this one came later. ``None`` in what was
        stored before this was told.
    """

    channel: str
    statistic: str
    kind: Kind
    label: str
    unit: str
    since: dt.date
    since_low: dt.date
    since_high: dt.date
    found: dt.date
    before: float
    after: float
    after_low: float
    after_high: float
    lasting: bool
    message: str
    first_found: dt.date | None = None


@dataclass(frozen=True)
class Watched:
    """What is watched in a room, and what has drifted.

    Attributes
    ----------
    room
        Its key.
    reference_from, reference_to
        First reference day, and the day after the last.
    until
        The day after the last day that was looked at.
    statistics
        What is watched, in words.
    blind
        What cannot be watched, and why.
    false_alarms
        A room and year, over all of it.
    drifts
        The strongest kind first.
    """

    room: str
    reference_from: dt.date | None
    reference_to: dt.date
    until: dt.date | None
    statistics: tuple[str, ...]
    blind: tuple[str, ...]
    false_alarms: float
    drifts: tuple[Drift, ...]


def watch_room(
    room: str,
    daily: Mapping[str, pl.DataFrame],
    *,
    reference_to: dt.date,
    false_alarms: float = FALSE_ALARMS,
) -> Watched:
    """Look for drift in a room.

    Parameters
    ----------
    room
        Its key.
    daily
        DAILY of each of its channels. What is not a channel's own is taken from the first that has it.
    reference_to
        First day that is no reference day.
    false_alarms
        A room and year that are put up with, over all that is watched.

    Notes
    -----
    The rate is shared out over the statistics by their portions; where two go together, fewer alarms come than that.
    """
    listed = [(name, s) for s in STATISTICS for name in (daily if s.of_channel else list(daily)[:1])]
    series = {(name, s): series_of(s, daily[name], reference_to) for name, s in listed}
    seen = {key: x for key, x in series.items() if watchable(x, reference_to)}
    days: list[dt.date] = sorted(d for frame in daily.values() for d in frame["day"])
    found = []
    for (name, statistic), x in seen.items():
        change = find_change(
            x,
            reference_to=(reference_to - EPOCH).days,
            rate_per_year=false_alarms * statistic.portion / sum(s.portion for _, s in seen),
            rng=np.random.default_rng(zlib.crc32(f"{room}/{name}/{statistic.name}".encode())),
        )
        if change is not None:
            found.append(_drift(name if statistic.of_channel else "", statistic, change))
    return Watched(
        room=room,
        reference_from=days[0] if days else None,
        reference_to=reference_to,
        until=days[-1] + dt.timedelta(days=1) if days else None,
        statistics=tuple(_called(name, s, daily) for name, s in seen),
        blind=tuple(
            f"{_called(name, s, daily)}: {_why(x)}" for (name, s), x in series.items() if (name, s) not in seen
        ),
        false_alarms=false_alarms,
        drifts=tuple(sorted(found, key=lambda d: (not d.lasting, d.found))),
    )


def _called(name: str, statistic: Statistic, daily: Mapping[str, pl.DataFrame]) -> str:
    return f"{statistic.label} ({name})" if statistic.of_channel and len(daily) > 1 else statistic.label


def _why(x: Series) -> str:
    return "nothing in the log tells it" if len(x.day) == 0 else f"only {len(x.day)} days tell it so far"


def _drift(channel: str, statistic: Statistic, c: Change) -> Drift:
    before, after, low, high = (statistic.back(c.before + x) for x in (0.0, c.shift, c.shift_low, c.shift_high))
    drift = Drift(
        channel=channel,
        statistic=statistic.name,
        kind=statistic.kind,
        label=statistic.label,
        unit=statistic.unit,
        since=day_of(c.since),
        since_low=day_of(c.since_low),
        since_high=day_of(c.since_high),
        found=day_of(c.alarm),
        before=before,
        after=after,
        after_low=low,
        after_high=high,
        lasting=c.lasting,
        message="",
        first_found=day_of(c.first_alarm),
    )
    return _with_words(drift)


def _with_words(d: Drift) -> Drift:
    digits = 2 if d.unit == "times" else 0 if max(d.before, d.after) >= 20 else 1
    before, after, low, high = (f"{x:.{digits}f}" for x in (d.before, d.after, d.after_low, d.after_high))
    what = d.label[:1].upper() + d.label[1:] + (f" of {d.channel}" if d.channel else "")
    since = f"since {d.since.isoformat()}"
    if d.since_low != d.since_high:
        since += f" (between {d.since_low.isoformat()} and {d.since_high.isoformat()})"
    size = f"{before} → {after} {d.unit} (90 %: {low} to {high})"
    if d.before > 0 and d.statistic not in ("night_triggers", "lone_triggers"):
        size += f", {d.after / d.before - 1:+.0%}"
    past = "" if d.lasting else " The last days are as before again."
    return replace(d, message=f"{what} {since}: {size}.{past}{_TO_DO[d.statistic] if d.lasting else ''}")


_TO_DO = {
    "presence_h": " The room is used differently.",
    "visits": " The room is used differently.",
    "stillness_s": " People keep still for other times than when the hold-off was chosen.",
    "pauses_by_length": " People keep still for longer than when the hold-off was chosen, by more than this where many only pass through.",
    "lamp_lx": " Look for dirt, failed lamps or a changed load; work on wiring is for licensed electricians.",
    "night_triggers": " Look for what warms up or moves at night, or who comes.",
    "lone_triggers": " Look for sun, warm air, or people passing outside the door.",
}
"""What follows, by statistic."""

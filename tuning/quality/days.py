"""Local days: how much of each a series covers, and which a channel leaves out, and why."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from tuning.motion import US, Floats, Ints
from tuning.quality.outages import Outage

LEFT_OUT_H = 0.25
"""Less than a quarter of an hour of a day is not worth a line. Chosen by us."""


@dataclass(frozen=True)
class LeftOut:
    """Hours of one local day that count for nothing, and why."""

    day: dt.date
    hours: float
    why: str


def midnights(span_us: tuple[int, int], zone: ZoneInfo) -> tuple[list[dt.date], Ints]:
    """Local days of a span, and their bounds (one more). UTC epoch [µs]."""
    first = dt.datetime.fromtimestamp(span_us[0] / US, tz=zone).date()
    last = dt.datetime.fromtimestamp(span_us[1] / US, tz=zone).date()
    days = [first + dt.timedelta(days=i) for i in range((last - first).days + 1)]
    edges = [dt.datetime.combine(d, dt.time(), tzinfo=zone).timestamp() for d in [*days, last + dt.timedelta(days=1)]]
    return days, np.array([round(e) * US for e in edges], dtype=np.int64)


def hours_inside(intervals_us: Ints, edges_us: Ints) -> Floats:
    """Hours that disjoint, sorted intervals cover between neighbouring edges.

    Parameters
    ----------
    intervals_us
        ``(n, 2)``. [µs]
    edges_us
        Increasing. [µs]

    Examples
    --------
    >>> hour = 3600 * US
    >>> hours_inside(np.array([[0, 2 * hour], [5 * hour, 6 * hour]]), np.array([hour, 5 * hour, 10 * hour]))
    array([1., 1.])
    """
    if len(intervals_us) == 0:
        return np.zeros(len(edges_us) - 1)
    length = np.concatenate([[0], np.cumsum(intervals_us[:, 1] - intervals_us[:, 0])])
    index = np.searchsorted(intervals_us[:, 0], edges_us, side="right") - 1
    inside = np.maximum(index, 0)
    part = np.minimum(edges_us, intervals_us[inside, 1]) - intervals_us[inside, 0]
    until = np.where(index >= 0, length[inside] + part, 0)
    return np.diff(until) / US / 3600


def left_out(
    covered_us: Ints,
    span_us: tuple[int, int],
    zone: ZoneInfo,
    *,
    outages: Sequence[Outage] = (),
    dead_from_us: int | None = None,
) -> list[LeftOut]:
    """List the days, or parts of days, in which a channel's motion log cannot be trusted.

    Parameters
    ----------
    covered_us
        ``(n, 2)`` intervals that count. [µs]
    span_us
        First and last time of the building's log. [µs]
    zone
        The building's zone.
    outages
        Stretches in which nothing at all was logged.
    dead_from_us
        When the detectors died, if they did. [µs]
    """
    days, edges = midnights(span_us, zone)
    inside = np.clip(edges, *span_us)
    whole = np.diff(inside) / US / 3600
    missing = whole - hours_inside(covered_us, inside)
    silent = hours_inside(np.array([[o.start_us, o.end_us] for o in outages], dtype=np.int64).reshape(-1, 2), inside)
    found = []
    for i in np.flatnonzero(missing > LEFT_OUT_H):
        if dead_from_us is not None and edges[i + 1] > dead_from_us:
            why = "the detector is dead"
        elif len(covered_us) == 0 or edges[i + 1] <= covered_us[0, 0]:
            why = "the channel's log has not begun"
        elif edges[i] >= covered_us[-1, 1]:
            why = "the channel's log has ended"
        elif silent[i] > 0.5 * missing[i]:
            why = "nothing at all was logged"
        else:
            why = "the room's log has a gap"
        found.append(LeftOut(days[i], round(float(missing[i]), 1), why))
    return found

"""Numbers as people say them, in one place for all sentences, tables and pages."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from itertools import islice

from tuning.sentence import Sentence, say

MOST_TIMES = 8
"""So many times stand beside a finding; a person looks at some, not at all."""


def iso_times(t_us: Iterable[int]) -> list[str]:
    """Write the first few of some times, UTC epoch [µs], as ISO 8601."""
    return [dt.datetime.fromtimestamp(int(t) / 1e6, tz=dt.UTC).isoformat() for t in islice(t_us, MOST_TIMES)]


def duration(seconds: float) -> Sentence:
    """Write a hold-off as people say it.

    Examples
    --------
    >>> duration(600), duration(90), duration(45)
    ('10 min', '1.5 min', '45 s')
    """
    if seconds < 60:
        return say("{s:.0f} s", s=seconds)
    minutes = round(seconds / 60, 1)
    return say("{m:.0f} min" if minutes == int(minutes) else "{m:.1f} min", m=minutes)


def often(per_week: float) -> Sentence:
    """Write a weekly rate without false digits."""
    if per_week >= 10:
        return say("{x:.0f}", x=per_week)
    return say("{x:.1f}" if per_week >= 0.95 else "{x:.2f}", x=per_week)


def what_goes_off(control: str) -> str:
    """Name what a channel switches."""
    return "load" if control == "relay" else "light"


def what_is_on(control: str) -> str:
    """Name the running of what a channel switches."""
    return "running" if control == "relay" else "light"

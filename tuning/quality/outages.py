"""Times in which nothing at all was logged: the supply, the logger or its line was down.

Only series that keep coming (sampled, or with a heartbeat) tell: the silence of a log of changes means nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from tuning.logs import Logs, longest_wait_s, sampling_interval_s
from tuning.motion import US, Ints, merge_intervals
from tuning.schemas import TIME

LEAST_S = 300.0
"""Shorter silences of the whole building are no more than a slow logger. Chosen by us."""
WAITS = 3
"""Waits of the quickest series that must be missed. Chosen by us."""


@dataclass(frozen=True)
class Outage:
    """A stretch in which no series of the building has a row. UTC epoch [µs]."""

    start_us: int
    end_us: int

    @property
    def hours(self) -> float:
        """Length. [h]."""
        return (self.end_us - self.start_us) / US / 3600


def find_outages(logs: Logs) -> tuple[Outage, ...]:
    """Find the stretches in which a building's log falls silent as a whole."""
    alive: list[Ints] = []
    others: list[Ints] = []
    quickest_s = np.inf
    for number, quantity in logs.series.select("series", "quantity").iter_rows():
        t = logs.times_us(number)
        wait_s = _wait_s(logs, number, quantity)
        if wait_s is None:
            others.append(t)
            continue
        quickest_s = min(quickest_s, wait_s)
        limit = round(max(WAITS * wait_s, LEAST_S) * US)
        broken = np.flatnonzero(np.diff(t) > limit)
        alive.append(np.stack([np.append(t[:1], t[broken + 1]), np.append(t[broken], t[-1:])], axis=1))
    if not alive:
        return ()
    stacked = np.concatenate(alive)
    start, end = merge_intervals(stacked[:, 0], stacked[:, 1])
    silent = np.stack([end[:-1], start[1:]], axis=1)
    silent = silent[silent[:, 1] - silent[:, 0] > max(LEAST_S, WAITS * quickest_s) * US]
    slack_us = round((quickest_s + 90) * US)
    found = (_outage(others, int(a), int(b), slack_us) for a, b in silent)
    return tuple(outage for outage in found if outage is not None)


def _wait_s(logs: Logs, number: int, quantity: str) -> float | None:
    """How long a series is silent at most; ``None`` for what comes as people please."""
    times = pl.Series(logs.times_us(number)).cast(TIME)
    if quantity in ("motion", "occupied"):
        return sampling_interval_s(times) if (logs.values(number) <= 0).any() else None
    return None if quantity == "override" else longest_wait_s(times)


def _outage(others: list[Ints], start_us: int, end_us: int, slack_us: int) -> Outage | None:
    """The stretch between the last row of anything before it and the first after, or ``None`` if something was logged well inside.

    Between the last sample and the failure, and between the return and the next sample, other things are logged.
    """
    last, first = start_us, end_us
    for t in others:
        low, high = np.searchsorted(t, [start_us + slack_us, end_us - slack_us])
        if high > low:
            return None
        last = max(last, int(t[low - 1])) if low > 0 else last
        first = min(first, int(t[high])) if high < len(t) else first
    return Outage(last, first)

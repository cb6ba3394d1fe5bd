"""How many absences there are of each length: waiting times for whoever comes next.

People come to an empty room at a rate that changes with the hour and the day. Waiting for the next of them is then a mixture of exponential
times: absences are the rarer per second the longer they are, and no length of them stands out. So the long ones, of which nobody doubts
what they are, tell how many short ones to expect among the pauses. Who steps out returns after some minutes: hardly ever at once, and hardly
ever much later. Such breaks are added as waits of shape two, which rise before they fall; without them, breaks that stand out among the pauses
were taken for stillness that does not end. Where people come for one thing and go, nobody steps out to return, and there are none.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import gammainc

from tuning.motion import Floats

SHORTEST_WAIT_S, LONGEST_WAIT_S = 90.0, 2e5
"""Mean waits looked at [s]: from a busy corridor to a long weekend. Chosen by us."""
WAIT_RATIO = 1.35
"""Ratio of neighbouring mean waits. Chosen by us: finer changes nothing."""
BREAK_SHAPE, SHORTEST_BREAK_S, LONGEST_BREAK_S = 2.0, 60.0, 1500.0
"""Shape of a break's gamma distribution, and mean breaks looked at [s]. Chosen by us; sharper breaks fit simulated pauses better and lead to shorter
hold-offs than the truth wants, because they also fit stillness."""
ROUNDS = 12
"""Rounds of expectation–maximisation over the weights. Chosen by us: few, so that the mixture stays smooth."""


@lru_cache(maxsize=64)
def _waits(first: float, step: float, cells: int, *, breaks: bool) -> Floats:
    """Share of each mean wait and mean break that falls into each cell of a log-length grid, ``(cells, waits + breaks)``; columns sum to 1."""
    edges = np.exp(first + np.arange(cells + 1) * step)[:, None]
    until = 1.0 - np.exp(-edges / _means(SHORTEST_WAIT_S, LONGEST_WAIT_S))
    if breaks:
        returns = gammainc(BREAK_SHAPE, BREAK_SHAPE * edges / _means(SHORTEST_BREAK_S, LONGEST_BREAK_S))
        until = np.concatenate([until, returns], axis=1)
    share = np.diff(until, axis=0)
    return np.asarray(share / share.sum(axis=0))


def _means(shortest_s: float, longest_s: float) -> Floats:
    count = int(np.log(longest_s / shortest_s) / np.log(WAIT_RATIO)) + 1
    return np.asarray(shortest_s * WAIT_RATIO ** np.arange(count))


def expected_absences(
    counts: Floats, *, first: float, step: float, visible: Floats | None = None, breaks: bool = True
) -> Floats:
    """Smooth number of absences per cell of a log-length grid: the likeliest mixture of exponential waits and of breaks.

    Parameters
    ----------
    counts
        Absences counted per cell, whole or in parts.
    first, step
        Lower edge of the first cell, and width of each, in the log of seconds.
    visible
        Share of the absences of each length that the log shows, where that is not all of them.
    breaks
        Whether people step out to return.
    """
    shares = _waits(first, step, len(counts), breaks=breaks)
    weight = np.full(shares.shape[1], max(float(counts.sum()), 1e-3) / shares.shape[1])
    if visible is not None:
        seen = shares * visible[:, None]
        whole = np.maximum(seen.sum(axis=0), 1e-3)
        for _ in range(ROUNDS):
            weight = np.maximum(weight / whole * (seen.T @ (counts / np.maximum(seen @ weight, 1e-12))), 1e-9)
        return np.asarray(shares @ weight)
    for _ in range(ROUNDS):
        weight = np.maximum(weight * (shares.T @ (counts / np.maximum(shares @ weight, 1e-12))), 1e-9)
    return np.asarray(shares @ weight)

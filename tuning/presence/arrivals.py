"""How many absences there are of each length: waiting times for whoever comes next.

People come to an empty room at a rate that changes with the hour and the day. Waiting for the next of them is then a mixture of exponential
times: absences are the rarer per second the longer they are, and no length of them stands out. So the long ones, of which nobody doubts
what they are, tell how many short ones to expect among the pauses. Who steps out for a few minutes and returns makes an exception; the
mixture spreads them.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from tuning.motion import Floats

SHORTEST_WAIT_S, LONGEST_WAIT_S = 90.0, 2e5
"""Mean waits looked at [s]: from a busy corridor to a long weekend. Chosen by us."""
WAIT_RATIO = 1.35
"""Ratio of neighbouring mean waits. Chosen by us: finer changes nothing."""
ROUNDS = 12
"""Rounds of expectation–maximisation over the weights. Chosen by us: few, so that the mixture stays smooth."""


@lru_cache(maxsize=64)
def _waits(first: float, step: float, cells: int) -> Floats:
    """Share of each mean wait that falls into each cell of a log-length grid, ``(cells, waits)``; columns sum to 1."""
    edges = np.exp(first + np.arange(cells + 1) * step)
    count = int(np.log(LONGEST_WAIT_S / SHORTEST_WAIT_S) / np.log(WAIT_RATIO)) + 1
    mean = SHORTEST_WAIT_S * WAIT_RATIO ** np.arange(count)
    share = np.exp(-edges[:-1, None] / mean) - np.exp(-edges[1:, None] / mean)
    return np.asarray(share / share.sum(axis=0))


def expected_absences(counts: Floats, *, first: float, step: float) -> Floats:
    """Smooth number of absences per cell of a log-length grid: the likeliest mixture of exponential waits.

    Parameters
    ----------
    counts
        Absences counted per cell, whole or in parts.
    first, step
        Lower edge of the first cell, and width of each, in the log of seconds.
    """
    shares = _waits(first, step, len(counts))
    weight = np.full(shares.shape[1], max(float(counts.sum()), 1e-3) / shares.shape[1])
    for _ in range(ROUNDS):
        weight = np.maximum(weight * (shares.T @ (counts / np.maximum(shares @ weight, 1e-12))), 1e-9)
    return np.asarray(shares @ weight)

"""The delay curve: what every candidate hold-off would have done.

For a retriggering hold-off D and a gap g, the lit time after the last motion is min(g, D), and the hold-off expires when g > D. Sorting
the gaps once and taking prefix sums gives both for every D at once, in O(n log n), exactly.
"""

from __future__ import annotations

import numpy as np

from tuning.motion import Floats, Ints


def expiries_and_lit_s(gap_s: Floats, hold_off_s: Floats, weight: Floats | None = None) -> tuple[Floats, Floats]:
    """Expiries, and lit time after the last motion, under each hold-off.

    Parameters
    ----------
    gap_s
        Gaps. [s]
    hold_off_s
        Candidates, any order. [s]
    weight
        How much each gap counts; 1 without it.

    Returns
    -------
    ``Σ w·[g > D]`` and ``Σ w·min(g, D)`` [s], one value per candidate.

    Examples
    --------
    >>> expiries_and_lit_s(np.array([30.0, 60.0, 90.0]), np.array([60.0]))
    (array([1.]), array([150.]))
    """
    w = np.ones(len(gap_s)) if weight is None else weight
    order = np.argsort(gap_s, kind="stable")
    g, w = gap_s[order], w[order]
    # First index with g > D: at g = D the next motion is in time.
    cut = np.searchsorted(g, hold_off_s, side="right")
    weight_until = np.concatenate([[0.0], np.cumsum(w)])
    length_until = np.concatenate([[0.0], np.cumsum(w * g)])
    expiries = weight_until[-1] - weight_until[cut]
    return expiries, length_until[cut] + expiries * hold_off_s


def by_day(gap_s: Floats, hold_off_s: Floats, weight: Floats, day: Ints, days: int) -> tuple[Floats, Floats]:
    """:func:`expiries_and_lit_s` for each day, ``(days, candidates)`` each.

    One pass over the gaps per call: the cell between two candidates that a gap falls into tells all.
    """
    order = np.argsort(hold_off_s)
    candidates = hold_off_s[order]
    cell = np.searchsorted(candidates, gap_s, side="left")
    size = len(candidates) + 1
    index = day * size + cell
    count = np.bincount(index, weights=weight, minlength=days * size).reshape(days, size)
    length = np.bincount(index, weights=weight * gap_s, minlength=days * size).reshape(days, size)
    # Gaps in cells ≤ j are ≤ candidate j: cell j holds (candidate j−1, candidate j].
    shorter = np.cumsum(length, axis=1)[:, :-1]
    expired = count.sum(axis=1, keepdims=True) - np.cumsum(count, axis=1)[:, :-1]
    lit = shorter + expired * candidates
    back = np.argsort(order)
    return expired[:, back], lit[:, back]

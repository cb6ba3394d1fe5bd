"""The delay curve: what every candidate hold-off would have done.

For a retriggering hold-off D and a gap g, the lit time after the last motion is min(g, D), and the hold-off expires when g > D. Which two
candidates a gap lies between tells both for every D at once, exactly; sums over the cells between candidates are all that is needed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tuning.motion import Floats, Ints


@dataclass(frozen=True)
class DelayCells:
    """Gaps sorted into days and the cells between candidates, once for any number of weights.

    Attributes
    ----------
    candidates_s
        Candidates, increasing. [s]
    back
        Where each candidate as given stands among them.
    index
        Cell of every gap: day times the number of cells, plus the cell between two candidates. Cell j holds (candidate j−1, candidate j]:
        at g = D the next motion is in time.
    longer
        Which gaps outlast the shortest candidate: a few of all.
    gap_s
        Gaps. [s]
    days
        Number of days.
    """

    candidates_s: Floats
    back: Ints
    index: Ints
    longer: Ints
    gap_s: Floats
    days: int

    def expired(self, weight: Floats) -> Floats:
        """``Σ w·[g > D]`` of each day, ``(days, candidates)``."""
        return self._beyond(weight)[:, self.back]

    def _beyond(self, weight: Floats) -> Floats:
        """The same by increasing candidate: gaps in cells > j are > candidate j."""
        size = len(self.candidates_s) + 1
        count = np.bincount(self.index[self.longer], weights=weight[self.longer], minlength=self.days * size)
        from_the_end = np.cumsum(count.reshape(self.days, size)[:, :0:-1], axis=1)
        return np.asarray(from_the_end[:, ::-1])

    def expired_and_lit_s(self, weight: Floats) -> tuple[Floats, Floats]:
        """``Σ w·[g > D]`` and ``Σ w·min(g, D)`` [s] of each day, ``(days, candidates)`` each."""
        size = len(self.candidates_s) + 1
        length = np.bincount(self.index, weights=weight * self.gap_s, minlength=self.days * size)
        # Gaps in cells ≤ j are ≤ candidate j.
        shorter = np.cumsum(length.reshape(self.days, size)[:, :-1], axis=1)
        expired = self._beyond(weight)
        lit = shorter + expired * self.candidates_s
        return expired[:, self.back], lit[:, self.back]


def delay_cells(gap_s: Floats, hold_off_s: Floats, day: Ints, days: int) -> DelayCells:
    """Sort gaps into days and the cells between candidates.

    Parameters
    ----------
    gap_s
        Gaps. [s]
    hold_off_s
        Candidates, any order. [s]
    day
        Day index of each gap.
    days
        Number of days.
    """
    order = np.argsort(hold_off_s, kind="stable")
    candidates = hold_off_s[order]
    # Most gaps are shorter than any candidate; one comparison tells.
    longer = np.flatnonzero(gap_s > candidates[0])
    index = day * (len(candidates) + 1)
    index[longer] += np.searchsorted(candidates, gap_s[longer], side="left")
    return DelayCells(candidates, np.argsort(order), index, longer, gap_s, days)


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
    cells = delay_cells(gap_s, hold_off_s, np.zeros(len(gap_s), dtype=np.int64), 1)
    expired, lit = cells.expired_and_lit_s(w)
    return expired[0], lit[0]

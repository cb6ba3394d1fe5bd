"""Busy and quiet stretches of a log: the same pause may be stillness in one and absence in the other.

Several people are seldom all still at once, and one of them alone often is: a pause of three minutes amid a lesson is an empty room, one in an hour
in which somebody works on alone is not. What tells such hours apart are the gaps around a pause, itself left out, so that where people always
move alike it tells nothing. Each stretch then has a stillness curve and absences of its own.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from tuning.gaps import Gaps
from tuning.motion import Floats

NEIGHBOURS = 8
"""Gaps looked at on either side. Chosen by us: 4 to 30 do as well."""
LONGEST_S = 120.0
"""A gap around counts for no more [s]: one absence must not make a stretch quiet. Chosen by us."""
LEAST_GAPS = 300
"""Gaps of either stretch, with fewer of which there is nothing to tell them apart for. Chosen by us."""


def pace_around(gaps: Gaps, index: npt.NDArray[np.intp]) -> Floats:
    """Mean log-length of the gaps around each of those at ``index``, itself left out: ``(len(index),)``, the larger the quieter."""
    length = np.log(np.clip(gaps.logged_s, 1.0, LONGEST_S))
    before = np.concatenate([[0.0], np.cumsum(length)])
    first, last = np.maximum(index - NEIGHBOURS, 0), np.minimum(index + NEIGHBOURS + 1, len(length))
    return np.asarray((before[last] - before[first] - length[index]) / np.maximum(last - first - 1, 1))


def stretches(pace: Floats) -> list[npt.NDArray[np.intp]]:
    """Rows of the busier half and of the quieter half; all together where either would hold too few to learn from."""
    everything = np.arange(len(pace))
    if len(pace) < 2 * LEAST_GAPS:
        return [everything]
    quiet = pace > np.median(pace)
    # Where gaps are sampled many are alike, and one half may be empty.
    return [everything[~quiet], everything[quiet]] if quiet.any() else [everything]

"""Sorted times, and the stretches that they fall into: days, states of a lamp, trusted parts of a log.

Of times there are hundreds of thousands, of stretches hundreds: the bounds are searched among the times, not the other way round.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

Scalar = TypeVar("Scalar", bound=np.generic)


def spread(
    values: npt.NDArray[Scalar], bounds_us: npt.NDArray[np.int64], t_us: npt.NDArray[np.int64]
) -> npt.NDArray[Scalar]:
    """Give each time the value of its stretch.

    Parameters
    ----------
    values
        Of the stretch before the first bound, of each between two, and of that from the last on: one more than bounds.
    bounds_us
        Where stretches begin, sorted; a time at a bound is in the stretch that begins. [µs]
    t_us
        Times, sorted. [µs]

    Returns
    -------
    ``(len(t_us),)``.

    Examples
    --------
    >>> spread(np.array([0.0, 1.0, 2.0]), np.array([10, 20]), np.array([5, 10, 15, 25])).tolist()
    [0.0, 1.0, 1.0, 2.0]
    """
    first = np.searchsorted(t_us, bounds_us, side="left")
    return np.repeat(values, np.diff(first, prepend=0, append=len(t_us)))


def number_of(bounds_us: npt.NDArray[np.int64], t_us: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Number the stretch of each time, from 0 before the first bound. See :func:`spread`."""
    return spread(np.arange(len(bounds_us) + 1), bounds_us, t_us)

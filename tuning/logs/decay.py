"""Motion that is logged as a number between 0 and 1: a level that falls after each movement, or a share of each sample.

A level goes up at each movement and falls over minutes: each rise is a movement, the fall is none. A share says how much of a sample was
movement: any is some. What is neither is a slip.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning.logs.sampling import sampling_interval_s

Values = npt.NDArray[np.float64] | npt.NDArray[np.float32] | npt.NDArray[np.uint8]

LEAST_BETWEEN, FALLING_SHARE, SHARES_SHARE = 20, 0.8, 0.05
"""So many values must lie between 0 and 1; so many of them below the value before are a level; so many of all, at a regular interval, are shares.
Chosen by us."""
RISE = 0.1
"""A level that rises by less wavers. Chosen by us."""


def between(value: Values) -> npt.NDArray[np.bool_]:
    """Which values are neither 0 nor 1."""
    return np.asarray((value > 0) & (value < 1))


def kind_of(times: pl.Series, value: Values) -> Literal["level", "share", "slips"]:
    """What the values between 0 and 1 of a motion series are.

    Parameters
    ----------
    times, value
        Of the series, in order of time.
    """
    odd = between(value)
    if odd.sum() < LEAST_BETWEEN:
        return "slips"
    before = np.concatenate([[0.0], value[:-1]])
    if (value < before)[odd].mean() >= FALLING_SHARE:
        return "level"
    return "share" if odd.mean() >= SHARES_SHARE and sampling_interval_s(times) is not None else "slips"


def rises(value: Values) -> npt.NDArray[np.uint8]:
    """1 where a level rises or stands at its top, 0 where it falls or is down.

    Examples
    --------
    >>> rises(np.array([1.0, 0.8, 0.4, 1.0, 1.0, 0.5, 0.0]))
    array([1, 0, 0, 1, 1, 0, 0], dtype=uint8)
    """
    before = np.concatenate([[0.0], value[:-1]])
    return np.asarray((value - before >= RISE) | (value >= 1), dtype=np.uint8)

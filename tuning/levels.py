"""Dimming levels of a digital lighting bus and the light output they stand for.

IEC 62386-102 defines a logarithmic curve of 254 arc power levels over three decades; IEC 62386-207 adds a
linear one. Level 0 is off in both.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

LEVEL_MAX = 254
"""Highest arc power level; 255 ("MASK") asks for no change and is not a level."""
_STEPS_PER_DECADE = 253 / 3
"""253 steps over three decades, 0.1 % to 100 % (IEC 62386-102)."""


def output_of_level(level: ArrayLike, *, linear: bool = False) -> NDArray[np.float64]:
    """Light output of arc power levels.

    Parameters
    ----------
    level
        Levels 0…254, any shape; 0 is off.
    linear
        Use the linear curve of IEC 62386-207 in place of the logarithmic one.

    Returns
    -------
    Light output in percent, same shape.

    Raises
    ------
    ValueError
        If a level lies outside 0…254.

    References
    ----------
    IEC 62386-102: X(n) = 10^((n − 1)/(253/3) − 1) percent for n = 1…254.

    Examples
    --------
    >>> [round(float(x), 3) for x in output_of_level([1, 85, 170, 229, 254])]
    [0.1, 0.991, 10.091, 50.531, 100.0]
    """
    n = np.asarray(level, dtype=float)
    if np.any(~((n >= 0) & (n <= LEVEL_MAX))):
        raise ValueError(f"levels run from 0 to {LEVEL_MAX}; 255 is no level but asks for no change")
    curve = n / LEVEL_MAX * 100 if linear else 10 ** ((n - 1) / _STEPS_PER_DECADE - 1)
    return np.where(n == 0, 0.0, curve)


def level_of_output(output_pct: ArrayLike, *, linear: bool = False) -> NDArray[np.int64]:
    """Nearest arc power level to a light output; the inverse of :func:`output_of_level`.

    Parameters
    ----------
    output_pct
        Light output in percent, 0…100, any shape.
    linear
        Use the linear curve.

    Returns
    -------
    Levels 0…254. An output above 0 never becomes level 0, because off and dim are different things.

    Examples
    --------
    >>> level_of_output([0, 0.02, 1, 50, 100]).tolist()
    [0, 1, 85, 229, 254]
    """
    x = np.clip(np.asarray(output_pct, dtype=float), 0, 100)
    with np.errstate(divide="ignore"):
        n: NDArray[Any] = x / 100 * LEVEL_MAX if linear else _STEPS_PER_DECADE * (np.log10(x) + 1) + 1
    n = np.clip(np.round(np.where(x > 0, n, 1)), 1, LEVEL_MAX)
    return np.where(x > 0, n, 0).astype(np.int64)

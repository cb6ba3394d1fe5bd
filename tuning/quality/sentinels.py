"""Numbers that loggers write where there is no value, among readings that never come near them."""

from __future__ import annotations

import polars as pl

SENTINELS_LX = (999.0, 9999.0, 32_767.0, 65_534.0, 65_535.0, 99_999.0)
"""All nines, and the ends of 16-bit numbers (common practice, no source)."""
FAR = 3.0
"""The number stands at least so many times above the other readings' 99.9th percentile. Chosen by us: full sun lies just above it at most."""


def sentinels(value: pl.Series) -> pl.Series:
    """Tell which readings of one series stand for no value.

    Parameters
    ----------
    value
        Illuminance. [lx]

    Examples
    --------
    >>> sentinels(pl.Series([410.0, 395.0, 65535.0, 388.0])).to_list()
    [False, False, True, False]
    >>> sentinels(pl.Series([940.0, 970.0, 999.0, 1040.0])).any()
    False
    """
    odd = value.is_in(SENTINELS_LX)
    if not odd.any() or odd.all():
        return odd if not odd.any() else ~odd
    usual = value.filter(~odd).quantile(0.999) or 0.0
    return odd & (value >= FAR * max(usual, 1.0))

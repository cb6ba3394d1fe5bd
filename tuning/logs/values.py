"""Value columns of any kind → numbers."""

from __future__ import annotations

import polars as pl

WORDS = {
    "true": 1.0, "false": 0.0, "on": 1.0, "off": 0.0, "active": 1.0, "inactive": 0.0, "yes": 1.0, "no": 0.0,
    "occupied": 1.0, "unoccupied": 0.0, "motion": 1.0, "idle": 0.0, "open": 1.0, "closed": 0.0,
}  # fmt: skip
"""Words for 1 and 0 in exports (common practice, no source)."""

QUANTITIES = ("motion", "occupied", "illuminance", "output", "power", "override")
LIMITS = {
    "motion": (0.0, 1.0),
    "occupied": (0.0, 1.0),
    "illuminance": (-5.0, 200_000.0),
    "output": (0.0, 100.0),
    "power": (-1.0, 1e6),
    "override": (0.0, 100.0),
}
"""What a value can be. Full sun is about 120,000 lx (common knowledge); a zero offset of a few lux is no fault."""


def number(column: pl.Expr, kind: pl.DataType) -> pl.Expr:
    """Read a value column as ``Float64``; null where empty, NaN or not a number.

    Numbers may carry a unit ("512 lx", "12,5 %"), a decimal comma, or be words for on and off.
    """
    if kind == pl.Boolean:
        return column.cast(pl.Float64)
    if kind.is_numeric():
        return column.cast(pl.Float64).fill_nan(None)
    text = column.cast(pl.String).str.strip_chars()
    plain = text.cast(pl.Float64, strict=False)
    bare = text.str.replace(r"\s*[A-Za-zµ%°²/]+\.?\s*$", "").str.strip_chars()
    comma = pl.when(bare.str.contains(",") & ~bare.str.contains(r"\.")).then(bare.str.replace(",", ".")).otherwise(bare)
    word = text.str.to_lowercase().replace_strict(WORDS, default=None, return_dtype=pl.Float64)
    return pl.coalesce(plain, comma.cast(pl.Float64, strict=False), word).fill_nan(None)

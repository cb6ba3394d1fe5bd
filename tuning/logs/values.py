"""Value columns of any kind → numbers."""

from __future__ import annotations

import re
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import polars as pl

Floats = npt.NDArray[np.float64]

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
UNITS_OF = {"motion": "", "occupied": "", "illuminance": " lx", "output": " %", "power": " W", "override": " %"}

ON = ("true", "on", "active", "yes", "occupied", "motion", "presence", "present", "detected")
OFF = ("false", "off", "inactive", "no", "unoccupied", "no motion", "absence", "absent", "vacant", "idle", "clear")
"""Words for 1 and 0 in exports (common practice, no source)."""
FULL = {"motion": 1.0, "occupied": 1.0, "output": 100.0, "override": 100.0}
"""What "on" means: light that is only on or off is on in full. Illuminance and power have no such word."""
NOTHING = (
    "", "nan", "null", "none", "nil", "na", "n/a", "#n/a", "-", "--", "---", "?", "no data", "nodata", "bad", "fault", "offline",
    "error", "invalid", "unavailable", "unknown", "#value!", "#ref!", "#div/0!",
)  # fmt: skip
"""What exports write where there is no value (common practice, no source)."""
UNITS = {
    "lx": 1.0, "lux": 1.0, "klx": 1e3, "klux": 1e3, "fc": 1 / 0.3048**2,
    "%": 1.0, "pct": 1.0, "percent": 1.0, "w": 1.0, "watt": 1.0, "kw": 1e3, "va": 1.0,
}  # fmt: skip
"""Units and what one of them is in lx, % or W. A foot-candle is a lumen per square foot, and a foot is 0.3048 m."""

_NUMBER = re.compile(r"^([+-]?[\d.,'\u2019\s]*\d[\d.,]*(?:[eE][+-]?\d+)?)\s*([A-Za-z%]*)\.?$")
_AMBIGUOUS = re.compile(r"^[+-]?[1-9]\d{0,2},\d{3}(?!\d)\D*$")


class NotAValueError(ValueError):
    """A text is neither a number, nor a word for on or off, nor for nothing."""


def unusual(text: str) -> bool:
    """Whether a value could be meant in two ways: 1,234 may be one thousand or one point two."""
    return _AMBIGUOUS.match(text.strip()) is not None


@lru_cache(maxsize=1 << 18)
def value_of(text: str, quantity: str) -> float:
    """Read one value: "512 lx", "12,5 %", "on", "n/a".

    Returns
    -------
    The number in the quantity's unit; NaN where the text stands for no value.

    Raises
    ------
    NotAValueError
        If it is none of these.

    Examples
    --------
    >>> value_of("12,5 %", "output"), value_of("on", "motion"), value_of("on", "output"), value_of("1.234,5 lx", "illuminance")
    (12.5, 1.0, 100.0, 1234.5)
    """
    word = text.strip().casefold()
    if word in NOTHING:
        return float("nan")
    if word in ON or word in OFF:
        if quantity not in FULL:
            raise NotAValueError(text)
        return FULL[quantity] if word in ON else 0.0
    match = _NUMBER.match(text.strip())
    if match is None or (match[2] and match[2].casefold() not in UNITS):
        raise NotAValueError(text)
    factor = UNITS[match[2].casefold()] if match[2] else 1.0
    try:
        return float(_plain(match[1])) * factor
    except ValueError as error:
        raise NotAValueError(text) from error


def _plain(digits: str) -> str:
    """Number with a decimal point and no marks between thousands."""
    digits = re.sub(r"['\u2019\s]", "", digits)
    commas, points = digits.count(","), digits.count(".")
    if commas and points:
        mark = max(",", ".", key=digits.rfind)
        return digits.replace("." if mark == "," else ",", "").replace(",", ".")
    if commas > 1 or points > 1:
        return digits.replace(",", "").replace(".", "")
    return digits.replace(",", ".")


def numbers(column: pl.Series, quantity: pl.Series | str) -> tuple[Floats, int, tuple[int, str] | None]:
    """Read a column of values.

    Parameters
    ----------
    column
        Numbers, booleans or text.
    quantity
        Quantity of each row, or of all.

    Returns
    -------
    The numbers, NaN where there is no value; how many could be meant in two ways; and row and text of the first that is no value, if any.
    """
    kind = column.dtype
    if kind == pl.Boolean:
        return _of_booleans(column, quantity), 0, None
    if kind.is_numeric() or kind == pl.Null:
        return column.cast(pl.Float64).fill_null(float("nan")).to_numpy(), 0, None
    if kind not in (pl.String, pl.Categorical, pl.Enum):
        return np.full(len(column), np.nan), 0, (0, f"a column of {kind}")
    text = column.cast(pl.String)
    read = text.cast(pl.Float64, strict=False)
    odd = (read.is_null() & text.is_not_null()).arg_true()
    result = np.array(read.fill_null(float("nan")).to_numpy())
    if len(odd) == 0:
        return result, 0, None
    names = pl.Series([quantity]).new_from_index(0, len(odd)) if isinstance(quantity, str) else quantity.gather(odd)
    rare = pl.DataFrame({"text": text.gather(odd), "quantity": names.cast(pl.String)})
    each = rare.unique(maintain_order=True)
    values, doubts, wrong = [], [], set()
    for words, name in each.iter_rows():
        try:
            values.append(value_of(words, (name or "").strip().casefold()))
        except NotAValueError:
            values.append(float("nan"))
            wrong.add((words, name))
        doubts.append(unusual(words))
    looked_up = rare.join(
        each.with_columns(value=pl.Series(values, dtype=pl.Float64), doubt=pl.Series(doubts, dtype=pl.Boolean)),
        on=["text", "quantity"],
        how="left",
        maintain_order="left",
        nulls_equal=True,
    )
    result[odd.to_numpy()] = looked_up["value"].to_numpy()
    first = (
        next(((int(odd[i]), row[0]) for i, row in enumerate(rare.iter_rows()) if row in wrong), None) if wrong else None
    )
    return result, int(looked_up["doubt"].sum()), first


def _of_booleans(column: pl.Series, quantity: pl.Series | str) -> Floats:
    """True is on: 1 for motion, 100 % for light."""
    on = column.cast(pl.Float64).fill_null(float("nan")).to_numpy()
    if isinstance(quantity, str):
        return on * FULL.get(quantity, 1.0)
    names = quantity.cast(pl.String).str.strip_chars().str.to_lowercase()
    return on * names.replace_strict(FULL, default=1.0, return_dtype=pl.Float64).to_numpy()

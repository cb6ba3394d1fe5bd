"""Time columns of any kind → epoch microseconds, each row by its own form."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import polars as pl
from polars.exceptions import PolarsError

from tuning.errors import LogError

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

EARLIEST_US, LATEST_US = 631_152_000_000_000, 4_102_444_800_000_000
"""1990 to 2099: outside is a clock that was never set, or a slip of the export. Chosen by us."""
MOST_FORMS = 12
"""So many forms of time may mix in one block of a file. Chosen by us."""
REMEDY = 'Mend that row, or give time_format in [[logs]] of site.toml, for example "%d/%m/%Y %H:%M:%S"'

_NUMBER = re.compile(r"^[+-]?\d+(\.\d*)?([eE]\+?\d+)?$")
_FORM = re.compile(
    r"""^(?:
        (?P<ymd>\d{4}(?P<dash>[-/.])\d{1,2}(?P=dash)\d{1,2})
      | (?P<compact>\d{8})(?=T)
      | (?P<dotted>\d{1,2}\.\d{1,2}\.\d{4})
      | (?P<either>\d{1,2}(?P<stroke>[/-])\d{1,2}(?P=stroke)\d{4})
      | (?P<named>\d{1,2}(?P<join>[-\ ])[A-Za-z]{3}(?P=join)\d{4})
    )
    (?P<time>(?P<between>T|,?\ +)(?P<hm>\d{1,2}:\d{2}|\d{4}(?=\d{2}))(?P<s>:?\d{2}(?P<fraction>[.,]\d+)?)?
      (?P<half>\ ?[AaPp][Mm])?)?
    (?P<zone>\ ?(?:Z|UTC|GMT|[+-]\d{2}(?::?\d{2})?))?$""",
    re.VERBOSE,
)
_DATE_EITHER = r"^\s*(\d{1,2})[/-](\d{1,2})[/-](\d{4})"

DayFirst = Callable[[], bool]
"""Asked only where a date such as 03/02/2026 turns up: whether the day stands first in this group of files."""


@dataclass(frozen=True)
class Times:
    """Times of a block of rows.

    Attributes
    ----------
    us
        Epoch µs; of the local clock where ``local``. 0 where there is no time.
    local
        Whether the row has no offset.
    missing
        Whether the row has no time.
    """

    us: Ints
    local: Bools
    missing: Bools

    def at(self, index: npt.NDArray[np.integer]) -> Times:
        """Times of some of the rows."""
        if len(index) == len(self.us):
            return self
        return Times(self.us[index], self.local[index], self.missing[index])


@dataclass(frozen=True)
class TimeColumn:
    """How a time column is to be read, and what to call it in a message."""

    path: Path
    name: str
    row: Callable[[int], int]
    time_format: str | None
    day_first: DayFirst


def joined(parts: list[pl.Series]) -> pl.Series:
    """Join a date column and a time column to one column of text; a single column stays as it is."""
    if len(parts) == 1:
        return parts[0]
    text = [part.cast(pl.String).str.strip_chars() for part in parts]
    # Excel knows no bare dates and times: it adds midnight to the one and its first day to the other.
    date = text[0].str.strip_suffix(".000").str.strip_suffix(" 00:00:00")
    rest = [part.str.replace(r"^1(899-12-3[01]|900-01-0[01])[T ]", "") for part in text[1:]]
    frame = pl.DataFrame([s.alias(str(i)) for i, s in enumerate([date, *rest])])
    return frame.select(pl.concat_str(pl.all(), separator=" ")).to_series()


def read_times(column: pl.Series, how: TimeColumn) -> Times:
    """Read a column of times.

    Raises
    ------
    LogError
        With the first row that is no time.
    """
    kind = column.dtype
    length = len(column)
    missing = column.is_null().to_numpy()
    if isinstance(kind, pl.Datetime):
        return Times(_ints(column.dt.epoch("us")), np.full(length, kind.time_zone is None), missing)
    if kind == pl.Date:
        return Times(_ints(column.cast(pl.Datetime("us")).dt.epoch("us")), np.ones(length, dtype=bool), missing)
    if kind.is_numeric():
        read = _epoch(column)
        return Times(_ints(read), np.zeros(length, dtype=bool), read.is_null().to_numpy())
    if kind in (pl.String, pl.Categorical, pl.Enum, pl.Null):
        return _text(column.cast(pl.String), how)
    raise LogError(
        how.path,
        f"column {how.name}",
        f"the column holds {kind}",
        "Times are timestamps, text, or epoch seconds or milliseconds",
        "Export it as timestamps",
    )


def _ints(read: pl.Series) -> Ints:
    return read.fill_null(0).to_numpy().astype(np.int64, copy=False)


def _epoch(numbers: pl.Series) -> pl.Series:
    """Epoch s, ms, µs or ns, told apart by size: none of them reaches the next within some thousand years."""
    frame = numbers.to_frame("n")
    if numbers.dtype.is_integer():
        n = pl.col("n").cast(pl.Int64, strict=False)
        steps = (n * 1_000_000, n * 1_000, n, n // 1_000)
    else:
        n = pl.col("n").cast(pl.Float64).fill_nan(None)
        steps = ((n * 1e6).round(), (n * 1e3).round(), n.round(), (n / 1e3).round())
    size = n.abs()
    chosen = (
        pl.when(size < 1e11).then(steps[0]).when(size < 1e14).then(steps[1]).when(size < 1e17).then(steps[2])
    ).otherwise(steps[3])
    return frame.select(chosen.cast(pl.Int64, strict=False)).to_series()


def _text(column: pl.Series, how: TimeColumn) -> Times:
    text = column.str.strip_chars()
    empty = (text.is_null() | (text == "")).to_numpy()
    us, local = np.zeros(len(text), dtype=np.int64), np.zeros(len(text), dtype=bool)
    left = np.flatnonzero(~empty)
    for _ in range(MOST_FORMS):
        if len(left) == 0:
            return Times(us, local, empty)
        rows = text if len(left) == len(text) else text.gather(left)
        first = str(rows[0])
        parsed, is_local = _one_form(rows, first, how)
        known = parsed.is_not_null().to_numpy()
        if not known[0]:
            break
        us[left[known]] = parsed.drop_nulls().to_numpy()
        local[left[known]] = is_local
        left = left[~known]
    if len(left) == 0:
        return Times(us, local, empty)
    raise _no_time(how, int(left[0]), str(text[int(left[0])]))


def _no_time(how: TimeColumn, index: int, found: str) -> LogError:
    rule = "Times are ISO 8601, epoch seconds or milliseconds, or dates such as 31/12/2026 with a time"
    if how.time_format:
        rule = f"Times have the form {how.time_format!r} that [[logs]] gives"
    return LogError(how.path, f"row {how.row(index)}, column {how.name}", f"{found[:60]!r} is no time", rule, REMEDY)


def _one_form(rows: pl.Series, first: str, how: TimeColumn) -> tuple[pl.Series, bool]:
    """Read all rows that have the form of the first; the others become null."""
    none = pl.Series([None] * len(rows), dtype=pl.Int64)
    if how.time_format:
        return _parse(rows, how.time_format, how), "z" not in how.time_format.replace("%%", "")
    if _NUMBER.match(first):
        whole = rows.cast(pl.Int64, strict=False) if "." not in first else none
        return (_epoch(whole) if whole[0] is not None else _epoch(rows.cast(pl.Float64, strict=False))), False
    form = _FORM.match(first)
    if form is None:
        return none, False
    if form["fraction"] and "," in form["fraction"]:
        rows = rows.str.replace(",", ".", literal=True)
    zone = form["zone"] or ""
    suffix = zone if zone.strip() in ("", "Z", "UTC", "GMT") else " " * zone.startswith(" ") + "%#z"
    if form["ymd"] and form.start("fraction") == WHOLE and "%" not in suffix:
        return _iso_with_fraction(rows, _date_format(form, how) + _time_format(form), suffix, how), not zone
    return _parse(rows, _date_format(form, how) + _time_format(form) + suffix, how), not zone


WHOLE = len("2026-03-01T10:00:00")


def _iso_with_fraction(rows: pl.Series, form: str, suffix: str, how: TimeColumn) -> pl.Series:
    """Read whole seconds and fraction apart, which takes polars a third of the time."""
    whole = _parse(rows.str.head(WHOLE), form.removesuffix("%.f"), how)
    digits = rows.str.slice(WHOLE + 1).str.strip_suffix(suffix)
    length = digits.str.len_bytes()
    fraction = digits.cast(pl.UInt64, strict=False)
    frame = pl.DataFrame({"row": rows, "whole": whole, "fraction": fraction, "length": length})
    right = (pl.col("row").str.slice(WHOLE, 1) == ".") & pl.col("length").is_between(1, 9)
    right &= pl.col("row").str.ends_with(suffix)
    us = (pl.col("fraction") * 10 ** (9 - pl.col("length").cast(pl.Int64)) // 1000).cast(pl.Int64)
    return frame.select(pl.when(right).then(pl.col("whole") + us)).to_series()


def _date_format(form: re.Match[str], how: TimeColumn) -> str:
    if form["ymd"]:
        return "%Y{0}%m{0}%d".format(form["dash"])
    if form["compact"]:
        return "%Y%m%d"
    if form["dotted"]:
        return "%d.%m.%Y"
    if form["named"]:
        return "%d{0}%b{0}%Y".format(form["join"])
    return ("%d{0}%m{0}%Y" if how.day_first() else "%m{0}%d{0}%Y").format(form["stroke"])


def _time_format(form: re.Match[str]) -> str:
    if not form["time"]:
        return ""
    hour = "%I" if form["half"] else "%H"
    colon = ":" if ":" in form["hm"] else ""
    seconds = f"{colon}%S" + ("%.f" if form["fraction"] else "") if form["s"] else ""
    half = (" " if form["half"].startswith(" ") else "") + "%p" if form["half"] else ""
    return form["between"] + hour + colon + "%M" + seconds + half


def _parse(rows: pl.Series, form: str, how: TimeColumn) -> pl.Series:
    zone = "UTC" if "%#z" in form or "%z" in form or "%:z" in form else None
    try:
        return rows.str.to_datetime(form, strict=False, time_unit="us", time_zone=zone).dt.epoch("us")
    except PolarsError as error:
        raise LogError(
            how.path,
            f"column {how.name}",
            f"time_format {form!r} cannot be used",
            "A format names year, month, day and time, as strftime does",
            "Correct time_format in [[logs]] of site.toml",
        ) from error


def either_order(column: pl.Series) -> set[tuple[int, int, int]]:
    """Dates such as 03/02/2026 that a text column holds, as (first, second, year)."""
    if column.dtype not in (pl.String, pl.Categorical, pl.Enum):
        return set()
    dates = column.cast(pl.String).str.extract_groups(_DATE_EITHER).struct.unnest().drop_nulls().unique()
    return {(int(a), int(b), int(year)) for a, b, year in dates.iter_rows()}


def day_is_first(dates: set[tuple[int, int, int]]) -> bool | None:
    """Whether the day stands first in dates; ``None`` where nothing tells.

    A number over 12 settles it. Where there is none, the order that makes the dates fewer days apart is taken: a log covers days that
    follow each other, and in the wrong order they would lie a month apart.
    """
    if any(first > 12 for first, _, _ in dates):
        return True
    if any(second > 12 for _, second, _ in dates):
        return False
    day_first = _spread([(year, second, first) for first, second, year in dates])
    month_first = _spread([(year, first, second) for first, second, year in dates])
    return None if day_first == month_first else day_first < month_first


def _spread(dates: list[tuple[int, int, int]]) -> int:
    """Days from the first to the last, near enough (31 to a month)."""
    days = [372 * year + 31 * month + day for year, month, day in dates]
    return max(days, default=0) - min(days, default=0)

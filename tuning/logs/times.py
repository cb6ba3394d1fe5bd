"""Time columns of any kind → UTC epoch microseconds."""

from __future__ import annotations

import re
from pathlib import Path

import polars as pl

from tuning.errors import LogError

FORMATS = (
    "%Y-%m-%dT%H:%M:%S%.f",
    "%Y-%m-%d %H:%M:%S%.f",
    "%Y-%m-%dT%H:%M",
    "%Y-%m-%d %H:%M",
    "%Y/%m/%d %H:%M:%S%.f",
    "%Y/%m/%d %H:%M",
    "%d/%m/%Y %H:%M:%S%.f",
    "%d/%m/%Y %H:%M",
    "%d.%m.%Y %H:%M:%S%.f",
    "%d.%m.%Y %H:%M",
    "%d-%m-%Y %H:%M:%S%.f",
    "%d-%m-%Y %H:%M",
    "%m/%d/%Y %H:%M:%S%.f",
    "%m/%d/%Y %H:%M",
    "%Y%m%dT%H%M%S",
    "%Y-%m-%d",
)
"""Tried in this order on a sample; day-first before month-first, because ISO 8601 and day-first are the trade's habit (common practice,
no source). The first that reads every row of the sample is taken, so 13/02 and 02/13 settle it."""

_OFFSET = re.compile(r"(Z|[+-]\d{2}:?\d{2})$")
_NUMBER = re.compile(r"^\d+(\.\d+)?$")
EARLIEST_US, LATEST_US = -2_208_988_800_000_000, 4_102_444_800_000_000
"""1900 to 2100: outside is a slip of the export, not a log."""


def _epoch(column: pl.Expr, largest: float) -> pl.Expr:
    """Epoch numbers: s, ms, µs or ns by size."""
    factor = 1_000_000.0
    for limit, f in ((1e17, 1e-3), (1e14, 1.0), (1e11, 1e3)):
        if abs(largest) >= limit:
            factor = f
            break
    return (column.cast(pl.Float64, strict=False) * factor).round().cast(pl.Int64, strict=False)


def local_and_utc(
    column: pl.Expr, sample: pl.Series, time_format: str | None, path: Path, name: str
) -> tuple[pl.Expr, bool]:
    """Return an expression that reads a time column, and whether it is local time without offset.

    Parameters
    ----------
    column
        The column.
    sample
        Its first rows, to recognise the kind by.
    time_format
        Given format, or ``None``.
    path, name
        For the message.

    Returns
    -------
    Expression of epoch microseconds (UTC, or local if the flag is true); null where a row cannot be read.

    Raises
    ------
    LogError
        If no known form of time fits the sample.
    """
    kind = sample.dtype
    if isinstance(kind, pl.Datetime):
        return column.dt.epoch("us"), kind.time_zone is None
    if kind == pl.Date:
        return column.cast(pl.Datetime("us")).dt.epoch("us"), True
    if kind.is_numeric():
        return _epoch(column, float(sample.drop_nulls().max() or 0)), False  # type: ignore[arg-type]
    text = sample.cast(pl.String).drop_nulls().str.strip_chars()
    text = text.filter(text != "")
    if len(text) == 0:
        return pl.lit(None, dtype=pl.Int64), False
    stripped = column.cast(pl.String).str.strip_chars()
    if time_format:
        return _parsed(stripped, time_format)
    first = text[: max(1, len(text) // 2)]
    if _matches(first, _NUMBER):
        return _epoch(stripped, float(first.cast(pl.Float64).max() or 0)), False  # type: ignore[arg-type]
    offset = _matches(first, _OFFSET)
    for form in FORMATS:
        tried = form + "%#z" if offset else form
        sampled = text.str.replace("Z$", "+00:00") if offset else text
        read = sampled.str.to_datetime(tried, strict=False, time_unit="us", time_zone="UTC" if offset else None)
        if read.null_count() <= len(text) // 10:
            source = stripped.str.replace("Z$", "+00:00") if offset else stripped
            return _parsed(source, tried)
    raise LogError(
        path,
        f"column {name}",
        f"{text[0]!r} is not a time that is known",
        "Times are ISO 8601, epoch seconds or milliseconds, or day-first",
        'give time_format in [[logs]] of site.toml, for example "%d/%m/%Y %H:%M:%S"',
    )


def _matches(text: pl.Series, pattern: re.Pattern[str]) -> bool:
    """Whether most rows match: a stray row must not change how the others are read."""
    return sum(bool(pattern.search(t)) for t in text.to_list()) > 0.8 * len(text)


def _parsed(text: pl.Expr, form: str) -> tuple[pl.Expr, bool]:
    offset = "%z" in form or "%#z" in form or "%:z" in form
    read = text.str.to_datetime(form, strict=False, time_unit="us", time_zone="UTC" if offset else None)
    return read.dt.epoch("us"), not offset


def localise(frame: pl.DataFrame, zone: str) -> tuple[pl.DataFrame, int, int]:
    """Turn local epoch microseconds into UTC.

    The hour that occurs twice when clocks go back is told apart by the order of the rows: once a series steps back, it is in the second
    hour. The hour that clocks skip is read as an hour later.

    Parameters
    ----------
    frame
        ``t`` (local epoch µs), ``key`` (series), in the order of the file.
    zone
        IANA name.

    Returns
    -------
    The frame with ``t`` in UTC, the number of rows in a double hour, and the number in a skipped hour.
    """
    local = pl.from_epoch("t", time_unit="us")
    early = local.dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null").dt.epoch("us")
    late = local.dt.replace_time_zone(zone, ambiguous="latest", non_existent="null").dt.epoch("us")
    skipped = (
        (local + pl.duration(hours=1))
        .dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
        .dt.epoch("us")
    )
    read = frame.with_columns(early=early, late=late).with_columns(double=pl.col("early") != pl.col("late"))
    missing = int(read["early"].null_count() - read["t"].null_count())
    double = int(read["double"].sum())
    if missing:
        read = read.with_columns(early=pl.col("early").fill_null(skipped), late=pl.col("late").fill_null(skipped))
    if double:
        back = (pl.col("t") < pl.col("t").shift(1)).fill_null(value=False)
        # Per series and day: from the first step back on, the second hour.
        day = pl.col("t") // 86_400_000_000
        second = back.cum_max().over("key", day)
        read = read.with_columns(early=pl.when(pl.col("double") & second).then("late").otherwise("early"))
    return read.with_columns(t=pl.col("early")).drop("early", "late", "double"), double, max(missing, 0)

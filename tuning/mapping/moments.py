"""Which columns hold the time, and how it is written."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning.errors import LogError
from tuning.logs.times import (
    EARLIEST_US,
    LATEST_US,
    TimeColumn,
    Times,
    day_is_first,
    either_order,
    joined,
    read_times,
)
from tuning.mapping.model import TimeProposal
from tuning.mapping.names import plain

FORMATS = (
    "%d/%m/%y %H:%M:%S", "%m/%d/%y %H:%M:%S", "%d/%m/%y %H:%M", "%m/%d/%y %H:%M", "%m/%d/%y %I:%M:%S %p", "%m/%d/%y %I:%M %p",
    "%d.%m.%y %H:%M:%S", "%d.%m.%y %H:%M", "%d-%m-%y %H:%M:%S", "%d-%m-%y %H:%M", "%y-%m-%d %H:%M:%S", "%y-%m-%d %H:%M",
    "%d-%b-%y %H:%M:%S", "%d-%b-%y %H:%M", "%d-%b-%y %I:%M:%S %p", "%d-%b-%Y %I:%M:%S %p", "%d %B %Y %H:%M:%S", "%d %B %Y %H:%M",
    "%b %d, %Y %H:%M:%S", "%b %d, %Y %I:%M:%S %p", "%b %d, %Y %H:%M", "%B %d, %Y %H:%M:%S", "%B %d, %Y %H:%M",
    "%a %d %b %Y %H:%M:%S", "%a, %d %b %Y %H:%M:%S", "%a %b %d %H:%M:%S %Y", "%a %b %d %Y %H:%M:%S",
    "%Y%m%d %H%M%S", "%Y%m%d%H%M%S", "%Y%m%d%H%M", "%Y%m%d %H:%M:%S", "%Y%m%d %H:%M", "%Y%m%d_%H%M%S",
    "%H:%M:%S %d/%m/%Y", "%H:%M %d/%m/%Y", "%H:%M:%S %d.%m.%Y", "%d/%m/%Y %Hh%M", "%d/%m/%Y-%H:%M:%S", "%d.%m.%Y-%H:%M:%S",
    "%Y-%m-%d-%H:%M:%S", "%Y-%m-%d_%H:%M:%S", "%Y-%m-%d_%H-%M-%S", "%Y-%m-%d %H.%M.%S", "%d.%m.%Y %H.%M.%S", "%d.%m.%Y %H.%M",
)  # fmt: skip
"""Forms that the readers do not know by themselves (common practice, no source)."""
WORDS = (
    "time", "timestamp", "datetime", "date", "zeit", "zeitstempel", "datum", "uhrzeit", "horodatage", "heure", "fecha", "hora", "tempo",
    "data", "tidspunkt", "tid", "dato", "tijd", "tijdstip", "aika", "czas", "cas", "when", "ts", "stamp", "begin", "start", "from", "von",
)  # fmt: skip
END_WORDS = ("end", "ending", "bis", "until", "fin", "ende", "to", "stop", "closed")
SAMPLE = 2000
FIRST_COLUMNS = 50
"""Further on only a column whose name says so is asked for times. Chosen by us: exports put the time first."""


@dataclass(frozen=True)
class Found:
    """Times of a table: what to propose, positions of its columns, and the times of all rows that were looked at."""

    proposal: TimeProposal
    at: tuple[int, ...]
    us: npt.NDArray[np.int64]
    good: npt.NDArray[np.bool_]
    local: bool


def find_time(names: tuple[str, ...], frame: pl.DataFrame) -> Found | None:
    """Find the time among the columns; None where no column holds any."""
    best: tuple[float, Found] | None = None
    for index, name in enumerate(names):
        if index >= FIRST_COLUMNS and not set(plain(name).split()) & set(WORDS):
            continue
        found = _column(names, frame, (index,))
        if found is None:
            found = _halves(names, frame, index)
        if found is None:
            continue
        words = set(plain(name).split())
        score = (
            found.proposal.confidence
            + 0.2 * bool(words & set(WORDS))
            - 0.15 * bool(words & set(END_WORDS))
            - 0.001 * index
        )
        if len(np.unique(found.us[:SAMPLE])) < min(3, len(found.us)):
            score -= 0.5
        if best is None or score > best[0]:
            best = (score, found)
    return best[1] if best else None


def _column(names: tuple[str, ...], frame: pl.DataFrame, at: tuple[int, ...]) -> Found | None:
    column = joined([frame[str(i)] for i in at])
    kind = column.dtype
    if kind == pl.Date and len(at) == 1:
        return None
    if not (isinstance(kind, pl.Datetime) or kind.is_numeric() or kind in (pl.String, pl.Categorical, pl.Enum)):
        return None
    head = column.drop_nulls().head(SAMPLE)
    if head.dtype == pl.String:
        head = head.filter(head.str.strip_chars() != "")
        # Rows of units, and a day without a time of day, are no moments.
        if head.is_empty() or head.str.contains(r"^\s*[\d]{1,4}[-/.]\d{1,2}[-/.]\d{1,4}\s*$").mean() > 0.5:  # type: ignore[operator]
            return None
        digits = head.str.contains(r"\d").arg_true()
        if digits.is_empty():
            return None
        head = head.slice(int(digits[0]))
    if head.is_empty():
        return None
    form, reasons, sure = _form(head)
    if form is None:
        return None
    times = _read(column, form)
    if times is None:
        return None
    good = ~times.missing & (times.us >= EARLIEST_US) & (times.us < LATEST_US)
    if good.mean() < 0.5:
        return None
    words = {w for i in at for w in plain(names[i]).split()}
    ends = words & set(END_WORDS)
    if ends and not words & {"start", "begin", "from", "von"}:
        reasons.append(f"{' '.join(sorted(ends))!r} in its name: the time closes its interval")
    first = tuple(str(v) for v in column.drop_nulls().head(3))
    local = bool(times.local[good].any())
    reasons.append(
        "times carry no offset: local times of the building" if local else "times carry their offset, or are epochs"
    )
    proposal = TimeProposal(
        columns=tuple(names[i] for i in at),
        time_format=form or None,
        stamp="end" if ends and not words & {"start", "begin", "from", "von"} else "start",
        offset=not local,
        confidence=round(min(sure, float(good.mean()) if good.mean() < 0.98 else 1.0, 0.75 if ends else 1.0), 2),
        reasons=tuple(reasons),
        first=first,
    )
    return Found(proposal, at, times.us, good, local)


def _halves(names: tuple[str, ...], frame: pl.DataFrame, index: int) -> Found | None:
    """Take a column of dates with a column of times of day."""
    if not _is(frame[str(index)], r"^\s*\d{1,4}[-/.]\d{1,2}[-/.]\d{2,4}(?:[ T]00:00:00(?:\.0+)?)?\s*$"):
        return None
    for other in range(len(names)):
        clock = r"^(?:1(?:899-12-3[01]|900-01-0[01])[T ])?\s*\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?\s*([AaPp][Mm])?\s*$"
        if other != index and _is(frame[str(other)], clock):
            return _column(names, frame, (index, other))
    return None


def _is(column: pl.Series, form: str) -> bool:
    if column.dtype == pl.Date:
        column = column.cast(pl.String)
    if column.dtype != pl.String:
        return False
    head = column.drop_nulls().head(SAMPLE)
    return len(head) > 0 and bool(head.str.contains(form).mean() > 0.9)  # type: ignore[operator]


def _form(head: pl.Series) -> tuple[str | None, list[str], float]:
    """Form of the times: "" where the readers know it, None where these are no times; why; and how sure."""
    if head.dtype != pl.String:
        if head.dtype.is_numeric() and not head.cast(pl.Float64).is_between(6e8, 5e18).all():
            return None, [], 0.0
        return "", [f"a column of {head.dtype}"], 0.98 if isinstance(head.dtype, pl.Datetime) else 0.9
    number = head.str.contains(r"^\s*\d+([.,]\d+)?\s*$").mean() > 0.5  # type: ignore[operator]
    if number and not (head.cast(pl.Float64, strict=False).drop_nulls() > 6e8).all():
        return None, [], 0.0
    known = _read(head, "")
    if known is not None:
        dates = either_order(head)
        told = day_is_first(dates) if dates else True
        settled = any(max(a, b) > 12 for a, b, _ in dates)
        sure = 0.97 if not dates or settled else 0.85 if told is not None else 0.5
        order = "day first" if told is not False else "month first"
        why = ["times that the readers know" + (f", {order}" if dates else "")]
        if dates and not settled:
            why.append("no date tells day from month beyond doubt")
            if told is None:
                return "", why, sure
        return "", why, sure
    good = [(share, form) for form in FORMATS if (share := _share(head, form)) >= 0.98]
    if not good:
        return None, [], 0.0
    spans = [(_span(head, form), i, form) for i, (_, form) in enumerate(good)]
    span, _, form = min(spans)
    doubt = sum(abs(s - span) <= 0 for s, _, _ in spans) > 1
    return (
        form,
        [f"times have the form {form}"] + (["other forms fit as well"] if doubt else []),
        0.6 if doubt else 0.85 if len(good) > 1 else 0.95,
    )


def _parsed(head: pl.Series, form: str) -> pl.Series:
    return head.str.strip_chars().str.to_datetime(form, strict=False, time_unit="us")


def _share(head: pl.Series, form: str) -> float:
    return 1 - _parsed(head, form).null_count() / len(head)


def _span(head: pl.Series, form: str) -> float:
    parsed = _parsed(head, form).drop_nulls()
    return float((parsed.max() - parsed.min()).total_seconds())  # type: ignore[operator, union-attr]


def _read(column: pl.Series, form: str) -> Times | None:
    """Read times; rows that hold none (a row of units, a cut last one) are missing, most must be."""
    if column.dtype == pl.String:
        odd = ~column.fill_null("").str.contains(r"\d")
        column = column.set(odd, None)
    told = day_is_first(either_order(column)) if column.dtype == pl.String else True
    how = TimeColumn(Path("looked at"), "time", lambda i: i, form or None, lambda: told is not False)
    try:
        return read_times(column, how)
    except LogError:
        return None

"""A first look at files: which column is what, by its name and its values, with the reasons; a proposal for a person to correct."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

import polars as pl

from tuning.errors import TuningError
from tuning.logs.header import Header, tidy
from tuning.logs.notes import Notes
from tuning.logs.sources import is_log, open_log
from tuning.logs.times import TimeColumn, joined, read_times
from tuning.logs.values import NotAValueError, value_of
from tuning.site import Quantity

LOOKED_AT = 2000
"""Rows of a file that are looked at. Chosen by us: enough to see a morning of changes, quick enough to wait for."""
PREVIEWED_ROWS, MOST_LONG = 50, 3_000_000
"""Rows of every series of a long log that are kept, and rows of it that are looked at. Chosen by us: some seconds."""
LONG = {"time", "room", "quantity", "value"}
PREVIEWED = 4
QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)
NAMES: dict[Quantity, str] = {
    "override": r"override|manual|press|button|taster",
    "power": r"power|watt|\bkw\b|\bw\b|leistung",
    "illuminance": r"illum|\blux\b|\blx\b|brightness|light.?level|helligkeit",
    "output": r"output|\bdim|\bout\b|lamp|\blevel\b|percent|\bpct\b|status.?light|licht",
    "motion": r"\bpir\b|motion|movement|\bmov\b|trigger|bewegung",
    "occupied": r"occup|\bocc\b|presence|\bpres\b|belegt",
}
"""What names of points hold (common practice, no source). The first that fits is taken."""
WORDS = re.compile("|".join(f"(?:{p})" for p in NAMES.values()), re.IGNORECASE)


@dataclass(frozen=True)
class Column:
    """What a column, or a series of a long log, seems to be. ``quantity`` is ``None`` where it is to be left out."""

    name: str
    quantity: Quantity | None
    room: str
    channel: str
    sure: bool
    reasons: tuple[str, ...]
    preview: str
    continuous: bool
    """Whether values between the ends occur, as of a lamp that dims."""


@dataclass(frozen=True)
class Table:
    """Files of one kind. ``time``: the column, or the two, with the time; empty where none was found."""

    files: tuple[str, ...]
    layout: Literal["long", "wide"]
    time: tuple[str, ...]
    time_preview: str
    columns: tuple[Column, ...]


@dataclass(frozen=True)
class Look:
    """What a folder's files seem to be; ``problems``: a line per file that nothing can be made of."""

    tables: tuple[Table, ...]
    problems: tuple[str, ...]


def look(folder: Path, rooms: Iterable[str] = ()) -> Look:
    """Look at the logs of a folder.

    Parameters
    ----------
    rooms
        Ids of rooms that are known; a name that holds one is of that room.
    """
    kinds: dict[tuple[str, ...], list[tuple[str, pl.DataFrame]]] = {}
    problems = []
    for path in sorted(folder.iterdir()):
        if not is_log(path):
            continue
        try:
            for header, rows in _beginnings(path):
                kinds.setdefault(tuple(header), []).append((path.name, rows))
        except (TuningError, OSError) as error:
            problems.append(str(error))
    known = tuple(rooms)
    tables = []
    for names, found in kinds.items():
        rows = pl.concat([frame.cast(pl.String) for _, frame in found]) if _is_long(names) else found[0][1]
        tables.append(_table(names, list(dict.fromkeys(name for name, _ in found)), rows, known))
    return Look(tuple(tables), tuple(problems))


def _is_long(names: Sequence[str]) -> bool:
    return {tidy(n) for n in names} >= LONG


def _beginnings(path: Path) -> Iterable[tuple[list[str], pl.DataFrame]]:
    """First rows of every table of a file; of a long log some of every series, because a room may turn up late."""
    for source in open_log(path, Header(("time",), ("value",)), Notes()):
        if not _is_long(source.names):
            first = next(iter(source.batches(range(len(source.names)))), None)
            if first is not None:
                yield source.names, first.frame.head(LOOKED_AT)
            continue
        keys = [str(i) for i, name in enumerate(source.names) if tidy(name) in ("room", "channel", "quantity")]
        some, rows = [], 0
        for batch in source.batches(range(len(source.names))):
            some.append(batch.frame.group_by(keys, maintain_order=True).head(PREVIEWED_ROWS))
            rows += len(batch.frame)
            if rows > MOST_LONG:
                break
        if some:
            yield (
                source.names,
                pl.concat(some).select(batch.frame.columns).group_by(keys, maintain_order=True).head(PREVIEWED_ROWS),
            )


def _table(names: Sequence[str], files: list[str], rows: pl.DataFrame, known: tuple[str, ...]) -> Table:
    if _is_long(names):
        column = next(n for n in names if tidy(n) == "time")
        shown = _shown(rows[str(list(names).index(column))])
        return Table(tuple(files), "long", (column,), shown, tuple(_series(names, rows)))
    at = _time(names, rows)
    time = tuple(names[i] for i in at)
    shown = ", ".join(_shown(rows[str(i)]) for i in at)
    columns = [_column(n, rows[str(i)], known) for i, n in enumerate(names) if i not in at and n.strip()]
    return Table(tuple(files), "wide", time, shown, tuple(columns))


def _series(names: Sequence[str], rows: pl.DataFrame) -> Iterable[Column]:
    """Series of a long log that its first rows hold."""
    where = {tidy(n): str(i) for i, n in enumerate(names)}
    keys = [
        pl.col(where[k]).cast(pl.String).fill_null("").alias(k) if k in where else pl.lit("").alias(k)
        for k in ("room", "channel", "quantity")
    ]
    found = rows.select(*keys, value=pl.col(where["value"]).cast(pl.String))
    for (room, channel, quantity), part in found.group_by("room", "channel", "quantity", maintain_order=True):
        kind = next((q for q in QUANTITIES if q == str(quantity).strip().lower()), None)
        reasons = ("The log names it.",) if kind else (f"{quantity!r} is no quantity that is known.",)
        numbers = _numbers(part["value"], kind or "power")
        yield Column(
            f"{room} {channel} {quantity}".replace("  ", " "), kind, str(room), str(channel), kind is not None, reasons,
            _shown(part["value"]), _between(numbers),
        )  # fmt: skip


def _time(names: Sequence[str], rows: pl.DataFrame) -> tuple[int, ...]:
    """Positions of the time column, or of date and time; empty where there is none."""
    order = sorted(
        range(len(names)), key=lambda i: (not re.search(r"time|date|zeit|datum|stamp", names[i], re.IGNORECASE), i)
    )
    alone = [i for i in order[:12] if _is_time([rows[str(i)]], names[i])]
    whole = [i for i in alone if rows[str(i)].dtype not in (pl.String, pl.Date) or _has_clock(rows[str(i)])]
    if whole:
        return (whole[0],)
    for i, j in itertools.pairwise(order[:7]):
        for pair in ((i, j), (j, i)):
            if _is_time([rows[str(k)] for k in pair], " + ".join(names[k] for k in pair)):
                return pair
    return tuple(alone[:1])


def _has_clock(column: pl.Series) -> bool:
    """Whether texts hold more than a date."""
    return bool(column.drop_nulls().head(50).str.contains(r":|^\d{10,}|T\d{4}").all())


def _is_time(columns: list[pl.Series], name: str) -> bool:
    try:
        column = joined([c.drop_nulls().head(50) for c in columns])
        if column.is_empty() or (column.dtype == pl.String and (column.str.len_chars().max() or 0) < 8):  # type: ignore[operator]
            return False
        times = read_times(column, TimeColumn(Path(name), name, lambda i: i, None, lambda: True)).us
    except (TuningError, ValueError, pl.exceptions.PolarsError):
        return False
    return bool((times > 631_152_000_000_000).all() and (times < 4_102_444_800_000_000).all())


def _column(name: str, values: pl.Series, known: tuple[str, ...]) -> Column:
    text = re.sub(r"[_/\\.:|-]+", " ", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name))
    named: Quantity | None = next((q for q, pattern in NAMES.items() if re.search(pattern, text, re.IGNORECASE)), None)
    numbers = _numbers(values, named or "power")
    told, fits = (
        ("No value in the rows looked at.", True) if values.drop_nulls().is_empty() else _judged(named, numbers)
    )
    room, channel = _place(text, known, named)
    reasons = [f"The name says {named}." if named else "The name says nothing of a quantity.", told]
    if named and not room:
        reasons.append("The name tells no room.")
    quantity = named if fits else None
    # What is named like nothing we read, and moves like nothing that is only on or off, is a temperature or the like.
    other = named is None and _between(numbers)
    sure = other or (quantity is not None and bool(room) and bool(numbers))
    return Column(name, quantity, room, channel, sure, tuple(reasons), _shown(values), _between(numbers))


def _numbers(values: pl.Series, quantity: Quantity) -> list[float]:
    found = []
    for text in values.drop_nulls().cast(pl.String).head(LOOKED_AT).unique().head(200):
        try:
            found.append(value_of(text, quantity))
        except NotAValueError:
            return []
    return [n for n in found if not math.isnan(n)]


def _judged(named: Quantity | None, numbers: list[float]) -> tuple[str, bool]:
    """What the values say, and whether that goes with the name."""
    if not numbers:
        return "The values are no numbers.", False
    low, high = min(numbers), max(numbers)
    told = f"Values {low:g} to {high:g}." if high > low else f"Only {low:g} in the rows looked at."
    limits = {
        "motion": (0, 1),
        "occupied": (0, 1),
        "illuminance": (-5, 200_000),
        "output": (0, 100),
        "power": (-1, 1e6),
        "override": (0, 100),
    }
    if named is None:
        return told, False
    least, most = limits[named]
    fits = low >= least and high <= most
    return (told if fits else f"{told} That is outside of what {named} can be."), fits


def _between(numbers: list[float]) -> bool:
    return len({round(n, 1) for n in numbers}) > 2


def _place(text: str, known: tuple[str, ...], named: Quantity | None) -> tuple[str, str]:
    """Room and channel out of a name: a known room, else the token with a number; what is left may be the channel."""
    lower = text.lower()
    room = max((r for r in known if re.search(rf"(?<!\w){re.escape(r.lower())}(?!\w)", lower)), key=len, default="")
    rest = WORDS.sub(" ", lower.replace(room.lower(), " ") if room else lower).split()
    rest = [
        t
        for t in rest
        if t not in ("lx", "w", "kw", "lux", "pct", "percent", "value", "room", "zone", "light", "sensor")
    ]
    if not room:
        numbered = [i for i, t in enumerate(rest) if re.search(r"\d{2,}", t)] or [
            i for i, t in enumerate(rest) if re.search(r"\d", t)
        ]
        at = numbered[-1] if numbered else 0
        room = rest[at] if rest else ""
        if at and re.fullmatch(r"\d", room):
            # "Corridor 1" is a room, "1" is hardly one.
            room = f"{rest[at - 1]}-{room}"
        rest = rest[at + 1 :]
    shared = named in ("motion", "occupied", None)
    channel = "-".join(rest[-1:]) if rest and not re.fullmatch(r"[\W\d]*", rest[-1]) else ""
    return room, "" if shared and not channel else channel or "main"


def _shown(values: pl.Series) -> str:
    texts = values.drop_nulls().cast(pl.String).head(200).unique(maintain_order=True).head(PREVIEWED).to_list()
    return ", ".join(re.sub(r"\.0+$", "", t)[:24] for t in texts) or "empty"

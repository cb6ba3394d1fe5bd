"""Whether a table is long, wide or by points, and which series it holds."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning.logs.header import tidy
from tuning.logs.layouts import POINT_JOIN, point_text
from tuning.logs.values import QUANTITIES, NotAValueError, value_of
from tuning.mapping.model import Layout
from tuning.mapping.moments import Found, find_time
from tuning.mapping.names import plain, read_name
from tuning.mapping.tables import Kind, Look
from tuning.site import Quantity

LONG = {"time", "room", "channel", "quantity", "value"}
VALUE_WORDS = {
    "value",
    "wert",
    "valeur",
    "valor",
    "valore",
    "waarde",
    "vaerdi",
    "varde",
    "reading",
    "val",
    "messwert",
    "arvo",
    "wartosc",
}
STATUS_WORDS = {
    "status",
    "quality",
    "flag",
    "qualitat",
    "flags",
    "state",
    "unit",
    "units",
    "einheit",
    "unite",
    "comment",
    "user",
    "reliability",
}
STATUS_KINDS = {"ok", "good", "valid", "online", "normal", "192", "in service", "bad", "fault", "{ok}"}
MOST_SERIES = 2000
"""So many series of a table are looked at; hostile logs have one per row. Chosen by us."""
MOST_POINTS = 20_000
"""More different texts than this name no points. Chosen by us."""


@dataclass(frozen=True)
class RawColumn:
    """A series: its name in ``[logs.columns]``, all that names it, its values, and which rows of the table they are (None: all)."""

    name: str
    text: str
    values: pl.Series
    rows: npt.NDArray[np.int64] | None = None


@dataclass(frozen=True)
class Raw:
    """A table whose layout is known. ``generic``: only the file's name says what its column is; ``stem`` is that name where it counts."""

    files: tuple[Path, ...]
    layout: Layout
    columns: tuple[RawColumn, ...]
    point: tuple[str, ...] = ()
    value: str = ""
    stem: str = ""
    generic: bool = False
    doubtful: bool = False
    whole: bool = True
    reasons: tuple[str, ...] = ()
    keys: dict[str, tuple[str, str, Quantity, str]] = field(default_factory=dict)


def raw_tables(kind: Kind, problems: list[str]) -> list[tuple[Raw, Found]]:
    """Make tables of the files of one kind: one, or one per file where only the files' names tell what is in them."""
    timed = [(look, found) for look in kind.looks if (found := find_time(look.names, look.frame)) is not None]
    if not timed:
        name = kind.files[0].name
        why = "no rows" if all(look.frame.is_empty() for look in kind.looks) else "no column with times"
        problems.append(
            f"{name}: {why} among {', '.join(repr(n) for n in kind.names[:8])}. A log has a time in every row. Export it with times."
        )
        return []
    if {tidy(n) for n in kind.names} >= LONG and _long_quantities(timed[0][0]):
        return [_merged(kind, timed, _long)]
    if _point_columns(*timed[0]) is not None:
        return [_merged(kind, timed, _points)]
    columns = [n for i, n in enumerate(kind.names) if i not in timed[0][1].at]
    named = [read_name(n) for n in columns]
    generic = len(columns) == 1 and not any(n.quantities for n in named)
    placeless = not any(n.place for n in named)
    if generic or placeless:
        apart = len({look.file for look, _ in timed}) > 1 and _overlap([found for _, found in timed])
        if apart:
            groups = {look.file: [(a, f) for a, f in timed if a.file == look.file] for look, _ in timed}
            result = []
            for file, mine in groups.items():
                raw, found = _merged(replace(kind, files=(file,)), mine, _wide)
                result.append((replace(raw, stem=mine[0][0].stem, generic=generic, doubtful=len(mine) > 1), found))
            return result
        raw, found = _merged(kind, timed, _wide)
        inside = len(timed) > len(kind.files)
        return [
            (
                replace(
                    raw, stem=timed[0][0].stem, generic=generic, doubtful=inside and _overlap([f for _, f in timed])
                ),
                found,
            )
        ]
    return [_merged(kind, timed, _wide)]


def _overlap(found: Sequence[Found]) -> bool:
    """Whether files lie side by side in time, not one after another."""
    spans = sorted((int(f.us[f.good].min()), int(f.us[f.good].max())) for f in found if f.good.any())
    return any(b[0] < a[1] - (a[1] - a[0]) // 10 for a, b in itertools.pairwise(spans))


def _merged(kind: Kind, timed: list[tuple[Look, Found]], make: object) -> tuple[Raw, Found]:
    """All looks of a kind as one."""
    looks = [look for look, _ in timed]
    frame = pl.concat([look.frame for look in looks], how="vertical_relaxed") if len(looks) > 1 else looks[0].frame
    first = timed[0][1]
    found = first
    if len(looks) > 1:
        # What files of a kind say of their times counts together: one of them may hold the date that tells day from month.
        found = find_time(looks[0].names, frame) or first
    raw: Raw = make(kind, looks[0].names, frame, found)  # type: ignore[operator]
    if len(raw.columns) >= MOST_SERIES:
        raw = replace(raw, reasons=(*raw.reasons, f"only its first {MOST_SERIES:,} series were looked at"))
    return replace(raw, whole=all(look.whole for look in looks)), found


def _long_quantities(look: Look) -> bool:
    at = next(i for i, n in enumerate(look.names) if tidy(n) == "quantity")
    words = look.frame[str(at)].cast(pl.String, strict=False).drop_nulls().str.strip_chars().str.to_lowercase().unique()
    return len(words) > 0 and all(w in QUANTITIES for w in words)


def _long(kind: Kind, names: tuple[str, ...], frame: pl.DataFrame, _found: Found) -> Raw:
    at = {tidy(n): str(i) for i, n in enumerate(names)}
    parts = [pl.col(at[k]).cast(pl.String).str.strip_chars().fill_null("") for k in ("room", "channel", "quantity")]
    parts.append(
        pl.col(at["detector"]).cast(pl.String).str.strip_chars().fill_null("") if "detector" in at else pl.lit("")
    )
    keyed = frame.select(
        room=parts[0], channel=parts[1], quantity=parts[2].str.to_lowercase(), detector=parts[3], value=at["value"]
    )
    # Rows of no quantity are for the reader to name.
    keyed = keyed.with_row_index("row").filter(pl.col("quantity").is_in(QUANTITIES))
    columns, keys = [], {}
    for (room, channel, quantity, detector), part in itertools.islice(
        keyed.group_by("room", "channel", "quantity", "detector", maintain_order=True), MOST_SERIES
    ):
        name = "/".join(str(p) for p in (room, channel, quantity, detector) if p)
        columns.append(RawColumn(name, name, part["value"], part["row"].to_numpy().astype(np.int64)))
        keys[name] = (str(room), str(channel), next(q for q in QUANTITIES if q == quantity), str(detector))
    return Raw(kind.files, "long", tuple(columns), reasons=("it has the columns of a long log",), keys=keys)  # type: ignore[arg-type]


def _wide(kind: Kind, names: tuple[str, ...], frame: pl.DataFrame, found: Found) -> Raw:
    columns = [RawColumn(n, n, frame[str(i)]) for i, n in enumerate(names) if i not in found.at and n.strip()]
    columns = columns[:MOST_SERIES]
    counts = Counter(names)
    twice = [n for n, count in counts.items() if count > 1 and n.strip()]
    columns = [c for c in columns if c.name not in twice]
    reasons = ["a column per series"] + [f"{n!r} names several columns, which cannot be mapped" for n in sorted(twice)]
    return Raw(kind.files, "wide", tuple(columns), reasons=tuple(reasons))


def _valued(column: pl.Series) -> bool:
    if column.dtype.is_numeric() or column.dtype == pl.Boolean:
        return True
    if column.dtype != pl.String:
        return False
    # In Python, because of a table with thousands of columns each may hold a few texts.
    kinds = list(filter(None, {text.strip() for text in column.unique().drop_nulls().to_list()}))[:300]
    good = 0
    for kind in kinds:
        try:
            value_of(kind, "motion")
            good += 1
        except NotAValueError:
            pass
    return good >= 0.8 * len(kinds) and good > 0


def _point_columns(look: Look, found: Found) -> tuple[list[int], int, list[int]] | None:
    """Columns that name points, the one with values, and others that tell more of a point; None for a table that has no such columns."""
    rest = [i for i, n in enumerate(look.names) if i not in found.at and n.strip()]
    texts: list[int] = []
    values: list[int] = []
    for i in rest:
        column, words = look.frame[str(i)], set(plain(look.names[i]).split())
        (values if _valued(column) and not _names_points(column, words) else texts).append(i)
    said = [
        i
        for i in values
        if set(plain(look.names[i]).split()) & VALUE_WORDS and not set(plain(look.names[i]).split()) & STATUS_WORDS
    ]
    candidates = said or values
    if len(candidates) != 1 or not texts:
        return None
    value = candidates[0]
    kinds = {i: look.frame[str(i)].cast(pl.String, strict=False).drop_nulls().str.strip_chars().unique() for i in texts}
    naming = [
        i for i in texts
        if 1 <= len(kinds[i]) <= min(MOST_POINTS, max(look.frame.height // 3, 1)) and not _is_status(look.names[i], kinds[i])
    ]  # fmt: skip
    if not naming:
        return None
    several = [i for i in naming if len(kinds[i]) > 1]
    if not several and not said:
        return None
    units = [i for i in texts if set(plain(look.names[i]).split()) & {"unit", "units", "einheit", "unite", "unidad"}]
    return _fewest(look.frame, several or naming), value, [*naming, *units]


def _names_points(column: pl.Series, words: set[str]) -> bool:
    """Whether numbers are room or point numbers, as their column's name says."""
    marks = {
        "room",
        "raum",
        "point",
        "id",
        "zone",
        "salle",
        "device",
        "space",
        "lokale",
        "zimmer",
        "object",
        "address",
        "tag",
        "sensor",
        "rum",
        "channel",
    }
    return (
        bool(words & marks) and not words & VALUE_WORDS and column.drop_nulls().n_unique() <= max(len(column) // 20, 1)
    )


def _is_status(name: str, kinds: pl.Series) -> bool:
    return bool(set(plain(name).split()) & STATUS_WORDS) or all(str(k).casefold() in STATUS_KINDS for k in kinds)


def _fewest(frame: pl.DataFrame, columns: list[int]) -> list[int]:
    """The fewest columns that tell all points apart."""
    full = frame.select(str(i) for i in columns).n_unique()
    for i in sorted(columns, key=lambda i: -frame[str(i)].n_unique()):
        if frame[str(i)].n_unique() == full:
            return [i]
    chosen = list(columns)
    for i in reversed(columns):
        less = [c for c in chosen if c != i]
        if less and frame.select(str(c) for c in less).n_unique() == full:
            chosen = less
    return chosen


def _points(kind: Kind, names: tuple[str, ...], frame: pl.DataFrame, found: Found) -> Raw:
    told = _point_columns(Look(kind.files[0], "", names, frame, True), found)  # noqa: FBT003
    assert told is not None
    at, value, more = told
    text = pl.concat_str([point_text(str(i)) for i in at], separator=POINT_JOIN)
    also = pl.concat_str([point_text(str(i)) for i in dict.fromkeys([*at, *more])], separator=" | ")
    units = pl.col(str(more[-1])) if more and set(plain(names[more[-1]]).split()) & STATUS_WORDS else None
    full = also if units is None else pl.concat_str([also, pl.lit(" ["), point_text(str(more[-1])), pl.lit("]")])
    keyed = frame.select(point=text, text=full, value=str(value)).with_row_index("row")
    columns = [
        RawColumn(str(name), str(part["text"][0]), part["value"], part["row"].to_numpy().astype(np.int64))
        for (name,), part in itertools.islice(keyed.group_by("point", maintain_order=True), MOST_SERIES)
        if name
    ]
    return Raw(
        kind.files, "points", tuple(columns), point=tuple(names[i] for i in at), value=names[value],
        reasons=(f"a row per reading, named by {', '.join(repr(names[i]) for i in at)}",),
    )  # fmt: skip

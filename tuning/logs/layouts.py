"""Long tables, wide ones, and those by points: raw columns in, readings into the store."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import polars as pl

from tuning.errors import LogError
from tuning.logs.header import Header, tidy
from tuning.logs.notes import Notes
from tuning.logs.sources import Source
from tuning.logs.store import MOST_SERIES, Key, Store, too_many_series
from tuning.logs.values import QUANTITIES, numbers
from tuning.site import LogLayout, Site

KEYS = ["room", "channel", "quantity", "detector"]
MOST_SHOWN = 5
"""How many names a message shows."""
LONG_RULE = "Long logs have time, room, channel, quantity and value"
POINTS_RULE = "A log by points has a time, one or more columns that name the point, and a value"
POINT_JOIN = " / "
"""Between the texts that name a point together."""
WIDE_RULE = "A wide log has the time column and the columns that [[logs]] names"


@dataclass(frozen=True)
class Where:
    """The file that rows come from, and which row of it a row of the frame is."""

    path: Path
    row: Callable[[int], int]


class Layout(Protocol):
    """How a table of a group of files is read. Frames between its steps have the same columns, whatever the file's types."""

    header: Header
    series: list[str]
    """Columns of :meth:`frame` that tell series of one file apart."""
    unknown: Counter[str]
    """Rooms that site.toml does not name, and how many rows they have."""

    def times(self, source: Source) -> list[int]:
        """Positions of the time columns of a source."""

    def bind(self, source: Source) -> list[int]:
        """Positions of the other columns of a source, which is read next."""

    def frame(self, raw: pl.DataFrame, where: Where) -> pl.DataFrame:
        """Read the other columns, row for row."""

    def take(self, frame: pl.DataFrame, store: Store, path: Path) -> None:
        """Put rows with their time ``t`` into the store."""

    def finish(self, path: Path) -> None:
        """Say what no file of the group held; ``path`` stands for the group."""


def layout_of(given: LogLayout, site: Site, notes: Notes) -> Layout:
    """Choose the reader of a layout."""
    if given.layout == "long":
        return Long(given, site, notes)
    return Wide(given, site, notes) if given.layout == "wide" else Points(given, site, notes)


def keys_of(given: LogLayout) -> dict[str, Key]:
    """Series of every column or point that ``[logs.columns]`` names."""
    meanings = [(m.room, m.channel or "", m.quantity, m.detector or "") for m in given.columns.values()]
    often = Counter(meanings)
    # Two columns for the same thing are two detectors, told apart by the names of their columns.
    return {
        name: Key(*meaning) if often[meaning] == 1 else Key(*meaning[:3], meaning[3] or name.strip())
        for name, meaning in zip(given.columns, meanings, strict=True)
    }


def time_names(given: LogLayout) -> tuple[str, ...]:
    """Names of the time column, or of the date and time columns."""
    return (given.time,) if isinstance(given.time, str) else tuple(given.time)


def _position(names: Sequence[str], wanted: str, path: Path, rule: str) -> int:
    """Position of the column of that name: letter for letter if there is one, else whatever its case and blanks."""
    found = [i for i, name in enumerate(names) if name == wanted]
    found = found or [i for i, name in enumerate(names) if tidy(name) == tidy(wanted)]
    if len(found) == 1:
        return found[0]
    shown = ", ".join(repr(name) for name in names[:12]) + (", …" if len(names) > 12 else "")
    if found:
        raise LogError(
            path, "", f"{len(found)} columns are called {wanted!r}", "A column is known by its name", "Rename one"
        )
    remedy = "Name the columns in [[logs]] of site.toml, or export them"
    raise LogError(path, "", f"no column {wanted!r} among {shown or 'none'}", rule, remedy)


HALF = {"date": "time", "time": "date"}
"""A column of dates and one of times of day belong together; each is the other's half."""
_DAY_ONLY = r"^\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}$"
_CLOCK_ONLY = r"^\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?( ?[AaPp][Mm])?$"


def _time_positions(source: Source, wanted: tuple[str, ...], rule: str) -> list[int]:
    """Positions of the time column, or of the date's and the time's where one of them alone tells no moment."""
    at = [_position(source.names, name, source.path, rule) for name in wanted]
    other = HALF.get(tidy(wanted[0])) if len(wanted) == 1 else None
    halves = [i for i, name in enumerate(source.names) if tidy(name) == other]
    if other is None or len(halves) != 1:
        return at
    first = next(iter(source.batches(at)), None)
    if first is None or first.frame.is_empty() or first.frame.dtypes[0] != pl.String:
        return at
    head = first.frame.to_series(0).drop_nulls().str.strip_chars().head(20)
    if head.is_empty() or not head.str.contains(_CLOCK_ONLY if other == "date" else _DAY_ONLY).all():
        return at
    return [halves[0], at[0]] if other == "date" else [at[0], halves[0]]


class Long:
    """One reading per row: ``time, room, channel, quantity, value[, detector]``."""

    series = ["series"]  # noqa: RUF012

    def __init__(self, given: LogLayout, site: Site, notes: Notes) -> None:
        self._end, self._rooms, self._notes = given.stamp == "end", set(site.rooms), notes
        self._keys: dict[int, Key] = {}
        self._time = time_names(given)
        self._names = ["room", "channel", "quantity", "value"]
        self.header = Header((*self._time, *self._names))
        self.unknown: Counter[str] = Counter()

    def times(self, source: Source) -> list[int]:
        """See :class:`Layout`."""
        return _time_positions(source, self._time, LONG_RULE)

    def bind(self, source: Source) -> list[int]:
        """See :class:`Layout`."""
        columns = [_position(source.names, name, source.path, LONG_RULE) for name in self._names]
        return columns + [i for i, name in enumerate(source.names) if tidy(name) == "detector"][:1]

    def frame(self, raw: pl.DataFrame, where: Where) -> pl.DataFrame:
        """See :class:`Layout`."""
        names = [*self._names, "detector"][: raw.width]
        raw = raw.rename(dict(zip(raw.columns, names, strict=True)))
        if "detector" not in names:
            raw = raw.with_columns(detector=pl.lit(None, dtype=pl.String))
        for name in KEYS:
            if not (raw.schema[name].is_numeric() or raw.schema[name] in (pl.String, pl.Categorical, pl.Enum, pl.Null)):
                rule = "It names something by text or number"
                raise LogError(
                    where.path, f"column {name}", f"the column holds {raw.schema[name]}", rule, "Export it as text"
                )
        raw = raw.with_columns(pl.col(KEYS).cast(pl.String), _row=pl.int_range(pl.len(), dtype=pl.UInt32))
        # A row's series by one number instead of four texts, of which the grouping of rows would take three times as long. That two of a
        # hundred thousand series have the same one happens in one log of a billion.
        raw = raw.with_columns(series=pl.sum_horizontal(pl.col(name).hash(i) for i, name in enumerate(KEYS)))
        new = raw.filter(~pl.col("series").is_in(list(self._keys))).unique("series")
        known = raw
        if not new.is_empty():
            known = self._of_known_rooms(raw, new, where)
            new = new.filter(pl.col("series").is_in(known["series"].implode()))
            self._check_quantities(known, new, where)
            for number, *names in new.select("series", *KEYS).iter_rows():
                room, channel, quantity, detector = ((name or "").strip() for name in names)
                self._keys[number] = Key(room, channel, quantity.lower(), detector)
            if len(self._keys) > MOST_SERIES:
                raise too_many_series(where.path)
        value, doubts, wrong = numbers(known["value"], known["quantity"])
        if wrong is not None:
            raise _no_value(where, int(known["_row"][wrong[0]]), "value", wrong[1])
        self._notes.count("comma-ambiguous", doubts, path=where.path)
        return known.select("series", "_row", value=pl.Series(value))

    def _of_known_rooms(self, raw: pl.DataFrame, new: pl.DataFrame, where: Where) -> pl.DataFrame:
        if all(name is not None and name.strip() in self._rooms for name in new["room"]):
            return raw
        room = pl.col("room").str.strip_chars()
        known = room.is_in(list(self._rooms)).fill_null(value=False)
        others = raw.filter(~known).select(room.fill_null("").alias("room"))
        self._notes.count("unknown-room", others.height, path=where.path)
        # Hostile logs name a room per row; so many names are never shown.
        for name, rows in others["room"].value_counts().sort("room").head(1000).iter_rows():
            if name in self.unknown or len(self.unknown) < 1000:
                self.unknown[name] += rows
        return raw.filter(known)

    def _check_quantities(self, frame: pl.DataFrame, new: pl.DataFrame, where: Where) -> None:
        words = new["quantity"].unique().to_list()
        bad = [word for word in words if (word or "").strip().lower() not in QUANTITIES]
        if not bad:
            return
        first = frame.filter(pl.col("quantity").is_in(bad, nulls_equal=True)).row(0, named=True)
        raise LogError(
            where.path,
            f"row {where.row(first['_row'])}, column quantity",
            f"{(first['quantity'] or '')[:40]!r} is no quantity",
            f"A quantity is one of {', '.join(QUANTITIES)}",
            "Correct the export, or leave out such rows",
        )

    def take(self, frame: pl.DataFrame, store: Store, path: Path) -> None:
        """See :class:`Layout`."""
        groups = frame.group_by("series").agg("t", "value")
        for number, t, value in zip(*(groups[c] for c in groups.columns), strict=True):
            store.add(self._keys[number], t.to_numpy(), value.to_numpy(), end=self._end, path=path)

    def finish(self, path: Path) -> None:
        """See :class:`Layout`; a long log says all it has to say row by row."""


class Wide:
    """One row per time, one column per series, as ``[logs.columns]`` says."""

    series: list[str] = []  # noqa: RUF012  one row holds all series: they share their order

    def __init__(self, given: LogLayout, site: Site, notes: Notes) -> None:
        self._end, self._notes, self._time = given.stamp == "end", notes, time_names(given)
        self._columns, self._scale = keys_of(given), {name: m.scale for name, m in given.columns.items()}
        self._rooms = set(site.rooms)
        self.unknown: Counter[str] = Counter()
        self.header = Header(self._time, tuple(self._columns))
        self._bound: list[str] = []
        self._missing: Counter[str] = Counter()
        self._sources = 0

    def times(self, source: Source) -> list[int]:
        """See :class:`Layout`."""
        return _time_positions(source, self._time, WIDE_RULE)

    def bind(self, source: Source) -> list[int]:
        """See :class:`Layout`."""
        have = {tidy(name) for name in source.names}
        self._bound = [name for name in self._columns if tidy(name) in have]
        self._missing.update(name for name in self._columns if tidy(name) not in have)
        self._sources += 1
        # Where none is there, asking for the first one says so.
        wanted = self._bound or list(self._columns)[:1]
        found = [_position(source.names, name, source.path, WIDE_RULE) for name in wanted]
        mapped = {*self.times(source), *found}
        left = [name for i, name in enumerate(source.names) if i not in mapped and name.strip()]
        shown = ", ".join(left[:MOST_SHOWN]) + (f" and {len(left) - MOST_SHOWN} more" if len(left) > MOST_SHOWN else "")
        self._notes.count("unmapped-columns", len(left), what=shown)
        return found

    def finish(self, path: Path) -> None:
        """Say which columns some files lack; raise where none has one."""
        for name, files in self._missing.items():
            if files == self._sources:
                rule = "Every column of [logs.columns] must be in a file"
                raise LogError(
                    path, "", f"no column {name!r} in any file of its [[logs]]", rule, "Correct its name in site.toml"
                )
            self._notes.count("missing-column", files, what=name)

    def frame(self, raw: pl.DataFrame, where: Where) -> pl.DataFrame:
        """See :class:`Layout`."""
        raw = raw.rename(dict(zip(raw.columns, self._bound, strict=True)))
        # Most columns hold plain numbers: all of them at once, and the others one by one.
        plain = raw.cast(pl.Float64, strict=False) if all(kind == pl.String for kind in raw.dtypes) else raw.clear()
        odd = {
            name
            for name in self._bound
            if plain[name].len() < raw.height or plain[name].null_count() > raw[name].null_count()
        }
        read = pl.DataFrame([self._column(raw[name], where) if name in odd else plain[name] for name in self._bound])
        scaled = [pl.col(name) * self._scale[name] for name in self._bound if self._scale[name] != 1]
        return read.with_columns(*scaled, _row=pl.int_range(raw.height, dtype=pl.UInt32))

    def _column(self, column: pl.Series, where: Where) -> pl.Series:
        value, doubts, wrong = numbers(column, self._columns[column.name].quantity)
        if wrong is not None:
            raise _no_value(where, wrong[0], column.name, wrong[1])
        self._notes.count("comma-ambiguous", doubts, path=where.path)
        blank = column.is_null()
        if column.dtype == pl.String:
            blank = blank | (column.str.strip_chars() == "")
        # An empty cell is no reading; NaN is a reading without a value.
        return pl.Series(column.name, value).set(blank, None)

    def take(self, frame: pl.DataFrame, store: Store, path: Path) -> None:
        """See :class:`Layout`."""
        t = frame["t"].to_numpy()
        for name in frame.columns:
            key, column = self._columns.get(name), frame[name]
            held = frame.height - column.null_count()
            if key is None or held == 0:
                continue
            if key.room not in self._rooms:
                self._notes.count("unknown-room", held, path=path)
                self.unknown[key.room] += held
                continue
            of = t if held == frame.height else t[column.is_not_null().to_numpy()]
            store.add(
                key,
                of,
                column.drop_nulls().to_numpy() if len(of) < len(t) else column.to_numpy(),
                end=self._end,
                path=path,
            )


class Points:
    """One reading per row, its series named as the export names points: ``time, point, value``, and ``[logs.columns]``."""

    series = ["point"]  # noqa: RUF012

    def __init__(self, given: LogLayout, site: Site, notes: Notes) -> None:
        self._end, self._notes, self._time = given.stamp == "end", notes, time_names(given)
        self._point = (given.point,) if isinstance(given.point, str) else tuple(given.point)
        self._value, self._keys = given.value, keys_of(given)
        self._meanings = pl.DataFrame(
            {
                "point": list(self._keys),
                "quantity": [m.quantity for m in given.columns.values()],
                "scale": [m.scale for m in given.columns.values()],
            }
        )
        self._rooms = set(site.rooms)
        self.header = Header((*self._time, *self._point, self._value))
        self.unknown: Counter[str] = Counter()
        self._left: Counter[str] = Counter()
        self._seen: set[str] = set()

    def times(self, source: Source) -> list[int]:
        """See :class:`Layout`."""
        return _time_positions(source, self._time, POINTS_RULE)

    def bind(self, source: Source) -> list[int]:
        """See :class:`Layout`."""
        return [_position(source.names, name, source.path, POINTS_RULE) for name in (*self._point, self._value)]

    def frame(self, raw: pl.DataFrame, where: Where) -> pl.DataFrame:
        """See :class:`Layout`."""
        *named, value = raw.columns
        point = pl.concat_str([point_text(name) for name in named], separator=POINT_JOIN)
        rows = raw.select(point=point, value=pl.col(value), _row=pl.int_range(pl.len(), dtype=pl.UInt32))
        known = rows.join(self._meanings, on="point", how="inner", maintain_order="left")
        if known.height < rows.height:
            left = rows.join(self._meanings, on="point", how="anti")["point"].value_counts(sort=True)
            # Hostile logs name a point per row; so many names are never shown.
            for name, count in left.head(1000).iter_rows():
                if name in self._left or len(self._left) < 1000:
                    self._left[name] += count
        self._seen.update(known["point"].unique())
        read, doubts, wrong = numbers(known["value"], known["quantity"])
        if wrong is not None:
            raise _no_value(where, int(known["_row"][wrong[0]]), self._value, wrong[1])
        self._notes.count("comma-ambiguous", doubts, path=where.path)
        blank = known["value"].is_null()
        if known.schema["value"] == pl.String:
            blank = blank | (known["value"].str.strip_chars() == "")
        # As in a wide log an empty cell is no reading.
        return known.select("point", "_row", value=pl.Series(read) * known["scale"]).filter(~blank)

    def take(self, frame: pl.DataFrame, store: Store, path: Path) -> None:
        """See :class:`Layout`."""
        groups = frame.group_by("point").agg("t", "value")
        for point, t, value in zip(groups["point"], groups["t"], groups["value"], strict=True):
            key = self._keys[point]
            if key.room not in self._rooms:
                self._notes.count("unknown-room", len(t), path=path)
                self.unknown[key.room] += len(t)
                continue
            store.add(key, t.to_numpy(), value.to_numpy(), end=self._end, path=path)

    def finish(self, path: Path) -> None:
        """Say which points are left out, and which are in no file; raise where none is."""
        names = [name for name, _ in self._left.most_common()]
        shown = ", ".join(names[:MOST_SHOWN]) + (
            f" and {len(names) - MOST_SHOWN} more" if len(names) > MOST_SHOWN else ""
        )
        self._notes.count("unmapped-points", sum(self._left.values()), what=shown)
        missing = [name for name in self._keys if name not in self._seen]
        if missing and len(missing) == len(self._keys):
            rule = "The points of [logs.columns] must be in a file"
            found = f"no point {missing[0]!r} in any file of its [[logs]]" + (f", only {shown}" if shown else "")
            raise LogError(path, "", found, rule, "Correct the names in site.toml")
        for name in missing:
            self._notes.count("missing-point", 1, what=repr(name))


def point_text(name: str) -> pl.Expr:
    """Text of a column that names points, as ``[logs.columns]`` spells it."""
    return pl.col(name).cast(pl.String, strict=False).str.strip_chars().fill_null("")


def _no_value(where: Where, index: int, column: str, found: str) -> LogError:
    return LogError(
        where.path,
        f"row {where.row(index)}, column {column}",
        f"{found[:40]!r} is no value",
        "A value is a number, with or without its unit, or a word for on or off",
        "Correct that row, or empty the field",
    )

"""Raw columns → one compact table of all readings, and what was noticed on the way.

Inside, a reading is a time (µs), a series number and a value: 20 million of them fit in a few hundred megabytes. Strings come
back only for one room at a time.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl
from polars.exceptions import PolarsError

from tuning.errors import FolderError, LogError
from tuning.logs.files import ROW, csv_error, is_log, open_log
from tuning.logs.sampling import sampling_interval_s
from tuning.logs.times import EARLIEST_US, LATEST_US, local_and_utc, localise
from tuning.logs.values import LIMITS, QUANTITIES, number
from tuning.results import Finding
from tuning.schemas import READINGS, TIME
from tuning.site import LogLayout, Site

SEPARATOR = "\x1f"
Progress = Callable[[float, str], None]
SAMPLE_ROWS = 500


@dataclass(frozen=True)
class Logs:
    """All readings of a building.

    Attributes
    ----------
    series
        One row per series: ``series`` (number), ``room``, ``channel`` (null = whole room), ``detector``, ``quantity``, ``rows``,
        ``first``, ``last`` (UTC).
    findings
        What was noticed while reading.
    """

    series: pl.DataFrame
    findings: tuple[Finding, ...]
    _rows: pl.DataFrame = field(repr=False)

    @property
    def start(self) -> dt.datetime | None:
        """First time over everything, UTC."""
        return None if self.series.is_empty() else self.series["first"].min()  # type: ignore[return-value]

    @property
    def end(self) -> dt.datetime | None:
        """Last time over everything, UTC."""
        return None if self.series.is_empty() else self.series["last"].max()  # type: ignore[return-value]

    def readings(self, room: str) -> pl.DataFrame:
        """Return the READINGS frame of one room, sorted by time."""
        mine = self.series.filter(pl.col("room") == room)
        if mine.is_empty():
            return READINGS.to_frame()
        parts = [
            self._rows.slice(offset, rows).select(
                pl.col("t").cast(TIME).alias("time"),
                room=pl.lit(room),
                channel=pl.lit(channel, dtype=pl.String),
                detector=pl.lit(detector, dtype=pl.String),
                quantity=pl.lit(quantity),
                value=pl.col("value").cast(pl.Float64),
            )
            for offset, rows, channel, detector, quantity in mine.select(
                "offset", "rows", "channel", "detector", "quantity"
            ).iter_rows()
        ]
        return pl.concat(parts).sort("time", maintain_order=True)


@dataclass
class _Notes:
    """Counts of what was noticed; turned into findings at the end."""

    empty: int = 0
    impossible: dict[str, int] = field(default_factory=dict)
    duplicates: int = 0
    overwritten: int = 0
    double_hour: int = 0
    skipped_hour: int = 0


def read_logs(folder: Path, site: Site, *, progress: Progress | None = None) -> Logs:
    """Read all logs of a building folder.

    Raises
    ------
    FolderError
        If there is no log, or none holds motion or occupancy of a known room.
    LogError
        If a file cannot be read as what it is said to be.
    """
    say = progress or (lambda _share, _what: None)
    work = _work(folder, site)
    notes = _Notes()
    parts: list[pl.DataFrame] = []
    for done, (path, layout) in enumerate(work):
        say(done / len(work), f"reading {path.name}")
        for raw in open_log(path):
            parts += _read_one(raw, path, layout, site, notes)
    logs = _assemble(parts, notes, site)
    if not logs.series["quantity"].is_in(["motion", "occupied"]).any():
        raise FolderError(
            folder,
            "the logs hold no motion and no occupancy of a room in site.toml",
            "Motion is needed; check the export and the room names",
        )
    return logs


def read_frame(frame: pl.DataFrame, site: Site) -> Logs:
    """Read a long frame already in memory, with the same checks. See :func:`read_logs`."""
    notes = _Notes()
    parts = _read_one(frame.lazy(), Path("frame"), LogLayout(files="frame"), site, notes)
    return _assemble(parts, notes, site)


def _work(folder: Path, site: Site) -> list[tuple[Path, LogLayout]]:
    if not site.logs:
        plain = LogLayout(files="*")
        found = [(path, plain) for path in sorted(folder.iterdir()) if is_log(path)]
    else:
        found = [(path, layout) for layout in site.logs for path in sorted(folder.glob(layout.files)) if path.is_file()]
    if not found:
        wanted = ", ".join(layout.files for layout in site.logs) or "*.csv, *.parquet, *.xlsx"
        raise FolderError(
            folder, f"no log in this folder (looked for {wanted})", "Put the exports beside site.toml, or mend [[logs]]"
        )
    return found


def _columns(raw: pl.LazyFrame, path: Path) -> list[str]:
    try:
        return raw.collect_schema().names()
    except (PolarsError, OSError) as error:
        raise csv_error(path, error) from error


def _want(columns: list[str], name: str, path: Path) -> str:
    """Return the column of that name, whatever its case and surrounding blanks."""
    for column in columns:
        if column.strip().lstrip("\ufeff").lower() == name.lower():
            return column
    shown = ", ".join(c for c in columns if c != ROW)[:200]
    raise LogError(
        path,
        "row 1",
        f"no column {name!r} among {shown}",
        "Long logs have time, room, channel, quantity and value",
        "name the columns in [[logs]] of site.toml",
    )


def _time(raw: pl.LazyFrame, layout: LogLayout, columns: list[str], path: Path) -> tuple[pl.Expr, bool]:
    names = (layout.time,) if isinstance(layout.time, str) else layout.time
    found = [_want(columns, name, path) for name in names]
    column = pl.col(found[0]) if len(found) == 1 else pl.concat_str([pl.col(c) for c in found], separator=" ")
    try:
        sample = raw.select(column.alias("t")).head(SAMPLE_ROWS).collect()["t"]
    except (PolarsError, OSError) as error:
        raise _unreadable(path, error) from error
    return local_and_utc(column, sample, layout.time_format, path, " + ".join(found))


def _unreadable(path: Path, error: Exception) -> LogError:
    if path.suffix.lower() == ".parquet":
        return LogError(
            path,
            "",
            f"damaged Parquet file ({str(error).splitlines()[0][:100]})",
            "A Parquet file must be whole",
            "copy it again",
        )
    return csv_error(path, error)


def _read_one(raw: pl.LazyFrame, path: Path, layout: LogLayout, site: Site, notes: _Notes) -> list[pl.DataFrame]:
    columns = _columns(raw, path)
    time, local = _time(raw, layout, columns, path)
    row = pl.col(ROW) if ROW in columns else pl.int_range(2, pl.len() + 2, dtype=pl.UInt32)
    schema = raw.collect_schema()
    wanted = [_long(columns, schema, path)] if layout.layout == "long" else _wide(columns, schema, layout, path)
    parts = []
    for key, value, text in wanted:
        lazy = raw.select(t=time, key=key, value=value, text=text, row=row)
        try:
            frame = lazy.collect(engine="streaming")
        except (PolarsError, OSError) as error:
            raise _unreadable(path, error) from error
        _check_times(frame, path)
        frame = _checked_values(frame, path, notes, site)
        if local:
            frame, double, skipped = localise(frame, site.site.time_zone)
            notes.double_hour += double
            notes.skipped_hour += skipped
        parts.append(frame.select("t", "key", "value").with_columns(end=pl.lit(layout.stamp == "end")))
    return parts


Wanted = tuple[pl.Expr, pl.Expr, pl.Expr]


def _long(columns: list[str], schema: pl.Schema, path: Path) -> Wanted:
    room, quantity, value = (_want(columns, name, path) for name in ("room", "quantity", "value"))
    lower = [c.strip().lower() for c in columns]

    def optional(name: str) -> pl.Expr:
        if name not in lower:
            return pl.lit("")
        return pl.col(columns[lower.index(name)]).cast(pl.String).fill_null("").str.strip_chars()

    key = pl.concat_str(
        [
            pl.col(room).cast(pl.String).fill_null("").str.strip_chars(),
            optional("channel"),
            optional("detector"),
            pl.col(quantity).cast(pl.String).fill_null("").str.strip_chars().str.to_lowercase(),
        ],
        separator=SEPARATOR,
    ).cast(pl.Categorical)
    return key, number(pl.col(value), schema[value]), _text_of(value, schema)


def _text_of(column: str, schema: pl.Schema) -> pl.Expr:
    """Return the raw text where there is one, to tell an empty value from an unreadable one."""
    return pl.col(column).str.strip_chars() if schema[column] == pl.String else pl.lit(None, dtype=pl.String)


def _wide(columns: list[str], schema: pl.Schema, layout: LogLayout, path: Path) -> list[Wanted]:
    wanted = []
    for name, meaning in layout.columns.items():
        column = _want(columns, name, path)
        key = SEPARATOR.join(
            [meaning.room, meaning.channel or "", meaning.detector or column.strip(), meaning.quantity]
        )
        wanted.append(
            (pl.lit(key).cast(pl.Categorical), number(pl.col(column), schema[column]), _text_of(column, schema))
        )
    return wanted


def _check_times(frame: pl.DataFrame, path: Path) -> None:
    bad = frame.filter(pl.col("t").is_null() | ~pl.col("t").is_between(EARLIEST_US, LATEST_US))
    if len(bad):
        raise LogError(
            path,
            f"row {bad['row'][0]}, column time",
            f"{len(bad)} rows hold no readable time between 1900 and 2100"
            if len(bad) > 1
            else "no readable time between 1900 and 2100",
            "Every row has a time of the same form",
            "mend or delete those rows, or give time_format in [[logs]]",
        )


def _checked_values(frame: pl.DataFrame, path: Path, notes: _Notes, site: Site) -> pl.DataFrame:
    quantity = pl.col("key").cast(pl.String).str.split(SEPARATOR).list.last()
    keys = frame.select(pl.col("key").unique()).with_columns(
        quantity=quantity, room=pl.col("key").cast(pl.String).str.split(SEPARATOR).list.first()
    )
    unknown = keys.filter(~pl.col("quantity").is_in(QUANTITIES) & pl.col("room").is_in(list(site.rooms)))
    if len(unknown):
        first = frame.filter(pl.col("key").is_in(unknown["key"].implode()))["row"].min()
        raise LogError(
            path,
            f"row {first}, column quantity",
            f"{unknown['quantity'][0]!r} is not known",
            f"A quantity is one of {', '.join(QUANTITIES)}",
            "mend the export or map the column in [[logs]]",
        )
    unreadable = frame.filter(
        pl.col("value").is_null()
        & pl.col("text").is_not_null()
        & (pl.col("text") != "")
        & ~pl.col("text").str.to_lowercase().is_in(["nan", "null", "none", "na", "n/a", "-"])
    )
    if len(unreadable):
        raise LogError(
            path,
            f"row {unreadable['row'][0]}, column value",
            f"{unreadable['text'][0][:40]!r} is not a number",
            "A value is a number, or a word for on or off",
            "mend that row",
        )
    notes.empty += frame["value"].null_count()
    frame = frame.drop_nulls("value")
    limits = keys.select(
        "key",
        "quantity",
        low=pl.col("quantity").replace_strict(
            {q: v[0] for q, v in LIMITS.items()}, default=0.0, return_dtype=pl.Float64
        ),
        high=pl.col("quantity").replace_strict(
            {q: v[1] for q, v in LIMITS.items()}, default=0.0, return_dtype=pl.Float64
        ),
    )
    for key, name, low, high in limits.iter_rows():
        if name not in LIMITS:
            continue
        outside = (pl.col("key") == key) & ~pl.col("value").is_between(low, high)
        count = int(frame.select(outside.sum()).item())
        if count:
            notes.impossible[name] = notes.impossible.get(name, 0) + count
            frame = frame.filter(~outside)
    return frame


def _assemble(parts: list[pl.DataFrame], notes: _Notes, site: Site) -> Logs:
    rows = (
        pl.concat(parts)
        if parts
        else pl.DataFrame(schema={"t": pl.Int64, "key": pl.Categorical, "value": pl.Float64, "end": pl.Boolean})
    )
    keys = rows.select(pl.col("key").unique()).with_columns(name=pl.col("key").cast(pl.String))
    keys = keys.with_columns(pl.col("name").str.split(SEPARATOR).alias("part")).with_columns(
        room=pl.col("part").list.first()
    )
    unknown = sorted(set(keys["room"].to_list()) - set(site.rooms))
    keys = keys.filter(pl.col("room").is_in(list(site.rooms))).sort("name").with_row_index("series")
    before = len(rows)
    rows = rows.join(keys.select("key", pl.col("series").cast(pl.UInt16)), on="key", how="inner").drop("key")
    left_out = before - len(rows)
    rows = rows.sort("series", "t", maintain_order=True)
    same = (pl.col("series") == pl.col("series").shift(-1)) & (pl.col("t") == pl.col("t").shift(-1))
    rows = rows.with_columns(
        again=same.fill_null(value=False), equal=(pl.col("value") == pl.col("value").shift(-1)).fill_null(value=False)
    )
    # Of several values at one time, the last one stands.
    notes.duplicates = int((rows["again"] & rows["equal"]).sum())
    notes.overwritten = int((rows["again"] & ~rows["equal"]).sum())
    rows = rows.filter(~pl.col("again")).drop("again", "equal")
    rows = _stamps(rows)
    index = rows.group_by("series", maintain_order=True).agg(
        rows=pl.len(), first=pl.col("t").min().cast(TIME), last=pl.col("t").max().cast(TIME)
    )
    index = index.with_columns(
        offset=(pl.col("rows").cum_sum() - pl.col("rows")).cast(pl.Int64), rows=pl.col("rows").cast(pl.Int64)
    )
    series = keys.select(
        pl.col("series").cast(pl.UInt16),
        "room",
        channel=_part(1),
        detector=_part(2),
        quantity=pl.col("part").list.get(3),
    ).join(index, on="series", how="inner")
    return Logs(series, _findings(notes, unknown, left_out), rows.select("t", "value"))


def _part(index: int) -> pl.Expr:
    value = pl.col("part").list.get(index)
    return pl.when(value != "").then(value)


def _stamps(rows: pl.DataFrame) -> pl.DataFrame:
    """Shift the series that are stamped at the end of their interval back by one interval."""
    late = rows.filter(pl.col("end"))
    if late.is_empty():
        return rows.drop("end")
    shifts = {}
    for (number_,), part in late.group_by("series"):
        interval = sampling_interval_s(part["t"].cast(TIME))
        shifts[number_] = round((interval or 0.0) * 1e6)
    shift = pl.when("end").then(pl.col("series").replace_strict(shifts, default=0, return_dtype=pl.Int64)).otherwise(0)
    return rows.with_columns(t=pl.col("t") - shift).drop("end").sort("series", "t", maintain_order=True)


def _findings(notes: _Notes, unknown: list[str], left_out: int) -> tuple[Finding, ...]:
    found = []
    if unknown:
        shown = ", ".join(unknown[:5]) + (" …" if len(unknown) > 5 else "")
        found.append(
            Finding(
                "unknown-room",
                "warning",
                f"{left_out} rows belong to rooms that site.toml does not name ({shown}); they are left out.",
                {"rooms": unknown[:50], "rows": left_out},
            )
        )
    if notes.empty:
        found.append(
            Finding(
                "empty-values", "info", f"{notes.empty} rows hold no value and are left out.", {"rows": notes.empty}
            )
        )
    for quantity, count in sorted(notes.impossible.items()):
        low, high = LIMITS[quantity]
        found.append(
            Finding(
                "impossible-values",
                "warning",
                f"{count} {quantity} values lie outside {low:g} to {high:g} and are left out.",
                {"quantity": quantity, "rows": count},
            )
        )
    if notes.duplicates:
        found.append(
            Finding(
                "duplicate-rows",
                "info",
                f"{notes.duplicates} rows stand twice; each counts once.",
                {"rows": notes.duplicates},
            )
        )
    if notes.overwritten:
        found.append(
            Finding(
                "conflicting-rows",
                "warning",
                f"{notes.overwritten} rows give another value for the same time; the last one stands.",
                {"rows": notes.overwritten},
            )
        )
    if notes.double_hour:
        found.append(
            Finding(
                "clock-back",
                "info",
                f"{notes.double_hour} rows lie in the hour that occurs twice when clocks go back; their order tells which.",
                {"rows": notes.double_hour},
            )
        )
    if notes.skipped_hour:
        found.append(
            Finding(
                "clock-forward",
                "info",
                f"{notes.skipped_hour} rows lie in the hour that clocks skip; they are read as an hour later.",
                {"rows": notes.skipped_hour},
            )
        )
    return tuple(found)


__all__ = ["Logs", "read_frame", "read_logs"]

"""A folder and its site.toml → :class:`Logs`."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Generator, Iterable, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from functools import cached_property, partial
from pathlib import Path, PurePath

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning.errors import FolderError, LogError, NoLogError
from tuning.logs.clock import Clock
from tuning.logs.layouts import MOST_SHOWN, Layout, Where, layout_of
from tuning.logs.notes import Notes
from tuning.logs.own import is_own_result
from tuning.logs.sources import SUFFIXES, Batch, Source, first_rows, is_log, open_frame, open_log
from tuning.logs.store import Rows, Store, Values, reading_frames
from tuning.logs.times import EARLIEST_US, LATEST_US, TimeColumn, day_is_first, either_order, joined, read_times
from tuning.results import Finding
from tuning.schemas import READINGS, TIME
from tuning.site import LogLayout, Site

Progress = Callable[[float, str], None]


@dataclass(frozen=True)
class Logs:
    """All readings of a building.

    Attributes
    ----------
    series
        One row per series, sorted by room, channel, quantity and detector: ``series`` (its number), ``room``, ``channel`` (null: the
        whole room), ``detector`` (null: not told apart), ``quantity``, ``rows``, ``first``, ``last`` (UTC), and ``stamp``: whether
        the log's times opened ("start") or closed ("end") their interval. Here they all open it.
    findings
        What was noticed while reading.
    """

    series: pl.DataFrame
    findings: tuple[Finding, ...]
    _rows: Mapping[int, Rows] = field(repr=False)

    @property
    def start(self) -> dt.datetime | None:
        """First time over everything, UTC."""
        return self.series["first"].min()  # type: ignore[return-value]

    @property
    def end(self) -> dt.datetime | None:
        """Last time over everything, UTC."""
        return self.series["last"].max()  # type: ignore[return-value]

    def since(self, when: dt.datetime) -> Logs:
        """Return the part of the logs from a moment on."""
        us = round(when.timestamp() * 1e6)
        rows = {n: Rows(r.t[i:], r.value[i:]) for n, r in self._rows.items() for i in (int(np.searchsorted(r.t, us)),)}
        left = [n for n in self.series["series"].to_list() if len(rows[n].t)]
        first = {n: dt.datetime.fromtimestamp(int(rows[n].t[0]) / 1e6, tz=dt.UTC) for n in left}
        series = self.series.filter(pl.col("series").is_in(left)).with_columns(
            rows=pl.Series([len(rows[n].t) for n in left], dtype=pl.Int64),
            first=pl.Series([first[n] for n in left], dtype=TIME),
        )
        return Logs(series, self.findings, rows)

    def times_us(self, series: int) -> npt.NDArray[np.int64]:
        """Times of one series by its number, sorted. UTC epoch [µs]."""
        return self._rows[series].t

    def values(self, series: int) -> Values:
        """Values of one series by its number, in the order of its times."""
        return self._rows[series].value

    def readings(self, room: str) -> pl.DataFrame:
        """Return the READINGS frame of one room, sorted by time; empty where the logs hold nothing of it."""
        return _in_order([READINGS.to_frame(), *reading_frames(self._series_of(room))])

    def by_quantity(self, room: str) -> dict[str, pl.DataFrame]:
        """Return the READINGS of one room by quantity, each sorted by time; a column that says the same in every row of one takes no memory."""
        series = self._series_of(room)
        quantities = sorted({quantity for *_, quantity in series})
        return {q: _in_order(reading_frames(s for s in series if s[-1] == q)) for q in quantities}

    def _series_of(self, room: str) -> list[tuple[Rows, str, str | None, str | None, str]]:
        mine = self.series.filter(pl.col("room") == room)
        columns = mine.select("series", "room", "channel", "detector", "quantity").iter_rows()
        return [(self._rows[number], *what) for number, *what in columns]


def _in_order(frames: list[pl.DataFrame]) -> pl.DataFrame:
    return frames[0] if len(frames) == 1 else pl.concat(frames).sort("time", maintain_order=True)


@dataclass(frozen=True)
class _Group:
    """Files that are read in the same way, in order of their names."""

    layout: LogLayout
    sources: Callable[[Path, Layout, Notes], Generator[Source]]
    paths: tuple[Path, ...]
    reader: Layout
    notes: Notes

    @cached_property
    def day_first(self) -> bool:
        """Whether the day stands first in dates such as 03/02/2026; looked up only where they turn up.

        All files of the group are asked, so that the answer does not depend on how a log is split into files.
        """
        dates: set[tuple[int, int, int]] = set()
        for path in self.paths:
            # What there is to notice is noticed when the file is read.
            with closing(self.sources(path, self.reader, Notes())) as opened:
                for source in opened:
                    for batch in source.batches(self.reader.times(source)):
                        dates |= either_order(joined(batch.frame.get_columns()))
        answer = day_is_first(dates)
        if not any(max(first, second) > 12 for first, second, _ in dates):
            what = "the 2nd of March (month first)" if answer is False else "the 3rd of February (day first)"
            self.notes.count("date-order", 1, what=what)
        return answer is not False


def read_logs(folder: Path, site: Site, *, progress: Progress | None = None, most_rows: int | None = None) -> Logs:
    """Read all logs of a building folder.

    Parameters
    ----------
    folder
        Holds the logs. Without ``[[logs]]`` in site.toml every CSV, Parquet and Excel file directly in it is a long log.
    site
        What site.toml says.
    progress
        Called with the share done (0…1) and what is being done.
    most_rows
        Stop in each file once so many rows are read; for a first look.

    Returns
    -------
    All readings of the rooms of ``site``, times in UTC, opening their interval; and what was noticed.

    Raises
    ------
    FolderError
        If there is no log, or none holds motion or occupancy of a room of ``site``.
    LogError
        If a file cannot be read as what it is said to be. The first problem is told.
    """
    notes = Notes()
    groups = _groups(folder, site, notes, most_rows)
    sizes = [max(path.stat().st_size, 1) for group in groups for path in group.paths]
    store, done = Store(site, notes), 0
    say = progress or (lambda _share, _what: None)
    for group in groups:

        def shown(path: Path, share: float) -> None:
            index = done + group.paths.index(path)  # noqa: B023  called before the loop goes on
            say((sum(sizes[:index]) + share * sizes[index]) / sum(sizes), f"reading {path.name}")

        _read(group, site, store, shown)
        done += len(group.paths)
    unknown: Counter[str] = Counter()
    for group in groups:
        unknown.update(group.reader.unknown)
    logs = _finished(store, notes, unknown)
    if not logs.series["quantity"].is_in(["motion", "occupied"]).any():
        raise FolderError(folder, *_no_motion(logs, site, unknown))
    return logs


def no_logs(site: Site) -> Logs:
    """Logs of a building that has none yet."""
    return _finished(Store(site, Notes()), Notes(), Counter())


def read_frame(frame: pl.DataFrame, site: Site) -> Logs:
    """Read a long frame already in memory, with the same checks as :func:`read_logs`; it may hold no motion.

    Raises
    ------
    LogError
        If a column is missing, or a row holds no time, quantity or value.
    """
    notes = Notes()
    path = Path("frame")
    reader = layout_of(LogLayout(files="frame"), site, notes)
    group = _Group(LogLayout(files="frame"), lambda path, *_: open_frame(path, frame), (path,), reader, notes)
    store = Store(site, notes)
    _read(group, site, store, lambda _path, _share: None)
    return _finished(store, notes, reader.unknown)


def _finished(store: Store, notes: Notes, unknown: Counter[str]) -> Logs:
    series, rows = store.finish()
    if unknown:
        notes.specify("unknown-room", _listed(unknown))
    return Logs(series, notes.findings(), rows)


def _listed(names: Iterable[str]) -> str:
    shown = sorted(names)
    return ", ".join(name or "(none)" for name in shown[:MOST_SHOWN]) + (" …" if len(shown) > MOST_SHOWN else "")


def _no_motion(logs: Logs, site: Site, unknown: Counter[str]) -> tuple[str, str]:
    if logs.series.is_empty() and unknown:
        found = f"none of the rooms in the logs ({_listed(unknown)}) is in site.toml, which has {_listed(site.rooms)}"
        return found, "Name the rooms alike in site.toml and in the logs"
    held = _listed(logs.series["quantity"].unique())
    found = f"the logs hold no motion and no occupancy of a room in site.toml, only {held or 'no readings at all'}"
    return found, "Export the motion of the detectors too, as quantity motion or occupied"


def _groups(folder: Path, site: Site, notes: Notes, most_rows: int | None) -> list[_Group]:
    def sources(path: Path, reader: Layout, notes: Notes) -> Generator[Source]:
        opened = open_log(path, reader.header, notes)
        return opened if most_rows is None else first_rows(opened, most_rows)

    groups = []
    for layout in site.logs or (LogLayout(files="*"),):
        if PurePath(layout.files).is_absolute() or ".." in PurePath(layout.files).parts or not layout.files.strip():
            raise FolderError(folder, f"files = {layout.files!r} in [[logs]]", "Name files inside the building folder")
        wanted = is_log if not site.logs else Path.is_file
        try:
            paths = tuple(path for path in sorted(folder.glob(layout.files)) if wanted(path))
            own = {path for path in paths if is_own_result(path)}
        except (ValueError, NotImplementedError, OSError) as error:
            raise FolderError(folder, f"files = {layout.files!r} in [[logs]]: {error}", "Mend the pattern") from error
        for path in sorted(own):
            notes.count("own-results", 1, what=path.name)
        paths = tuple(path for path in paths if path not in own)
        if paths:
            groups.append(_Group(layout, sources, paths, layout_of(layout, site, notes), notes))
        elif site.logs:
            notes.count("unmatched-files", 1, what=layout.files)
    if not groups:
        looked_for = ", ".join(layout.files for layout in site.logs) or ", ".join("*" + suffix for suffix in SUFFIXES)
        raise NoLogError(
            folder,
            f"no log in this folder (looked for {looked_for})",
            "Put the exports beside site.toml, or mend [[logs]]",
        )
    return groups


def _read(group: _Group, site: Site, store: Store, shown: Callable[[Path, float], None]) -> None:
    clock = Clock(site.site.time_zone, group.notes)
    for path in group.paths:
        shown(path, 0.0)
        with closing(group.sources(path, group.reader, group.notes)) as opened:
            for source in opened:
                clock.begin(source.path)
                _read_source(source, group, clock, store, partial(shown, path))
    for path, rows in clock.release(group.reader.series):
        group.reader.take(rows, store, path)
    group.reader.finish(group.paths[0])


def _read_source(source: Source, group: _Group, clock: Clock, store: Store, shown: Callable[[float], None]) -> None:
    reader, notes, path = group.reader, group.notes, source.path
    at = reader.times(source)
    columns = [*at, *reader.bind(source)]
    name = " + ".join(source.names[i] for i in at)
    seen = kept = 0
    for batch in source.batches(columns):
        raw, text, row = _rows_of(batch, at, name, path, notes)
        how = TimeColumn(path, name, row, group.layout.time_format, lambda: group.day_first)
        times = read_times(text, how)
        if times.missing.any():
            place = f"row {row(int(times.missing.argmax()))}, column {name}"
            raise LogError(path, place, "the time is empty", "Every row has a time", "Mend or delete that row")
        possible = (times.us >= EARLIEST_US) & (times.us < LATEST_US)
        seen, kept = seen + len(possible), kept + int(possible.sum())
        notes.count("impossible-times", int((~possible).sum()), path=path)
        if not possible.all():
            index = np.flatnonzero(possible)
            raw, row = raw[index], _through(row, index)
            times = times.at(index)
        frame = reader.frame(raw.drop(str(i) for i in at), Where(path, row))
        reader.take(clock.to_utc(frame.drop("_row"), times.at(frame["_row"].to_numpy())), store, path)
        shown(batch.share)
    if seen and not kept:
        raise LogError(
            path,
            f"column {name}",
            "no row has a time from 1990 to 2099",
            "Times are ISO 8601, epoch seconds or milliseconds, or dates with a time",
            "Give time_format in [[logs]] of site.toml, or set the logger's clock",
        )
    if not seen:
        notes.count("empty-file", 1, what=path.name)


def _rows_of(
    batch: Batch, at: list[int], name: str, path: Path, notes: Notes
) -> tuple[pl.DataFrame, pl.Series, Callable[[int], int]]:
    """Rows of a batch without blank ones and repeated headers, their time column, and which row of the file each is."""
    raw, row = batch.frame, batch.row
    first = raw[str(at[0])]
    # No time has fewer than four characters.
    if first.null_count() or (first.dtype == pl.String and (first.str.len_bytes().min() or 4) < 4):  # type: ignore[operator]
        blank = pl.all_horizontal(pl.all().cast(pl.String, strict=False).str.strip_chars().fill_null("") == "")
        index = raw.select((~blank).arg_true()).to_series().to_numpy()
        raw, row = raw[index], _through(row, index)
    text = joined([raw[str(i)] for i in at])
    if text.dtype == pl.String:
        header = text == name.replace(" + ", " ")
        if header.any():
            notes.count("repeated-header", int(header.sum()), path=path)
            index = (~header).fill_null(value=True).arg_true().to_numpy()
            raw, row, text = raw[index], _through(row, index), text[index]
    return raw, text, row


def _through(row: Callable[[int], int], index: npt.NDArray[np.integer]) -> Callable[[int], int]:
    return lambda i: row(int(index[i]))

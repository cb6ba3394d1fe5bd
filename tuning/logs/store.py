"""All readings of a building, a few bytes each: one growing pair of arrays per series."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning.errors import LogError
from tuning.logs.decay import between, kind_of, rises
from tuning.logs.notes import Notes
from tuning.logs.sampling import sampling_interval_s
from tuning.logs.values import LIMITS, UNITS_OF
from tuning.schemas import TIME
from tuning.site import Site

Ints = npt.NDArray[np.int64]
Values = npt.NDArray[np.float64] | npt.NDArray[np.float32] | npt.NDArray[np.uint8]

MOST_SERIES = 65_535
"""So many series have a number of their own."""
NOTABLE_ROWS, NOTABLE_SHARE = 10, 0.001
"""Rows out of order are worth a word from here on. Chosen by us: buses deliver a few telegrams late."""

SERIES = pl.Schema(
    [
        ("series", pl.UInt16()),
        ("room", pl.String()),
        ("channel", pl.String()),
        ("detector", pl.String()),
        ("quantity", pl.String()),
        ("rows", pl.Int64()),
        ("first", TIME),
        ("last", TIME),
        ("stamp", pl.String()),
    ]
)


class Key(NamedTuple):
    """What a series is of. ``channel`` and ``detector`` are "" where the log names none."""

    room: str
    channel: str
    quantity: str
    detector: str

    @property
    def label(self) -> str:
        """How a message calls it."""
        return "/".join(part for part in self if part)


def smallest(value: npt.NDArray[np.float64]) -> Values:
    """Values in the fewest bytes that hold them exactly."""
    if len(value) and value.min() >= 0 and value.max() <= 255:
        byte = value.astype(np.uint8)
        if (byte == value).all():
            return byte
    single = value.astype(np.float32)
    return single if (single == value).all() else value


def too_many_series(path: Path) -> LogError:
    """What to say of a log with more than ``MOST_SERIES`` series."""
    rule = "A series is a room, channel, quantity and detector"
    return LogError(path, "", f"more than {MOST_SERIES:,} series", rule, "Correct the columns that name them")


class _Growing:
    """Times and values of a series, with room to grow; memory that is never written is never taken."""

    def __init__(self) -> None:
        self.rows = 0
        self._t: Ints = np.empty(0, dtype=np.int64)
        self._value: Values = np.empty(0, dtype=np.uint8)

    def add(self, t: Ints, value: Values) -> None:
        need = self.rows + len(t)
        kind = np.promote_types(self._value.dtype, value.dtype)
        if need > len(self._t) or kind != self._value.dtype:
            size = max(need + need // 4, 256)
            larger_t, larger_value = np.empty(size, dtype=np.int64), np.empty(size, dtype=kind)
            larger_t[: self.rows], larger_value[: self.rows] = self.t, self.value
            self._t, self._value = larger_t, larger_value
        self._t[self.rows : need], self._value[self.rows : need] = t, value
        self.rows = need

    @property
    def t(self) -> Ints:
        return self._t[: self.rows]

    @property
    def value(self) -> Values:
        return self._value[: self.rows]


@dataclass(frozen=True)
class Rows:
    """Times [epoch µs, UTC] and values of one series, in order of time, each time once."""

    t: Ints
    value: Values


class Store:
    """Takes readings in any order, gives them back by series."""

    def __init__(self, site: Site, notes: Notes) -> None:
        self._site, self._notes = site, notes
        self._parts: dict[tuple[Key, bool], _Growing] = {}

    def add(self, key: Key, t: Ints, value: npt.NDArray[np.float64], *, end: bool, path: Path) -> None:
        """Take readings of one series.

        Parameters
        ----------
        key
            The series.
        t, value
            Times [epoch µs, UTC] and values, NaN where there is none.
        end
            Whether the times close their interval.
        path
            The file, for what is noticed.
        """
        empty = np.isnan(value)
        low, high = LIMITS[key.quantity]
        with np.errstate(invalid="ignore"):
            wrong = (value < low) | (value > high)
            if key.quantity == "occupied":
                wrong |= between(value)
        if empty.any() or wrong.any():
            self._notes.count("empty-values", int(empty.sum()), path=path)
            rule = (
                f"{low:g} to {high:g}{UNITS_OF[key.quantity]}"
                if key.quantity not in ("motion", "occupied")
                else "0 and 1"
            )
            self._notes.count(
                "impossible-values", int(wrong.sum()), what=f"{key.quantity} other than {rule}", path=path
            )
            keep = ~(empty | wrong)
            t, value = t[keep], value[keep]
        if len(t) == 0:
            return
        part = self._parts.get((key, end))
        if part is None:
            if len(self._parts) == MOST_SERIES:
                raise too_many_series(path)
            part = self._parts[key, end] = _Growing()
        part.add(t, smallest(value))

    def finish(self) -> tuple[pl.DataFrame, dict[int, Rows]]:
        """Sort every series, drop what is there twice, and move times that close their interval to its start.

        Returns
        -------
        ``SERIES`` frame, and the rows by series number.
        """
        rows: dict[int, Rows] = {}
        index = []
        for number, key in enumerate(sorted({key for key, _ in self._parts})):
            start, end = self._parts.pop((key, False), None), self._parts.pop((key, True), None)
            found = self._undecayed(key, self._series(key, start, end))
            rows[number] = found
            names = (key.room, key.channel or None, key.detector or None, key.quantity)
            ends = (int(found.t[0]), int(found.t[-1]))
            index.append((number, *names, len(found.t), *ends, "start" if end is None else "end"))
            self._doubts(key, found)
        frame = pl.DataFrame(index, schema=SERIES.names(), orient="row", infer_schema_length=None)
        return frame.cast(SERIES), rows

    def _series(self, key: Key, start: _Growing | None, end: _Growing | None) -> Rows:
        parts = [] if start is None else [self._in_order(start.t, start.value)]
        if end is not None:
            late = self._in_order(end.t, end.value)
            interval = sampling_interval_s(pl.Series(late.t).cast(TIME))
            if interval is None:
                self._notes.count("stamp-unused", len(late.t), what=key.label)
            parts.append(Rows(late.t - round((interval or 0.0) * 1e6), late.value))
        if len(parts) == 1:
            return parts[0]
        return self._in_order(np.concatenate([p.t for p in parts]), np.concatenate([p.value for p in parts]))

    def _undecayed(self, key: Key, rows: Rows) -> Rows:
        """Read motion that is a level by its rises, and a share as movement; of other motion drop what is neither 0 nor 1."""
        if key.quantity != "motion" or rows.value.dtype == np.uint8:
            return rows
        odd = between(rows.value)
        kind = kind_of(pl.Series(rows.t).cast(TIME), rows.value)
        if kind == "level":
            self._notes.count("decaying-motion", int(odd.sum()), what=key.label)
            return Rows(rows.t, rises(rows.value))
        if kind == "share":
            self._notes.count("motion-shares", int(odd.sum()), what=key.label)
            return Rows(rows.t, (rows.value > 0).astype(np.uint8))
        self._notes.count("impossible-values", int(odd.sum()), what="motion other than 0 and 1")
        return Rows(rows.t[~odd], smallest(rows.value[~odd].astype(np.float64)))

    def _in_order(self, t: Ints, value: Values) -> Rows:
        back = int((t[1:] < t[:-1]).sum())
        if back:
            order = np.argsort(t, kind="stable")
            t, value = t[order], value[order]
            if back > max(NOTABLE_ROWS, NOTABLE_SHARE * len(t)):
                self._notes.count("out-of-order", back)
        again = t[1:] == t[:-1]
        if again.any():
            equal = value[1:] == value[:-1]
            self._notes.count("duplicate-rows", int((again & equal).sum()))
            self._notes.count("conflicting-rows", int((again & ~equal).sum()))
            last = np.append(~again, True)
            t, value = t[last], value[last]
        return Rows(t, value)

    def _doubts(self, key: Key, rows: Rows) -> None:
        if key.channel and key.channel not in self._site.rooms[key.room].channels:
            self._notes.count("unknown-channel", len(rows.t), what=f"{key.room}/{key.channel}")
        # A log in percent reaches 1 % now and then, but it does not stay below it.
        if key.quantity == "output" and 0 < rows.value.max() <= 1:
            self._notes.count("output-of-one", len(rows.t), what=key.label)


def reading_frames(series: Iterable[tuple[Rows, str, str | None, str | None, str]]) -> list[pl.DataFrame]:
    """Turn series into frames with the columns of READINGS.

    Parameters
    ----------
    series
        Rows, room, channel, detector and quantity of each.
    """
    return [
        pl.DataFrame({"time": pl.Series(rows.t).cast(TIME), "value": rows.value}).select(
            "time",
            room=pl.lit(room),
            channel=pl.lit(channel, dtype=pl.String),
            detector=pl.lit(detector, dtype=pl.String),
            quantity=pl.lit(quantity),
            value=pl.col("value").cast(pl.Float64),
        )
        for rows, room, channel, detector, quantity in series
    ]

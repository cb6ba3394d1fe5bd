"""A stretch of a channel's time, cut to what a screen can show: exact where it holds little, binned where it holds much.

Nothing here depends on how long the whole log is, so that a year zooms as fast as a day. A bin keeps the least and the greatest value besides
the mean, so that a dip of a second stays visible at a width of weeks.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from dashboard.figures.timeline import (
    DARK,
    EMPTY_LIT,
    PRESENT_LIT,
    PRESENT_UNLIT,
    UNKNOWN,
    US,
    Floats,
    Ints,
    Lane,
    Steps,
    Timeline,
    local_times,
)
from tuning.schemas import TIME

BINS: Final = 500
"""Most bins across the page: two or three pixels each at full width, finer than anybody points at. Chosen by us."""
BIN_S: Final = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400)
EXACT: Final = 600
"""A series with no more points than this in the window is drawn as it is: about one a pixel. Chosen by us."""
LANE_S: Final = 3 * 86400.0
"""In a longer window a stretch of minutes is narrower than a pixel, and shares of bins tell more. Chosen by us."""
LEAST_S: Final = 5.0
"""Nobody zooms closer than a few seconds: logs are no finer."""


@dataclass(frozen=True)
class Window:
    """From when to when, UTC epoch [µs]."""

    first_us: int
    last_us: int

    @property
    def length_s(self) -> float:
        """Its length. [s]."""
        return (self.last_us - self.first_us) / US

    def edges_us(self, zone: str) -> Ints:
        """Edges of its bins, on round times of the zone's clock. UTC epoch [µs]."""
        width = next((b for b in BIN_S if self.length_s <= b * BINS), BIN_S[-1])
        start = dt.datetime.fromtimestamp(self.first_us / US, tz=ZoneInfo(zone))
        midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
        if width >= BIN_S[-1]:
            # Days are 23 or 25 hours long twice a year; the calendar knows.
            days = int(self.length_s // 86400) + 3
            edges = [round((midnight + dt.timedelta(days=i)).timestamp() * US) for i in range(days)]
            wide = np.array(edges, dtype=np.int64)
        else:
            origin = round(midnight.timestamp() * US)
            first = origin + (self.first_us - origin) // (width * US) * width * US
            wide = np.arange(first, self.last_us + width * US, width * US, dtype=np.int64)
        return wide[: int(np.searchsorted(wide, self.last_us)) + 1]


def day_window(line: Timeline, day: dt.date) -> Window:
    """One local day."""
    return Window(*line.bounds_us(day))


def local_window(line: Timeline, first: str, last: str) -> Window | None:
    """Read a window from two times on the building's clock, kept within the log; ``None`` where they are no such times."""
    try:
        ends = [dt.datetime.fromisoformat(t).replace(tzinfo=ZoneInfo(line.zone)) for t in (first, last)]
        a, b = (round(t.timestamp() * US) for t in ends)
    except (TypeError, ValueError, OverflowError, OSError):
        return None
    return within(line, a, b) if b > a else None


def within(line: Timeline, first_us: int, last_us: int) -> Window:
    """Keep a window inside the days of the log, and no narrower than a few seconds; its length stays where it fits."""
    lowest, highest = line.bounds_us(line.days[0])[0], line.bounds_us(line.days[-1])[1]
    length = min(max(last_us - first_us, round(LEAST_S * US)), highest - lowest)
    first = min(max(first_us, lowest), highest - length)
    return Window(first, first + length)


def scaled(line: Timeline, window: Window, factor: float) -> Window:
    """Zoom about the middle."""
    middle, half = (window.first_us + window.last_us) / 2, window.length_s * US * factor / 2
    return within(line, round(middle - half), round(middle + half))


def moved(line: Timeline, window: Window, share: float) -> Window:
    """Move by a share of the length."""
    step = round(window.length_s * US * share)
    return within(line, window.first_us + step, window.last_us + step)


def spans(line: Timeline, window: Window) -> Lane | None:
    """Stretches of one state each; ``None`` where they are too many to draw one by one."""
    first, last = window.first_us, window.last_us
    if window.length_s > LANE_S:
        return None
    inside = [s.at_us[slice(*np.searchsorted(s.at_us, [first, last], side="right"))] for s in (line.present, line.lit)]
    at = np.unique(np.concatenate([np.array([first]), *inside]))
    at = at[at < last]
    there, lit, known = line.present.at(at) >= 0.5, line.lit.at(at) > 0, line.known.at(at) > 0
    state = np.where(there, np.where(lit, PRESENT_LIT, PRESENT_UNLIT), np.where(lit, EMPTY_LIT, DARK))
    state = np.where(known, state, UNKNOWN)
    begins = np.append(True, state[1:] != state[:-1])
    if int(begins.sum()) > EXACT:
        return None
    start = at[begins]
    return Lane(local_times(start, line.zone), np.diff(np.append(start, last)) / US, state[begins].astype(np.int64))


def shares(line: Timeline, edges_us: Ints) -> Floats:
    """Share of each bin that each state fills, ``(bins, 5)``; states as in ``LIT_NAMES``."""
    whole = np.diff(edges_us) / US
    known, present = np.diff(line.known.until(edges_us)), np.diff(line.present.until(edges_us))
    lit, present_lit = np.diff(line.known_lit.until(edges_us)), np.diff(line.present_lit.until(edges_us))
    parts = np.zeros((len(whole), 5))
    parts[:, UNKNOWN] = whole - known
    parts[:, PRESENT_UNLIT] = present - present_lit
    parts[:, PRESENT_LIT] = present_lit
    parts[:, EMPTY_LIT] = lit - present_lit
    parts[:, DARK] = known - present - lit + present_lit
    shared: Floats = np.clip(parts / whole[:, None], 0, 1)
    return shared


def inside(frame: pl.DataFrame, window: Window, *, column: str = "time") -> pl.DataFrame:
    """Rows of a window."""
    first, last = (pl.lit(t).cast(TIME) for t in (window.first_us, window.last_us))
    return frame.filter((pl.col(column) >= first) & (pl.col(column) < last))


def counted(frame: pl.DataFrame, edges_us: Ints, *, column: str = "time") -> Ints:
    """How many rows fall into each bin."""
    at = inside(frame, Window(int(edges_us[0]), int(edges_us[-1])), column=column)[column].dt.epoch("us").to_numpy()
    count: Ints = np.histogram(at, bins=edges_us)[0].astype(np.int64)
    return count


@dataclass(frozen=True)
class Course:
    """A value along time: points of a step line, or bins with least, greatest and mean.

    ``low`` and ``high`` are ``None`` where every change is there. ``at`` is the building's clock.
    """

    at: list[dt.datetime]
    value: Floats
    low: Floats | None = None
    high: Floats | None = None


def course(frame: pl.DataFrame, window: Window, zone: str, *, column: str) -> Course | None:
    """Cut a series of change points to a window: as it is where that fits the screen, else mean, least and greatest of each bin.

    The value that holds when the window opens comes first. ``None`` without any.
    """
    first = pl.lit(window.first_us).cast(TIME)
    series = frame.select("time", column).drop_nulls()
    held = series.filter(pl.col("time") < first).tail(1).with_columns(first.alias("time"))
    rows = pl.concat([held, inside(series, window)])
    if rows.is_empty():
        return None
    at, value = rows["time"].dt.epoch("us").to_numpy().astype(np.int64), rows[column].to_numpy().astype(np.float64)
    if len(rows) <= EXACT:
        times = np.append(at, window.last_us)
        return Course(local_times(times, zone), np.append(value, value[-1]))
    edges = window.edges_us(zone)
    steps, last = Steps(at, value), int(at[0])
    edges = edges[edges > last - (edges[1] - edges[0])]
    begin = steps.at(np.maximum(edges[:-1], last))
    # A mean over time, not over rows: a value counts as long as it holds.
    clipped = np.maximum(edges, last)
    mean = np.diff(steps.until(clipped)) / np.maximum(np.diff(clipped) / US, 1e-9)
    bins = pl.DataFrame({"bin": np.searchsorted(edges, at, side="right") - 1, "value": value})
    most = bins.group_by("bin").agg(low=pl.col("value").min(), high=pl.col("value").max())
    low, high = begin.copy(), begin.copy()
    index = most["bin"].to_numpy()
    good = (index >= 0) & (index < len(begin))
    low[index[good]] = np.minimum(low[index[good]], most["low"].to_numpy()[good])
    high[index[good]] = np.maximum(high[index[good]], most["high"].to_numpy()[good])
    return Course(local_times((edges[:-1] + edges[1:]) // 2, zone), mean, low, high)

"""One channel along time: who was there, what was lit. Turned into a day raster and into one day's lanes.

Everything is a step function of UTC time; sums over a cell of the raster are differences of its integral, so the cost
does not depend on how many cells there are.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning.results import ChannelResult
from tuning.schemas import TIME

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
US: Final = 1_000_000
CELL_S: Final = 300
COLUMNS: Final = 86400 // CELL_S
UNKNOWN, DARK, PRESENT_UNLIT, PRESENT_LIT, EMPTY_LIT = range(5)

LIT_NAMES: Final = (
    "no reading",
    "dark, nobody there",
    "somebody there, light off",
    "lit, somebody there",
    "lit, nobody there",
)
RUNNING_NAMES: Final = (
    "no reading",
    "off, nobody there",
    "somebody there, load off",
    "running, somebody there",
    "running, nobody there",
)
SHARE_SHOWN: Final = 0.2
"""A cell shows as dark only where nothing else fills a fifth of it, so that a visit of a minute stays visible. Chosen by us."""


@dataclass(frozen=True)
class Steps:
    """A step function: ``value[i]`` holds from ``at_us[i]`` until the next; zero before the first.

    ``at_us`` is UTC epoch [µs], not decreasing.
    """

    at_us: Ints
    value: Floats

    @cached_property
    def _total(self) -> Floats:
        """Integral up to each step. [s × value]."""
        return np.concatenate([[0.0], np.cumsum(np.diff(self.at_us) * self.value[:-1] / US)])

    def at(self, t_us: Ints) -> Floats:
        """Value at each time."""
        if len(self.at_us) == 0:
            return np.zeros(len(t_us))
        i = np.searchsorted(self.at_us, t_us, side="right") - 1
        return np.where(i >= 0, self.value[np.maximum(i, 0)], 0.0)

    def until(self, t_us: Ints) -> Floats:
        """Integral from the beginning to each time. [s × value]."""
        if len(self.at_us) == 0:
            return np.zeros(len(t_us))
        total = self._total
        i = np.searchsorted(self.at_us, t_us, side="right") - 1
        j = np.maximum(i, 0)
        return np.where(i >= 0, total[j] + (t_us - self.at_us[j]) * self.value[j] / US, 0.0)


def _epoch(column: pl.Series) -> Ints:
    return column.dt.epoch("us").to_numpy().astype(np.int64)


def _spans(start_us: Ints, end_us: Ints, value: Floats) -> Steps:
    """Disjoint sorted spans → steps that fall to zero between them."""
    at = np.column_stack([start_us, end_us]).ravel()
    height = np.column_stack([value, np.zeros(len(value))]).ravel()
    return Steps(at, height)


@dataclass(frozen=True)
class Timeline:
    """Presence and light of one channel.

    Attributes
    ----------
    present
        Probability that somebody is there, 0…1.
    known
        1 where the log can tell, else 0.
    lit
        1 where the light (or the load) is on.
    first_us, last_us
        Extent. [µs]
    zone
        The building's time zone.
    """

    present: Steps
    known: Steps
    lit: Steps
    first_us: int
    last_us: int
    zone: str
    switch_offs: pl.DataFrame
    motions: pl.DataFrame
    relay: bool = False

    @property
    def state_names(self) -> tuple[str, ...]:
        """What the states are called: a relay runs something that is not light."""
        return RUNNING_NAMES if self.relay else LIT_NAMES

    @property
    def left_name(self) -> str:
        """What a wrong switch-off is called."""
        return "stopped over somebody" if self.relay else "left in the dark"

    @cached_property
    def present_lit(self) -> Steps:
        """Probability that somebody is there and has light."""
        return _product(self.present, self.lit)

    @cached_property
    def known_lit(self) -> Steps:
        """1 where the light is on and the log can tell."""
        return _product(self.known, self.lit)

    @cached_property
    def days(self) -> list[dt.date]:
        """Local days that the log touches, in order."""
        zone = ZoneInfo(self.zone)
        first = dt.datetime.fromtimestamp(self.first_us / US, tz=zone).date()
        # Less than one cell beyond midnight is no day.
        last = dt.datetime.fromtimestamp(max(self.last_us - CELL_S * US, self.first_us) / US, tz=zone).date()
        return [first + dt.timedelta(days=i) for i in range((last - first).days + 1)]

    def bounds_us(self, day: dt.date) -> tuple[int, int]:
        """Local midnight to local midnight; 23 or 25 h long where the clocks change. UTC epoch [µs]."""
        zone = ZoneInfo(self.zone)
        midnights = (dt.datetime.combine(d, dt.time(), tzinfo=zone) for d in (day, day + dt.timedelta(days=1)))
        first, last = (round(m.timestamp() * US) for m in midnights)
        return first, last


def timeline(result: ChannelResult, *, zone: str) -> Timeline | None:
    """Lay a channel out along time; ``None`` where the log holds no motion."""
    if result.motions is None or result.gaps is None or result.motions.is_empty():
        return None
    motions = result.motions.sort("start")
    start, end = _epoch(motions["start"]), _epoch(motions["end"])
    gap_start = _epoch(result.gaps["start"])
    gap_end = gap_start + np.round(result.gaps["gap_s"].to_numpy() * US).astype(np.int64)
    still = np.clip(np.nan_to_num(result.gaps["p_still"].to_numpy()), 0, 1)
    first = int(start[0]) if result.start is None else min(round(result.start.timestamp() * US), int(start[0]))
    # Before the first movement the log runs and nobody moves.
    begin = np.concatenate([start, gap_start, [first]])
    close = np.concatenate([end, gap_end, start[:1]])
    value = np.concatenate([np.ones(len(start)), still, [0.0]])
    moving = np.concatenate([np.ones(len(start)), np.zeros(len(still) + 1)])
    long = close > begin
    begin, close, value, moving = begin[long], close[long], value[long], moving[long]
    at = np.concatenate([begin, close])
    # Where one ends and another begins at one instant, what begins has the last word, movement before all.
    order = np.lexsort((np.concatenate([1 + moving, np.zeros(len(close))]), at))
    empty = pl.DataFrame(schema={"time": TIME, "p_false": pl.Float64})
    return Timeline(
        Steps(at[order], np.concatenate([value, np.zeros(len(close))])[order]),
        Steps(at[order], np.concatenate([np.ones(len(begin)), np.zeros(len(close))])[order]),
        _lit(result),
        first,
        int(max(end[-1], gap_end.max(initial=0))),
        zone,
        empty if result.switch_offs is None else result.switch_offs,
        motions,
        result.control == "relay",
    )


def _lit(result: ChannelResult) -> Steps:
    """When the light was on: from the logged output, else from the episodes and the hold-off in force."""
    output = result.output
    if output is not None and not output.is_empty():
        return Steps(_epoch(output["time"]), (output["output_pct"].to_numpy() > 0).astype(float))
    stays = result.episodes
    if stays is None or stays.is_empty():
        return Steps(np.empty(0, dtype=np.int64), np.empty(0))
    start = _epoch(stays["start"])
    end = start + np.round(stays["lit_s"].to_numpy() * US).astype(np.int64)
    return _spans(start, np.minimum(end, np.append(start[1:], end[-1])), np.ones(len(start)))


@dataclass(frozen=True)
class Raster:
    """Days × times of day.

    ``state`` is int8, ``(days, 288)``, values as in :data:`LIT_NAMES`; ``left`` holds for each switch-off that probably left
    somebody in the dark its row, its local hour of day and its probability.
    """

    days: list[dt.date]
    state: npt.NDArray[np.int8]
    left: pl.DataFrame
    state_names: tuple[str, ...] = LIT_NAMES
    left_name: str = "left in the dark"


def _product(a: Steps, b: Steps) -> Steps:
    at = np.union1d(a.at_us, b.at_us)
    return Steps(at, a.at(at) * b.at(at))


def raster(line: Timeline, *, p_false_shown: float = 0.5) -> Raster:
    """Sum a timeline into cells of five minutes of the local day.

    A cell takes the state that fills most of it; see :data:`SHARE_SHOWN` for dark.
    """
    cell_us = CELL_S * US
    # All zones in use are offset by a multiple of 15 min, so cells of UTC are cells of local time.
    first, last = line.first_us // cell_us, -(-line.last_us // cell_us)
    edges = np.arange(first, last + 1, dtype=np.int64) * cell_us
    known = np.diff(line.known.until(edges))
    present_lit = np.diff(line.present_lit.until(edges))
    present = np.diff(line.present.until(edges))
    lit = np.diff(line.known_lit.until(edges))
    parts = np.zeros((len(known), 5))
    parts[:, UNKNOWN] = CELL_S - known
    parts[:, PRESENT_UNLIT] = present - present_lit
    parts[:, PRESENT_LIT] = present_lit
    parts[:, EMPTY_LIT] = lit - present_lit
    parts[:, DARK] = (known - present - lit + present_lit) * SHARE_SHOWN / (1 - SHARE_SHOWN)
    state = parts.argmax(axis=1).astype(np.int8)
    local = pl.Series(edges[:-1]).cast(TIME).dt.convert_time_zone(line.zone)
    row = (local.dt.date() - line.days[0]).dt.total_days().to_numpy().astype(np.int64)
    column = (local.dt.hour().cast(pl.Int64) * 12 + local.dt.minute() // 5).to_numpy().astype(np.int64)
    grid = np.full((len(line.days), COLUMNS), UNKNOWN, dtype=np.int8)
    inside = row < len(line.days)
    grid[row[inside], column[inside]] = state[inside]
    return Raster(line.days, grid, _left(line, p_false_shown), line.state_names, line.left_name)


def _left(line: Timeline, p_false_shown: float) -> pl.DataFrame:
    local = pl.col("time").dt.convert_time_zone(line.zone)
    return line.switch_offs.filter(pl.col("p_false") >= p_false_shown).select(
        day=local.dt.date(),
        hour=local.dt.hour() + local.dt.minute() / 60 + local.dt.second() / 3600,
        p_false=pl.col("p_false"),
    )


@dataclass(frozen=True)
class Lane:
    """Spans of one kind within a day: local start, length and what to say of them."""

    start: list[dt.datetime]
    length_s: Floats
    state: Ints


def local_times(t_us: Ints, zone: str) -> list[dt.datetime]:
    """UTC epoch [µs] → the building's wall-clock time, without zone, for axes."""
    local: list[dt.datetime] = (
        pl.Series(t_us).cast(TIME).dt.convert_time_zone(zone).dt.replace_time_zone(None).to_list()
    )
    return local

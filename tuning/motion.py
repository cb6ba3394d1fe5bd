"""Readings → motions: what a motion row covers, and where the log can be trusted.

A motion log comes in three kinds, told apart per series from its own rows:

``events``
    Rows of 1 only, or hardly any 0. Each is an instant.
``pulses``
    1 and 0 take turns at irregular times (change-of-value). Movement from the 1 to the 0.
``samples``
    1 or 0 at a regular interval. A 1 covers its whole interval ``[t, t + interval)``.

A controller's ``occupied`` state already holds its own hold-off; see :func:`held_motions`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning.logs import sampling_interval_s
from tuning.readings import RoomReadings
from tuning.schemas import MOTIONS, TIME

Kind = Literal["events", "pulses", "samples", "held", "none"]
Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

US = 1_000_000
BREAK_SAMPLES = 3
"""A regular series that skips more than this many intervals has a log gap. Chosen by us."""
BREAK_FLOOR_S = 90.0
"""Shortest silence of a regular series that counts as a log gap [s]. Chosen by us: one lost telegram is no gap."""
PULSE_SHARE = 0.5
"""Share of 1s followed by a 0 from which a log is read as pulses. Chosen by us: event logs have (almost) no 0."""


@dataclass(frozen=True)
class MotionLog:
    """Movement seen by the detectors of one channel.

    Attributes
    ----------
    start_us, end_us
        Disjoint, sorted stretches of movement, UTC epoch [µs]; equal for an instant.
    covered_us
        ``(n, 2)`` intervals in which the log can be trusted.
    kind
        How the log was read.
    resolution_s
        How finely the log can tell times: the sampling interval, 0 for events. [s]
    detectors
        Number of motion series merged.
    stretch_s
        How long the log holds every movement, already taken off ``end_us``; shorter pauses are invisible. [s]
    """

    start_us: Ints
    end_us: Ints
    covered_us: Ints
    kind: Kind
    resolution_s: float
    detectors: int
    stretch_s: float = 0.0

    @property
    def usable_days(self) -> float:
        """Trusted time. [d]."""
        return float((self.covered_us[:, 1] - self.covered_us[:, 0]).sum()) / US / 86400

    def frame(self, room: str, channel: str) -> pl.DataFrame:
        """Return the MOTIONS frame."""
        start = pl.Series("start", self.start_us).cast(MOTIONS["start"])
        # Events end where they start: one column in memory for both; constants as literals take none.
        instant = np.array_equal(self.start_us, self.end_us)
        end = start.alias("end") if instant else pl.Series("end", self.end_us).cast(MOTIONS["end"])
        return pl.DataFrame([start, end]).select(
            pl.lit(room).alias("room"), pl.lit(channel).alias("channel"), "start", "end"
        )


def by_series(rows: pl.DataFrame, *names: str) -> list[pl.DataFrame]:
    """Split rows by columns, parts in order of their first row; without looking at each row where there is but one part, as nearly always."""
    if all(number == 1 for number in rows.select(pl.col(names).n_unique()).row(0)):
        return [rows]
    return rows.partition_by(*names, maintain_order=True)


def times_us(frame: pl.DataFrame, column: str = "time") -> Ints:
    """UTC epoch of a time column. [µs]; to be read only, because most of it is the column itself."""
    times = frame[column]
    return times.cast(pl.Int64).to_numpy() if times.dtype == TIME else times.dt.epoch("us").to_numpy()


def _one_series(rows: pl.DataFrame) -> tuple[Ints, Ints, Kind, float]:
    """Intervals of one motion series, its kind and its resolution [s]."""
    t = times_us(rows)
    on = rows["value"].to_numpy() > 0
    if on.all():
        # Rows of 1 alone are events, however regular.
        return t, t, "events", 0.0
    interval = sampling_interval_s(rows["time"])
    if interval is not None:
        step = round(interval * US)
        start = t[on]
        # A late next sample must not leave a false gap of a second or two: up to half an interval late still touches.
        following = np.append(t[1:], t[-1] + step)[on] if len(t) else start
        late = (following - start > step) & (following - start <= 1.5 * step)
        return start, np.where(late, following, np.minimum(start + step, following)), "samples", interval
    ends_with_zero = on[:-1] & ~on[1:]
    if on.sum() and ends_with_zero.sum() / on.sum() > PULSE_SHARE:
        # Each 1 lasts until the next row, so that a repeated 1 inside a pulse only prolongs it.
        following = np.append(t[1:], t[-1]) if len(t) else t
        return t[on], following[on], "pulses", 0.0
    return t[on], t[on], "events", 0.0


def merge_intervals(start: Ints, end: Ints) -> tuple[Ints, Ints]:
    """Merge intervals that overlap or touch into a sorted, disjoint set.

    Examples
    --------
    >>> merge_intervals(np.array([0, 5, 20]), np.array([5, 9, 20]))
    (array([ 0, 20]), array([ 9, 20]))
    """
    if (start[1:] > end[:-1]).all():
        # As nearly always, events being instants.
        return start, end
    if (start[1:] < start[:-1]).any():
        order = np.argsort(start, kind="stable")
        start, end = start[order], end[order]
    end = np.maximum.accumulate(end)
    first = np.append(True, start[1:] > end[:-1])
    last = np.append(first[1:], True)
    return start[first], end[last]


def _covered(t: Ints, interval_s: float) -> Ints:
    """Intervals in which a regular series kept coming, ``(n, 2)``."""
    step = round(interval_s * US)
    limit = max(BREAK_SAMPLES * step, round(BREAK_FLOOR_S * US))
    broken = np.flatnonzero(np.diff(t) > limit)
    starts = np.append(t[:1], t[broken + 1])
    ends = np.append(t[broken], t[-1:]) + step
    return np.stack([starts, ends], axis=1)


def _union(parts: list[Ints]) -> Ints:
    stacked = np.concatenate(parts)
    start, end = merge_intervals(stacked[:, 0], stacked[:, 1])
    return np.stack([start, end], axis=1)


def coverage(readings: RoomReadings, motion: pl.DataFrame, span_us: tuple[int, int]) -> Ints:
    """Intervals in which the motion log can be trusted.

    A regularly sampled motion log vouches for itself. An event log is silent both when nobody moves and when
    nobody logs; there the other regular series of the room tell, and without any the whole span counts.

    Parameters
    ----------
    readings
        Readings of the room.
    motion
        Its motion rows for the channel.
    span_us
        First and last time of the building's log, UTC epoch. [µs]

    Returns
    -------
    ``(n, 2)`` intervals, UTC epoch. [µs]
    """
    own: list[Ints] = []
    for rows in by_series(motion, "channel", "detector"):
        interval = sampling_interval_s(rows["time"]) if (rows["value"] <= 0).any() else None
        if interval is not None:
            own.append(_covered(times_us(rows), interval))
    if own:
        return _union(own)
    others: list[Ints] = []
    regular = readings.quantities - {"motion", "override"}
    for rows in (
        part for quantity in sorted(regular) for part in by_series(readings.of(quantity), "channel", "detector")
    ):
        interval = sampling_interval_s(rows["time"])
        if interval is not None:
            # Motion itself proves that something was logged.
            others.append(_covered(times_us(rows), max(interval, 300.0)))
    if not others:
        return np.array([span_us], dtype=np.int64)
    moving = times_us(motion)
    return _union([*others, np.stack([moving, moving + 1], axis=1)])


def motions(readings: RoomReadings, channel: str, *, span_us: tuple[int, int]) -> MotionLog:
    """Merge the motion series that concern a channel.

    Parameters
    ----------
    readings
        Readings of one room.
    channel
        The channel; room-wide rows count too.
    span_us
        First and last time of the building's log, UTC epoch. [µs]
    """
    rows = readings.of_channel("motion", channel)
    if rows.is_empty():
        empty = np.empty(0, dtype=np.int64)
        return MotionLog(empty, empty, np.empty((0, 2), dtype=np.int64), "none", 0.0, 0)
    parts, stretches = [], []
    for series in by_series(rows, "channel", "detector"):
        start, end, kind, interval_s = _one_series(series)
        start, end, stretch = _unstretched(start, end, interval_s)
        parts.append((start, end, kind, interval_s))
        stretches.append(stretch)
    start, end = merge_intervals(np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts]))
    kinds = [p[2] for p in parts]
    usual: Kind = max(("samples", "pulses", "events"), key=kinds.count)
    covered = coverage(readings, rows, span_us)
    return MotionLog(start, end, covered, usual, max(p[3] for p in parts), len(parts), max(stretches))


STRETCHED_S = 30.0
"""A motion signal that never ends sooner than this is held, not moved. Chosen by us: longer than the pulses of detectors, some seconds."""
STRETCHED_SAMPLES = 3
"""A sampled one must last so many samples at least."""


def _unstretched(start: Ints, end: Ints, interval_s: float) -> tuple[Ints, Ints, float]:
    """Movement without the time for which the signal is held, or decays, after each; and that time [s], 0 where it is not.

    The shortest runs of a held signal are single movements: they all last as long as it is held, and pile up there.
    """
    start, end = merge_intervals(start, end)
    held_s = built_in_hold_off_s((end - start) / US, resolution_s=interval_s)
    if held_s is None or held_s < max(STRETCHED_S, STRETCHED_SAMPLES * interval_s):
        return start, end, 0.0
    return start, np.maximum(start, end - round(held_s * US)), held_s


def held_motions(
    readings: RoomReadings, channel: str, *, span_us: tuple[int, int], hold_off_s: float | None
) -> tuple[MotionLog, float | None]:
    """Read a held ``occupied`` state: what it says of movement, and the hold-off built into it.

    The state falls one built-in hold-off after the last motion, so movement lasted until then at the latest, and
    every pause shorter than the hold-off is invisible.

    Returns
    -------
    Movement and the built-in hold-off [s]; the latter ``None`` if neither given nor recognisable.
    """
    rows = readings.of_channel("occupied", channel)
    empty = np.empty(0, dtype=np.int64)
    nothing = MotionLog(empty, empty, np.empty((0, 2), dtype=np.int64), "none", 0.0, 0)
    if rows.is_empty():
        return nothing, None
    parts = []
    for part in by_series(rows, "channel", "detector"):
        t, on = times_us(part), part["value"].to_numpy() > 0
        interval = sampling_interval_s(part["time"])
        step = round((interval or 0.0) * US)
        following = np.append(t[1:], t[-1] + step)
        if interval is not None:
            following = np.minimum(following, t + BREAK_SAMPLES * step)
        parts.append((t[on], following[on], interval or 0.0))
    start, end = merge_intervals(np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts]))
    resolution = max(p[2] for p in parts)
    covered = coverage(readings, rows, span_us)
    built_in = hold_off_s or built_in_hold_off_s((end - start) / US, resolution_s=resolution)
    if built_in is None:
        return MotionLog(start, end, covered, "held", resolution, len(parts)), None
    last_motion = np.maximum(start, end - round(built_in * US))
    return MotionLog(start, last_motion, covered, "held", max(resolution, 0.0), len(parts)), built_in


SHORT_RUNS_SHARE = 0.05
"""Share of the runs that a built-in hold-off may leave shorter than itself (log breaks, resets). Chosen by us."""


PILED_SHARE, EDGE_SHARE = 0.25, 0.1
"""The pile at the short end is as dense as this against the densest place, and has a sharp edge: so few runs are just shorter. Chosen by us."""


def built_in_hold_off_s(runs_s: Floats, *, resolution_s: float) -> float | None:
    """Find the hold-off inside a held occupancy state: its runs are never shorter, and often just as long.

    A single movement gives a run of exactly the hold-off, so the shortest runs pile up there.

    Parameters
    ----------
    runs_s
        Lengths of the runs of presence. [s]
    resolution_s
        Sampling interval. [s]

    Returns
    -------
    The hold-off [s], or ``None`` where the runs do not pile up at a shortest length.
    """
    runs = np.sort(runs_s[runs_s > 0])
    if len(runs) < 10:
        return None
    width = max(2 * resolution_s, 5.0)
    counts = np.searchsorted(runs, runs + width, side="right") - np.arange(len(runs))
    # The pile stands at the short end; further up, runs of several movements may lie as dense.
    dense = np.flatnonzero(counts[: int(SHORT_RUNS_SHARE * len(runs)) + 2] >= max(5, PILED_SHARE * counts.max()))
    if len(dense) == 0:
        return None
    best = int(dense[0])
    piled = counts[best]
    below = best - int(np.searchsorted(runs, runs[best] - 2 * width))
    if below > EDGE_SHARE * piled + 1 or runs[best] < 30:
        return None
    # A sampled run of k samples may be up to one sample shorter or longer than the state was.
    return float(np.median(runs[best : best + piled]))

"""Every series of a log, one by one: how it samples, what it covers, what its values look like."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from tuning.logs import Logs, longest_wait_s, sampling_interval_s
from tuning.motion import US, Floats, Ints
from tuning.quality.stuck import stuck_stretches
from tuning.schemas import TIME

BREAK_WAITS, BREAK_FLOOR_S = 3, 90.0
"""A series that keeps coming has a gap where it misses more than three waits, and a minute and a half. Chosen by us."""
STUCK_ON_H = 12.0
"""Movement without a pause for so long is a contact that sticks. Chosen by us."""


@dataclass(frozen=True)
class SeriesCheck:
    """One series.

    Attributes
    ----------
    sampling
        ``sampled`` at an interval, ``heartbeat`` (on change, and at the latest so often), or ``on change``.
    wait_s
        Interval or heartbeat. [s]; ``None`` on change.
    gaps, longest_gap_h
        Where a series that keeps coming fell silent.
    covered_us
        ``(n, 2)`` intervals in which it kept coming, UTC epoch [µs]; empty where silence means nothing.
    times_us
        Times of all rows, sorted. UTC epoch [µs]
    faults
        What is wrong with its values, in words.
    """

    room: str
    channel: str | None
    detector: str | None
    quantity: str
    rows: int
    first_us: int
    last_us: int
    sampling: str
    wait_s: float | None
    gaps: int
    longest_gap_h: float
    lowest: float
    median: float
    highest: float
    covered_us: Ints
    times_us: Ints
    faults: tuple[str, ...]


def check_series(logs: Logs) -> list[SeriesCheck]:
    """Look at every series of a building."""
    columns = ("series", "room", "channel", "detector", "quantity")
    outputs = {
        (room, channel): number
        for number, room, channel, _, quantity in logs.series.select(columns).iter_rows()
        if quantity == "output"
    }
    checks = []
    for number, room, channel, detector, quantity in logs.series.select(columns).iter_rows():
        output = _frame(logs, outputs[room, channel]) if (room, channel) in outputs else None
        checks.append(_check(logs, number, (room, channel, detector, quantity), output))
    return checks


def _frame(logs: Logs, number: int) -> pl.DataFrame:
    return pl.DataFrame(
        {"time": pl.Series(logs.times_us(number)).cast(TIME), "value": logs.values(number).astype(float)}
    )


def _check(
    logs: Logs, number: int, key: tuple[str, str | None, str | None, str], output: pl.DataFrame | None
) -> SeriesCheck:
    room, channel, detector, quantity = key
    t, value = logs.times_us(number), logs.values(number)
    times = pl.Series(t).cast(TIME)
    sampled = sampling_interval_s(times)
    wait_s = None if quantity == "override" else longest_wait_s(times)
    covered = np.empty((0, 2), dtype=np.int64)
    if wait_s is not None:
        broken = np.flatnonzero(np.diff(t) > max(BREAK_WAITS * wait_s, BREAK_FLOOR_S) * US)
        covered = np.stack([np.append(t[:1], t[broken + 1]), np.append(t[broken], t[-1:])], axis=1)
        covered[:, 1] += round(wait_s * US)
    silent_h = (covered[1:, 0] - covered[:-1, 1]) / US / 3600
    return SeriesCheck(
        room=room,
        channel=channel,
        detector=detector,
        quantity=quantity,
        rows=len(t),
        first_us=int(t[0]),
        last_us=int(t[-1]),
        sampling="sampled" if sampled is not None else "heartbeat" if wait_s is not None else "on change",
        wait_s=wait_s,
        gaps=len(silent_h),
        longest_gap_h=float(silent_h.max(initial=0.0)),
        lowest=float(value.min()),
        median=float(np.median(value.astype(float))),
        highest=float(value.max()),
        covered_us=covered,
        times_us=t,
        faults=tuple(_faults(quantity, t, value.astype(float), output)),
    )


def _faults(quantity: str, t: Ints, value: Floats, output: pl.DataFrame | None) -> list[str]:
    """What is wrong with the values of a series, in words."""
    if len(value) < 2:
        return ["one row only"]
    if (value == value[0]).all():
        if quantity == "override" or (quantity == "motion" and value[0] > 0):
            return []  # presses may all be alike, and an event log holds ones only
        return [f"dead: always {value[0]:g}"]
    if quantity in ("motion", "occupied"):
        on = value > 0
        longest_h = float(np.max(np.where(on[:-1], np.diff(t), 0))) / US / 3600
        ends = (~on[1:] & on[:-1]).mean() > 0.1
        return [f"stuck on for {longest_h:.0f} h"] if ends and longest_h > STUCK_ON_H else []
    if quantity == "illuminance":
        frame = pl.DataFrame({"time": pl.Series(t).cast(TIME), "value": value})
        empty = pl.DataFrame(schema={"time": TIME, "value": pl.Float64})
        stuck = stuck_stretches(frame, empty if output is None else output)
        hours = float((stuck[:, 1] - stuck[:, 0]).sum()) / US / 3600
        return [f"stands still for {hours:.0f} h"] if hours else []
    return []

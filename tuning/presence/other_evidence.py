"""What else in the log tells at a pause's ends whether somebody left: a corridor outside, another detector, a press, a personal load.

Whoever leaves is seen in the corridor some seconds later, is last seen by the detector at the door, presses off, or lets their screen go
dark; whoever sits still does none of it, or no more than happens anyway. How much each says is learned from the channel's own pauses that
label themselves (see :mod:`tuning.presence.stillness`): the share of stillnesses and of absences with each pattern, shrunk toward their common
share. A corridor on another floor shows the same in both and says nothing; nothing is assumed about who is next to whom.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from tuning.gaps import Gaps
from tuning.light.circumstances import value_at
from tuning.motion import US, Floats, Ints, by_series, times_us
from tuning.readings import RoomReadings

CIRCULATION = ("corridor", "stairs", "reception", "waiting area")
"""Uses of rooms that people walk through on their way."""
WALK_S, EARLY_S = 20.0, 3.0
"""Whoever leaves is seen outside within so long after the pause began, or so long before (the detectors overlap) [s]. Chosen by us."""
PRESS_S = 15.0
"""A press so near a pause's beginning belongs to it [s]. Chosen by us."""
SETTLED_S = 60.0
"""A personal load is looked at so long into a pause, before any hold-off could have switched it [s]. Chosen by us: the shortest hold-off."""
MOST_DETECTORS, MOST_OUTSIDE = 4, 2
"""More detectors make more patterns than examples; more rooms outside repeat each other. Chosen by us."""
SHRINK = 6.0
"""Examples' worth of the common share that each class's share is shrunk to. Chosen by us."""
MOST_TELLING = 3.0
"""Largest log ratio that a pattern is believed to give, either way: one to twenty. Chosen by us."""


@dataclass(frozen=True)
class Passages:
    """Events so close to each other that no window of a length falls between them, as one: all that such windows ask of a busy corridor.

    ``first_us``, ``last_us`` are those of each passage, sorted, UTC epoch [µs].
    """

    first_us: Ints
    last_us: Ints

    def __len__(self) -> int:
        """Return the number of passages."""
        return len(self.first_us)


def passages(times_us: Ints, window_s: float = WALK_S + EARLY_S) -> Passages:
    """Put events together between which no window fits.

    Parameters
    ----------
    times_us
        Of events, sorted, UTC epoch. [µs]
    window_s
        Length of the shortest window that will be asked about. [s]
    """
    apart = np.diff(times_us) > round(window_s * US)
    return Passages(
        times_us[np.append(True, apart)[: len(times_us)]], times_us[np.append(apart, True)[: len(times_us)]]
    )


def near(found: Passages, at_us: Ints, *, before_s: float, after_s: float) -> Ints:
    """1 where an event lies within a window about each of some times, else 0.

    Parameters
    ----------
    found
        The events, put together for windows no longer than this.
    at_us
        Times to look about. [µs]
    before_s, after_s
        The window, both ends included. [s]
    """
    if not len(found):
        return np.zeros(len(at_us), dtype=np.int64)
    begun = np.searchsorted(found.first_us, at_us + round(after_s * US), side="right")
    lasts = found.last_us[np.maximum(begun - 1, 0)] >= at_us - round(before_s * US)
    return ((begun > 0) & lasts).astype(np.int64)


def patterns(readings: RoomReadings, channel: str, gaps: Gaps, outside: Mapping[str, Passages]) -> dict[str, Ints]:
    """What else was seen at each gap's ends, as one small number a gap and source.

    Parameters
    ----------
    readings
        Readings of the room.
    channel
        The channel.
    gaps
        Its gaps.
    outside
        Movement in rooms that people walk through, by room.

    Returns
    -------
    By source, ``(len(gaps),)`` each. Sources of which the log holds nothing are left out.
    """
    start_us = gaps.start_us
    end_us = start_us + np.round(gaps.gap_s * US).astype(np.int64)
    found = {}
    for name, passing in outside.items():
        if len(passing):
            left = near(passing, start_us, before_s=EARLY_S, after_s=WALK_S)
            found[f"outside:{name}"] = 2 * left + near(passing, end_us, before_s=WALK_S, after_s=EARLY_S)
    detectors = [times_us(part) for part in _moved(readings, channel)]
    if 1 < len(detectors) <= MOST_DETECTORS:
        found["detectors"] = len(detectors) * _last(detectors, start_us) + _first(detectors, end_us)
    presses = times_us(readings.of_channel("override", channel))
    if len(presses):
        found["press"] = near(passages(presses, 2 * PRESS_S), start_us, before_s=PRESS_S, after_s=PRESS_S)
    # The shortest hold-off must not have switched it yet: then it would tell the length of the pause, not who was there.
    soon = start_us + np.round(np.minimum(gaps.gap_s / 2, SETTLED_S) * US).astype(np.int64)
    loads = readings.of("power").filter(pl.col("channel").is_not_null() & (pl.col("channel") != channel))
    for part in loads.partition_by("channel", maintain_order=True):
        power = part.select("time", "value")
        low, high = np.quantile(power["value"].to_numpy(), [0.05, 0.95])
        if high > 2 * max(low, 1.0):
            drawn = value_at(power, soon)
            found[f"load:{part['channel'][0]}"] = (drawn < (low + high) / 2).astype(np.int64)
    return found


def _moved(readings: RoomReadings, channel: str) -> list[pl.DataFrame]:
    rows = readings.of_channel("motion", channel).filter(pl.col("value") > 0)
    return by_series(rows, "channel", "detector")


def _last(detectors: list[Ints], at_us: Ints) -> Ints:
    """Which detector saw something last at or before each time."""
    latest = []
    for times in detectors:
        i = np.searchsorted(times, at_us, side="right") - 1
        latest.append(np.where(i >= 0, times[np.maximum(i, 0)], np.iinfo(np.int64).min))
    return np.argmax(latest, axis=0).astype(np.int64)


def _first(detectors: list[Ints], at_us: Ints) -> Ints:
    """Which detector sees something first at or after each time."""
    earliest = []
    for times in detectors:
        i = np.searchsorted(times, at_us, side="left")
        earliest.append(np.where(i < len(times), times[np.minimum(i, len(times) - 1)], np.iinfo(np.int64).max))
    return np.argmin(earliest, axis=0).astype(np.int64)


def pattern_ratio(pattern: Ints, still_weight: Floats, absent_weight: Floats) -> Floats:
    """Log ratio of how often a pattern is seen at stillnesses and at absences, per gap.

    Parameters
    ----------
    pattern
        A small number per gap.
    still_weight, absent_weight
        How much each gap counts as an example of either class.
    """
    size = int(pattern.max(initial=0)) + 1
    still, absent = (np.bincount(pattern, weights=w, minlength=size) for w in (still_weight, absent_weight))
    total = still.sum(), absent.sum()
    if min(total) <= 0:
        return np.zeros(len(pattern))
    common = (still / total[0] + absent / total[1]) / 2
    shares = [(c + SHRINK * common) / (n + SHRINK) for c, n in zip((still, absent), total, strict=True)]
    ratio = np.log(np.maximum(shares[0], 1e-9)) - np.log(np.maximum(shares[1], 1e-9))
    return np.clip(ratio, -MOST_TELLING, MOST_TELLING)[pattern]


def evidence_ratio(found: Mapping[str, Ints], still_weight: Floats, absent_weight: Floats) -> Floats | float:
    """Sum of the log ratios of all sources, of the rooms outside only those that tell most."""
    weight = absent_weight / max(absent_weight.sum(), 1e-9)
    outside: list[Floats] = []
    rest: list[Floats] = []
    for name, pattern in found.items():
        ratio = pattern_ratio(pattern, still_weight, absent_weight)
        (outside if name.startswith("outside:") else rest).append(ratio)
    outside.sort(key=lambda ratio: float((weight * ratio).sum()))
    return np.asarray(sum([*outside[:MOST_OUTSIDE], *rest], 0.0))

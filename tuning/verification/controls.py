"""Rooms left alone: what changed in them by itself changed in the others too (difference in differences).

Per hour of presence, a room left alone should show the same before and after. Where all of them together show another, something else changed in
the building, and the rooms set on site are held against what they would have shown then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tuning.channel.analyse import Examined
from tuning.motion import US, Floats, Ints

LEAST_FALSE_OFFS = 10.0
"""Expected false-offs of all controls together on either side. Chosen by us: fewer vary by a third by chance."""
LEAST_WASTED_H = 1.0
LEAST_DAYS = 7.0
"""Log that a control must have on either side. Chosen by us: one of each weekday."""
DAY_US = 86_400 * US


@dataclass(frozen=True)
class DailySums:
    """A channel left alone, day by day: false-offs, wasted hours, and hours of minding and of presence, each of shape (days,)."""

    day: Ints
    false_offs: Floats
    wasted_h: Floats
    minding_h: Floats
    presence_h: Floats


@dataclass(frozen=True)
class Drift:
    """What changed by itself, as a factor on the rate per hour of presence, shape (draws,); ``None`` where too little happened to tell."""

    false_offs: Floats | None
    wasted_on_h: Floats | None


def daily_sums(found: Examined, *, offset_us: int) -> DailySums:
    """Sum a channel's gaps by local day.

    Parameters
    ----------
    found
        The channel over the whole log.
    offset_us
        UTC offset of the building. [µs]
    """
    gaps, seen, around = found.pauses, found.seen, found.around
    day = (gaps.start_us + offset_us) // DAY_US
    first = int(day.min())
    index, size = day - first, int(day.max()) - first + 1
    hold = found.in_force.at(gaps.start_us)
    lit = around.lit
    off = gaps.gap_s > hold
    absent = np.clip(1 - seen.p_still, 0, 1) * lit
    wasted = np.bincount(index, weights=absent * np.minimum(gaps.gap_s, hold), minlength=size)
    false = np.bincount(index, weights=seen.p_still * around.minds * lit * off, minlength=size)
    there = np.bincount(index, weights=seen.p_still * gaps.gap_s, minlength=size)
    minding = np.bincount(index, weights=seen.p_still * around.minds * lit * gaps.gap_s, minlength=size)
    return DailySums(np.arange(size) + first, false.astype(np.float64), wasted / 3600, minding / 3600, there / 3600)


def drift(
    channels: Sequence[DailySums],
    before_us: tuple[int, int],
    after_us: tuple[int, int],
    *,
    offset_us: int,
    draws: int,
    rng: np.random.Generator,
) -> Drift:
    """What changed by itself in channels left alone, between two stretches.

    What happened after is summed over the channels and held against what each one's rate before foretells for its hours after.

    Parameters
    ----------
    channels
        The channels left alone.
    before_us, after_us
        The stretches. [µs, UTC epoch]
    offset_us
        UTC offset of the building. [µs]
    draws
        Resamples of the days, each channel's by themselves.
    """
    seen = np.zeros((2, draws + 1))
    expected = np.zeros((2, draws + 1))
    known = np.zeros(2)
    for sums in channels:
        b, a = (_resampled(sums, span, offset_us, draws, rng) for span in (before_us, after_us))
        if b is None or a is None:
            continue
        for k, hours in ((0, 2), (1, 3)):
            seen[k] += a[k]
            expected[k] += b[k] * a[hours] / np.maximum(b[hours], 1e-9)
            known[k] += b[k][0]
    least = (LEAST_FALSE_OFFS, LEAST_WASTED_H)
    ratios = [
        seen[k] / np.maximum(expected[k], 1e-9) if min(seen[k, 0], known[k], expected[k, 0]) >= least[k] else None
        for k in (0, 1)
    ]
    return Drift(ratios[0], ratios[1])


def _resampled(
    sums: DailySums, span_us: tuple[int, int], offset_us: int, draws: int, rng: np.random.Generator
) -> tuple[Floats, ...] | None:
    """Sums over a stretch for the log itself and for resampled days; whole days inside the stretch."""
    first = -(-(span_us[0] + offset_us) // DAY_US)
    last = (span_us[1] + offset_us) // DAY_US
    rows = (sums.day >= first) & (sums.day < last)
    n = int(rows.sum())
    if n < LEAST_DAYS:
        return None
    weights = np.ones((draws + 1, n))
    weights[1:] = rng.multinomial(n, np.full(n, 1 / n), size=draws)
    return tuple(weights @ x[rows] for x in (sums.false_offs, sums.wasted_h, sums.minding_h, sums.presence_h))

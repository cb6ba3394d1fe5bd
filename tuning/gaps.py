"""Motions → gaps: the pauses between movements, and what surrounds them.

A gap is censored, not dropped, where the log breaks off inside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning.motion import US, Floats, Ints, MotionLog
from tuning.schemas import GAPS
from tuning.stretches import spread

Bools = npt.NDArray[np.bool_]
Rows = npt.NDArray[np.intp] | slice
"""Some of a channel's gaps; a slice copies nothing."""
ENDED_BY_MOTION, LOG_GAP, END_OF_LOG = 0, 1, 2


@dataclass(frozen=True)
class Gaps:
    """The gaps of one channel in the order of time, as columns.

    Attributes
    ----------
    start_us
        End of the motion before the gap, UTC epoch. [µs]
    gap_s
        Motion-free time until the next motion, or until the log breaks off. [s]
    end_kind
        0 next motion, 1 the log breaks off inside, 2 the log ends.
    motion_before, motion_after
        Index of the motion before the gap and of the one that ends it (−1 where censored).
    recorded_s, dark, told
        Of a sampled log, whose ``gap_s`` is drawn from what each pause can have been (:mod:`tuning.sampled_pauses`): the length as recorded [s],
        whether the light was seen dark in it, and whether the output tells the true length to some seconds. ``None`` where movement is logged as
        it happens.
    """

    start_us: Ints
    gap_s: Floats
    end_kind: npt.NDArray[np.int8]
    motion_before: Ints
    motion_after: Ints
    recorded_s: Floats | None = None
    dark: Bools | None = None
    told: Bools | None = None

    def __len__(self) -> int:
        """Return the number of gaps."""
        return len(self.start_us)

    def at(self, index: Rows) -> Gaps:
        """Return some of the gaps."""
        return Gaps(
            self.start_us[index],
            self.gap_s[index],
            self.end_kind[index],
            self.motion_before[index],
            self.motion_after[index],
            None if self.recorded_s is None else self.recorded_s[index],
            None if self.dark is None else self.dark[index],
            None if self.told is None else self.told[index],
        )

    @property
    def logged_s(self) -> Floats:
        """Motion-free time that the log itself shows. [s]."""
        return self.gap_s if self.recorded_s is None else self.recorded_s

    def frame(self, room: str, channel: str) -> pl.DataFrame:
        """Return the GAPS frame."""
        # Constants as literals take no memory; there may be a million gaps.
        return pl.DataFrame({"start": self.start_us, "gap_s": self.gap_s, "end_kind": self.end_kind}).select(
            pl.lit(room).alias("room"),
            pl.lit(channel).alias("channel"),
            pl.col("start").cast(GAPS["start"]),
            "gap_s",
            pl.col("end_kind").cast(pl.UInt8).cat.to(GAPS["end_kind"]),
        )


def find_gaps(motion: MotionLog) -> Gaps:
    """Find the gaps between the motions of a channel.

    Motions that touch leave no gap. A gap into which a log gap falls ends (censored) where the log breaks off; what
    follows the log gap up to the next motion is nobody's gap, because it has no motion before it.
    """
    start, end, covered = motion.start_us, motion.end_us, motion.covered_us
    if len(start) == 0:
        empty = np.empty(0, dtype=np.int64)
        return Gaps(empty, np.empty(0), np.empty(0, dtype=np.int8), empty, empty)
    gap_end = np.append(start[1:], covered[-1, 1])
    # End of the trusted stretch in which the gap begins; a motion outside all of them is trusted by itself.
    trusted_end = spread(np.append(end[0], covered[:, 1]), covered[:, 0], end)
    kind = np.zeros(len(end), dtype=np.int8)
    kind[-1] = END_OF_LOG
    cut = np.flatnonzero(trusted_end < gap_end)
    kind[cut] = LOG_GAP
    gap_end[cut] = np.maximum(trusted_end[cut], end[cut])
    length = (gap_end - end) / US
    after = np.arange(1, len(end) + 1)
    after[kind != ENDED_BY_MOTION] = -1
    found = Gaps(end, length, kind, np.arange(len(end)), after)
    keep = length > 0
    return found if keep.all() else found.at(np.flatnonzero(keep))


def counts_around(motion: MotionLog, at_us: Ints, *, window_s: float, side: str) -> Floats:
    """Count motions in a window that ends (``side="before"``) or begins (``"after"``) at given times.

    Stretches count by their length too: a stretch of n sampling intervals counts as n motions.

    Parameters
    ----------
    motion
        The channel's motions.
    at_us
        Times, UTC epoch. [µs]
    window_s
        Length of the window, both ends included. [s]
    """
    starts = motion.start_us
    width = round(window_s * US)
    if side == "before":
        low, high = at_us - width, at_us
    else:
        low, high = at_us, at_us + width
    count = np.searchsorted(starts, high, side="right") - np.searchsorted(starts, low, side="left")
    if motion.resolution_s <= 0:
        return count.astype(float)
    # Movement inside the window, in sampling intervals.
    length = np.concatenate([[0], np.cumsum(motion.end_us - motion.start_us)])

    def moved_until(t: Ints) -> Floats:
        i = np.searchsorted(starts, t, side="right")
        done = length[i].astype(float)
        # Take back the part of the running stretch that lies beyond t.
        running = np.maximum(i - 1, 0)
        over = np.where(i > 0, np.maximum(motion.end_us[running] - t, 0), 0)
        return done - over

    return (moved_until(high) - moved_until(low)) / US / motion.resolution_s

"""Which of two hours, where clocks go back: the order of the rows tells."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning.logs.notes import Notes
from tuning.logs.times import Times
from tuning.logs.zones import US, read_local

Ints = npt.NDArray[np.int64]

STEP_US = 60 * US
"""A step back by less is a late telegram, not the change of the clock [µs]. Chosen by us."""


@dataclass
class _Course:
    """Whether a run of local times goes forward, or backward, throughout. Hours that occur twice are left out of it."""

    last: int | None = None
    forward: int = 0
    back: int = 0

    def follow(self, local: Ints) -> None:
        if len(local) == 0:
            return
        step = np.diff(local, prepend=local[:1] if self.last is None else self.last)
        self.forward += int((step > STEP_US).sum())
        self.back += int((step < -STEP_US).sum())
        self.last = int(local[-1])

    @property
    def direction(self) -> int:
        """1 forward, -1 backward, 0 neither."""
        return 1 if self.back == 0 else -1 if self.forward == 0 else 0


@dataclass
class Clock:
    """Turns the times of a group of files into UTC, and holds back the rows of double hours until the group is read.

    Parameters
    ----------
    zone
        IANA name.
    notes
        Takes the counts.
    """

    zone: str
    notes: Notes
    _group: _Course = field(default_factory=_Course)
    _files: list[tuple[Path, _Course]] = field(default_factory=list)
    _held: list[pl.DataFrame] = field(default_factory=list)

    def begin(self, path: Path) -> None:
        """Begin the next file."""
        self._files.append((path, _Course()))

    def to_utc(self, frame: pl.DataFrame, times: Times) -> pl.DataFrame:
        """Add the column ``t`` (UTC, epoch µs); rows whose hour occurs twice are held back."""
        path, course = self._files[-1]
        if not times.local.any():
            return frame.with_columns(t=pl.Series(times.us))
        local = read_local(times.us, self.zone)
        twice = (local.twice > 0) & times.local
        for each in (course, self._group):
            each.follow(times.us[times.local & ~twice])
        self.notes.count("clock-forward", int((local.skipped & times.local).sum()), path=path)
        frame = frame.with_columns(t=pl.Series(np.where(times.local, local.utc, times.us)))
        if not twice.any():
            return frame
        self.notes.count("clock-back", int(twice.sum()), path=path)
        double = frame.with_columns(
            _twice=pl.Series(local.twice),
            _change=pl.Series(local.change),
            _file=pl.lit(len(self._files) - 1, dtype=pl.Int64),
        )
        self._held.append(double.filter(pl.Series(twice)))
        return frame.filter(pl.Series(~twice))

    def release(self, series: list[str]) -> list[tuple[Path, pl.DataFrame]]:
        """Return the rows held back, file by file, their hour decided.

        Where all files of the group together go forward in time, one step back among the rows of the double hour is the change of
        the clock; else the same is asked of each file, and of each series in a file. A single step back decides; without one, or
        with several, the earlier hour is taken.

        Parameters
        ----------
        series
            Columns that tell series apart.
        """
        if not self._held:
            return []
        held = pl.concat(self._held, how="diagonal")
        self._held.clear()
        if self._group.direction:
            held = _decide(held, ["_change"], pl.lit(self._group.direction == -1))
        else:
            courses = {i: course.direction for i, (_, course) in enumerate(self._files)}
            held = held.with_columns(
                _way=pl.col("_file").replace_strict(courses, return_dtype=pl.Int64),
                _series=pl.struct("_file", *series).hash(),
            )
            # In a file that goes one way its rows are one run; else each series is one.
            held = held.with_columns(_run=pl.when(pl.col("_way") == 0).then("_series").otherwise(0))
            held = _decide(held, ["_change", "_file", "_run"], pl.col("_way") == -1)
        parts = held.partition_by("_file", maintain_order=True)
        return [(self._files[part["_file"][0]][0], part) for part in parts]


def _decide(held: pl.DataFrame, run: list[str], newest_first: pl.Expr) -> pl.DataFrame:
    """Move the rows of the second hour to it."""
    step = pl.col("t").diff().over(run)
    jump = pl.when(newest_first).then(step > STEP_US).otherwise(step < -STEP_US).fill_null(value=False)
    marked = held.with_columns(_jump=jump, _newest_first=newest_first)
    after = pl.col("_jump").cum_max().over(run) != pl.col("_newest_first")
    second = (pl.col("_jump").sum().over(run) == 1) & after
    return marked.with_columns(t=pl.col("t") + pl.when(second).then("_twice").otherwise(0))

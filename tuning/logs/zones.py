"""Local times → UTC, exact at both changes of clock."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

US = 1_000_000
_DAY = dt.timedelta(days=1)


def _offset_us(zone: ZoneInfo, when: dt.datetime) -> int:
    offset = when.astimezone(zone).utcoffset()
    return 0 if offset is None else round(offset.total_seconds()) * US


@lru_cache(maxsize=1024)
def _changes(name: str, year: int) -> tuple[tuple[int, int, int], ...]:
    """Changes of clock in a year: instant (epoch µs), offset before and after [µs]."""
    zone = ZoneInfo(name)
    found = []
    day, end = dt.datetime(year, 1, 1, tzinfo=dt.UTC), dt.datetime(year + 1, 1, 1, tzinfo=dt.UTC)
    while day < end:
        after = day + _DAY
        if _offset_us(zone, day) != _offset_us(zone, after):
            low, high = day, after
            while high - low > dt.timedelta(seconds=1):
                middle = low + (high - low) // 2
                low, high = (middle, high) if _offset_us(zone, middle) == _offset_us(zone, day) else (low, middle)
            change = round(high.timestamp()) * US
            found.append((change, _offset_us(zone, day), _offset_us(zone, after)))
        day = after
    return tuple(found)


@dataclass(frozen=True)
class LocalTimes:
    """Local times read in a zone.

    Attributes
    ----------
    utc
        UTC, the earlier of two where the hour occurs twice; as after the change where clocks skip it. [epoch µs]
    twice
        How much later the other reading is; 0 where there is one. [µs]
    change
        The change of clock that a double time belongs to; 0 where there is none. [epoch µs]
    skipped
        Whether no clock showed this time.
    """

    utc: Ints
    twice: Ints
    change: Ints
    skipped: Bools


def read_local(local: Ints, name: str) -> LocalTimes:
    """Read local times in a zone.

    Parameters
    ----------
    local
        Epoch µs as if the local clock were UTC.
    name
        IANA name of the zone.
    """
    none = np.zeros(len(local), dtype=np.int64)
    if len(local) == 0:
        return LocalTimes(local, none, none, none.astype(bool))
    first, last = (dt.datetime.fromtimestamp(int(t) // US, dt.UTC) for t in (local.min(), local.max()))
    changes = [c for year in range(first.year - 1, last.year + 2) for c in _changes(name, year)]
    if not changes:
        return LocalTimes(local - _offset_us(ZoneInfo(name), first), none, none, none.astype(bool))
    at, before, after = (np.array(column, dtype=np.int64) for column in zip(*changes, strict=True))
    # The old offset holds until the last local time that it ever showed, through a skipped hour as well.
    ends = at + np.maximum(before, after)
    index = np.searchsorted(ends, local, side="right")
    offsets = np.append(before, after[-1])[index]
    near = np.minimum(index, len(at) - 1)
    within = index < len(at)
    begins = at + np.minimum(before, after)
    inside = within & (local >= begins[near])
    back = inside & (after < before)[near]
    return LocalTimes(
        utc=local - offsets,
        twice=np.where(back, (before - after)[near], 0),
        change=np.where(back, at[near], 0),
        skipped=inside & (after > before)[near],
    )

"""Evidence on what the lamps add to a reading: moments at which the output is certain, and the moves between them.

A reading is daylight plus lamps. Daylight drifts, lamps jump. Two neighbouring readings between which an output changed
hold the lamp's share plus a little drift; two between which nothing changed show how large that drift is and so
how far a step can be trusted. The output is looked up *at the times of the readings*: where somebody reacts within
seconds of a switch-off the log never saw the dark, both readings were taken under light, and no step is claimed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SETTLE_US = 3_000_000
"""A lamp needs a moment to reach its output and a detector to see it. Chosen by us: longer than usual fades of 0.7–2 s."""
CLOCKS_US = 1_500_000
"""Loggers write the same moment up to this much apart (chosen by us)."""
FRESH_US = 5_000_000
"""A reading written so shortly before stands for the moment itself (chosen by us: no daylight moves within 5 s)."""
FRESH_GAP_US = 1_200_000_000.0
"""Longest time between two written values of a log of changes that are still compared (chosen by us)."""
FIRST_DARK_US = 86_400_000_000
"""How long before its first switch-on a lamp is taken to have been off (chosen by us: a day)."""
QUIET_KEPT = 30_000
"""So many differences without a move are plenty to know how daylight drifts (chosen by us)."""
OUTLIVED_US = 57_000_000
"""A move that called forth no new value for so long left the reading of a log of changes within its dead band. Chosen by us."""
SETTLED_WITHIN = 0.02
"""Output moves below 2 % of full are no reason to set a reading aside (chosen by us: below 1 % noise of a reading)."""
MOVED = 0.1
"""An output that moved less than a tenth of full tells too little against daylight (chosen by us)."""
OFF = 0.005
"""Below half a percent a lamp counts as off."""


@dataclass(frozen=True)
class Points:
    """Moments at which reading and outputs are both known.

    Attributes
    ----------
    t_us
        UTC epoch microseconds, int64, shape (n,), increasing.
    lx
        Reading. [lx], shape (n,)
    output
        Outputs of the channels as a fraction of full, shape (n, channels).
    held
        Whether the reading is logged on change and holds until the next value.
    period_us
        Usual time between readings.
    fresh
        Whether the reading was written at that moment, shape (n,); a held one may be off by the log's dead band.
    record
        Number of the reading in its log, int64, shape (n,).
    looked
        Whether outputs were looked at now and then, not written when they changed.
    """

    t_us: NDArray[np.int64]
    lx: Floats
    output: Floats
    held: bool
    period_us: float
    fresh: Bools
    record: NDArray[np.int64]
    looked: bool = False

    @property
    def max_gap_us(self) -> float:
        """Longest time between two readings that are still compared."""
        return float(np.clip(3 * self.period_us, 180e6, 1200e6))


@dataclass(frozen=True)
class Moves:
    """Neighbouring points and what changed between them; all arrays of length m, ``d_output`` (m, channels)."""

    t_us: NDArray[np.int64]
    d_lx: Floats
    d_output: Floats
    before: Floats
    after: Floats
    lx_before: Floats
    lx_after: Floats
    dt_us: Floats
    near: Bools
    drift: Floats
    """Change that the slopes just before and after would have brought; NaN where neither is known. [lx]"""
    unrest: Floats
    """How much the reading moved by itself just before and after, over the same time. [lx]; NaN if unknown."""
    band: Floats
    """Dead band of the log at the larger of the two readings, 0 where it is sampled. [lx]"""
    stale: NDArray[np.int64]
    """How many of the two readings were held, not written at that moment."""


def series(frame: pl.DataFrame) -> tuple[NDArray[np.int64], Floats]:
    """Times [UTC epoch µs] and values of a ``time, value`` frame, without nulls, sorted, last of equal times kept."""
    frame = frame.drop_nulls(["time", "value"])
    t = frame["time"].dt.epoch("us").to_numpy().astype(np.int64)
    v = frame["value"].to_numpy().astype(float)
    if t.size and np.any(np.diff(t) <= 0):
        order = np.argsort(t, kind="stable")
        t, v = t[order], v[order]
        last = np.append(np.diff(t) > 0, True)
        t, v = t[last], v[last]
    return t, v


def last_by(t: NDArray[np.int64], at: NDArray[np.int64]) -> NDArray[np.int64]:
    """Index of the last of ``t`` at or before each of ``at``, −1 before the first; both increasing.

    The shorter of the two is looked up in the longer: a year has half a million readings and few switchings.
    """
    if t.size >= at.size:
        return np.searchsorted(t, at, side="right") - 1
    first = np.searchsorted(at, t, side="left")
    return np.cumsum(np.bincount(first, minlength=at.size + 1))[: at.size] - 1


def as_of(t: NDArray[np.int64], v: Floats, at: NDArray[np.int64]) -> Floats:
    """Value in force at given times, which increase; NaN before the first."""
    if t.size == 0:
        return np.full(at.shape, np.nan)
    index = last_by(t, at)
    return np.where(index >= 0, v[np.maximum(index, 0)], np.nan)


def among(times: NDArray[np.int64], others: NDArray[np.int64]) -> Bools:
    """Which of some times occur among others, both increasing; quicker than a set for logs of a year."""
    if others.size == 0:
        return np.zeros(times.shape, dtype=bool)
    index = last_by(others, times)
    return np.asarray(others[np.maximum(index, 0)] == times)


def regularity(t: NDArray[np.int64]) -> tuple[float, bool]:
    """Usual time between values [µs], and whether the values were sampled (true) or written on change (false).

    A log of changes with a heartbeat shows the heartbeat as its usual time, but also many shorter ones; a sampled log has none.
    """
    if t.size < 3:
        return 60e6, True
    dt = np.diff(t)
    usual = float(np.median(dt))
    regular = np.mean(np.abs(dt - usual) <= max(0.1 * usual, 2e6))
    short = np.mean(dt < 0.6 * usual)
    return usual, bool(regular >= 0.6 and short <= 0.03)


def _is_sampled(t: NDArray[np.int64], v: Floats) -> bool:
    """Whether an output was looked at now and then (true) or written when it changed (false)."""
    if t.size < 10:
        return False
    dt, changed = np.diff(t), np.diff(v) != 0
    usual = float(np.median(dt))
    if usual < 10e6 or not changed.any() or changed.mean() > 0.95:
        return False
    return bool(np.mean(np.abs(dt[changed] - usual) <= max(0.1 * usual, 2e6)) >= 0.8)


def _track(frame: pl.DataFrame) -> tuple[NDArray[np.int64], Floats]:
    """Times and output (0…1); a log of changes that begins with a switch-on was dark before it."""
    t, v = series(frame)
    v = v / 100
    if t.size and v[0] > OFF and not _is_sampled(t, v):
        t, v = np.insert(t, 0, t[0] - FIRST_DARK_US), np.insert(v, 0, 0.0)
    return t, v


def _output_at(t: NDArray[np.int64], v: Floats, at: NDArray[np.int64]) -> tuple[Floats, Bools]:
    """Output at the times of readings and whether it is certain there."""
    value = as_of(t, v, at)
    if _is_sampled(t, v):
        index = np.minimum(np.searchsorted(t, at, side="left"), t.size - 1)
        following, there = v[index], t[index] == at
        earlier = np.maximum(np.searchsorted(t, at, side="right") - 1, 0)
        just_now = at - t[earlier] <= 1_000_000
        stale = (at - t[earlier] > 2.5 * np.median(np.diff(t))) | (at > t[-1] + np.median(np.diff(t)))
        certain = (there | just_now | (np.abs(following - value) <= SETTLED_WITHIN)) & ~stale
        return value, certain
    settled, soon = as_of(t, v, at - SETTLE_US), as_of(t, v, at + CLOCKS_US)
    moved = np.maximum(np.abs(value - np.where(np.isnan(settled), value, settled)), np.abs(soon - value))
    # a logger that writes outputs and readings on one clock pairs them; small moves are then no doubt about the output
    changes = t[1:][np.abs(np.diff(v)) > 0]
    paired = changes.size >= 5 and among(changes, at).mean() >= 0.5
    return value, moved <= (MOVED if paired else SETTLED_WITHIN)


def usable_points(reading: pl.DataFrame, outputs: Mapping[str, pl.DataFrame]) -> Points:
    """Moments at which the reading and all outputs are known.

    Parameters
    ----------
    reading
        ``time``, ``value`` [lx].
    outputs
        By channel: ``time``, ``value`` [percent]; changes or samples.

    Returns
    -------
    Points; for a reading logged on change also the moments just before each switching, at which the held value stands.
    """
    t, lx = series(reading)
    period_us, sampled = regularity(t)
    held = not sampled
    written, fresh_us, look_us = t, float(FRESH_US), 60e6
    tracks = [_track(frame) for frame in outputs.values()]
    if held and t.size:
        looked_at = [to for to, vo in tracks if _is_sampled(to, vo)]
        if looked_at:
            # between two looks at an output it may have gone off and on again: only the looks themselves tell
            looks = np.unique(np.concatenate(looked_at))
            look_us = float(np.median(np.diff(looked_at[0])))
            fresh_us = max(fresh_us, look_us)
            t, lx = _held_at(t, lx, looks[_next(t, looks) - looks > SETTLE_US])
        else:
            t, lx = _held_moments(t, lx, tracks)
    output = np.empty((t.size, len(tracks)))
    certain = np.ones(t.size, dtype=bool)
    for c, (to, vo) in enumerate(tracks):
        output[:, c], sure = _output_at(to, vo, t)
        certain &= sure & ~np.isnan(output[:, c])
    t, lx, output = t[certain], lx[certain], output[certain]
    record = last_by(written, t) if held else np.flatnonzero(certain)
    looked = any(_is_sampled(*track) for track in tracks)
    if not held:
        return Points(t, lx, output, held, period_us, np.ones(t.size, dtype=bool), record, looked)
    return Points(t, lx, output, held, look_us, t - written[record] <= fresh_us, record, looked)


def _held_moments(
    t: NDArray[np.int64], lx: Floats, tracks: list[tuple[NDArray[np.int64], Floats]]
) -> tuple[NDArray[np.int64], Floats]:
    """Moments at which a held reading stands for the light: its own times, before switchings, and after moves it outlived."""
    changes = [to[1:][np.abs(np.diff(vo)) > SETTLED_WITHIN] for to, vo in tracks]
    switches = [to[1:][np.abs(np.diff(vo)) >= MOVED] for to, vo in tracks]
    change = np.unique(np.concatenate([*changes, np.empty(0, np.int64)]))
    switch = np.unique(np.concatenate([*switches, np.empty(0, np.int64)]))
    limit = np.append(t[1:], t[-1] + 60_000_000)
    # a value written while the lamp settles stands for the settled lamp if nothing follows for a while; one written just before may
    # come from a clock that runs ahead and is then a value of after the move, too
    following = _next(change, t)
    ahead = following - t <= CLOCKS_US
    last_change = np.where(ahead, following, as_of(change, change.astype(float), t))
    early = ahead | (t - last_change < SETTLE_US)
    settled = np.where(early, last_change + SETTLE_US, t).astype(np.int64)
    own = settled[~early | ((settled < limit) & (settled < _next(change, settled - SETTLE_US)))]
    # some seconds before a switching the held value still stands, unless it is of before the last one, and the log had no time to write another:
    # whoever reacts within seconds leaves a reading of the lit room that the dark never got to change
    before = switch - CLOCKS_US - 500_000
    last_switch = as_of(switch, switch.astype(float), before)
    since = as_of(t, t.astype(float), before) >= last_switch
    before = before[np.isnan(last_switch) | since | (before - last_switch >= OUTLIVED_US)]
    # a move that called forth no new value left the reading within its dead band
    quiet_until = np.minimum(_next(t, change - CLOCKS_US), _next(change, change))
    outlived = change[quiet_until - change >= OUTLIVED_US + SETTLE_US] + OUTLIVED_US
    return _held_at(t, lx, np.unique(np.concatenate([own, before, outlived])))


def _held_at(t: NDArray[np.int64], lx: Floats, at: NDArray[np.int64]) -> tuple[NDArray[np.int64], Floats]:
    """Held reading at given moments, those before its first value left out."""
    at = at[at >= t[0]]
    return at, as_of(t, lx, at)


def _next(times: NDArray[np.int64], at: NDArray[np.int64]) -> NDArray[np.int64]:
    """First of ``times`` strictly after each of ``at``; a far future where there is none."""
    far = np.append(times, np.int64(2**62))
    return far[np.searchsorted(times, at, side="right")]


def moves(points: Points) -> Moves:
    """Differences between neighbouring points, with the drift that their surroundings suggest.

    In a log of changes also the differences between neighbouring *written* values across a move: the first value after a switch-on and the
    first after the switch-off are both exact, while the value held just before a switching may be off by the dead band.
    """
    every = _differences(points, points.max_gap_us, np.zeros(points.t_us.size))
    if not points.held or points.fresh.sum() < 3:
        return every
    f = points.fresh
    written = replace(
        points, t_us=points.t_us[f], lx=points.lx[f], output=points.output[f], fresh=f[f], record=points.record[f]
    )
    band = _dead_band(written)
    every = _differences(points, points.max_gap_us, band(points.lx))
    between = _differences(written, FRESH_GAP_US, band(written.lx))
    # neighbours in both are already there
    new = (np.abs(between.d_output) > OFF).any(axis=1) & ~among(between.t_us, every.t_us[every.stale == 0])
    return _joined(every, between, new)


def _joined(a: Moves, b: Moves, keep: Bools) -> Moves:
    return Moves(*(np.concatenate([getattr(a, f.name), getattr(b, f.name)[keep]]) for f in fields(Moves)))


def _differences(points: Points, gap_us: float, band: Floats) -> Moves:
    """All differences over which an output changed, and as many of the others as are needed to know the drift."""
    t, lx, o = points.t_us, points.lx, points.output
    dt = np.diff(t).astype(float)
    d_lx, d_o = np.diff(lx), np.diff(o, axis=0)
    near = dt <= gap_us
    still = (np.abs(d_o) <= OFF).all(axis=1)
    quiet = np.flatnonzero(near & still)
    i = np.sort(np.concatenate([np.flatnonzero(~still), quiet[:: 1 + quiet.size // QUIET_KEPT]]))
    slope = np.where(near & still, d_lx / np.maximum(dt, 1), np.nan)
    edged = np.concatenate([[np.nan], slope, [np.nan]])
    sides = np.stack([edged[i], edged[i + 2]])  # slope before and after each difference
    known = ~np.isnan(sides)
    count = known.sum(axis=0)
    sides = np.where(known, sides, 0)
    drift = np.where(count > 0, sides.sum(axis=0) / np.maximum(count, 1) * dt[i], np.nan)
    unrest = np.where(count > 0, np.abs(sides).max(axis=0, initial=0) * dt[i], np.nan)
    stale = (~points.fresh[i]).astype(np.int64) + ~points.fresh[i + 1]
    return Moves(
        t[i + 1],
        d_lx[i],
        d_o[i],
        o[i],
        o[i + 1],
        lx[i],
        lx[i + 1],
        dt[i],
        near[i],
        drift,
        unrest,
        np.maximum(band[i], band[i + 1]),
        stale,
    )


def _dead_band(written: Points) -> Callable[[Floats], Floats]:
    """Dead band of a log of changes as a function of the reading: the small ones of its changes without a move of the lamps."""
    quiet = (np.abs(np.diff(written.output, axis=0)) <= OFF).all(axis=1) & (np.diff(written.record) == 1)
    change, at = np.abs(np.diff(written.lx))[quiet], written.lx[:-1][quiet]
    at, change = at[change > 1.5], change[change > 1.5]
    if change.size < 10:
        return np.zeros_like
    edges = np.array([0, 30, 100, 200, 400, 800, 1e9])
    which = np.searchsorted(edges, at, side="right") - 1
    bins = [b for b in range(edges.size - 1) if np.sum(which == b) >= 10]
    if not bins:
        usual = float(np.quantile(change, 0.3))
        return lambda lx: np.full(lx.shape, usual)
    centre = [float(np.median(at[which == b])) for b in bins]
    size = [float(np.quantile(change[which == b], 0.3)) for b in bins]
    return lambda lx: np.interp(lx, centre, size)


def find_switching_steps(reading: pl.DataFrame) -> pl.DataFrame:
    """Steps of the electric light in a reading of which no output was logged.

    Parameters
    ----------
    reading
        ``time``, ``value`` [lx]; sampled or logged on change.

    Returns
    -------
    Frame ``time`` (first value after the step, UTC), ``step_lx`` (signed).

    Notes
    -----
    A step rises or falls between two neighbouring values (or two neighbouring pairs in the same direction), exceeds what the reading
    does by itself just before and after by far, and stays. Lamps have one size while daylight has all: of the
    steps found, those in the upper group are kept, the groups being parted at the widest ratio between neighbouring sizes.
    """
    empty = pl.DataFrame(schema={"time": reading.schema["time"], "step_lx": pl.Float64})
    t, lx = series(reading)
    if t.size < 12:
        return empty
    size, index = _lasting_steps(t, lx)
    if size.size == 0:
        return empty
    keep = np.abs(size) >= _parting(np.abs(size))
    at = pl.Series("time", t[index[keep]]).cast(pl.Datetime("us", "UTC"))
    return pl.DataFrame({"time": at, "step_lx": size[keep]})


def _lasting_steps(t: NDArray[np.int64], lx: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """Signed size and index (first value after) of changes that stand out from their surroundings and last."""
    period_us, _ = regularity(t)
    d = np.diff(lx)
    near = np.diff(t) <= max(4 * period_us, 180e6)
    d = np.where(near, d, 0.0)
    w = 3
    window = np.lib.stride_tricks.sliding_window_view
    padded = np.pad(lx, (w, w), mode="edge")
    medians = np.median(window(padded, w), axis=1)
    level_before, level_after = medians[: lx.size][1:], medians[w + 1 :][: lx.size - 1]
    step = level_after - level_before
    # unrest: the larger middle change of the four before and the four after
    ad = np.pad(np.abs(d), (4, 4), mode="constant")
    four = window(ad, 4)
    unrest = np.maximum(np.median(four[: d.size], axis=1), np.median(four[5:][: d.size], axis=1))
    floor = 4 * max(1.0, float(np.median(np.abs(d[d != 0]))) if np.any(d != 0) else 1.0)
    big = near & (np.abs(d) >= floor) & (np.abs(d) >= 6 * unrest) & (step * d > 0) & (np.abs(step) >= 0.5 * np.abs(d))
    index = np.flatnonzero(big)
    if index.size == 0:
        return np.empty(0), index
    # a step that fell into two neighbouring intervals is one
    first = np.append(True, (np.diff(index) > 2) | (np.diff(np.sign(d[index])) != 0))
    group = np.cumsum(first) - 1
    return np.bincount(group, weights=d[index]).astype(np.float64), index[first] + 1


def _parting(size: Floats) -> float:
    """Size from which on steps count as lamps: the upper side of the widest ratio in the upper nine tenths of sizes."""
    ordered = np.sort(size)[::-1]
    if ordered.size < 3:
        return float(ordered[-1])
    ratio = ordered[:-1] / ordered[1:]
    ratio[0] = 1.0  # one largest step alone is no group
    at = int(np.argmax(ratio))
    return float(ordered[at]) if ratio[at] >= 1.5 else float(ordered[-1])

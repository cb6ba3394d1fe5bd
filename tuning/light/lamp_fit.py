"""What each lamp adds to a reading: a robust fit over switching steps, fast moves and dark hours.

The model is reading = daylight + Σ k_c · output_c. Rows of evidence are

* *switchings*: an output went to or from 0 between two neighbouring readings. Movement or a person caused it, not the daylight.
* *moves*: an output moved otherwise. A control loop moves outputs *because* the daylight moved, so that the reading stays where it was;
  such moves would pull k toward zero. They are used only where switchings are too few to stand alone.
* *dark levels*: where the log (or the sun) says that there is no daylight, reading = k · output itself.

Every row carries the spread that quiet stretches of the same log show at the same daylight, so a switching at dusk counts
for more than one under broken cloud. Tukey's biweight sets outliers aside (blinds, a lamp nobody logged).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from tuning.light.lamp_steps import MOVED, OFF, SETTLED_WITHIN, Bools, Floats, Moves, Points

BIWEIGHT_C = 4.685
"""Tukey's biweight with 95 % efficiency under normal errors; Huber & Ronchetti, Robust Statistics, 2nd ed. (from memory)."""
ENOUGH_SWITCHINGS = 5
"""From so many switchings of a channel on, its other moves are left out (chosen by us)."""
READING_NOISE = 0.01
"""Least relative noise of a lux reading that is believed (chosen by us; part C of the goals names 1 %)."""
DARK_SPREAD = 0.02
"""How far one dark evening may lie beside another, relative: lamp temperature, mains, things moved (chosen by us)."""
BELOW_TARGET = 0.9
"""An unlit reading below this share of the usual lit one is no daylight that put a dimmed lamp out (chosen by us)."""
CLEAR_OF_BAND = 2.5
"""A step of two dead bands is always written, whatever was held before; half a band more for a band known roughly (chosen by us)."""
DAY_US = 86_400_000_000


@dataclass(frozen=True)
class Rows:
    """Evidence as a regression: ``y`` = ``x`` @ k + error of spread ``sigma``; ``cluster`` numbers days, ``daylight`` [lx]."""

    y: Floats
    x: Floats
    sigma: Floats
    cluster: NDArray[np.int64]
    switching: Bools
    level: Bools
    daylight: Floats


@dataclass(frozen=True)
class LampFit:
    """Contributions at full output with 90 % intervals, by column; NaN where nothing can be told. [lx]."""

    k: Floats
    low: Floats
    high: Floats
    steps: NDArray[np.int64]
    separable: Bools
    outliers: float
    """Share of the rows that was set aside."""


def fit_lamps(points: Points, steps: Moves, dark: Bools) -> LampFit:
    """Fit the contribution of every channel to one reading.

    Parameters
    ----------
    points, steps
        From :func:`tuning.light.lamp_steps.usable_points` and :func:`~tuning.light.lamp_steps.moves`.
    dark
        Which points fell into hours without daylight, shape (n,).

    Returns
    -------
    LampFit with one entry per column of ``points.output``.
    """
    channels = points.output.shape[1]
    k = np.full(channels, np.nan)
    # the first pass knows no daylight, only the smaller of two readings; the second knows it from the first
    seen = _seen(points, steps, dark)
    rows = _rows(seen, k)
    moving = np.asarray((np.abs(rows.x) >= MOVED).any(axis=0)).reshape(channels)
    groups = _groups(rows, points, moving)
    count = np.array([int(np.sum(np.abs(rows.x[~rows.level, c]) >= MOVED)) for c in range(channels)], dtype=np.int64)
    if not groups:
        return LampFit(k, k.copy(), k.copy(), count, np.ones(channels, dtype=bool), 0.0)
    merged, outliers = _merged_fit(rows, groups)
    for g, group in enumerate(groups):
        k[group] = merged[0][g] / len(group)
    rows = _rows(seen, k)
    merged, outliers = _merged_fit(rows, groups)
    merged = merged[0], np.hypot(merged[1], _rounding(rows, groups, _quantum_lx(points)))
    return _ungroup(merged, groups, count, outliers)


def _quantum_lx(points: Points) -> float:
    """Step in which the log writes its readings, 0 where it is finer than a tenth of a lux. [lx]."""
    for step in (10.0, 5.0, 2.0, 1.0, 0.5, 0.1):
        # most steps are ruled out by the first readings already
        if all(np.abs(lx / step - np.round(lx / step)).max() < 1e-6 for lx in (points.lx[:1000], points.lx)):
            return step
    return 0.0


def _rounding(rows: Rows, groups: list[list[int]], quantum_lx: float) -> Floats:
    """What rounding may hide, as half widths of 90 %: an unlit reading that stands still is always rounded one way. [lx]."""
    x = np.stack([rows.x[:, group].mean(axis=1) for group in groups], axis=1)
    weight = x**2 / rows.sigma[:, None] ** 2
    total = np.maximum(weight.sum(axis=0), 1e-12)
    still = (weight * (rows.daylight < 3 * quantum_lx)[:, None]).sum(axis=0) / total
    typical = np.sqrt(np.maximum((weight * x**2).sum(axis=0) / total, 1e-6))
    return np.asarray(0.45 * quantum_lx * still / typical)


def _ungroup(
    merged: tuple[Floats, Floats], groups: list[list[int]], count: NDArray[np.int64], outliers: float
) -> LampFit:
    channels = count.size
    k, low, high = (np.full(channels, np.nan) for _ in range(3))
    separable = np.ones(channels, dtype=bool)
    value, half = merged
    for g, group in enumerate(groups):
        top = max(value[g] + half[g], 0.0)
        for c in group:
            k[c] = value[g] / len(group)
            if len(group) == 1:
                low[c], high[c] = max(value[g] - half[g], 0.0), top
            else:  # only the sum is known: each may be all of it or nothing
                low[c], high[c], separable[c] = 0.0, top, False
    return LampFit(k, low, high, count, separable, outliers)


@dataclass(frozen=True)
class _Seen:
    """What does not change with what is known of the lamps: moves, which of them ended in the dark, and the rows of dark evenings.

    ``moved`` and ``by_people`` (moves that no daylight caused) have shape (steps, channels).
    """

    steps: Moves
    both_dark: Bools
    moved: Bools
    by_people: Bools
    dark_rows: Rows


def _seen(points: Points, steps: Moves, dark: Bools) -> _Seen:
    moved = np.abs(steps.d_output) >= MOVED
    by_people = _switched_by_people(points, steps, moved)
    return _Seen(steps, _dark_at(steps, points, dark), moved, by_people, _dark_rows(points, dark))


def _rows(seen: _Seen, k: Floats) -> Rows:
    """Collect steps and dark levels with their spreads, given what is known of k so far."""
    steps = seen.steps
    known = np.where(np.isnan(k), 0.0, k)
    level = np.minimum(steps.lx_before, steps.lx_after)
    if known.any():
        lit = np.maximum(steps.before @ known, 0), np.maximum(steps.after @ known, 0)
        level = np.maximum(0.5 * (steps.lx_before - lit[0] + steps.lx_after - lit[1]), 0)
    quiet = steps.near & (np.abs(steps.d_output) <= OFF).all(axis=1) & (steps.stale == 0)
    trust, sigma = _spread(steps, level, quiet, seen.both_dark)
    # a held reading lies anywhere within the dead band of the written one: sd of a uniform, band/sqrt(3)
    sigma = np.sqrt(sigma**2 + steps.stale * steps.band**2 / 3)
    drift = np.where(np.isnan(steps.drift), 0.0, trust * steps.drift)
    moved = seen.moved
    switched = (moved & seen.by_people).any(axis=1) & steps.near
    moved_any = moved.any(axis=1) & steps.near
    day = steps.t_us // DAY_US
    use = moved_any & _wanted(switched, moved)
    if known.any():
        # steps that hardly leave the dead band are written only when chance makes them larger
        use &= np.abs(steps.d_output @ known) >= CLEAR_OF_BAND * steps.band
    step_rows = Rows(
        (steps.d_lx - drift)[use],
        steps.d_output[use],
        sigma[use],
        day[use],
        switched[use],
        np.zeros(use.sum(), dtype=bool),
        level[use],
    )
    return Rows(*(np.concatenate([getattr(step_rows, f.name), getattr(seen.dark_rows, f.name)]) for f in fields(Rows)))


def _switched_by_people(points: Points, steps: Moves, moved: Bools) -> Bools:
    """Which moves went to or from 0 for another reason than the daylight, shape (steps, channels).

    A control loop puts a dimmed lamp out when daylight alone reaches the target, so the unlit reading is then no lower than the usual lit
    one. A lamp that knows only on and off is believed in any case.
    """
    off_before, off_after = steps.before <= OFF, steps.after <= OFF
    found = off_before | off_after
    unlit = np.where(off_before, steps.lx_before[:, None], steps.lx_after[:, None])
    for c in range(points.output.shape[1]):
        output = points.output[:, c]
        lit = output > OFF
        if not lit.any() or np.ptp(output[lit]) < MOVED:
            continue
        ours = found[:, c] & (unlit[:, c] < BELOW_TARGET * np.median(points.lx[lit]))
        if (ours & moved[:, c] & steps.near).sum() >= ENOUGH_SWITCHINGS:
            found[:, c] = ours
    return found


def _dark_at(steps: Moves, points: Points, dark: Bools) -> Bools:
    """Whether each step ended in the dark."""
    return dark[np.searchsorted(points.t_us, steps.t_us)] if dark.size else np.zeros(0, dtype=bool)


def _wanted(switched: Bools, moved: Bools) -> Bools:
    """Moves that count: all switchings, and the other moves of channels that were hardly ever switched."""
    seldom = (switched[:, None] & moved).sum(axis=0) < ENOUGH_SWITCHINGS
    return switched | (moved & seldom[None, :]).any(axis=1)


def _spread(steps: Moves, level: Floats, quiet: Bools, both_dark: Bools) -> tuple[float, Floats]:
    """How far the drift correction is worth following (0…1), and the spread of each step after it. [lx]."""
    placebo = quiet & ~np.isnan(steps.drift)
    x, y = steps.drift[placebo], steps.d_lx[placebo]
    noise = READING_NOISE * np.hypot(steps.lx_before, steps.lx_after)
    rounding = 0.4  # two roundings to 1 lx: sqrt(2/12)
    base = np.hypot(noise, rounding)
    if y.size < 20:
        unrest = np.where(np.isnan(steps.unrest), 0.0, steps.unrest)
        return 0.5, np.sqrt(base**2 + (0.1 * level) ** 2 + unrest**2)
    weight = 1 / (base[placebo] ** 2 + (0.05 * level[placebo]) ** 2)
    trust = float(np.clip(np.sum(weight * x * y) / max(np.sum(weight * x * x), 1e-12), 0.0, 1.0))
    residual = np.abs(y - trust * x)
    dark_lit = both_dark[placebo] & (steps.lx_before[placebo] > 50)
    if dark_lit.sum() >= 30:
        scale = np.median(residual[dark_lit] / base[placebo][dark_lit]) / 0.6745
        base = base * np.clip(scale, 0.5, 5.0)
    per_level = _by_level(residual, level[placebo], base[placebo])
    usual_dt = np.median(steps.dt_us[placebo])
    # a sampled reading may be an average over its interval; one that was written is of its moment
    least = 0.002 if steps.stale.any() else 0.25
    share = per_level(level) * np.sqrt(np.clip(steps.dt_us / usual_dt, least, 20))
    unrest = np.where(np.isnan(steps.unrest), share, steps.unrest)
    return trust, np.sqrt(base**2 + 0.5 * share**2 + 0.5 * unrest**2)


class _by_level:  # noqa: N801 - a function with a memory
    """Spread of quiet changes as a function of the daylight, from bins of equal size in its logarithm."""

    def __init__(self, residual: Floats, level: Floats, base: Floats) -> None:
        edges = np.array([0, 3, 10, 30, 100, 200, 400, 800, 1600, 1e9])
        which = np.searchsorted(edges, level, side="right") - 1
        centre, spread = [], []
        for b in range(edges.size - 1):
            here = which == b
            if here.sum() >= 12:
                # the upper quartile: quiet changes under broken cloud have a heavy tail that the median hides
                raw = np.quantile(residual[here], 0.75) / 1.15
                spread.append(np.sqrt(max(raw**2 - np.median(base[here]) ** 2, 0.0)))
                centre.append(np.median(level[here]))
        self._centre = np.array(centre) if centre else np.array([0.0, 1000.0])
        self._spread = np.array(spread) if spread else np.array([0.0, 100.0])

    def __call__(self, level: Floats) -> Floats:
        inside = np.interp(level, self._centre, self._spread)
        beyond = level > self._centre[-1]
        return np.where(beyond, self._spread[-1] * level / max(self._centre[-1], 1.0), inside)


def _dark_rows(points: Points, dark: Bools) -> Rows:
    """One row per night and level of output: the median reading above what stands there unlit."""
    channels = points.output.shape[1]
    none = np.zeros(0)
    empty = Rows(none, np.zeros((0, channels)), none, np.zeros(0, np.int64), np.zeros(0, bool), np.zeros(0, bool), none)
    # held values of a log of changes may still hold the dusk
    lit = dark & points.fresh & (points.output >= MOVED).any(axis=1)
    unlit = dark & points.fresh & (points.output <= OFF).all(axis=1)
    if not lit.any() or (points.held and not unlit.any()):
        return empty
    base_lx = float(np.median(points.lx[unlit])) if unlit.any() else 0.0
    night = points.t_us[lit] // DAY_US
    steps = np.round(points.output[lit] * 20).astype(np.int64)
    key = night
    for c in range(channels):
        key = key * 21 + steps[:, c]
    order = np.argsort(key, kind="stable")
    first = np.flatnonzero(np.append(True, np.diff(key[order]) > 0))
    size = np.diff(np.append(first, order.size))
    middle = order[first + size // 2]
    x = np.add.reduceat(points.output[lit][order], first) / size[:, None]
    y = np.add.reduceat(points.lx[lit][order], first) / size - base_lx
    level = np.abs(points.lx[lit][middle])
    sigma = np.sqrt((READING_NOISE * level) ** 2 / size + (DARK_SPREAD * level) ** 2 + 0.1)
    return Rows(y, x, sigma, night[middle], np.zeros(y.size, bool), np.ones(y.size, bool), np.zeros(y.size))


def _groups(rows: Rows, points: Points, moving: Bools) -> list[list[int]]:
    """Channels by whether the log can tell them apart: those that always moved together share a group."""
    columns = [int(c) for c in np.flatnonzero(moving)]
    groups: list[list[int]] = []
    for c in columns:
        for group in groups:
            if _never_apart(rows, points, group[0], c):
                group.append(c)
                break
        else:
            groups.append([c])
    return groups


def _never_apart(rows: Rows, points: Points, a: int, b: int) -> bool:
    xa, xb = rows.x[:, a], rows.x[:, b]
    one_only = ((np.abs(xa) >= MOVED) & (np.abs(xb) <= SETTLED_WITHIN)) | (
        (np.abs(xb) >= MOVED) & (np.abs(xa) <= SETTLED_WITHIN)
    )
    if one_only.any() and (not points.looked or _apart_for_a_while(points.output[:, a], points.output[:, b])):
        return False
    # dimmed differently though always switched together: the ratio of their outputs must vary to tell them apart
    both = (np.abs(xa) >= MOVED) & (np.abs(xb) >= MOVED)
    if both.sum() < 2 * ENOUGH_SWITCHINGS:
        return True
    w = 1 / rows.sigma[both]
    u, v = xa[both] * w, xb[both] * w
    aside = v - u * (u @ v) / (u @ u)
    # k_b would be known with this error; against a lamp of 300 lx it must be small to speak of two lamps
    return bool(np.sqrt(np.sum(aside**2)) * 300 < 10 * 3)


def _apart_for_a_while(a: Floats, b: Floats) -> bool:
    """Whether one was lit and the other not over three points: outputs looked at one after the other may seem apart for one or two."""
    apart = (a <= OFF) != (b <= OFF)
    return bool((apart[:-2] & apart[1:-1] & apart[2:]).any())


def _merged_fit(rows: Rows, groups: list[list[int]]) -> tuple[tuple[Floats, Floats], float]:
    """Robust fit with one column per group; negative contributions are set to 0 and the rest is fitted again."""
    x = np.stack([rows.x[:, group].mean(axis=1) for group in groups], axis=1)
    use = (np.abs(x) >= 0.5 * MOVED).any(axis=1)
    x, y, sigma, cluster = x[use], rows.y[use], rows.sigma[use], rows.cluster[use]
    free = np.ones(len(groups), dtype=bool)
    k, half = np.zeros(len(groups)), np.zeros(len(groups))
    if not use.any():
        # Nothing moved by enough to tell.
        return (k, half), 0.0
    weight = np.ones(y.size)
    for _ in range(len(groups) + 1):
        k[:] = 0
        value, spread, weight = robust_fit(y, x[:, free], sigma, cluster)
        k[free], half[free] = value, spread
        if (k >= 0).all():
            break
        free &= k > 0
        if not free.any():
            k[:] = 0
            break
    return (k, half), float(np.mean(weight < 0.1)) if weight.size else 0.0


def robust_fit(y: Floats, x: Floats, sigma: Floats, cluster: NDArray[np.int64]) -> tuple[Floats, Floats, Floats]:
    """Biweight regression through the origin with a 90 % interval that allows for days that hang together.

    Parameters
    ----------
    y, x, sigma
        Response (m,), regressors (m, p), spread of each row (m,).
    cluster
        Day of each row, int64 (m,).

    Returns
    -------
    Coefficients (p,), half widths of their 90 % intervals (p,), final weights 0…1 (m,).

    Notes
    -----
    Starts from the Huber fit, whose objective is convex, so that the biweight begins near the right place. The variance is the
    jackknife over days, by one Newton step each; Student's t has as many degrees of freedom as days of equal weight would give.
    """
    v, u = y / sigma, x / sigma[:, None]
    p = x.shape[1]
    beta = np.asarray(np.linalg.lstsq(u, v, rcond=None)[0], dtype=np.float64)
    weight: Floats = np.ones(y.size)
    for kind in ("huber",) * 12 + ("biweight",) * 12:
        residual = v - u @ beta
        scale = max(float(np.median(np.abs(residual))) / 0.6745, 0.3)
        z = np.abs(residual) / scale
        weight = (
            np.minimum(1, 1.345 / np.maximum(z, 1e-9))
            if kind == "huber"
            else np.clip(1 - (z / BIWEIGHT_C) ** 2, 0, 1) ** 2
        )
        gram = (u * weight[:, None]).T @ u + 1e-12 * np.eye(p)
        beta = np.asarray(np.linalg.solve(gram, (u * weight[:, None]).T @ v), dtype=np.float64)
    return beta, _half_width(v, u, beta, weight, cluster), weight


def _half_width(v: Floats, u: Floats, beta: Floats, weight: Floats, cluster: NDArray[np.int64]) -> Floats:
    residual = v - u @ beta
    scale = max(float(np.median(np.abs(residual))) / 0.6745, 0.3)
    z = residual / scale
    inside = np.abs(z) < BIWEIGHT_C
    # derivative of the biweight's psi: what a row still pulls
    slope = np.where(inside, (1 - (z / BIWEIGHT_C) ** 2) * (1 - 5 * (z / BIWEIGHT_C) ** 2), 0.0)
    days, which = np.unique(cluster, return_inverse=True)
    g, p = days.size, u.shape[1]

    def by_day(values: Floats) -> Floats:
        return np.bincount(which, weights=values, minlength=g).astype(np.float64)

    score = np.stack([by_day(u[:, j] * weight * residual) for j in range(p)], axis=1)
    gram = np.stack([np.stack([by_day(u[:, i] * u[:, j] * slope) for j in range(p)], axis=1) for i in range(p)], axis=1)
    total = gram.sum(axis=0)
    # one Newton step to the fit without each day
    moved = np.einsum("gij,gj->gi", np.linalg.pinv(total - gram), score)
    variance = (g - 1) / g * np.sum(moved**2, axis=0) if g > 1 else np.zeros(p)
    promised = np.diag(np.linalg.pinv((u * weight[:, None]).T @ u)) * scale**2
    # with few days the jackknife is short of stuffing: the spread that the quiet stretches promised is the least
    variance = np.maximum(variance, max(0.0, 1 - g / 12) * promised)
    # days that carry most of the weight count as the few that they are
    share = np.stack([by_day(u[:, j] ** 2 * weight) for j in range(p)], axis=1)
    share = share / np.maximum(share.sum(axis=0), 1e-12)
    freedom = np.maximum(1 / np.maximum((share**2).sum(axis=0), 1e-12) - p, 1)
    return np.asarray(np.sqrt(variance) * stdtrit(freedom, 0.95))

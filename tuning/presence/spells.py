"""Stillness → spells: how long present people keep still, also beyond the hold-off in force.

A gap that a reaction ended says only "longer than the hold-off". What happens next decides what it means: either the
interrupted spell *goes on* (somebody who reads, waves at the lamp and reads on), or movement *starts afresh*. The share that
goes on is estimated from the gaps that follow reactions, shrunk toward a starting belief, and each such gap enters the
survival of spells at both places with its probability.

The survival is piecewise exponential on a fixed grid where there are many spells, and has a Weibull tail with a decreasing hazard
beyond: the longer somebody has been still, the longer they stay so. The tail's shape is averaged over
its posterior on a grid, its level is conjugate gamma; nothing is plugged in.

False-offs under a hold-off D follow from renewal: with survival S, reaction r and share q that goes on, one natural spell
brings ``n(D) = Σ_k q^(k−1) S(kD + (k−1)r)`` false-offs and lasts ``τ(D)``; presence time over τ(D) is the number of spells.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import isotonic_regression

from tuning.gaps import Bools
from tuning.motion import Floats, Ints

EDGES_S: Floats = np.concatenate([[0.0, 2.0, 5.0], 8.0 * 1.13 ** np.arange(0, 71)])
"""Edges of the survival grid. [s]; 8 s to about 11 h in steps of 13 %."""
CELLS = len(EDGES_S) - 1
FALLS_FROM_S = 20.0
"""From here on a hazard that rises is not believed. [s]. Chosen by us."""
SHAPES: Floats = np.linspace(0.1, 1.0, 19)
SHAPE_PRIOR = (0.45, 0.2)
"""Weibull shapes looked at, and the belief about them: a decreasing hazard, near 0.45. Chosen by us; on simulated rooms 0.35 to 0.55 do as well."""
TAIL_EXCEEDANCES = 50.0
"""Spells that the tail is fitted to. Chosen by us: enough for shape and level, few enough to stay local."""
LEVEL_PRIOR = 0.5
"""Weight of the belief about the tail's level, in spells that end."""
GOES_ON_PRIOR = (2.0, 2.0)
"""Beta belief about the share of spells that go on after a reaction."""
WAVE_S, WAVES_LAST_S = 12.0, 45.0
"""Longest pause between the waves of one reaction, and how long they last at most. [s]. Chosen by us: a few seconds, or a detector's dead time."""
WAVES_PRIOR = (1.0, 3.0)
"""Beta belief about the share of reactions that take more than one wave."""
CHAIN = 24
"""Reactions in one spell that are followed. Chosen by us: q^24 is nothing."""


@dataclass(frozen=True)
class SpellTable:
    """Sums over gaps per day and grid cell: all that the survival needs.

    ``ends``: spells ending naturally, ``(days, CELLS)``. ``exposure``: time at risk [s], ``(days, CELLS)``.
    """

    ends: Floats
    exposure: Floats

    def __add__(self, other: SpellTable) -> SpellTable:
        """Add cell by cell."""
        return SpellTable(self.ends + other.ends, self.exposure + other.exposure)


def cell_of(t_s: Floats) -> Ints:
    """Cell of the survival grid that holds a time; closed on the right."""
    # Most pauses lie below the third edge, and comparing is quicker than searching.
    cell = (t_s > EDGES_S[1]).astype(np.int64) + (t_s > EDGES_S[2])
    long = np.flatnonzero(t_s > EDGES_S[3])
    cell[long] = np.minimum(np.searchsorted(EDGES_S, t_s[long], side="left") - 1, CELLS - 1)
    return np.asarray(cell)


def table_from_the_start(
    end_s: Floats, cell: Ints, weight: Floats, day: Ints, days: int, *, cut: Bools | None = None
) -> SpellTable:
    """The same as :func:`spell_table` of gaps that all begin with their spell: of hundreds of thousands, so as few sums as will do.

    Parameters
    ----------
    end_s, cell
        Length of each gap [s], and its :func:`cell_of`.
    weight
        Probability that the gap is stillness.
    day, days
        Day index of each gap, and the number of days.
    cut
        Gaps that no movement of their own ended; all where not given.
    """
    size = days * CELLS
    last = day * CELLS + cell
    reach = np.bincount(last, weights=weight, minlength=size).astype(np.float64)
    lost = slice(None) if cut is None else np.flatnonzero(cut)
    ends = reach - np.bincount(last[lost], weights=weight[lost], minlength=size)
    partial = np.bincount(last, weights=weight * end_s, minlength=size).reshape(days, CELLS)
    reach = reach.reshape(days, CELLS)
    # Whoever does not end in a cell or before it goes through it.
    through = np.maximum(reach.sum(axis=1, keepdims=True) - np.cumsum(reach, axis=1), 0.0)
    exposure = np.maximum(partial - reach * EDGES_S[:-1], 0.0) + through * np.diff(EDGES_S)
    return SpellTable(ends.reshape(days, CELLS), exposure)


def spell_table(start_s: Floats, end_s: Floats, weight: Floats, ended: Floats, day: Ints, days: int) -> SpellTable:
    """Sum exposure and natural ends over the survival grid, per day.

    Parameters
    ----------
    start_s, end_s
        Where on the spell's own clock each gap begins and ends. [s]
    weight
        Probability that the gap is stillness (and on this clock).
    ended
        That, and that a movement of its own ended it, not a reaction or the log.
    day
        Day index of each gap.
    days
        Number of days.
    """
    a, b = cell_of(start_s), cell_of(end_s)
    size = days * CELLS
    width = np.diff(EDGES_S)
    first, last = day * CELLS + a, day * CELLS + b
    ends = np.bincount(last, weights=ended, minlength=size).astype(np.float64).reshape(days, CELLS)
    partial = np.bincount(last, weights=weight * (end_s - EDGES_S[b]), minlength=size)
    partial -= np.bincount(first, weights=weight * (start_s - EDGES_S[a]), minlength=size)
    crossing = np.bincount(first, weights=weight, minlength=size)
    crossing -= np.bincount(last, weights=weight, minlength=size)
    through = np.cumsum(crossing.reshape(days, CELLS), axis=1)
    return SpellTable(ends, partial.reshape(days, CELLS) + through * width)


def chain_offsets(gap_s: Floats, reaction: Floats, consecutive: Bools) -> Floats:
    """How long the spell had already lasted when each gap began, if spells go on after reactions. [s].

    Whoever reacts may wave more than once: short pauses right after a reaction belong to it, and the spell goes on behind them.

    Parameters
    ----------
    gap_s
        Gaps in the order of time. [s]
    reaction
        Probability that a reaction ended the gap.
    consecutive
        Whether the gap follows its predecessor at once.

    Returns
    -------
    Zero where no spell can have gone on, and for the pauses between waves.
    """
    offset = np.zeros(len(gap_s))
    # Only of what is no pause between waves it is asked: one in ten.
    at = np.flatnonzero(gap_s > WAVE_S)
    if len(at) < 2:
        return offset
    end = np.cumsum(gap_s)[at]
    begin = end - gap_s[at]
    # Up to how many breaks of the log lie before each: as many as before the last one, if the log is whole since.
    breaks = np.searchsorted(np.flatnonzero(~consecutive), at, side="right")
    after = np.append(False, (reaction[at[:-1]] > 0.5) & (breaks[1:] == breaks[:-1]))
    after[1:] &= begin[1:] - end[:-1] <= WAVES_LAST_S
    offset[at] = np.where(after, begin - np.maximum.accumulate(np.where(after, 0.0, begin)), 0.0)
    return offset


@dataclass(frozen=True)
class Survival:
    """Cumulative hazard of stillness at the grid's edges, ``(draws, CELLS + 1)``; draw 0 is the expectation."""

    cumulative: Floats

    def at(self, t_s: Floats) -> Floats:
        """Survival at times, ``(draws, len(t_s))``."""
        low, share = _place(t_s)
        h = self.cumulative[:, low] + (self.cumulative[:, low + 1] - self.cumulative[:, low]) * share
        return np.exp(-h)

    def integral(self, t_s: Floats) -> Floats:
        """Integral of the survival from 0, ``(draws, len(t_s))``. [s]."""
        s = np.exp(-self.cumulative)
        steps = 0.5 * (s[:, 1:] + s[:, :-1]) * np.diff(EDGES_S)
        whole = np.concatenate([np.zeros((len(s), 1)), np.cumsum(steps, axis=1)], axis=1)
        low, share = _place(t_s)
        width = np.diff(EDGES_S)[low] * share
        middle = s[:, low] + (s[:, low + 1] - s[:, low]) * share
        return whole[:, low] + 0.5 * (s[:, low] + middle) * width


def _place(t_s: Floats) -> tuple[Ints, Floats]:
    t = np.clip(t_s, 0.0, EDGES_S[-1])
    low = np.clip(np.searchsorted(EDGES_S, t, side="right") - 1, 0, CELLS - 1)
    return low, (t - EDGES_S[low]) / np.diff(EDGES_S)[low]


def falling_hazard(table: SpellTable) -> Survival:
    """Survival of all days together whose hazard never rises beyond ``FALLS_FROM_S``, as one draw.

    The longer somebody has been still, the longer they stay so. It decides whether spells go on after reactions: taken for the rest of long
    spells, the short pauses after reactions in a room where movement starts afresh would make the hazard leap at the hold-off.
    Isotonic regression, weighted by exposure.
    """
    # The belief as in `fit_survival`: no empty cell says "never".
    exposure = table.exposure.sum(axis=0) + 0.05 * EDGES_S[1:]
    hazard = (table.ends.sum(axis=0) + 0.05) / exposure
    first = int(cell_of(np.array([FALLS_FROM_S]))[0])
    hazard[first:] = isotonic_regression(hazard[first:], weights=exposure[first:], increasing=False).x
    return Survival(np.concatenate([[0.0], np.cumsum(hazard * np.diff(EDGES_S))])[None, :])


def _tail_start(table: SpellTable) -> int:
    """First cell of the tail: about ``TAIL_EXCEEDANCES`` spells reach it."""
    reach = table.exposure.sum(axis=0) / np.diff(EDGES_S)
    enough = np.flatnonzero((reach >= TAIL_EXCEEDANCES) & (EDGES_S[:-1] >= 20.0) & (EDGES_S[:-1] <= 600.0))
    return int(enough[-1]) if len(enough) else int(cell_of(np.array([20.0]))[0])


def fit_survival(table: SpellTable, day_weights: Floats, *, scale_s: float, rng: np.random.Generator) -> Survival:
    """Fit the survival of spells for the whole log and for every resample of its days.

    Parameters
    ----------
    table
        Sums per day.
    day_weights
        ``(draws, days)``; the first row is all ones.
    scale_s
        What the room's use makes believe about the pauses of present people. [s]
    rng
        For the level of the tail.

    Returns
    -------
    ``Survival`` with ``draws`` rows.
    """
    draws = len(day_weights)
    ends, exposure = day_weights @ table.ends, day_weights @ table.exposure
    # The belief: one spell's worth of exponential pauses with the use's scale keeps an empty cell from saying "never".
    hazard = (ends + 0.05) / (exposure + 0.05 * np.maximum(scale_s, EDGES_S[1:]))
    increments = hazard * np.diff(EDGES_S)
    first = _tail_start(table)
    increments[:, first:] = _weibull_tail(table, day_weights, first, rng=rng)
    cumulative = np.concatenate([np.zeros((draws, 1)), np.cumsum(increments, axis=1)], axis=1)
    return Survival(cumulative)


def _weibull_tail(table: SpellTable, day_weights: Floats, first: int, *, rng: np.random.Generator) -> Floats:
    """Cumulative-hazard increments of the tail, ``(draws, CELLS − first)``."""
    edges = EDGES_S[first:]
    middle = np.sqrt(edges[1:] * edges[:-1])
    powers = edges[None, :] ** SHAPES[:, None]
    # Weibull time in each cell, per second of exposure, so that exposure sums turn into ∫ shape·u^(shape−1) du.
    per_second = np.diff(powers, axis=1) / np.diff(edges)
    day_time = table.exposure[:, first:] @ per_second.T
    day_ends = table.ends[:, first:].sum(axis=1)
    day_logs = table.ends[:, first:] @ np.log(middle)
    ends, time, logs = day_weights @ day_ends, day_weights @ day_time, day_weights @ day_logs
    # Overdispersion of ends among days: ends of one day belong together.
    scale = edges[0] ** SHAPES
    a0, b0 = LEVEL_PRIOR, LEVEL_PRIOR * scale
    a, b = a0 + ends[:, None], b0[None, :] + time
    log_prior = -0.5 * ((SHAPES - SHAPE_PRIOR[0]) / SHAPE_PRIOR[1]) ** 2
    log_post = log_prior + ends[:, None] * np.log(SHAPES) + (SHAPES - 1) * logs[:, None] - a * np.log(b)
    log_post += a0 * np.log(b0)
    post = np.exp(log_post - log_post.max(axis=1, keepdims=True))
    post /= post.sum(axis=1, keepdims=True)
    # One shape per draw; the first row averages.
    pick = (post.cumsum(axis=1) > rng.random((len(post), 1))).argmax(axis=1)
    rows = np.arange(len(post))
    level = rng.gamma(a[:, 0]) / b[rows, pick]
    increments = level[:, None] * np.diff(powers, axis=1)[pick]
    # Expectation of the hazard over shape and level: exp(−E) differs little from E exp(−) where it matters.
    mean = (post[0][:, None] * (a[0] / b[0])[:, None] * np.diff(powers, axis=1)).sum(axis=0)
    increments[0] = mean
    return increments


def product_limit(duration_s: Floats, ended: Bools) -> tuple[Floats, Floats, Floats]:
    """Product-limit (Kaplan–Meier) survival of pauses, some of them cut short.

    Assumes nothing about the shape; drawn beside the fitted survival so that a person sees whether the fit may be believed.

    Parameters
    ----------
    duration_s
        Lengths; NaN and lengths below 0 are left out. [s]
    ended
        True where the pause ended by itself, false where it was cut short.

    Returns
    -------
    Times of the ends [s], survival after each, and its standard error (Greenwood). Empty where nothing ended.
    """
    # Costs a second of start-up, and most commands never come here.
    from statsmodels.duration.survfunc import SurvfuncRight  # noqa: PLC0415

    known = np.isfinite(duration_s) & (duration_s >= 0)
    if not (ended & known).any():
        return np.empty(0), np.empty(0), np.empty(0)
    fitted = SurvfuncRight(duration_s[known], ended[known].astype(float))
    return np.asarray(fitted.surv_times), np.asarray(fitted.surv_prob), np.asarray(fitted.surv_prob_se)


def goes_on_share(
    fresh_loglik: Floats, chained_loglik: Floats, weight: Floats, *, prior: tuple[float, float] = GOES_ON_PRIOR
) -> tuple[float, Floats]:
    """Share of spells that go on after a reaction, by expectation–maximisation.

    Parameters
    ----------
    fresh_loglik, chained_loglik
        Log-likelihood of each gap that follows a reaction, if movement starts afresh and if the spell goes on.
    weight
        Probability that the gap is stillness at all.

    Returns
    -------
    The share, and for each gap the probability that its spell had gone on.
    """
    share = prior[0] / sum(prior)
    advantage = np.clip(chained_loglik - fresh_loglik, -30, 30)
    on, odds, total = np.full(len(advantage), share), np.exp(advantage), sum(prior) + weight.sum()
    for _ in range(30):
        on = share * odds / (share * odds + 1 - share)
        share = float((prior[0] + weight @ on) / total)
    return share, on


def false_offs_per_second(survival: Survival, hold_off_s: Floats, *, goes_on: float, reaction_s: float) -> Floats:
    """False-offs per second of minding presence under each hold-off, ``(draws, len(hold_off_s))``.

    Notes
    -----
    ``n(D) / τ(D)`` of the module's docstring. With q = 0 this is ordinary renewal with a fresh spell after every reaction;
    with q = 1 a spell of length L brings floor((L + r)/(D + r)) false-offs.
    """
    k = np.arange(1, CHAIN + 1)
    at = k[:, None] * hold_off_s[None, :] + (k - 1)[:, None] * reaction_s
    weights = goes_on ** (k - 1)
    s = survival.at(at.ravel()).reshape(-1, CHAIN, len(hold_off_s))
    offs = np.einsum("k,bkd->bd", weights, s)
    begin = (k - 1)[:, None] * (hold_off_s[None, :] + reaction_s)
    lit = survival.integral(at.ravel()) - survival.integral(begin.ravel())
    lit = np.maximum(lit.reshape(-1, CHAIN, len(hold_off_s)), 0.0)
    time = np.einsum("k,bkd->bd", weights, lit + reaction_s * s)
    return offs / np.maximum(time, 1e-9)

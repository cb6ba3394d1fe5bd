"""The boundary signature: movement before a gap and after it, as a still person makes it, or as somebody does who leaves and comes back.

Leaving and entering make a burst of movement; a still person makes one movement and is still again. Each class is described by a normal model of
the features with a trend along the gap's length, learned from gaps whose length alone says what they are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tuning.gaps import ENDED_BY_MOTION, Bools, Gaps, counts_around
from tuning.motion import US, Floats, MotionLog

WINDOWS_S = (15.0,)
"""Windows of the boundary signature: a burst at the door. Chosen by us; longer windows measure how busy the room is, and mislead."""
MIN_EXAMPLES = 8.0
"""Examples of either class from which the signature is half believed. Chosen by us."""
TEMPER = 0.8
"""The features are not independent of each other nor normal; the ratio is believed by so much. Chosen by us."""
MOST_TELLING, MOST_STILL = 3.0, 1.2
"""Largest log ratio that a boundary is believed to give: one to twenty for absence, three to one for stillness, because somebody may slip
out without a burst. Set after looking at simulated rooms."""
MOST_BOTH = 2.5
"""The same in favour of a reaction, by both ends: who leaves without a burst seldom comes back without one, too. Chosen by us."""
WAVING = 0.5
"""How far the far end of a pause that may have ended in a reaction counts against it: waving is a burst, too. Chosen by us."""
TREND_RIDGE, SHRINK = 5.0, 20.0
"""Ridge that holds the trend back, and examples' worth of pooled spread. Chosen by us."""


def signature_features(gaps: Gaps, motion: MotionLog, index: npt.NDArray[np.intp]) -> tuple[Floats, Floats]:
    """Movement before the gaps at ``index`` and after them, ``(len(index), 2)`` each.

    Log-counts in the windows, and the log length of the neighbouring gap, capped at 120 s.
    """
    start_us = gaps.start_us[index]
    end_us = start_us + np.round(gaps.logged_s[index] * US).astype(np.int64)
    before = [np.log1p(counts_around(motion, start_us, window_s=w, side="before")) for w in WINDOWS_S]
    after = [np.log1p(counts_around(motion, end_us, window_s=w, side="after")) for w in WINDOWS_S]
    # One more at either end, so that the first and the last gap have neighbours, too.
    length = np.concatenate([[120.0], gaps.logged_s, [120.0]])
    before.append(np.log(np.clip(length[index], 1.0, 120.0)))
    after.append(np.log(np.clip(length[index + 2], 1.0, 120.0)))
    after_matrix = np.stack(after, axis=1)
    # A censored gap has no other end to look at.
    after_matrix[gaps.end_kind[index] != ENDED_BY_MOTION] = 0.0
    return np.stack(before, axis=1), after_matrix


@dataclass(frozen=True)
class _Ends:
    """Normal model of the features of one class: a line along log-length, its spread, and how well the line is known.

    ``line`` holds level and trend about ``middle``, the class's own middle log-length; ``gram`` is the weighted Gram matrix of the same
    coordinates.
    """

    middle: float
    line: Floats
    covariance: Floats
    gram: Floats
    weight: float

    def widening(self, log_g: Floats) -> Floats:
        """Factor on the spread at given log-lengths: far from its examples the class's mean is known badly."""
        return 1.0 + _squared_length(_about(log_g, self.middle), self.gram)

    def log_density(self, x: Floats, log_g: Floats) -> Floats:
        """Log predictive density of the features of gaps of given log-lengths."""
        wide = self.widening(log_g)
        distance = _squared_length(x - _about(log_g, self.middle) @ self.line, self.covariance)
        size = np.log(np.diag(np.linalg.cholesky(self.covariance))).sum()
        return np.asarray(-0.5 * distance / wide - 0.5 * x.shape[1] * np.log(wide) - size)


def _about(log_g: Floats, middle: float) -> Floats:
    return np.column_stack([np.ones(len(log_g)), log_g - middle])


def _squared_length(rows: Floats, matrix: Floats) -> Floats:
    """``rᵀ M⁻¹ r`` of each row: a solver would go through the rows one after the other, a product with the small inverse root does not."""
    white = rows @ np.linalg.inv(np.linalg.cholesky(matrix)).T
    return np.asarray(np.einsum("ij,ij->i", white, white))


def _fit_ends(x: Floats, log_g: Floats, weight: Floats, pooled: Floats) -> _Ends:
    """Weighted fit; the trend is held back by a ridge, the covariance shrunk toward the pooled one."""
    counts = np.flatnonzero(weight)
    x, log_g, weight = x[counts], log_g[counts], weight[counts]
    total = float(weight.sum())
    middle = float(weight @ log_g) / total
    about = _about(log_g, middle)
    weighted = (about * weight[:, None]).T
    gram = weighted @ about + np.diag([1e-3, TREND_RIDGE])
    line = np.asarray(np.linalg.solve(gram, weighted @ x), dtype=np.float64)
    residual = x - about @ line
    own = (residual * weight[:, None]).T @ residual
    covariance = (own + SHRINK * pooled) / (total + SHRINK) + 0.02 * np.eye(x.shape[1])
    return _Ends(middle, line, covariance, gram, total)


def density_ratio(
    x: Floats,
    log_g: Floats,
    still_weight: Floats,
    absent_weight: Floats,
    asked: Bools | None = None,
    *,
    most: float = MOST_STILL,
) -> Floats:
    """Log density ratio of features, stillness over absence, along the gap's length.

    Long stillness belongs to quiet times, so its surroundings are quieter than those of short stillness; a model without a trend would
    read that as absence.

    Parameters
    ----------
    x
        Features, ``(n, k)``.
    log_g
        Log of the gap lengths, ``(n,)``.
    still_weight, absent_weight
        How much each row counts as an example of either class, ``(n,)``.
    asked
        Of which rows the ratio is wanted, ``(n,)``; of all where not given.
    most
        Largest log ratio in favour of stillness.

    Returns
    -------
    ``(n,)``; zero where not asked, and everywhere if one class has hardly any examples.
    """
    ratio = np.zeros(len(x))
    if still_weight.sum() < MIN_EXAMPLES or absent_weight.sum() < MIN_EXAMPLES:
        return ratio
    both = still_weight / still_weight.sum() + absent_weight / absent_weight.sum()
    apart = x - both @ x / both.sum()
    pooled = (apart * both[:, None]).T @ apart / both.sum()
    still = _fit_ends(x, log_g, still_weight, pooled)
    absent = _fit_ends(x, log_g, absent_weight, pooled)
    # Few examples make a bold model; believe it as far as its examples go.
    trust = TEMPER * absent.weight / (absent.weight + MIN_EXAMPLES) * still.weight / (still.weight + MIN_EXAMPLES)
    rows = slice(None) if asked is None else np.flatnonzero(asked)
    told = still.log_density(x[rows], log_g[rows]) - absent.log_density(x[rows], log_g[rows])
    ratio[rows] = np.clip(trust * told, -MOST_TELLING, most)
    return ratio


def signatures(
    gaps: Gaps, features: tuple[Floats, Floats], *, still_weight: Floats, absent_weight: Floats, may_react: Bools
) -> tuple[Floats, Floats]:
    """Log density ratios of each gap, stillness over absence: by both ends, and where the other end may be a reaction, of a reaction over absence.

    Who reacts was there, and mostly stays: the far end looks as at any stillness, unless they waved at the lamp for a while.
    """
    before, after = features
    complete = gaps.end_kind == ENDED_BY_MOTION
    log_g = np.log(np.maximum(gaps.gap_s, 1.0))
    both = density_ratio(
        np.concatenate([before, after], axis=1),
        log_g,
        still_weight * complete,
        absent_weight * complete,
        most=MOST_BOTH,
    )
    alone = density_ratio(before, log_g, still_weight, absent_weight, asked=may_react | ~complete)
    far = both - alone
    reacted = np.where(complete, alone + np.where(far > 0, far, WAVING * far), alone)
    return np.where(complete, np.minimum(both, MOST_STILL), alone), reacted

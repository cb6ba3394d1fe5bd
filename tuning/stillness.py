"""Gaps → was somebody still there? Stillness, absence or a reaction to the dark, as probabilities.

Nothing about a gap's length alone tells a reading person from an empty room. Three things together do:

*The boundary signature.* Leaving and entering make a burst of movement; a still person makes one movement and is still
again. The two classes label themselves at the extremes (gaps of tens of seconds; gaps far beyond the hold-off), and a
ridge logistic regression on the movement counts before and after learns the log density ratio from them.

*The density along the length.* Expected numbers of stillnesses and of absences per log-length are smooth curves, found by
expectation–maximisation with the signature held fixed. Absences run on smoothly across the hold-off; stillness of
people who mind stops there.

*The reaction.* A present person in the dark moves within seconds, so their gaps pile up just beyond the hold-off: a log-normal
signal over the smooth background of people who come back by chance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import expit

from tuning.gaps import ENDED_BY_MOTION, Bools, Gaps, counts_around
from tuning.motion import US, Floats, Ints, MotionLog

SHORT_GAP_S = 20.0
"""Gaps up to this are stillness without further thought: nobody leaves, closes the door and is back. Chosen by us."""
WINDOWS_S = (15.0, 60.0, 240.0)
"""Windows of the boundary signature. Chosen by us: a burst at the door, the walk to it, the visit."""
STILL_ANCHOR_S = (20.0, 90.0)
ABSENT_ANCHOR_S = 1200.0
"""Self-labelling gaps: from 20 s to 90 s stillness, beyond 20 min and the hold-off absence. Chosen by us."""
RIDGE = 2.0
GRID_STEP = 0.08
"""Step of the log-length grid."""
BANDWIDTH = 0.22
"""Kernel bandwidth on log-length. Chosen by us: about a quarter of an e-fold."""
ITERATIONS = 40
REACTION_LIMIT_S = 90.0
"""Longest reaction looked for. Chosen by us; the share beyond is background."""
REACTION_PRIOR = (np.log(5.0), 0.6, 4.0)
"""Starting belief about reaction times: median 5 s, log-spread 0.6, worth four reactions. Chosen by us."""


@dataclass(frozen=True)
class Classified:
    """Per gap, what it probably was.

    Attributes
    ----------
    p_still
        Probability that somebody was there for the whole of the gap.
    p_false
        Probability that the light went off and a present person who minds was left in the dark.
    signature
        Log density ratio of the boundary signature, stillness over absence.
    reaction_median_s, reaction_sigma
        Fitted reaction time: median [s] and log-spread.
    reactions
        Expected number of reactions.
    """

    p_still: Floats
    p_false: Floats
    signature: Floats
    reaction_median_s: float
    reaction_sigma: float
    reactions: float


def signature_features(gaps: Gaps, motion: MotionLog) -> tuple[Floats, Floats]:
    """Movement before the gap and after it, ``(n, 4)`` each.

    Log-counts in three windows, and the log length of the neighbouring gap, capped at 120 s.
    """
    end_us = gaps.start_us + np.round(gaps.gap_s * US).astype(np.int64)
    before = [np.log1p(counts_around(motion, gaps.start_us, window_s=w, side="before")) for w in WINDOWS_S]
    after = [np.log1p(counts_around(motion, end_us, window_s=w, side="after")) for w in WINDOWS_S]
    length = np.log(np.clip(gaps.gap_s, 1.0, 120.0))
    before.append(np.append(np.log(120.0), length[:-1]))
    after.append(np.append(length[1:], np.log(120.0)))
    after_matrix = np.stack(after, axis=1)
    # A censored gap has no other end to look at.
    after_matrix[gaps.end_kind != ENDED_BY_MOTION] = 0.0
    return np.stack(before, axis=1), after_matrix


def density_ratio(x: Floats, still_weight: Floats, absent_weight: Floats) -> Floats:
    """Log density ratio of features, stillness over absence, by ridge logistic regression with balanced classes.

    Parameters
    ----------
    x
        Features, ``(n, k)``.
    still_weight, absent_weight
        How much each row counts as an example of either class, ``(n,)``.

    Returns
    -------
    ``(n,)``; zero everywhere if one class has no examples.
    """
    total_still, total_absent = still_weight.sum(), absent_weight.sum()
    if total_still < 3 or total_absent < 3:
        return np.zeros(len(x))
    # Effective sample size is that of the rarer class, so that the ridge has the same say in every room.
    n = min(total_still, total_absent)
    w1, w0 = still_weight * (n / total_still), absent_weight * (n / total_absent)
    w = w1 + w0
    mean = (w[:, None] * x).sum(axis=0) / w.sum()
    spread = np.sqrt((w[:, None] * (x - mean) ** 2).sum(axis=0) / w.sum()) + 1e-6
    z = np.column_stack([np.ones(len(x)), (x - mean) / spread])
    used = w > 0
    zu, wu, w1u = z[used], w[used], w1[used]
    beta = np.zeros(z.shape[1])
    penalty = np.diag(np.append(0.0, np.full(x.shape[1], RIDGE)))
    for _ in range(12):
        p = expit(zu @ beta)
        gradient = zu.T @ (w1u - wu * p) - penalty @ beta
        curvature = (zu * (wu * p * (1 - p))[:, None]).T @ zu + penalty + 1e-9 * np.eye(len(beta))
        step = np.linalg.solve(curvature, gradient)
        beta = beta + step
        if np.abs(step).max() < 1e-6:
            break
    return z @ beta


def _smooth(counts: Floats, low: int, high: int) -> Floats:
    """Kernel-smooth counts on the log-length grid inside ``low:high``, corrected at both edges."""
    half = int(4 * BANDWIDTH / GRID_STEP)
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) * GRID_STEP / BANDWIDTH) ** 2)
    kernel /= kernel.sum()
    inside = np.zeros_like(counts)
    inside[low:high] = 1.0
    full = np.convolve(counts * inside, kernel, mode="full")[half : half + len(counts)]
    mass = np.convolve(inside, kernel, mode="full")[half : half + len(counts)]
    return np.where(inside > 0, full / np.maximum(mass, 1e-9), 0.0)


def classify(
    gaps: Gaps,
    motion: MotionLog,
    *,
    hold_off_s: Floats,
    lit: Floats,
    minds: Floats,
    never_present: Bools | None = None,
    verdict: Floats | None = None,
) -> Classified:
    """Tell stillness from absence for every gap of a channel.

    Parameters
    ----------
    gaps, motion
        The channel's gaps and motions.
    hold_off_s
        Hold-off in force in each gap, infinite where nothing switches off. [s]
    lit
        Probability that the light was on when the gap began.
    minds
        Probability that a present person would mind the dark at the switch-off.
    never_present
        Gaps known to be absences (triggers without people).
    verdict
        A reviewer's word on the switch-off in a gap: 1 somebody was there, 0 nobody, NaN no word.
    """
    n = len(gaps)
    g = gaps.gap_s
    p_still, p_false = np.ones(n), np.zeros(n)
    if n == 0:
        return Classified(p_still, p_false, np.zeros(0), float(np.exp(REACTION_PRIOR[0])), REACTION_PRIOR[1], 0.0)
    known_absent = never_present if never_present is not None else np.zeros(n, dtype=bool)
    expired = (g > hold_off_s) & (lit > 0.5)
    beyond_s = np.where(expired, g - hold_off_s, np.nan)
    signature, signature_before = _signatures(gaps, motion, expired=expired, known_absent=known_absent)
    long = g > SHORT_GAP_S
    index = np.flatnonzero(long)
    state = _em(
        g[index],
        limit_s=np.where(expired, hold_off_s, np.inf)[index],
        beyond_s=beyond_s[index],
        minds=np.where(lit > 0.5, minds, 0.0)[index],
        signature=signature[index],
        signature_before=signature_before[index],
        known_absent=known_absent[index],
        verdict=None if verdict is None else verdict[index],
        complete=(gaps.end_kind == ENDED_BY_MOTION)[index],
        finest_s=max(motion.resolution_s, 1.0),
    )
    p_still[index], p_false[index] = state.p_still, state.p_false
    p_still[known_absent], p_false[known_absent] = 0.0, 0.0
    return Classified(p_still, p_false, signature, state.median_s, state.sigma, float(p_false.sum()))


def _signatures(gaps: Gaps, motion: MotionLog, *, expired: Bools, known_absent: Bools) -> tuple[Floats, Floats]:
    before, after = signature_features(gaps, motion)
    g = gaps.gap_s
    still = ((g >= STILL_ANCHOR_S[0]) & (g <= STILL_ANCHOR_S[1]) & ~expired & ~known_absent).astype(float)
    complete = gaps.end_kind == ENDED_BY_MOTION
    beyond = np.where(expired, g > np.maximum(ABSENT_ANCHOR_S, 0.0), g > ABSENT_ANCHOR_S)
    absent = (beyond & complete).astype(float)
    if absent.sum() < 10:
        # Short logs and long hold-offs: the longest complete gaps stand in.
        cut = max(float(np.quantile(g[complete], 0.995)) if complete.any() else 0.0, 600.0)
        absent = ((g >= cut) & complete).astype(float)
    both = density_ratio(np.concatenate([before, after], axis=1), still, absent)
    alone = density_ratio(before, still, absent)
    signature = np.where(complete, both, alone)
    return signature, alone


@dataclass(frozen=True)
class _State:
    p_still: Floats
    p_false: Floats
    median_s: float
    sigma: float


def _em(
    g: Floats,
    *,
    limit_s: Floats,
    beyond_s: Floats,
    minds: Floats,
    signature: Floats,
    signature_before: Floats,
    known_absent: Bools,
    verdict: Floats | None,
    complete: Bools,
    finest_s: float,
) -> _State:
    """Expectation–maximisation over the log-length grid; see the module's docstring."""
    n = len(g)
    if n == 0:
        return _State(np.empty(0), np.empty(0), float(np.exp(REACTION_PRIOR[0])), REACTION_PRIOR[1])
    log_g = np.log(g)
    origin = np.log(SHORT_GAP_S)
    size = int((max(log_g.max(), np.log(7200.0)) - origin) / GRID_STEP) + 2
    cell = ((log_g - origin) / GRID_STEP).astype(int)
    expired = np.isfinite(limit_s)
    edge = int((np.log(np.median(limit_s[expired])) - origin) / GRID_STEP) + 1 if expired.any() else size
    ratio = np.exp(np.clip(signature, -8, 8))
    ratio_before = np.exp(np.clip(signature_before, -8, 8))
    per_second = 1.0 / (g * GRID_STEP)
    in_window = expired & (beyond_s <= REACTION_LIMIT_S) & complete
    u = np.maximum(np.where(in_window, beyond_s, 1.0), 0.25)
    mu, sigma = REACTION_PRIOR[0], REACTION_PRIOR[1]
    p = np.where(g < 300, 0.9, 0.1) * ~known_absent
    p[expired] = 0.02
    reaction = np.where(in_window, 0.5 * minds, 0.0)
    # How much a person who minds may still be there unmoved beyond the hold-off: not at all.
    may_stay = np.where(expired, 1.0 - minds, 1.0)
    for _ in range(ITERATIONS):
        still_counts = np.bincount(cell, weights=p, minlength=size)
        absent_counts = np.bincount(cell, weights=np.clip(1 - p - reaction, 0, 1), minlength=size)
        still = np.zeros(size)
        still[:edge] = _smooth(still_counts, 0, edge)[:edge]
        if edge < size:
            # Beyond the hold-off only those who do not mind are seen; scale up to all.
            seen = np.bincount(cell, weights=may_stay, minlength=size)
            everyone = np.bincount(cell, minlength=size).astype(float)
            share = np.clip(_smooth(seen, edge, size) / np.maximum(_smooth(everyone, edge, size), 1e-9), 0.05, 1.0)
            still[edge:] = (_smooth(still_counts, edge, size) / share)[edge:]
        absent = _smooth(absent_counts, 0, size) + 1e-6
        odds_still = still[cell] * may_stay * ratio
        expected_reactions = max(reaction.sum(), 1e-3)
        density = np.exp(-0.5 * ((np.log(u) - mu) / sigma) ** 2) / (u * sigma * np.sqrt(2 * np.pi))
        if finest_s > 2:
            density = np.full_like(u, 1.0 / REACTION_LIMIT_S)
        odds_reaction = np.where(in_window, expected_reactions * density / per_second * minds * ratio_before, 0.0)
        total = odds_still + odds_reaction + absent[cell]
        p, reaction = odds_still / total, odds_reaction / total
        p[known_absent], reaction[known_absent] = 0.0, 0.0
        if verdict is not None:
            said = np.isfinite(verdict)
            reaction = np.where(said, np.where(verdict > 0.5, 1.0, 0.0), reaction)
            p = np.where(said, np.where(verdict > 0.5, 0.0, np.where(expired, 0.0, p)), p)
        weight = reaction.sum() + REACTION_PRIOR[2]
        mu = (np.sum(reaction * np.log(u)) + REACTION_PRIOR[2] * REACTION_PRIOR[0]) / weight
        variance = np.sum(reaction * (np.log(u) - mu) ** 2) + REACTION_PRIOR[2] * REACTION_PRIOR[1] ** 2
        sigma = float(np.clip(np.sqrt(variance / weight), 0.25, 1.2))
    return _State(np.clip(p + reaction, 0, 1), np.clip(reaction, 0, 1), float(np.exp(mu)), sigma)


def learned_share(p: npt.NDArray[np.float64]) -> float:
    """Share of gaps about which the log leaves little doubt (below 0.1 or above 0.9)."""
    return float(np.mean((p < 0.1) | (p > 0.9))) if len(p) else 1.0


__all__ = ["Classified", "Ints", "classify", "density_ratio", "learned_share", "signature_features"]

"""Gaps → was somebody still there? Stillness, absence or a reaction to the dark, as probabilities.

Nothing about a gap's length alone tells a reading person from an empty room. Three things together do:

*The boundary signature* (:mod:`tuning.presence.signature`). Leaving and entering make a burst of movement; a still person makes one movement
and is still again. The two classes label themselves at the extremes, by what the room's use makes believe of each length: short gaps are
stillness, long ones absence. The signature is learned once: learning again from its own verdicts runs away in rooms with few absences.

*The length.* How many stillnesses there are of each length is a smooth, log-concave curve along the log-length, fixed by the thousands of
short pauses, which goes on beyond them as it bent; how many absences there are follows from mixed waits for whoever comes next
(:mod:`tuning.presence.arrivals`). Their ratio is held near the belief about the room's use, and moves as far as the signatures of the gaps ask.
Where people stay, busy stretches and quiet ones have curves of their own (:mod:`tuning.presence.pace`).

*The reaction.* A present person in the dark moves within seconds, so their gaps pile up just beyond the hold-off: a log-normal signal over
the smooth background of people who come back by chance. A pile has the more to prove, the fewer stillnesses the curve lets outlast the
hold-off.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
from scipy.linalg import solveh_banded
from scipy.special import expit

from tuning.gaps import ENDED_BY_MOTION, Bools, Gaps, Rows
from tuning.motion import Floats, Ints, MotionLog
from tuning.presence.arrivals import expected_absences
from tuning.presence.other_evidence import evidence_ratio
from tuning.presence.pace import pace_around, stretches
from tuning.presence.signature import signature_features, signatures

SHORT_GAP_S = 20.0
"""Gaps up to this are stillness without further thought: nobody leaves, closes the door and is back. Chosen by us."""
SUSPICION = 1.0
"""How fast the suspicion of :func:`_suspicious` sets in beyond the even length. Chosen by us."""
GRID_STEP = 0.12
"""Step of the log-length grid."""
BEND_GROWS = 0.5
"""Growth of the stillness curve's bend per e-fold of length: a log-normal's stays (0), a Weibull's grows by its shape. Chosen by us, between."""
STIFFNESS, CONVEX_STIFFNESS = 1.0 / (0.55**2 * GRID_STEP**5), 1.0 / (0.5 * GRID_STEP**2) ** 2
"""Weights of the stillness curve's third and second differences. The third derivative is the second's growth and white noise of standard deviation
0.55 per e-fold, so that the curve goes on as it bent; the second has a standard deviation of 0.5 where it turns up. Every
family of pauses in use (exponential, Weibull, log-normal, log-logistic, gamma, Pareto) has a log-concave density of the log-length, so its
tail falls at least as fast as it began to. Chosen by us."""
PULL = GRID_STEP / 3.65**2
"""Weight of the belief per cell: the log may take the log-odds from it by a standard deviation of 3.65 per e-fold of length. Chosen by us."""
BANDWIDTH = 0.4
"""Kernel bandwidth on log-length. Chosen by us."""
ITERATIONS = 30
REACTION_SUPPORT = 0.7
"""Weight of a reaction in the curve beyond the hold-off: some of them are repeats within one spell. Chosen by us."""
SURPLUS = 25.0
"""Reactions beyond those that outlasting stillnesses make expect of which half is believed: a chance surplus has no such support, a large one is
no chance. Chosen by us, looking at simulated rooms: 10 to 25 do as well."""
FEW_MIND = 0.05
"""Least share of stillness in hours dark enough that reactions are held against. Chosen by us."""
REACTION_LIMIT_S = 90.0
"""Longest reaction looked for. Chosen by us; the share beyond is background."""
REACTION_PRIOR = (np.log(5.0), 0.6, 4.0)
"""Starting belief about reaction times: median 5 s, log-spread 0.6, worth four reactions. Chosen by us."""


HIDDEN_START = 0.1
"""Probability to begin with that a gap in which no dark was sampled ended in a reaction. Chosen by us."""
LONGER_COUNTS, LONGER_UP_TO = 2.0, 15.0
"""Where people stay, a stillness counts as an example by this power of its length over the shortest, up to so many times that. There are a hundred
short pauses to a long one, most of them from busy hours with little spread; by number alone, a long one looked unlike them, and so like an absence.
Chosen by us, looking at simulated rooms: powers of 1 to 3 do as well."""
MOST_ODDS = float(np.exp(15.0))
"""Odds that nothing is surer than. Chosen by us."""
SURE_STILL, SURE_ABSENT = 0.5, 0.15
"""Labels clear enough to learn the signature from. Chosen by us: a few absences among thousands of short pauses must not drown in them."""


@dataclass(frozen=True)
class Belief:
    """What the use of a room makes believe before its log is read.

    Attributes
    ----------
    even_s
        Length at which a gap is as likely an absence as a stillness. [s]
    slope
        Fall of the log-odds of stillness per e-fold of length.
    stays
        Whether people stay, so that the gaps around a gap tell how they move and not how often they come, and who steps out returns.
    """

    even_s: float
    slope: float
    stays: bool = False

    @property
    def centre(self) -> float:
        """Log of the even length."""
        return float(np.log(self.even_s))

    def log_odds(self, gap_s: Floats) -> Floats:
        """Log-odds of stillness at each length."""
        return np.asarray(self.slope * (self.centre - np.log(np.maximum(gap_s, 1.0))))


@dataclass(frozen=True)
class Classified:
    """Per gap, what it probably was.

    Attributes
    ----------
    p_still
        Probability that somebody was there for the whole of the gap.
    p_false
        Probability that the light went off and a present person who minds was left in the dark.
    reaction
        Probability that a reaction to the dark ended the gap: to this light's, or to another's of the room.
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
    reaction: Floats = field(default_factory=lambda: np.empty(0))

    def __post_init__(self) -> None:
        """Without other lights in the room every reaction is to this one."""
        if len(self.reaction) != len(self.p_false):
            object.__setattr__(self, "reaction", self.p_false)


def joined(parts: list[tuple[Rows, Classified]]) -> Classified:
    """Put classifications of parts of a log together; reactions are those of the last part, which is what is set now.

    Parameters
    ----------
    parts
        In the order of time: which gaps, and what they were. A single one is all of them.
    """
    if len(parts) == 1:
        return parts[0][1]
    rows = np.concatenate([np.asarray(at) for at, _ in parts])
    back = np.argsort(rows)
    last = parts[-1][1]
    return replace(
        last,
        p_still=np.concatenate([seen.p_still for _, seen in parts])[back],
        p_false=np.concatenate([seen.p_false for _, seen in parts])[back],
        reaction=np.concatenate([seen.reaction for _, seen in parts])[back],
        signature=np.concatenate([seen.signature for _, seen in parts])[back],
        reactions=sum(seen.reactions for _, seen in parts),
    )


def long_ones(gaps: Gaps) -> Gaps:
    """Those gaps of which it is asked whether somebody was there; most are shorter."""
    return gaps.at(np.flatnonzero(gaps.gap_s > SHORT_GAP_S))


def _per_cell(cell: Ints, weight: Floats, size: int) -> Floats:
    """Sum weights per cell."""
    return np.bincount(cell, weights=weight, minlength=size).astype(np.float64)


def _smoothed(counts: Floats) -> Floats:
    """Kernel-smoothed counts on the log-length grid, corrected at both edges."""
    half = int(4 * BANDWIDTH / GRID_STEP)
    kernel = np.exp(-0.5 * (np.arange(-half, half + 1) * GRID_STEP / BANDWIDTH) ** 2)
    full = np.convolve(counts, kernel, mode="full")[half : half + len(counts)]
    mass = np.convolve(np.ones(len(counts)), kernel, mode="full")[half : half + len(counts)]
    return np.asarray(full / mass)


def _log_absent(counts: Floats, grid: Floats, recorded: Floats | None, *, breaks: bool) -> Floats:
    """Smooth log-count of absences per cell; a little is added, so that none is ruled out."""
    first = float(grid[0]) - GRID_STEP / 2
    expected = expected_absences(counts, first=first, step=GRID_STEP, visible=recorded, breaks=breaks)
    return np.asarray(np.log(expected + 0.02))


def _recorded(grid: Floats, step_s: float) -> Floats | None:
    """Share of the gaps of each length that leave an empty sample; ``None`` where movement is not sampled."""
    return np.clip(np.exp(grid) / step_s - 1.0, 0.0, 1.0) if step_s > 0 else None


@dataclass(frozen=True)
class _Curve:
    """Log-count of stillnesses per cell of the log-length, and what holds it.

    ``belief`` is the log-odds that the room's use makes believe; ``second`` takes differences along the grid. ``stiff`` is what third ones, less
    what the second make expect, make of the curvature, and ``bands`` the same as :func:`scipy.linalg.solveh_banded` wants it.
    """

    belief: Floats
    second: Floats
    stiff: Floats
    bands: Floats

    def step(
        self, log_still: Floats, *, still: Floats, seen: Floats, hidden: Floats, log_absent: Floats, reactions: float
    ) -> Floats:
        """One Newton step toward the most likely curve.

        Parameters
        ----------
        log_still
            The curve, per cell.
        still
            Expected stillnesses seen at their own length, per cell.
        seen, hidden
            Share of the stillnesses of a length that show at their own length, and that a reaction would have cut short, per cell.
        log_absent
            Smooth log-count of absences per cell; the belief is about stillness against them.
        reactions
            Expected reactions: as many stillnesses outlast the hold-off.
        """
        rate = np.exp(np.clip(log_still, -20, 15))
        bend = self.second @ log_still
        convex = np.where(bend > 0, CONVEX_STIFFNESS, 0.0)
        outlast = hidden * rate
        ratio = reactions / max(outlast.sum(), 1e-6) - 1.0
        gradient = still - seen * rate + outlast * np.clip(ratio, -1, 20)
        gradient -= PULL * (log_still - log_absent - self.belief)
        gradient -= self.stiff @ log_still + self.second.T @ (convex * bend)
        curvature = self.bands.copy()
        curvature[-1] += seen * rate + outlast + 1e-6 + PULL
        # Of second differences, whose weights are 1, −2 and 1, at the places they reach.
        for offset, parts in enumerate((((0, 1), (1, 4), (2, 1)), ((1, -2), (2, -2)), ((2, 1),))):
            for place, by in parts:
                curvature[-1 - offset, place : place + len(convex)] += by * convex
        step = np.clip(solveh_banded(curvature, gradient, check_finite=False), -1.5, 1.5)
        return np.asarray(np.clip(log_still + step, -20, 15))


def _curve(belief: Belief, grid: Floats) -> _Curve:
    second = np.diff(np.eye(len(grid)), n=2, axis=0)
    growth = BEND_GROWS * GRID_STEP * (second[:-1] + second[1:]) / 2
    third = np.diff(second, axis=0) - growth
    square, reach = STIFFNESS * third.T @ third, 3
    bands = [np.pad(np.diag(square, offset), (offset, 0)) for offset in range(reach, -1, -1)]
    return _Curve(belief.log_odds(np.exp(grid)), second, square, np.stack(bands))


def classify(
    gaps: Gaps,
    motion: MotionLog,
    *,
    hold_off_s: Floats,
    lit: Floats,
    minds: Floats,
    belief: Belief,
    never_present: Bools | None = None,
    verdict: Floats | None = None,
    other: Mapping[str, Ints] | None = None,
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
    belief
        What the room's use makes believe about gaps of each length.
    never_present
        Gaps known to be absences (triggers without people).
    verdict
        A reviewer's word on the switch-off in a gap: 1 somebody was there, 0 nobody, NaN no word.
    other
        What else was seen at the ends of the :func:`long_ones` among the gaps, by source: see :mod:`tuning.presence.other_evidence`.
    """
    n = len(gaps)
    g = gaps.gap_s
    p_still, p_false = np.ones(n), np.zeros(n)
    if n == 0:
        return Classified(p_still, p_false, np.zeros(0), float(np.exp(REACTION_PRIOR[0])), REACTION_PRIOR[1], 0.0)
    known_absent = never_present if never_present is not None else np.zeros(n, dtype=bool)
    if verdict is not None:
        # Who was there knows better than what the log looks like.
        known_absent = known_absent & ~(verdict > 0.5)
    # Most gaps are shorter than that; nothing more is asked of them.
    index = np.flatnonzero(g > SHORT_GAP_S)
    longer = gaps.at(index)
    g, limit_s, nobody = longer.gap_s, hold_off_s[index], known_absent[index]
    hidden = _hidden_reactions(longer, limit_s, lit[index], step_s=motion.resolution_s)
    # Whether those outlasted the hold-off is not known.
    expired = (g > limit_s) & (lit[index] > 0.5) & (hidden <= 0)
    beyond_s = np.where(expired, g - limit_s, np.nan)
    complete = longer.end_kind == ENDED_BY_MOTION
    mind = np.where(lit[index] > 0.5, minds[index], 0.0)
    # The use's belief about each length labels the gaps that the signature is learned from: the short and the long. Learning again from
    # its own verdicts was tried and runs away in rooms with few absences.
    label = np.where(expired & (mind > 0.5), 0.0, expit(belief.log_odds(g)))
    # A gap that ends soon after the switch-off may have ended in a reaction: no example of either class.
    may_react = expired & (beyond_s <= REACTION_LIMIT_S) | (hidden > 0)
    still_weight = np.where(~nobody & (label > SURE_STILL), label, 0.0)
    if belief.stays:
        still_weight = _longer_counts(still_weight, g)
    absent_weight = np.where(~nobody & (label < SURE_ABSENT) & ~may_react, 1 - label, 0.0)
    ends, ends_reacted = signatures(
        longer,
        signature_features(gaps, motion, index),
        still_weight=still_weight,
        absent_weight=absent_weight,
        may_react=may_react,
    )
    ends = _suspicious(ends, g, belief)
    if other:
        # Where the log breaks off there is no other end to look at.
        told = evidence_ratio(other, still_weight, absent_weight) * complete
        ends, ends_reacted = ends + told, ends_reacted + told
    signature = np.zeros(n)
    signature[index] = ends
    coarse = _coarse(longer, motion)
    pace = pace_around(gaps, index)
    parts = stretches(pace) if belief.stays else [np.arange(len(index))]
    state = _together(
        [
            (
                rows,
                _em(
                    g[rows],
                    # Whoever moves half as often keeps still for twice as long.
                    belief=replace(belief, even_s=belief.even_s * float(np.exp(pace[rows].mean() - pace.mean()))),
                    limit_s=np.where(expired, limit_s, np.inf)[rows],
                    beyond_s=beyond_s[rows],
                    minds=mind[rows],
                    signature=ends[rows],
                    signature_reacted=ends_reacted[rows],
                    known_absent=nobody[rows],
                    verdict=None if verdict is None else verdict[index[rows]],
                    complete=complete[rows],
                    coarse=coarse[rows],
                    hidden=hidden[rows],
                    step_s=0.0 if gaps.recorded_s is None else motion.resolution_s,
                ),
            )
            for rows in parts
            if len(rows)
        ]
    )
    p_still[index], p_false[index] = state.p_still, state.p_false
    p_still[known_absent], p_false[known_absent] = 0.0, 0.0
    return Classified(p_still, p_false, signature, state.median_s, state.sigma, float(p_false.sum()))


def _longer_counts(weight: Floats, g: Floats) -> Floats:
    """Weights of examples of stillness that rise with length; their sum stays."""
    longer = weight * np.minimum(g / SHORT_GAP_S, LONGER_UP_TO) ** LONGER_COUNTS
    return longer * (weight.sum() / max(float(longer.sum()), 1e-9))


def _suspicious(signature: Floats, g: Floats, belief: Belief) -> Floats:
    """Take back what long gaps of one length have in common in favour of stillness.

    Beyond the length at which stillness stops being likely, a ratio that is high for all gaps of a length says that the short absences of this
    room do not look like its nights, not that somebody was there; only what tells them apart is evidence.
    """
    if len(g) < 2:
        return signature
    log_g = np.log(g)
    cell = ((log_g - log_g.min()) / GRID_STEP).astype(int)
    size = int(cell.max()) + 1
    mean = _smoothed(_per_cell(cell, signature, size)) / np.maximum(
        _smoothed(_per_cell(cell, np.ones(len(g)), size)), 1e-9
    )
    beyond = expit(-SUSPICION * belief.log_odds(g))
    return np.asarray(signature - beyond * np.maximum(mean[cell], 0.0))


def _coarse(gaps: Gaps, motion: MotionLog) -> Bools:
    """Gaps whose length is not known to a second or two."""
    sampled = np.full(len(gaps), max(motion.resolution_s, 1.0) > 2)
    return sampled if gaps.told is None else sampled & ~gaps.told


def _hidden_reactions(gaps: Gaps, hold_off_s: Floats, lit: Floats, *, step_s: float) -> Floats:
    """Density of each recorded length if a reaction ended the gap that came too soon for the dark to be sampled; 0 where none can have. [1/s].

    A gap of length g is recorded with a probability that falls from its middle, one step longer than what is recorded, to nothing at a step from it.
    """
    if gaps.recorded_s is None or gaps.dark is None or step_s <= 0:
        return np.zeros(len(gaps))
    possible = ~gaps.dark & np.isfinite(hold_off_s) & (lit > 0.5)
    possible &= gaps.end_kind == ENDED_BY_MOTION
    apart = np.where(possible, hold_off_s + float(np.exp(REACTION_PRIOR[0])) - (gaps.recorded_s + step_s), np.inf)
    return np.asarray(np.maximum(1.0 - np.abs(apart) / step_s, 0.0) / step_s)


@dataclass(frozen=True)
class _State:
    p_still: Floats
    p_false: Floats
    median_s: float
    sigma: float


def _together(parts: list[tuple[npt.NDArray[np.intp], _State]]) -> _State:
    """Put what was told of parts of the gaps together; a part counts for the reaction time by its reactions."""
    if len(parts) == 1:
        return parts[0][1]
    back = np.argsort(np.concatenate([rows for rows, _ in parts]))
    states = [state for _, state in parts]
    weight = [state.p_false.sum() + REACTION_PRIOR[2] for state in states]
    return _State(
        np.concatenate([state.p_still for state in states])[back],
        np.concatenate([state.p_false for state in states])[back],
        float(np.exp(np.average([np.log(state.median_s) for state in states], weights=weight))),
        float(np.average([state.sigma for state in states], weights=weight)),
    )


def _expected_reactions(seen: float, outlast: float) -> float:
    """Reactions to expect: as many as stillnesses outlast the hold-off, and of a surplus the more, the larger it is."""
    known = min(outlast, seen)
    return known + (seen - known) * seen / (seen + SURPLUS)


def _em(
    g: Floats,
    *,
    belief: Belief,
    limit_s: Floats,
    beyond_s: Floats,
    minds: Floats,
    signature: Floats,
    signature_reacted: Floats,
    known_absent: Bools,
    verdict: Floats | None,
    complete: Bools,
    coarse: Bools,
    hidden: Floats,
    step_s: float,
) -> _State:
    """Expectation–maximisation over the log-length grid; see the module's docstring.

    ``coarse`` marks gaps whose length tells nothing of the reaction time; ``hidden`` is the density of those that a reaction may have ended
    though no dark was sampled in them [1/s]. Gaps shorter than ``step_s`` leave no trace, and of those up to twice as long not all do.
    """
    n = len(g)
    if n == 0:
        return _State(np.empty(0), np.empty(0), float(np.exp(REACTION_PRIOR[0])), REACTION_PRIOR[1])
    log_g = np.log(g)
    origin = np.log(SHORT_GAP_S)
    size = int((max(log_g.max(), np.log(7200.0)) - origin) / GRID_STEP) + 2
    cell = ((log_g - origin) / GRID_STEP).astype(int)
    grid = origin + (np.arange(size) + 0.5) * GRID_STEP
    expired = np.isfinite(limit_s)
    llr_reacted = np.clip(signature_reacted, -7, 7)
    in_window = (expired & (beyond_s <= REACTION_LIMIT_S) | (hidden > 0)) & complete & ~known_absent
    said = np.zeros(n, dtype=bool) if verdict is None else np.isfinite(verdict)
    # Hardly any pause ends in the window, or has a person's word: what is about reactions is worked out for those alone.
    may = np.flatnonzero(in_window | said)
    inside, its_cell, its_minds = in_window[may], cell[may], minds[may]
    untimed, its_hidden = coarse[may] | (hidden[may] > 0), hidden[may]
    vague = np.where(its_hidden > 0, its_hidden, 1.0 / REACTION_LIMIT_S)
    u = np.maximum(np.where(inside & (its_hidden <= 0), beyond_s[may], 1.0), 0.25)
    log_u = np.log(u)
    per_second = 1.0 / (g[may] * GRID_STEP)
    mu, sigma = REACTION_PRIOR[0], REACTION_PRIOR[1]
    # How much this gap may be an unmoved stillness: a person who minds does not sit on in the dark.
    may_stay = np.where(known_absent, 0.0, np.where(expired, 1.0 - minds, 1.0))
    ends = np.exp(np.clip(signature, -7, 7)) * may_stay
    stays = may_stay[may] > 0
    # A density that tells little of reactions takes many rounds to lose what it was given to begin with.
    reaction = np.where(inside, np.where(its_hidden > 0, HIDDEN_START, 0.5) * its_minds, 0.0)
    p = expit(belief.log_odds(g)) * may_stay
    limit = np.where(expired, limit_s, 1.0)
    beyond = grid > np.log(float(np.median(limit[expired]))) if expired.any() else np.zeros(size, dtype=bool)
    curve = _curve(belief, grid)
    recorded = _recorded(grid, step_s)
    absent = _log_absent(_per_cell(cell, 1 - p, size), grid, recorded, breaks=belief.stays)
    eta = curve.belief.copy()
    log_still = eta + absent
    left = 1 - p
    left[may] = np.maximum(left[may] - reaction, 0.0)
    absent = _log_absent(_per_cell(cell, left, size), grid, recorded, breaks=belief.stays)
    pauses = np.bincount(cell, minlength=size)
    # Where people mind, a stillness beyond the hold-off shows as a reaction, not at its own length.
    below = ~known_absent & (g < (np.median(limit[expired]) if expired.any() else np.inf))
    minding = float(np.average(minds[below], weights=p[below] * g[below] + 1e-9)) if below.any() else 1.0
    # Against those who mind most: that nobody misses a light while another burns is no matter of daylight.
    dark_enough = np.clip(minding / max(float(minds.max()), FEW_MIND), FEW_MIND, 1.0)
    outlasting = np.where(beyond, minding, 0.0)
    visible = 1.0 - outlasting if recorded is None else (1.0 - outlasting) * recorded
    for _ in range(ITERATIONS):
        outlast = float((outlasting * np.exp(log_still)).sum())
        odds_still = np.minimum(np.exp(eta)[cell] * ends, MOST_ODDS)
        density = np.exp(-0.5 * ((log_u - mu) / sigma) ** 2) / (u * sigma * np.sqrt(2 * np.pi))
        if untimed.any():
            density = np.where(untimed, vague, density)
        # Reactions fall to those hours in which people mind; were they spread over all, there would be more.
        expected_reactions = max(_expected_reactions(float(reaction.sum()), outlast), 1e-3) / dark_enough
        surprise = np.exp(llr_reacted[may] - absent[its_cell])
        odds_reaction = np.where(inside, expected_reactions * density / per_second * its_minds * surprise, 0.0)
        total = 1.0 + odds_still
        total[may] += odds_reaction
        p, reaction = odds_still / total, odds_reaction / total[may]
        if verdict is not None:
            # That somebody was there is certain then; whether the dark bothered them the daylight still tells.
            word, told = said[may], verdict[may]
            reaction = np.where(word, np.where(expired[may], told * its_minds, 0.0), reaction)
            p[may] = np.where(word, told - reaction, p[may])
        # A person may say that somebody sat on in the dark for longer than any reaction; that teaches nothing about reactions.
        timed = np.where(inside & (its_hidden <= 0), reaction * its_minds, 0.0)
        weight = timed.sum() + REACTION_PRIOR[2]
        mu = (np.sum(timed * log_u) + REACTION_PRIOR[2] * REACTION_PRIOR[0]) / weight
        variance = np.sum(timed * (log_u - mu) ** 2) + REACTION_PRIOR[2] * REACTION_PRIOR[1] ** 2
        sigma = float(np.clip(np.sqrt(variance / weight), 0.25, 1.2))
        still = _per_cell(cell, p, size)
        reacted = _per_cell(its_cell, reaction, size)
        absent = _log_absent(np.maximum(pauses - still - reacted, 0.0), grid, recorded, breaks=belief.stays)
        # Who sat on in the dark by a person's word alone shows nothing of how long people keep still.
        log_still = curve.step(
            log_still,
            still=still - _per_cell(its_cell, np.where(stays, 0.0, p[may]), size),
            seen=visible,
            hidden=outlasting,
            log_absent=absent,
            reactions=REACTION_SUPPORT * float(reaction.sum()),
        )
        eta = log_still - absent
    p_false = np.zeros(n)
    p_false[may] = np.clip(reaction, 0, 1)
    return _State(np.clip(p + p_false, 0, 1), p_false, float(np.exp(mu)), sigma)

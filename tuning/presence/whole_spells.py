"""Pauses and who was there → how long present people keep still, and whether spells go on after reactions.

What lies beyond the hold-off in force is seen only in pieces: a reaction cuts a stillness off, and what follows it is either its rest or another one.
Both are weighed by what the pauses of the same hours make likely, and the survival of :mod:`tuning.presence.spells` is fitted to the whole.
"""

from __future__ import annotations

import numpy as np

from tuning.gaps import ENDED_BY_MOTION, Bools, Gaps, Rows
from tuning.motion import Floats, Ints
from tuning.presence.spells import (
    EDGES_S,
    WAVE_S,
    WAVES_PRIOR,
    SpellTable,
    Survival,
    cell_of,
    chain_offsets,
    falling_hazard,
    fit_survival,
    goes_on_share,
    spell_table,
    table_from_the_start,
)
from tuning.presence.stillness import Classified

SHORTER = 0.75
"""A hold-off below so much of a longer one in the same log leaves the tail to the longer one. Chosen by us."""
LONG_DAYS = 5
"""Days with pauses that a longer hold-off must have been in force to be left the tail. Chosen by us: a working week."""


def cut_shorter(hold_off_s: Floats, day: Ints) -> Bools:
    """Gaps whose hold-off in force was clearly shorter than one that the same log also knows for long enough."""
    finite = np.isfinite(hold_off_s)
    longest = max(
        (h for h in np.unique(hold_off_s[finite]) if len(np.unique(day[hold_off_s == h])) >= LONG_DAYS), default=0.0
    )
    return finite & (hold_off_s < SHORTER * longest)


NEAR = 4
FEW_NEAR = 20.0
"""Pauses on either side of a reaction that tell how people move who are there then, and as many of the whole log beside them. Chosen by us."""


def around_reactions(reaction: Floats, chained: Bools) -> Bools:
    """True for the pauses around reactions that began afresh whatever happens after a reaction; the pause behind it, which asks, is left out.

    Reactions come when few are there, or those who keep still; how long the pauses of all hours are says little of theirs.
    """
    n = len(reaction)
    at, behind = np.flatnonzero(reaction > 0.5), np.flatnonzero(chained)
    steps = np.zeros(n + 1)
    np.add.at(steps, np.maximum(at - NEAR, 0), 1.0)
    np.add.at(steps, at, -1.0)
    np.add.at(steps, behind + 1, 1.0)
    np.add.at(steps, np.minimum(behind + 1 + NEAR, n), -1.0)
    return np.asarray((np.cumsum(steps[:-1]) > 0) & ~chained)


def survival_of(
    gaps: Gaps,
    seen: Classified,
    day: Ints,
    day_weights: Floats,
    *,
    limit_s: Floats,
    scale_s: float,
    rng: np.random.Generator,
    shorter: Bools | None = None,
) -> tuple[Survival, float]:
    """Fit how long present people keep still, and whether spells go on after reactions.

    ``limit_s`` is the hold-off in force in each gap [s]: up to there a stillness that a reaction ended was seen. How long people take to react says
    nothing of how long they would have kept still.
    ``shorter`` marks gaps under a hold-off that was later or earlier longer (a trial). They show the pauses below it as well as the longer one does,
    and how many outlast it; what follows a reaction there says only whether spells go on, because its place in the spell beyond would be taken from
    there, and the longer hold-off shows that whole.
    """
    g, days = gaps.gap_s, day_weights.shape[1]
    complete = gaps.end_kind == ENDED_BY_MOTION
    reaction = seen.reaction
    follows = np.append(False, gaps.motion_before[1:] == gaps.motion_after[:-1])
    offset = chain_offsets(g, reaction, follows)
    chained = offset > 0
    whole = np.ones(len(g)) if shorter is None else (~shorter).astype(float)
    seen_s = np.minimum(g, limit_s)
    cell, c = cell_of(g), np.flatnonzero(chained)
    # Of the pauses that began their spell: how far each is stillness that ended by itself, or by a reaction.
    by_itself, by_reaction = np.clip(seen.p_still - reaction, 0, 1), reaction.copy()
    by_itself[c] = by_reaction[c] = 0.0

    def from_the_start(rows: Rows) -> SpellTable:
        natural = table_from_the_start(g[rows], cell[rows], by_itself[rows], day[rows], days, cut=~complete[rows])
        some = np.flatnonzero(by_reaction[rows] > 0)
        short = seen_s[rows][some]
        return natural + table_from_the_start(short, cell_of(short), by_reaction[rows][some], day[rows][some], days)

    base = from_the_start(slice(None))
    if not len(c):
        share = 0.5
        return fit_survival(base, day_weights, scale_s=scale_s, rng=rng), share
    still = seen.p_still[c]
    placed = still * whole[c]
    ends = np.where(reaction[c] > 0.5, 0.0, complete[c].astype(float))
    # Whoever moves on in short pauses only has started afresh, unless the spell happened to end just then.
    moved_on = max(float((reaction > 0.5).sum()) - len(c), 0.0)
    waved = reaction[c - 1] <= 0.5
    weight = np.append(still, moved_on)
    passed = np.where(waved, np.minimum(WAVE_S, g[c]), 0.0)
    on, share = np.full(len(c), 0.5), 0.5
    fresh = _afresh(base, from_the_start(np.flatnonzero(around_reactions(reaction, chained))))
    length, from_zero = np.where(reaction[c] > 0.5, seen_s[c], g[c]), np.zeros(len(c))
    table = base
    for _ in range(4):
        table = base
        # Of those that ended within a wave of the reaction nobody knows: they are under observation from then on.
        table = table + spell_table(
            offset[c] + np.minimum(WAVE_S, length), offset[c] + length, placed * on, placed * on * ends, day[c], days
        )
        table = table + spell_table(from_zero, length, placed * (1 - on), placed * (1 - on) * ends, day[c], days)
        s = falling_hazard(table)
        waves = (WAVES_PRIOR[0] + (still * on)[waved].sum()) / (sum(WAVES_PRIOR) + (still * on).sum())
        short = float(np.log(1.0 - (1.0 - waves) * fresh.at(np.array([WAVE_S]))[0, 0]))
        ended = _ends_soon(s, float(np.median(offset[c])))
        anew = _loglik(fresh, passed, length, ends)
        onward = _loglik(s, offset[c], offset[c] + length, ends) + np.log(np.where(waved, waves, 1.0 - waves))
        # A short pause before it is a wave or one of many if movement started afresh; if the spell went on, a wave or the spell's end.
        went_on = np.where(waved, np.logaddexp(onward, ended + anew), onward)
        share, all_on = goes_on_share(
            np.append(anew + np.where(waved, short, 0.0), short), np.append(went_on, ended), weight
        )
        on = all_on[:-1] * np.exp(onward - went_on)
    return fit_survival(table, day_weights, scale_s=scale_s, rng=rng), share


def _afresh(base: SpellTable, near: SpellTable) -> Survival:
    """Survival of pauses that begin afresh near reactions; all of the log stand in for some."""
    total = max(float(base.ends.sum()), 1.0)
    few = FEW_NEAR / total
    return falling_hazard(SpellTable(near.ends + few * base.ends, near.exposure + few * base.exposure))


def _ends_soon(survival: Survival, after_s: float) -> float:
    """Log-probability that a spell that has lasted so long [s] ends within a pause between waves."""
    s = survival.at(np.array([after_s, after_s + WAVE_S]))[0]
    return float(np.log(max(1.0 - s[1] / max(s[0], 1e-300), 1e-3)))


def _loglik(survival: Survival, start_s: Floats, end_s: Floats, ends: Floats) -> Floats:
    hazard = np.diff(survival.cumulative[0]) / np.diff(EDGES_S)
    s = np.log(np.maximum(survival.at(end_s)[0], 1e-300)) - np.log(np.maximum(survival.at(start_s)[0], 1e-300))
    return s + ends * np.log(np.maximum(hazard[cell_of(end_s)], 1e-12))

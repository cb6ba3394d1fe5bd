"""Stillness, spells and circumstances → rates per week under every candidate hold-off, with uncertainty by resampled days.

Days are resampled, not gaps, because gaps of one day depend on each other. Everything that is summed over gaps is summed per day
first, so that a resample is one row of a matrix product.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tuning.delay_curve import DelayCells, delay_cells
from tuning.gaps import ENDED_BY_MOTION, Bools, Gaps
from tuning.light.circumstances import Circumstances
from tuning.motion import US, Floats, Ints, MotionLog
from tuning.presence.spells import (
    EDGES_S,
    WAVE_S,
    WAVES_PRIOR,
    SpellTable,
    Survival,
    cell_of,
    chain_offsets,
    falling_hazard,
    false_offs_per_second,
    fit_survival,
    goes_on_share,
    spell_table,
)
from tuning.presence.stillness import Classified

WEEK_DAYS = 7.0


@dataclass(frozen=True)
class Days:
    """The days that rates rest on: ``day`` of each gap, ``weights`` (draws, days) of each resample, ``weeks`` (draws, 1) that it holds."""

    day: Ints
    weights: Floats
    weeks: Floats


@dataclass(frozen=True)
class Rates:
    """Per week, ``(draws, candidates)``; row 0 rests on the whole log, the others on resampled days.

    ``goes_on`` is the share of spells that go on after a reaction; ``survival`` the fitted stillness. ``false_misfit`` is the part of
    ``false_factor`` that the fitted curve brings; under the hold-off in force the log itself tells how often a pause outlasts it.
    """

    hold_off_s: Floats
    false_offs: Floats
    switch_offs: Floats
    wasted_on_h: Floats
    lit_h: Floats
    wasted_kwh: Floats
    energy_kwh: Floats
    goes_on: float
    survival: Survival
    power_wasted_w: float
    false_factor: Floats
    wasted_factor: Floats
    false_misfit: Floats
    days: Days

    def doubted(self) -> Rates:
        """The same with the doubt about who was there, which resampled days do not hold. For intervals.

        The choice rests on the rates without it: a doubt common to all settings widens the interval of each, and says little about which is
        better. (Tried: choosing with it raised the mean regret on simulated rooms from 0.19 to 0.22.)
        """
        return replace(
            self,
            false_offs=self.false_offs * self.false_factor,
            wasted_on_h=self.wasted_on_h * self.wasted_factor,
            wasted_kwh=self.wasted_kwh * self.wasted_factor,
        )

    def no_fewer_false_offs(self, than: Rates) -> Rates:
        """The same with at least as many false-offs under each hold-off as other rates have."""
        more = np.maximum(than.false_offs - self.false_offs, 0.0)
        return replace(self, false_offs=self.false_offs + more, switch_offs=self.switch_offs + more)

    def cost(self, *, per_false_off: float, price: float) -> Floats:
        """Cost a week: nuisance plus energy burnt for nobody."""
        return self.false_offs * per_false_off + self.wasted_kwh * price


def day_index(t_us: Ints, offset_us: int, first_us: int) -> Ints:
    """Index of the local day of each time; the offset is that of the zone at the log's start (an hour off matters not)."""
    return ((t_us + offset_us) // (86400 * US) - (first_us + offset_us) // (86400 * US)).astype(np.int64)


def covered_days(motion: MotionLog, days: int, *, offset_us: int) -> Floats:
    """How much of each local day the log covers, ``(days,)``. [d]."""
    first = (int(motion.covered_us[0, 0]) + offset_us) // (86400 * US) * 86400 * US - offset_us
    midnight = first + np.arange(days + 1, dtype=np.int64) * 86400 * US
    begin, end = motion.covered_us[:, 0], motion.covered_us[:, 1]
    # Covered time up to each midnight, by prefix sums over the stretches.
    length = np.concatenate([[0], np.cumsum(end - begin)])
    i = np.searchsorted(begin, midnight, side="right")
    last = np.maximum(i - 1, 0)
    until = length[i] - np.where(i > 0, np.maximum(end[last] - midnight, 0), 0)
    return np.diff(until) / US / 86400.0


def resampled_days(covered: Floats, draws: int, rng: np.random.Generator) -> Floats:
    """Day weights ``(draws + 1, days)``: first row all ones, then multinomial resamples of the days that the log covers."""
    there = covered > 0
    count = int(there.sum())
    weights = np.zeros((draws + 1, len(covered)))
    weights[0] = there
    weights[1:, there] = rng.multinomial(count, np.full(count, 1.0 / count), size=draws)
    return weights


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
    natural_weight = np.clip(seen.p_still - reaction, 0, 1)
    follows = np.append(0.0, (gaps.motion_before[1:] == gaps.motion_after[:-1]).astype(float))
    offset = chain_offsets(g, reaction, follows)
    chained = offset > 0
    whole = np.ones(len(g)) if shorter is None else (~shorter).astype(float)
    seen_s = np.minimum(g, limit_s)

    def from_the_start(rows: Bools) -> SpellTable:
        own, cut = np.flatnonzero(rows & (natural_weight > 0)), np.flatnonzero(rows & (reaction > 0))
        natural = natural_weight[own]
        ended = spell_table(0.0, g[own], natural, natural * complete[own], day[own], days)
        return ended + spell_table(0.0, seen_s[cut], reaction[cut], np.zeros(len(cut)), day[cut], days)

    base = from_the_start(~chained)
    if not chained.any():
        share = 0.5
        return fit_survival(base, day_weights, scale_s=scale_s, rng=rng), share
    c = np.flatnonzero(chained)
    still = seen.p_still[c]
    placed = still * whole[c]
    ends = np.where(reaction[c] > 0.5, 0.0, complete[c].astype(float))
    # Whoever moves on in short pauses only has started afresh, unless the spell happened to end just then.
    moved_on = max(float((reaction > 0.5).sum()) - len(c), 0.0)
    waved = reaction[c - 1] <= 0.5
    weight = np.append(still, moved_on)
    passed = np.where(waved, np.minimum(WAVE_S, g[c]), 0.0)
    on, share = np.full(len(c), 0.5), 0.5
    near = around_reactions(reaction, chained)
    fresh = _afresh(base, from_the_start(near))
    length = np.where(reaction[c] > 0.5, seen_s[c], g[c])
    table = base
    for _ in range(4):
        table = base
        # Of those that ended within a wave of the reaction nobody knows: they are under observation from then on.
        table = table + spell_table(
            offset[c] + np.minimum(WAVE_S, length), offset[c] + length, placed * on, placed * on * ends, day[c], days
        )
        table = table + spell_table(0.0, length, placed * (1 - on), placed * (1 - on) * ends, day[c], days)
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


def weekly_rates(
    gaps: Gaps,
    motion: MotionLog,
    seen: Classified,
    around: Circumstances,
    *,
    hold_off_s: Floats,
    in_force_s: float,
    standby_w: float,
    offset_us: int,
    scale_s: float,
    draws: int,
    rng: np.random.Generator,
    in_force_at_s: Floats | None = None,
) -> Rates:
    """Rates per week under every candidate hold-off.

    Parameters
    ----------
    gaps, motion, seen, around
        The channel's gaps, motions, classification and circumstances.
    hold_off_s
        Candidates, increasing. [s]
    in_force_s
        Hold-off in force; infinite where nothing switches off. Then no reaction to darkness could be logged, and a gap counts
        once, as a replay of the log would count it. [s]
    standby_w
        Power while off. [W]
    offset_us
        UTC offset of the building. [µs]
    scale_s
        What the use makes believe about pauses. [s]
    draws
        Resamples.
    in_force_at_s
        Hold-off in force in each gap, where it changed inside the log. [s]
    """
    first_us = int(motion.covered_us[0, 0]) if len(motion.covered_us) else 0
    last_us = int(motion.covered_us[-1, 1]) if len(motion.covered_us) else 0
    days = int(day_index(np.array([max(last_us - 1, first_us)]), offset_us, first_us)[0]) + 1
    day = np.clip(day_index(gaps.start_us, offset_us, first_us), 0, days - 1)
    covered = covered_days(motion, days, offset_us=offset_us)
    weights = resampled_days(covered, draws, rng)
    weeks = np.maximum(weights @ covered, 1e-6)[:, None] / WEEK_DAYS
    absent = np.clip(1.0 - seen.p_still, 0, 1) * around.lit
    cells = delay_cells(gaps.gap_s, hold_off_s, day, days)

    def hours(lit_s: Floats) -> Floats:
        return weights @ lit_s / weeks / 3600.0

    left, empty_s = cells.expired_and_lit_s(absent)
    off_absent, wasted_h = weights @ left / weeks, hours(empty_s)
    wasted_wh = hours(cells.expired_and_lit_s(absent * around.power_w)[1])
    lit_h = hours(cells.expired_and_lit_s(around.lit)[1])
    lit_wh = hours(cells.expired_and_lit_s(around.lit * around.power_w)[1])
    moving_h = _moving_h(motion, gaps, day_index(motion.start_us, offset_us, first_us), day, weights) / weeks
    minding = seen.p_still * around.minds * around.lit
    if np.isfinite(in_force_s):
        shorter = None if in_force_at_s is None else cut_shorter(in_force_at_s, day)
        limit_s = np.full(len(gaps), in_force_s) if in_force_at_s is None else in_force_at_s
        survival, goes_on = survival_of(
            gaps, seen, day, weights, limit_s=limit_s, scale_s=scale_s, rng=rng, shorter=shorter
        )
        present_s = np.bincount(day, weights=minding * gaps.gap_s, minlength=days)
        rate = false_offs_per_second(
            survival,
            hold_off_s,
            goes_on=goes_on,
            reaction_s=seen.reaction_median_s * np.exp(seen.reaction_sigma**2 / 2),
        )
        false_offs = rate * (weights @ present_s)[:, None] / weeks
    else:
        never = np.full(len(gaps), np.inf)
        survival, goes_on = survival_of(gaps, seen, day, weights, limit_s=never, scale_s=scale_s, rng=rng)
        false_offs = weights @ cells.expired(minding) / weeks
    doubt = rng.normal(0.0, DOUBT if gaps.recorded_s is None else DOUBT_SAMPLED, draws + 1)
    doubt[0] = 0.0
    unsure, misfit = _doubtful(gaps, seen, around, hold_off_s, in_force_s, doubt, rng)
    wasted_factor = np.exp(-np.outer(doubt, _share_in_doubt(cells, empty_s, absent * seen.p_still)))
    mean_w = float((absent * around.power_w).sum() / max(absent.sum(), 1e-9)) if len(gaps) else 0.0
    energy = lit_wh / 1000 + moving_h * mean_w / 1000 + standby_w * (168.0 - np.minimum(lit_h + moving_h, 168.0)) / 1000
    return Rates(
        hold_off_s,
        false_offs,
        off_absent + false_offs,
        wasted_h,
        lit_h + moving_h,
        wasted_wh / 1000,
        energy,
        goes_on,
        survival,
        mean_w,
        unsure * misfit,
        wasted_factor,
        misfit,
        Days(day, weights, weeks),
    )


DOUBT = 1.5
"""Standard deviation of a common error in the log-odds of stillness. Chosen by us: the belief about a room's use is no better than that."""
DOUBT_SAMPLED = 2.5
"""The same where movement is sampled: a burst at the door and a single movement look alike. Chosen by us, looking at simulated rooms."""
MISFIT = 0.25
"""Relative error that a smooth survival makes at any one length, more beyond the hold-off in force. Chosen by us."""


def _doubtful(
    gaps: Gaps,
    seen: Classified,
    around: Circumstances,
    hold_off_s: Floats,
    in_force_s: float,
    doubt: Floats,
    rng: np.random.Generator,
) -> tuple[Floats, Floats]:
    """Factors on the false-offs of each draw: a common error in the log-odds of all gaps, and the misfit of the curve.

    An error δ in the log-odds changes the expected stillnesses ``Σp`` by ``δ·Σp(1−p)``. Row 0 is 1.
    """
    still = seen.p_still * around.minds * around.lit
    open_ = still * (1 - seen.p_still)
    reach = np.minimum(hold_off_s, in_force_s)
    cells = delay_cells(gaps.gap_s, reach, np.zeros(len(gaps), dtype=np.int64), 1)
    share = np.clip(cells.expired(open_)[0] / np.maximum(cells.expired(still + 1e-9)[0], 1e-6), 0, 1)
    # The further beyond the hold-off in force, the less the fitted tail is held by anything.
    spread = MISFIT * (1 + np.log(np.maximum(hold_off_s / in_force_s, 1.0)))
    misfit = rng.normal(0.0, 1.0, (len(doubt), len(hold_off_s))) * spread
    misfit[0] = 0.0
    return np.exp(np.outer(doubt, share)), np.exp(misfit)


def _share_in_doubt(cells: DelayCells, empty_s: Floats, unsure: Floats) -> Floats:
    """How strongly wasted on-time follows an error in the log-odds, per candidate: of what is wasted each day [s], what no one can be sure of."""
    _, unsure_s = cells.expired_and_lit_s(unsure)
    return np.clip(unsure_s.sum(axis=0) / np.maximum(empty_s.sum(axis=0), 1e-9), 0, 1)


def _moving_h(motion: MotionLog, gaps: Gaps, day: Ints, gap_day: Ints, weights: Floats) -> Floats:
    days = weights.shape[1]
    length = (motion.end_us - motion.start_us) / US / 3600.0
    per_day = np.bincount(np.clip(day, 0, days - 1), weights=length, minlength=days)
    if gaps.recorded_s is not None:
        # What a pause reaches into the samples around it is not movement.
        into = np.bincount(gap_day, weights=(gaps.gap_s - gaps.recorded_s) / 3600.0, minlength=days)
        per_day = np.maximum(per_day - into, 0.0)
    return (weights @ per_day)[:, None]

"""Stillness, spells and circumstances → rates per week under every candidate hold-off, with uncertainty by resampled days.

Days are resampled, not gaps, because gaps of one day depend on each other. Everything that is summed over gaps is summed per day
first, so that a resample is one row of a matrix product.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tuning.delay_curve import DelayCells, delay_cells
from tuning.gaps import Gaps
from tuning.light.circumstances import Circumstances
from tuning.motion import US, Floats, Ints, MotionLog
from tuning.presence.spells import Survival, false_offs_per_second
from tuning.presence.stillness import Classified
from tuning.presence.whole_spells import cut_shorter, survival_of
from tuning.stretches import number_of

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


def _midnights(first_us: int, days: int, *, offset_us: int) -> Ints:
    """Where local days begin and the last ends, from that of a time on, ``(days + 1,)``, UTC epoch. [µs]."""
    first = (first_us + offset_us) // (86400 * US) * 86400 * US - offset_us
    return first + np.arange(days + 1, dtype=np.int64) * 86400 * US


def covered_days(motion: MotionLog, days: int, *, offset_us: int) -> Floats:
    """How much of each local day the log covers, ``(days,)``. [d]."""
    midnight = _midnights(int(motion.covered_us[0, 0]), days, offset_us=offset_us)
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
    # Drawn one by one and counted: a third of the time of as many binomials.
    drawn = rng.integers(count, size=(draws, count)) + count * np.arange(draws)[:, None]
    weights[1:, there] = np.bincount(drawn.ravel(), minlength=draws * count).reshape(draws, count)
    return weights


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
    day = number_of(_midnights(first_us, days, offset_us=offset_us)[1:-1], gaps.start_us)
    covered = covered_days(motion, days, offset_us=offset_us)
    weights = resampled_days(covered, draws, rng)
    weeks = np.maximum(weights @ covered, 1e-6)[:, None] / WEEK_DAYS
    cells = delay_cells(gaps.gap_s, hold_off_s, day, days)
    # Only in some gaps, the long ones, there may have been nobody.
    open_ = np.flatnonzero(seen.p_still < 1)
    absent = (1.0 - seen.p_still[open_]) * around.lit[open_]
    power_w = around.power_w[open_]
    of_open = delay_cells(gaps.gap_s[open_], hold_off_s, day[open_], days)

    def hours(lit_s: Floats) -> Floats:
        return weights @ lit_s / weeks / 3600.0

    left, empty_s = of_open.expired_and_lit_s(absent)
    off_absent, wasted_h = weights @ left / weeks, hours(empty_s)
    wasted_wh = hours(of_open.expired_and_lit_s(absent * power_w)[1])
    lit_h = hours(cells.expired_and_lit_s(around.lit)[1])
    lit_wh = hours(cells.expired_and_lit_s(around.lit * around.power_w)[1])
    moving_h = _moving_h(motion, gaps, offset_us, first_us, day, weights) / weeks
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
    wasted_factor = np.exp(-np.outer(doubt, _share_in_doubt(of_open, empty_s, absent * seen.p_still[open_])))
    mean_w = float(absent @ power_w / max(absent.sum(), 1e-9)) if len(gaps) else 0.0
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
MISFIT = 0.18
"""Relative error that a smooth survival makes at any one length, more beyond the hold-off in force. Chosen by us on simulated rooms, so that of the
90 % intervals up to the hold-off in force nine in ten hold the truth, in rooms with many false-offs as in those with few."""


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
    reach = np.minimum(hold_off_s, in_force_s)
    longer = np.flatnonzero(gaps.gap_s > reach.min(initial=np.inf))
    p_still = seen.p_still[longer]
    still = p_still * around.minds[longer] * around.lit[longer]
    cells = delay_cells(gaps.gap_s[longer], reach, np.zeros(len(longer), dtype=np.int64), 1)
    share = np.clip(cells.expired(still * (1 - p_still))[0] / np.maximum(cells.expired(still + 1e-9)[0], 1e-6), 0, 1)
    # The further beyond the hold-off in force, the less the fitted tail is held by anything.
    spread = MISFIT * (1 + np.log(np.maximum(hold_off_s / in_force_s, 1.0)))
    misfit = rng.normal(0.0, 1.0, (len(doubt), len(hold_off_s))) * spread
    misfit[0] = 0.0
    return np.exp(np.outer(doubt, share)), np.exp(misfit)


def _share_in_doubt(cells: DelayCells, empty_s: Floats, unsure: Floats) -> Floats:
    """How strongly wasted on-time follows an error in the log-odds, per candidate: of what is wasted each day [s], what no one can be sure of."""
    _, unsure_s = cells.expired_and_lit_s(unsure)
    return np.clip(unsure_s.sum(axis=0) / np.maximum(empty_s.sum(axis=0), 1e-9), 0, 1)


def _moving_h(motion: MotionLog, gaps: Gaps, offset_us: int, first_us: int, gap_day: Ints, weights: Floats) -> Floats:
    days = weights.shape[1]
    lasts = np.flatnonzero(motion.end_us > motion.start_us)
    start_us, end_us = motion.start_us[lasts], motion.end_us[lasts]
    day = np.clip(day_index(start_us, offset_us, first_us), 0, days - 1)
    per_day = np.bincount(day, weights=(end_us - start_us) / US / 3600.0, minlength=days)
    if gaps.recorded_s is not None:
        # What a pause reaches into the samples around it is not movement.
        into = np.bincount(gap_day, weights=(gaps.gap_s - gaps.recorded_s) / 3600.0, minlength=days)
        per_day = np.maximum(per_day - into, 0.0)
    return (weights @ per_day)[:, None]

"""Who was there: every period under a hold-off of its own classified by itself, with what people said and pressed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from tuning.channel.input import ChannelInput
from tuning.gaps import Bools, Gaps, Rows
from tuning.hold_off import HoldOffInForce, Lags, observed_off_s
from tuning.light.circumstances import Circumstances
from tuning.motion import US, Floats, MotionLog, times_us
from tuning.presence.beside import (
    Classify,
    missed,
    reactions_before,
    share_who_miss,
    together,
    when_dark,
    with_reactions,
)
from tuning.presence.other_evidence import patterns
from tuning.presence.stillness import Belief, Classified, classify, joined, long_ones


def who_was_there(
    given: ChannelInput,
    gaps: Gaps,
    motion: MotionLog,
    in_force: HoldOffInForce,
    around: Circumstances,
    nobody: Bools,
    lags: Lags,
) -> tuple[Classified, Circumstances]:
    """Tell stillness from absence for every gap of the channel; ``nobody`` marks gaps known to be absences.

    Returns
    -------
    The classification, and the circumstances with what other lights of the room make of who minds.
    """
    lead = given.lead
    if given.channel.control == "relay" and lead is not None and np.array_equal(lead.motion.start_us, motion.start_us):
        # People react to the light, not to the relay: what the light's channel taught holds here.
        return lead.seen, around
    hold = in_force.at(gaps.start_us)
    seen_off = observed_off_s(gaps, lags)
    # Where the log shows the very switch-off, it is sharper than the setting.
    if gaps.recorded_s is None:
        shown = np.flatnonzero(np.abs(seen_off - hold) < 0.2 * hold + 5)
        hold[shown] = seen_off[shown]
    said = words_on(gaps, given.verdicts)
    belief = Belief(
        given.room.beliefs.even_gap_s, given.room.beliefs.gap_slope, stays=not given.room.beliefs.short_visits
    )

    # What a pause of ten minutes looks like depends on whether the light was still on: each period is learned from by itself.
    parts = [(rows, gaps.at(rows)) for rows in _periods(gaps, in_force)]
    others = [patterns(given.readings, given.name, long_ones(part), given.outside) for _, part in parts]

    def under(hold_off_s: Floats, lit: Floats, minds: Floats) -> Classified:
        return joined(
            [
                (
                    rows,
                    classify(
                        part,
                        motion,
                        hold_off_s=hold_off_s[rows],
                        lit=lit[rows],
                        minds=minds[rows],
                        belief=belief,
                        never_present=nobody[rows],
                        verdict=None if said is None else said[rows],
                        other=other,
                    ),
                )
                for (rows, part), other in zip(parts, others, strict=True)
            ]
        )

    return _beside_others(given, gaps, hold, around, under)


def _beside_others(
    given: ChannelInput, gaps: Gaps, hold_off_s: Floats, around: Circumstances, under: Classify
) -> tuple[Classified, Circumstances]:
    """Classify one of the lights of a room, so that each answers for the reactions to its own going dark."""
    others = [c for c in given.beside if np.array_equal(c.start_us, gaps.start_us)]
    order = [when_dark(hold_off_s, c) for c in others]
    one = together(around, [c for c, when in zip(others, order, strict=True) if when == 0])
    later = [c for c, when in zip(others, order, strict=True) if when > 0]
    own = one.own(around) if others else None
    if later:
        share, seen = share_who_miss(gaps.gap_s, hold_off_s, one, later[0], under)
        around = missed(around, later[0], share)
    else:
        seen = under(hold_off_s, one.lit, one.minds)
    earlier = reactions_before([c for c, when in zip(others, order, strict=True) if when < 0], under)
    seen = seen if own is None else replace(seen, p_false=seen.reaction * own)
    return (seen if earlier is None else with_reactions(seen, earlier)), around


LEAST_PERIOD_DAYS = 7.0
"""A period of the log under a hold-off of its own is classified by itself from this length on. Chosen by us: one of each weekday."""


def _periods(gaps: Gaps, in_force: HoldOffInForce) -> list[Rows]:
    """Gaps of each period under a hold-off of its own; all together where one of them is too short to learn from."""
    if len(in_force.from_us) == 1:
        return [slice(None)]
    period = np.searchsorted(in_force.from_us, gaps.start_us, side="right")
    parts: list[Rows] = [np.flatnonzero(period == k) for k in np.unique(period)]
    days = [float(np.ptp(gaps.start_us[rows])) / US / 86400 for rows in parts]
    return parts if parts and min(days) >= LEAST_PERIOD_DAYS else [slice(None)]


def words_on(gaps: Gaps, verdicts: pl.DataFrame | None) -> Floats | None:
    """Reviewers' words by gap: 1 somebody was there, 0 nobody, NaN no word; ``None`` without verdicts.

    A word belongs to the gap that its time falls in, so that it stays with the pause when the hold-off in force is found anew.
    """
    if verdicts is None or len(gaps) == 0:
        return None
    t_us = times_us(verdicts)
    at = np.searchsorted(gaps.start_us, t_us, side="right") - 1
    inside = (at >= 0) & (t_us <= gaps.start_us[at] + gaps.gap_s[at] * US)
    said = np.full(len(gaps), np.nan)
    said[at[inside]] = verdicts["present"].cast(pl.Float64).to_numpy()[inside]
    return said

"""Blind spots: people whom the detector sees only when they wave at the dark. No hold-off cures that; another place or detector does."""

from __future__ import annotations

import numpy as np

from tuning.diagnosis.facts import Facts
from tuning.gaps import ENDED_BY_MOTION
from tuning.hold_off import observed_off_s
from tuning.motion import US
from tuning.results import Finding
from tuning.sentence import say
from tuning.wording import duration, iso_times

REACTION_S = 20.0
"""Whoever is left in the dark has moved by then. Chosen by us: twice a slow reaction."""
WAVING_S = 45.0
"""All that is seen of them between two switch-offs lasts no longer. Chosen by us."""
LEAST_STRETCHES, LEAST_SHARE, A_WEEK = 5, 0.08, 0.8
"""Stretches in which somebody was seen only waving; their share of all reactions; how many a week. Chosen by us, looking at simulated rooms."""


def blind_spots(facts: Facts) -> Finding | None:
    """Find people who are there for longer than the longest hold-off and are seen only when they react to the dark.

    Returns
    -------
    A finding, where a good share of the reactions to the dark come in such stretches.
    """
    gaps, hold = facts.gaps, facts.in_force.at(facts.gaps.start_us)
    if len(gaps) == 0:
        return None
    off_s = observed_off_s(gaps, facts.lags) if len(facts.lags.off_us) else np.where(gaps.gap_s > hold, hold, np.nan)
    row = np.flatnonzero(np.isfinite(off_s))
    if len(row) < LEAST_STRETCHES:
        return None
    start, gap, off = gaps.start_us[row], gaps.gap_s[row], off_s[row]
    reacted = (gaps.end_kind[row] == ENDED_BY_MOTION) & (gap - off <= REACTION_S)
    end = start + np.round(gap * US).astype(np.int64)
    goes_on = reacted[:-1] & (start[1:] - end[:-1] <= WAVING_S * US)
    group = np.cumsum(np.append(True, ~goes_on)) - 1
    unseen_s = np.bincount(group, weights=np.minimum(gap, off + REACTION_S))
    reactions = np.bincount(group, weights=reacted)
    longest_s = float(max(facts.channel.allowed_hold_off_s))
    hidden = (unseen_s >= longest_s) & (reactions >= 2)
    share = float(reactions[hidden].sum() / max(reactions.sum(), 1))
    if hidden.sum() < LEAST_STRETCHES or share < LEAST_SHARE or hidden.sum() / facts.weeks < A_WEEK:
        return None
    first = np.flatnonzero(np.append(True, ~goes_on))
    return Finding(
        "blind-spot",
        "warning",
        say(
            "{times} times somebody was there for {length} or longer and was seen only when the light went off over them: {share:.0%} of "
            "all reactions to the dark. No hold-off that can be set cures that. Somebody sits where the detector does not see them: move "
            "it, or add one there.",
            times=int(hidden.sum()),
            length=duration(longest_s),
            share=share,
        ),
        {
            "times": iso_times(start[first[hidden]]),
            "stretches": int(hidden.sum()),
            "longest_h": round(float(unseen_s[hidden].max() / 3600), 1),
            "share_of_reactions": round(share, 2),
        },
    )

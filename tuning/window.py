"""How late may a movement after a switch-off still be somebody who was there? What the recommendation owes to the answer.

The classification itself looks for reactions up to ``REACTION_LIMIT_S`` after a switch-off, and finds most of them within some seconds. A
shorter window takes those that came later for people who came back by chance; a longer one than that limit changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tuning.gaps import Gaps
from tuning.motion import Floats
from tuning.presence.stillness import Classified
from tuning.rates import Rates

WINDOWS_S = (30.0, 60.0, 120.0)
"""Windows shown. From the issue: half a minute, one, two."""
LEAST_REACTIONS = 0.5
"""Fewer expected reactions than this beyond a window change no recommendation. Chosen by us: half of one event."""


def within(seen: Classified, gaps: Gaps, hold_off_s: Floats, *, window_s: float) -> Classified:
    """Classify again with reactions no later than a window after the switch-off; later ones were absences.

    Parameters
    ----------
    seen, gaps
        The classification and the gaps that it is of.
    hold_off_s
        Hold-off in force in each gap. [s]
    window_s
        Longest time from the switch-off to a movement that may have been a reaction. [s]

    Returns
    -------
    ``seen`` itself where nothing was found beyond the window.
    """
    # A reaction to another light that went dark earlier is not late to this one.
    late = np.flatnonzero(gaps.gap_s - hold_off_s > window_s)
    if seen.reaction[late].sum() < LEAST_REACTIONS:
        return seen
    p_still, p_false, reaction = seen.p_still.copy(), seen.p_false.copy(), seen.reaction.copy()
    p_still[late] = np.clip(p_still[late] - reaction[late], 0, 1)
    p_false[late] = reaction[late] = 0.0
    return replace(seen, p_still=p_still, p_false=p_false, reaction=reaction, reactions=float(p_false.sum()))


def by_window(
    seen: Classified,
    gaps: Gaps,
    hold_off_s: Floats,
    *,
    rates: Rates,
    again: Callable[[Classified], Rates],
    best: Callable[[Rates], float],
) -> tuple[tuple[float, float], ...]:
    """Cheapest hold-off under each window.

    Parameters
    ----------
    seen, gaps, hold_off_s
        See :func:`within`.
    rates
        Rates under the classification as it is.
    again
        Gives the rates under another classification.
    best
        Gives the cheapest hold-off under rates. [s]

    Returns
    -------
    Pairs of window and hold-off. [s]
    """
    picks = []
    for window_s in WINDOWS_S:
        narrowed = within(seen, gaps, hold_off_s, window_s=window_s)
        picks.append((window_s, best(rates if narrowed is seen else again(narrowed))))
    return tuple(picks)

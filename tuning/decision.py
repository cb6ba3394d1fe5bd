"""Delay curve and prices → the setting to choose, and whether to change at all.

The least *expected* cost over the resamples decides, among settings that the safety floor of the room's use, the code limit and
the ceiling on false-offs allow. A change must be likely to pay and pay for the visit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tuning.motion import Floats
from tuning.results import Decision

SURE = 0.9
"""Share of the resamples in which a change must be better. From the method: nine in ten."""
WEEKS_A_YEAR = 365.25 / 7
ALONG = 0.1
"""Share of a visit's price that one more setting costs where somebody is in the room for another anyway. Chosen by us: no way there."""
MIN_DAYS = 7.0
MIN_DAYS_UNCUT = 3.5
"""Where nothing switches off, no pause is cut short and a first setting is better than none: half a week will do. Chosen by us."""
MIN_MOTIONS = 100
"""Less log than this does not carry a change. Chosen by us: one week holds one of each weekday."""
FAR_BEYOND = 2.5
"""A setting more than so many times the hold-off in force rests on the tail more than on the log: a trial. Chosen by us."""
BEYOND = 1.02
"""A setting more than so many times the hold-off in force lies beyond it. Chosen by us: the two are read to a second or two."""
DISAGREE = 1.2
"""A best setting that costs so many times the least in a tenth of the resamples is open: a trial. Chosen by us."""
TRIAL_DAYS = 14
"""A trial lasts two weeks: two of each weekday. Chosen by us."""


FARTHEST, LONG_S = 4.0, 600.0
"""Where few outlast the hold-off in force, no trial of more than so many times that, unless it is no longer than this [s]: the log foretells no
farther, and the trial's own log will. Chosen by us; 10 min is a usual setting (common practice, no source)."""
MANY_REACTIONS = 20.0
"""So many people left in the dark tell how much longer is needed. Chosen by us: on simulated rooms 15 to 25 do as well."""


def farthest_s(in_force_s: float, reactions: float) -> float:
    """Longest hold-off that a log can foretell at all. [s].

    Parameters
    ----------
    in_force_s
        Hold-off in force; infinite where nothing switches off. [s]
    reactions
        Expected number of people who reacted to the dark.

    Examples
    --------
    >>> farthest_s(180.0, 12.0), farthest_s(180.0, 300.0)
    (720.0, inf)
    """
    return max(FARTHEST * in_force_s, LONG_S) if reactions < MANY_REACTIONS else np.inf


def within_reach(
    allowed: np.ndarray[tuple[int], np.dtype[np.bool_]], hold_off_s: Floats, reach_s: float
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which of the allowed candidates [s] lie within the log's reach; all of them where none does.

    Examples
    --------
    >>> within_reach(np.ones(4, dtype=bool), np.array([300.0, 600.0, 900.0, 1800.0]), 720.0).tolist()
    [True, True, False, False]
    """
    near = allowed & (hold_off_s <= reach_s)
    return near if near.any() else allowed.copy()


def within_ceiling(
    allowed: np.ndarray[tuple[int], np.dtype[np.bool_]],
    false_offs: Floats,
    hold_off_s: Floats,
    *,
    ceiling: float | None,
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which of the allowed candidates keep to the ceiling on expected false-offs; the longest where none does, as it comes closest."""
    if ceiling is None:
        return allowed.copy()
    under = allowed & (false_offs <= ceiling)
    return under if under.any() else allowed & (hold_off_s == hold_off_s[allowed].max(initial=0))


@dataclass(frozen=True)
class Choice:
    """The chosen candidate and how sure it is.

    Attributes
    ----------
    index
        Of the recommended candidate.
    best
        Of the candidate with the least expected cost.
    decision
        What to do.
    p_better
        Share of the resamples in which ``best`` costs less than the current setting.
    saving
        Expected saving of ``best`` a week, in the site's currency.
    """

    index: int
    best: int
    decision: Decision
    p_better: float
    saving: float


def break_even_s(cost_per_false_off: float, power_w: float, price: float) -> float:
    """Hold-off at which the light burnt since the last motion has cost as much as one false-off. [s].

    Switching off after exactly that time never costs more than twice the best clairvoyant policy (the rent-or-buy
    bound: Albers, "Energy-efficient algorithms", Comm. ACM 53(5), 2010, p. 91).

    Parameters
    ----------
    cost_per_false_off
        In the site's currency.
    power_w
        Power while wasted. [W]
    price
        Per kWh.

    Examples
    --------
    >>> break_even_s(0.30, 300.0, 0.30)
    12000.0
    """
    running = power_w / 1000.0 * price / 3600.0
    return cost_per_false_off / running if running > 0 else float("inf")


def allowed_candidates(
    hold_off_s: Floats, settable: Floats, *, floor_s: float, code_limit_s: float | None
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which candidates may be recommended: settable, not below the safety floor, not beyond the code limit."""
    allowed = np.isin(hold_off_s, settable) & (hold_off_s >= floor_s)
    if code_limit_s is not None:
        allowed &= hold_off_s <= code_limit_s
    return allowed


TIE = 1e-6
"""Costs this near each other relatively are equal: sums in another order differ by more than nothing. Chosen by us."""


def cheapest(cost: Floats) -> npt.NDArray[np.intp]:
    """Index of the least cost; of settings that cost the same, the shortest.

    Parameters
    ----------
    cost
        By candidates in increasing order, ``(…, candidates)``.

    Returns
    -------
    ``(…)``.

    Examples
    --------
    >>> int(cheapest(np.array([2.0, 1.0 + 1e-9, 1.0, 3.0])))
    1
    """
    least = cost.min(axis=-1, keepdims=True)
    return np.asarray(np.argmax(cost <= least + TIE * np.abs(least), axis=-1))


def choose(
    cost: Floats,
    false_offs: Floats,
    hold_off_s: Floats,
    *,
    allowed: np.ndarray[tuple[int], np.dtype[np.bool_]],
    current: int | None,
    in_force_s: float,
    reach_s: float = np.inf,
    ceiling: float | None,
    visit_cost: float,
    due: bool = False,
    usable_days: float,
    motions: int,
) -> Choice:
    """Choose among the candidates.

    Parameters
    ----------
    cost, false_offs
        Per week, ``(draws, candidates)``; row 0 is the expectation, the others resamples.
    hold_off_s
        Candidates. [s]
    allowed
        Which of them may be recommended.
    current
        Index of the setting in force, ``None`` if nothing switches off.
    in_force_s
        Hold-off in force [s]; beyond it the curve is extrapolated.
    reach_s
        Longest hold-off that the log foretells: see :func:`farthest_s`. [s]
    ceiling
        Most false-offs a week that may be expected, if any.
    visit_cost
        What a visit costs, in the site's currency; spread over a year.
    due
        Whether somebody changes something else in the room anyway. A trial must pay for its visit all the same: it brings another.
    usable_days, motions
        How much log there is.
    """
    expected = cost.mean(axis=0)
    near = within_reach(allowed, hold_off_s, reach_s)
    usable = within_ceiling(near, false_offs.mean(axis=0), hold_off_s, ceiling=ceiling)
    best = int(np.flatnonzero(usable)[cheapest(expected[usable])])
    if current is None:
        enough = usable_days >= MIN_DAYS_UNCUT and motions >= MIN_MOTIONS
        decision: Decision = "change" if enough else "more-data"
        return Choice(best, best, decision, 1.0, 0.0)
    difference = cost[:, current] - cost[:, best]
    saving, p_better = float(difference.mean()), float((difference > 0).mean())
    must = not usable[current]
    if best == current:
        return Choice(current, best, "keep", 0.0, 0.0)
    if usable_days < MIN_DAYS or motions < MIN_MOTIONS:
        return Choice(current, best, "more-data", p_better, saving)
    a_week = visit_cost / WEEKS_A_YEAR
    pays, beyond = saving > a_week, hold_off_s[best] > BEYOND * in_force_s
    if must or (p_better >= SURE and saving > (ALONG * a_week if due else a_week)):
        unsure = hold_off_s[best] > FAR_BEYOND * in_force_s or _open(cost, usable, best)
        if must or not (beyond and unsure):
            return Choice(best, best, "change", p_better, saving)
    return (
        Choice(best, best, "trial", p_better, saving)
        if pays and beyond
        else Choice(current, best, "keep", p_better, saving)
    )


def _open(cost: Floats, usable: np.ndarray[tuple[int], np.dtype[np.bool_]], best: int) -> bool:
    """Whether the resamples disagree about the best setting by more than a fifth of its cost."""
    least = cost[:, usable].min(axis=1)
    return bool(np.quantile(cost[:, best] / np.maximum(least, 1e-9), SURE) > DISAGREE)

"""What manual-on would save and cost: the switch-ons that nobody needed, against the presses of those who need the light.

Under manual-on the light comes on by a press, and goes off by absence as before. Whoever passes, stays only for a moment or has daylight
enough does not press; everybody else does, once a stay of the light, and after each false-off again.

Each episode of the log is one switch-on of today. How long somebody was there in it is the expected presence in its pauses; whether the
task lacked light is known pause by pause from the daylight. The light that burns before anybody would have pressed is what is saved.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from tuning.decision import WEEKS_A_YEAR
from tuning.gaps import ENDED_BY_MOTION, Bools, Gaps
from tuning.light.circumstances import Circumstances
from tuning.motion import US, Floats, Ints, MotionLog
from tuning.presence.stillness import Classified
from tuning.rates import Days
from tuning.results import Decision, ModeAdvice
from tuning.room_uses import RoomUse
from tuning.site import Building, Channel

PRESS_STAY_S, PRESS_SPREAD = 20.0, 0.3
"""Half of those who stay so long press the switch [s], and the log-spread of that. Chosen by us: who passes or fetches something does not."""
PASSING_S = 5.0
"""Whoever is seen for no longer than this passed by or looked in [s]. Chosen by us: a few steps."""
SURE_NET = 0.9
"""Share of the resampled days in which manual-on must pay. As for a hold-off: nine in ten."""


@dataclass(frozen=True)
class _Stays:
    """Episodes as stretches of pauses: number of each pause's episode, and the first pause of each."""

    number: Ints
    first: Ints


def _stays(expired: Bools) -> _Stays:
    opens = np.append(True, expired[:-1])
    return _Stays(np.cumsum(opens) - 1, np.flatnonzero(opens))


def _pressed(stays: _Stays, needs: Floats, dwells: Floats) -> Floats:
    """Probability that somebody has pressed by the end of each pause."""
    # A running maximum within each episode: episodes are lifted apart by 2, more than any probability.
    lift = 2.0 * stays.number
    length = np.diff(stays.first, append=len(needs))
    return np.asarray((np.maximum.accumulate(needs + lift) - lift) * np.repeat(dwells, length))


def _stay_s(stays: _Stays, gaps: Gaps, motion: MotionLog, seen: Classified, expired: Bools) -> Floats:
    """How long somebody was there in each episode. [s]."""
    inside = seen.p_still * gaps.gap_s
    inside[expired] = 0.0
    stay_s = np.add.reduceat(inside, stays.first)
    moving_us = motion.end_us - motion.start_us
    if moving_us.any():  # those of an event log are instants
        stay_s = stay_s + np.add.reduceat(moving_us[gaps.motion_before], stays.first) / US
    return np.asarray(stay_s)


def _dwells(stay_s: Floats, left: Floats) -> Floats:
    """Probability that somebody in each episode stays long enough to press."""
    dwells = expit(np.log(np.maximum(stay_s, 0.5) / PRESS_STAY_S) / PRESS_SPREAD)
    # Whoever was left in the dark and moved is there and minds.
    return np.asarray(np.maximum(dwells, left))


def advise_mode(
    gaps: Gaps,
    motion: MotionLog,
    seen: Classified,
    around: Circumstances,
    *,
    hold_off_s: Floats,
    days: Days,
    channel: Channel,
    use: RoomUse,
    building: Building,
    decision: Decision,
) -> ModeAdvice | None:
    """Estimate a week under manual-on beside one under auto-on, both under the hold-off in force.

    Parameters
    ----------
    gaps, motion, seen, around
        The channel's gaps, motions, classification and circumstances.
    hold_off_s
        Hold-off in force in each gap; infinite where nothing switches off. [s]
    days
        The resampled days.
    channel, use, building
        What is set, what fits the room, and what things cost.
    decision
        What is advised otherwise: nothing changes where the log is too short or something must be mended.

    Returns
    -------
    ``None`` where there is no light to govern, no switch-off to tell episodes by, or the mode is manual-on already: the log then
    does not show who would have had light without a press.
    """
    if channel.control == "relay" or channel.mode == "manual-on" or len(gaps) == 0 or not np.isfinite(hold_off_s).any():
        return None
    expired = (gaps.gap_s > hold_off_s) | (gaps.end_kind != ENDED_BY_MOTION)
    stays = _stays(expired)
    left = np.append(0.0, seen.p_false[expired])[: len(stays.first)]
    stay_s = _stay_s(stays, gaps, motion, seen, expired)
    dwells = _dwells(stay_s, left)
    pressed = _pressed(stays, around.minds, dwells)
    kwh = np.minimum(gaps.gap_s, hold_off_s)
    for part in (around.lit, around.power_w / 3.6e6, 1 - pressed):
        kwh *= part
    last = np.append(stays.first[1:] - 1, len(gaps) - 1)
    # An episode that the lamps slept through for daylight was no switch-on.
    lit = np.maximum.reduceat(around.lit, stays.first)

    def weekly(value: Floats, day: Ints) -> Floats:
        per_day = np.bincount(day, weights=value, minlength=days.weights.shape[1])
        return np.asarray((days.weights @ per_day) / days.weeks[:, 0])

    day = days.day[stays.first]
    ons, presses = weekly(lit, day), weekly(pressed[last] * lit, day)
    saved = weekly(kwh, days.day)
    gone = lit * (1 - dwells)
    passers = float(weekly(np.where(stay_s <= PASSING_S, gone, 0.0), day).mean())
    moments = float(weekly(np.where(stay_s <= PASSING_S, 0.0, gone), day).mean())
    worth = saved * building.electricity_price - presses * building.cost_per_press
    fits, allowed = use.manual_on_sensible, building.allow_manual_on
    pays = bool((worth > 0).mean() >= SURE_NET and worth.mean() > building.cost_per_visit / WEEKS_A_YEAR)
    settled = decision not in ("more-data", "fix-first")
    return ModeAdvice(
        recommended="manual-on" if fits and allowed and pays and settled else channel.mode,
        fits=fits,
        allowed=allowed,
        switch_ons=float(ons.mean()),
        unneeded=float((ons - presses).mean()),
        presses=float(presses.mean()),
        presses_interval=_interval(presses),
        saved_kwh=float(saved.mean()),
        saved_kwh_interval=_interval(saved),
        worth=float(worth.mean()),
        worth_interval=_interval(worth),
        passers=passers,
        moments=moments,
        bright=max(float((ons - presses).mean()) - passers - moments, 0.0),
        presses_cost=float(presses.mean()) * building.cost_per_press,
    )


def _interval(draws: Floats) -> tuple[float, float]:
    """90 % interval of a weekly rate."""
    low, high = np.quantile(draws[1:], [0.05, 0.95]) if len(draws) > 1 else (draws[0], draws[0])
    return float(low), float(high)

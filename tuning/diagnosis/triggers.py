"""Triggers without people: heaters and fans at night, the lamp's own switching, sun on the floor, people next door.

A person comes in, stays and leaves: several movements within a minute. What is no person in the room makes *lone* triggers, again and again, and
does so while nobody is there. All that is told apart here is when they come.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from tuning.diagnosis.facts import NIGHT_FROM_H, NIGHT_TO_H, local_day, local_days, local_hour, value_in_force
from tuning.gaps import Bools, Gaps
from tuning.motion import US, Floats, Ints, MotionLog, times_us
from tuning.results import Finding
from tuning.sentence import say
from tuning.wording import iso_times

NIGHT_SHARE = 0.3
"""Share of the nights with triggers from which something other than people is likely. Chosen by us: cleaners and guards come in
bursts, and not regularly through the night."""
LONE_GAP_S = 60.0
LEAST_MOTIONS = 20
REACTION_S = 20.0
"""Whoever is left in the dark has moved by then. Chosen by us: twice a slow reaction."""


@dataclass(frozen=True)
class Triggers:
    """Findings, and for each motion whether it is a trigger without people."""

    findings: tuple[Finding, ...]
    mask: Bools


def lone_triggers(motion: MotionLog, *, gap_s: float = LONE_GAP_S) -> Bools:
    """Motions with nothing else within a minute on either side: nobody walks in, stays and leaves with a single movement."""
    start, end = motion.start_us, motion.end_us
    wait = round(gap_s * US)
    far = np.append(True, start[1:] - end[:-1] > wait)
    return far & np.append(far[1:], True)


def find_triggers(motion: MotionLog, gaps: Gaps, *, offs_us: Ints, reading: pl.DataFrame, offset_us: int) -> Triggers:
    """Find triggers without people, and mark the motions that are such.

    Parameters
    ----------
    motion, gaps
        The channel's motions and gaps.
    offs_us
        Moments at which its light was seen to go off. [µs]
    reading
        ``time``, ``value`` [lx]; may be empty.
    offset_us
        UTC offset of the building. [µs]
    """
    mask = np.zeros(len(motion.start_us), dtype=bool)
    if len(motion.start_us) < LEAST_MOTIONS or motion.kind == "held":
        return Triggers((), mask)
    lone = lone_triggers(motion)
    # Whoever moves at the heels of a switch-off may be somebody left in the dark.
    since_s = np.full(len(lone), np.inf)
    since_s[lone] = _since(offs_us, motion.start_us[lone])
    alone = lone & (since_s > REACTION_S)
    found: list[Finding] = []
    for finding, mine in (
        _by_own_lamps(motion, gaps, since_s, offs_us),
        _by_night(motion, alone, offset_us),
        _by_sun(motion, alone, reading, offset_us),
    ):
        if finding is not None and not found:
            # One cause is told: a lamp that lights itself at night would be a heater, too.
            found.append(finding)
            mask = mine
    return Triggers(tuple(found), mask)


def _since(offs_us: Ints, t_us: Ints) -> Floats:
    """Time since the last switch-off, one stamped just after included. [s]; infinite where there was none."""
    if len(offs_us) == 0:
        return np.full(len(t_us), np.inf)
    before = np.searchsorted(offs_us, t_us + round(OWN_SLACK_S * US), side="right") - 1
    return np.where(before >= 0, (t_us - offs_us[np.maximum(before, 0)]) / US, np.inf)


def _by_night(motion: MotionLog, lone: Bools, offset_us: int) -> tuple[Finding | None, Bools]:
    """A person at night walks in, moves and leaves: bursts. A heater, a fan or a draught makes lone triggers, night after night."""
    mask = np.zeros(len(lone), dtype=bool)
    start = motion.start_us
    visits = np.flatnonzero(np.append(True, start[1:] - motion.end_us[:-1] > LONE_GAP_S * US))
    hour = local_hour(start[visits], offset_us)
    at_night = visits[(hour >= NIGHT_FROM_H) | (hour < NIGHT_TO_H)]
    # Every lone trigger is a visit.
    suspects = at_night[lone[at_night]]
    # Shift by 12 h so that one night is one number.
    many = np.unique(local_day(start[suspects], offset_us - 43_200 * US), return_counts=True)[1] >= 3
    all_nights = max(motion.usable_days, 1.0)
    share_lone = len(suspects) / max(len(at_night), 1)
    if many.sum() < 3 or many.sum() / all_nights < NIGHT_SHARE or share_lone < 0.7:
        return None, mask
    times = start[suspects]
    between = np.diff(times) / US
    inside = between[between < 4 * 3600]
    message = (
        f"{len(suspects)} lone triggers between 22:00 and 05:00 in {int(many.sum())} of {all_nights:.0f} nights"
        + (f", typically {np.median(inside) / 60:.0f} min apart" if len(inside) else "")
        + ". Nobody walks in with a single movement: look for a heater, a fan or a draught in the detector's view, and mask or move it."
    )
    evidence = {"times": iso_times(times), "nights": int(many.sum()), "triggers": len(suspects)}
    mask[suspects] = True
    return Finding("triggers-without-people", "warning", message, evidence), mask


OWN_WITHIN_S = 4.0
"""A lamp that cools or a relay that clicks triggers within seconds. Chosen by us."""
OWN_SLACK_S = 1.5
"""The trigger may be stamped so long before the switch-off that caused it. Chosen by us."""
OWN_LEAST, OWN_SHARE = 5, 0.25
"""So many long absences, and this share of them, begin with a lone trigger on the heels of a switch-off. Chosen by us: a person who is left in
the dark moves too, but does not then leave without another movement."""
OWN_SPREAD = 0.6
"""Widest spread (interquartile range over median, plus half a second of stamps) of a machine's delay. Chosen by us: human reactions spread wider."""
LONG_ABSENCE_S = 7200.0


def _by_own_lamps(motion: MotionLog, gaps: Gaps, since_s: Floats, offs_us: Ints) -> tuple[Finding | None, Bools]:
    """The lamp going off triggers the detector: an absence then begins with a lone trigger just after a switch-off.

    ``since_s`` is the time from the last switch-off to each lone trigger, infinite for other motions. [s]
    """
    none = np.zeros(len(since_s), dtype=bool)
    if len(offs_us) < LEAST_MOTIONS:
        return None, none
    heels = since_s <= OWN_WITHIN_S
    # Only where the light goes off in the course of the absence can it have triggered anything before.
    long = gaps.at(np.flatnonzero(gaps.gap_s > LONG_ABSENCE_S))
    end = long.start_us + np.round(long.gap_s * US).astype(np.int64)
    begins = long.motion_before[np.searchsorted(offs_us, end) > np.searchsorted(offs_us, long.start_us)]
    opens = heels[begins]
    delays = since_s[begins][opens]
    if opens.sum() < OWN_LEAST or opens.mean() < OWN_SHARE:
        return None, none
    low, middle, high = np.quantile(delays, [0.25, 0.5, 0.75])
    if high - low > OWN_SPREAD * max(middle, 0.5) + 0.5:
        return None, none
    mine = heels & (np.abs(since_s - middle) <= 1.0 + (high - low))
    message = say(
        "{times} times a lone trigger came about {delay:.1f} s after the light went off and lit it again; {begun} of {absences} long "
        "absences begin so. The lamp's own switching triggers the detector: keep its view off the lamps and their heat, or set the "
        "detector's blanking time after switching off.",
        times=int(mine.sum()),
        delay=max(float(middle), 0.0),
        begun=int(opens.sum()),
        absences=len(opens),
    )
    evidence = {
        "times": iso_times(motion.start_us[mine]),
        "triggers": int(mine.sum()),
        "delay_s": round(float(middle), 1),
    }
    return Finding("triggers-without-people", "warning", message, evidence), mine


QUIET_DAY = 0.25
"""A day with so much less movement than the busier days (their 75th percentile) is one on which hardly anybody comes. Chosen by us."""
SUN_LEAST, SUN_SHARE, SUN_DAYS = 5, 0.4, 2
"""Lone triggers that such a day must have, their share of its movements, and number of such days. Chosen by us: a passer-by or two are no sun."""
SUN_HOURS = 4.5
"""They come within so many hours of the day. Chosen by us: the sun moves on, and people's days are longer."""


def _by_sun(motion: MotionLog, lone: Bools, reading: pl.DataFrame, offset_us: int) -> tuple[Finding | None, Bools]:
    """Lone triggers by day on days when nobody is there, in the same hours."""
    none = np.zeros(len(lone), dtype=bool)
    number = local_days(motion.start_us, offset_us)
    size = int(number[-1]) + 1
    total = np.bincount(number, minlength=size)
    single = np.bincount(number[lone], minlength=size)
    usual = float(np.quantile(total[total > 0], 0.75))
    empty = (single >= SUN_LEAST) & (single >= SUN_SHARE * total) & (total <= QUIET_DAY * usual)
    if empty.sum() < SUN_DAYS:
        return None, none
    hour = local_hour(motion.start_us, offset_us)
    on_empty = lone & empty[number]
    low, high = np.quantile(hour[on_empty], [0.1, 0.9])
    if high - low > SUN_HOURS or low < 6 or high > 20:
        return None, none
    inside = (hour >= low - 1) & (hour <= high + 1)
    suspects = lone & inside
    brighter = _brighter(motion.start_us[on_empty & inside], reading)
    sunny = (
        ""
        if brighter is None or brighter < 1.1
        else say(" The reading is then {times:.1f} times that of other days.", times=brighter)
    )
    message = say(
        "On {days} days with hardly anybody there were {triggers} lone triggers, most of them between {low} and {high}.{sunny} "
        "Look for sun on the floor or on something that warms up or moves, and mask or move the detector.",
        days=int(empty.sum()),
        triggers=int(on_empty.sum()),
        low=_clock(low),
        high=_clock(high),
        sunny=sunny,
    )
    evidence = {
        "times": iso_times(motion.start_us[on_empty]),
        "days": int(empty.sum()),
        "triggers": int(on_empty.sum()),
        "from": _clock(low),
        "to": _clock(high),
    }
    return Finding("triggers-without-people", "warning", message, evidence), suspects & empty[number]


def _clock(hour: float) -> str:
    minutes = round(hour * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _brighter(at_us: Ints, reading: pl.DataFrame) -> float | None:
    """How much brighter it was at given times than at the same time of other days, in the median."""
    if reading.is_empty() or len(at_us) == 0:
        return None
    t, value = times_us(reading), reading["value"].to_numpy()
    now = value_in_force(t, value, at_us)
    usual: Floats = np.nanmedian(
        [value_in_force(t, value, at_us + day * 86_400 * US) for day in (-10, -9, -8, -6, -5, -4, 4, 5, 6, 8, 9, 10)],
        axis=0,
    )
    ratio = now / np.maximum(usual, 1.0)
    return float(np.nanmedian(ratio)) if np.isfinite(ratio).any() else None


VISIT_GAP_S = 300.0
"""Movements closer than this belong to one visit. Chosen by us: who sits still for longer between every two movements is rare."""
PASSING_S, PASSING_MOTIONS = 8.0, 2
"""Who only passes outside is seen once or twice, within seconds. Chosen by us."""
PASSING_A_DAY, PASSING_SHARE, PASSING_BOTH = 6.0, 0.3, 3.5
"""So many such visits on a day with people, this share of all visits, and this product of the two. Chosen by us, looking at simulated rooms: people
who look in, and those who sit very still, make fewer."""


def next_door(motion: MotionLog, triggers: Bools, *, offset_us: int, dwelling: bool) -> Finding | None:
    """Find short visits without dwelling in a room where people stay: motion seen through a door or a glass wall.

    Parameters
    ----------
    motion
        The channel's motions.
    triggers
        Those without people, found before.
    offset_us
        UTC offset of the building. [µs]
    dwelling
        Whether people come to the room to stay; elsewhere short visits are its use.
    """
    start, end = motion.start_us, motion.end_us
    if not dwelling or motion.kind == "held" or len(start) < LEAST_MOTIONS:
        return None
    opens = np.append(True, start[1:] - end[:-1] > VISIT_GAP_S * US)
    first = np.flatnonzero(opens)
    last = np.append(first[1:], len(start)) - 1
    length_s = (end[last] - start[first]) / US - motion.resolution_s
    passing = (length_s <= PASSING_S) & (last - first < PASSING_MOTIONS) & ~triggers[first]
    share = float(passing.sum() / max((~triggers[first]).sum(), 1))
    per_day = passing.sum() / np.count_nonzero(np.bincount(local_days(start, offset_us)))
    if per_day < PASSING_A_DAY or share < PASSING_SHARE or per_day * share < PASSING_BOTH:
        return None
    return Finding(
        "motion-from-next-door",
        "warning",
        f"About {per_day:.0f} times a day the detector sees one or two movements and then nobody for minutes ({share:.0%} of all visits). People who "
        "come in stay; this looks like people passing outside, seen through a door or a glass wall. Mask that part of the detector's view.",
        {
            "times": iso_times(start[first[passing]]),
            "per_day": round(float(per_day), 1),
            "share_of_visits": round(share, 2),
        },
    )


def without_people(gaps: Gaps, trigger: Bools) -> Bools:
    """Gaps on either side of a trigger without people: nobody was there."""
    before = trigger[np.maximum(gaps.motion_before, 0)] if len(trigger) else np.zeros(len(gaps), dtype=bool)
    after = (gaps.motion_after >= 0) & trigger[np.maximum(gaps.motion_after, 0)] if len(trigger) else before
    return before | after

"""Motions and light → findings about the room: what a person should know and do on site.

Each finding is evidence first: the times a person can look at. Severity decides whether a recommendation is still given.
"""

from __future__ import annotations

import datetime as dt

import numpy as np

from tuning.gaps import Bools, Gaps
from tuning.motion import US, Floats, Ints, MotionLog
from tuning.results import DelayPoint, Finding
from tuning.wording import duration, what_goes_off, what_is_on

NIGHT_FROM_H, NIGHT_TO_H = 22.0, 5.0
"""Hours in which a building of people who go home is empty. Chosen by us."""
NIGHT_SHARE = 0.3
"""Share of the nights with triggers from which something other than people is likely. Chosen by us: cleaners and guards come in
bursts, and not regularly through the night."""
LONE_GAP_S = 60.0


def _local_hour(t_us: Ints, offset_us: int) -> Floats:
    return ((t_us + offset_us) % (86400 * US)) / (3600 * US)


def _iso(t_us: Ints, limit: int = 5) -> list[str]:
    return [dt.datetime.fromtimestamp(int(t) / US, tz=dt.UTC).isoformat() for t in t_us[:limit]]


def lone_triggers(motion: MotionLog) -> Bools:
    """Motions with nothing else within a minute on either side: nobody walks in, stays and leaves with a single movement."""
    start, end = motion.start_us, motion.end_us
    wait = round(LONE_GAP_S * US)
    far = np.append(True, start[1:] - end[:-1] > wait)
    return far & np.append(far[1:], True)


def night_triggers(motion: MotionLog, *, offset_us: int) -> tuple[Finding | None, Bools]:
    """Find triggers without people at night, and mark the motions that are such.

    A person at night walks in, moves and leaves: bursts. A heater, a fan or a draught makes lone triggers, night after night.

    Returns
    -------
    The finding, if any, and for each motion whether it is a trigger without people.
    """
    none = np.zeros(len(motion.start_us), dtype=bool)
    if len(motion.start_us) < 20 or motion.kind == "held":
        return None, none
    hour = _local_hour(motion.start_us, offset_us)
    night = (hour >= NIGHT_FROM_H) | (hour < NIGHT_TO_H)
    lone = lone_triggers(motion)
    suspects = night & lone
    # Shift by 12 h so that one night is one number.
    nights = (motion.start_us + offset_us - 43200 * US) // (86400 * US)
    per_night = (
        np.bincount(nights[suspects] - nights.min(), minlength=int(nights.max() - nights.min()) + 1)
        if len(nights)
        else none
    )
    many = per_night >= 3
    all_nights = max(motion.usable_days, 1.0)
    share_lone = suspects.sum() / max(night.sum(), 1)
    if many.sum() < 3 or many.sum() / all_nights < NIGHT_SHARE or share_lone < 0.7:
        return None, none
    times = motion.start_us[suspects]
    between = np.diff(times) / US
    inside = between[between < 4 * 3600]
    message = (
        f"{int(suspects.sum())} lone triggers between 22:00 and 05:00 in {int(many.sum())} of {all_nights:.0f} nights"
        + (f", typically {np.median(inside) / 60:.0f} min apart" if len(inside) else "")
        + ". Nobody walks in with a single movement: look for a heater, a fan or a draught in the detector's view, and mask or move it."
    )
    evidence = {"times": _iso(times), "nights": int(many.sum()), "triggers": int(suspects.sum())}
    return Finding("triggers-without-people", "warning", message, evidence), suspects


def without_people(gaps: Gaps, trigger: Bools) -> Bools:
    """Gaps on either side of a trigger without people: nobody was there."""
    before = trigger[np.maximum(gaps.motion_before, 0)] if len(trigger) else np.zeros(len(gaps), dtype=bool)
    after = (gaps.motion_after >= 0) & trigger[np.maximum(gaps.motion_after, 0)] if len(trigger) else before
    return before | after


def never_off(output_times_us: Ints, output_pct: Floats, gaps: Gaps, *, in_force_s: float) -> Finding | None:
    """Find light that stays on through the night and the week-end although nobody moves."""
    if len(output_times_us) == 0 or not np.isfinite(in_force_s):
        return None
    long = gaps.gap_s > max(3 * in_force_s, 7200.0)
    if not long.any():
        return None
    end = gaps.start_us + np.round(gaps.gap_s * US).astype(np.int64) - 60 * US
    at = np.searchsorted(output_times_us, end, side="right") - 1
    lit = (at >= 0) & (output_pct[np.maximum(at, 0)] > 0)
    stuck = long & lit
    if stuck.sum() < 3 or stuck.sum() / long.sum() < 0.5:
        return None
    hours = float(gaps.gap_s[stuck].sum() / 3600)
    return Finding(
        "light-never-off",
        "blocking",
        f"The light stayed on through {int(stuck.sum())} of {int(long.sum())} long absences, {hours:.0f} h in all. "
        "Automatic switch-off does not work here: look for an override left on, or a channel that the detector does not switch.",
        {"times": _iso(gaps.start_us[stuck]), "hours": round(hours, 1)},
    )


TELLING_FALSE_OFFS = 1.0
"""False-offs a week from which people complain. Chosen by us."""
TELLING_WASTE_H = 2.0
"""Lit hours with nobody there a week that are worth a word. Chosen by us."""


def hold_off_verdict(
    current: DelayPoint | None, recommended: DelayPoint | None, *, decision: str, control: str
) -> Finding | None:
    """Say in a word whether the hold-off in force is far too short or far too long."""
    if current is None or recommended is None or decision not in ("change", "trial"):
        return None
    now, then = duration(current.hold_off_s), duration(recommended.hold_off_s)
    facts = {"current_s": current.hold_off_s, "recommended_s": recommended.hold_off_s}
    if recommended.hold_off_s > current.hold_off_s and current.false_offs >= max(
        TELLING_FALSE_OFFS, 2 * recommended.false_offs
    ):
        return Finding(
            "hold-off-too-short",
            "warning",
            f"{now} is too short: about {current.false_offs:.1f} times a week the {what_goes_off(control)} goes off over somebody who is "
            f"still there. At {then} that would be about {recommended.false_offs:.2f}.",
            facts | {"false_offs_per_week": round(current.false_offs, 2)},
        )
    saved = current.wasted_on_h - recommended.wasted_on_h
    if (
        recommended.hold_off_s < current.hold_off_s
        and saved >= TELLING_WASTE_H
        and 2 * recommended.wasted_on_h < current.wasted_on_h
    ):
        return Finding(
            "hold-off-too-long",
            "warning",
            f"{now} is too long: {current.wasted_on_h:.1f} h a week of {what_is_on(control)} with nobody there. At {then} it would be "
            f"{recommended.wasted_on_h:.1f} h.",
            facts | {"wasted_on_h_per_week": round(current.wasted_on_h, 2)},
        )
    return None

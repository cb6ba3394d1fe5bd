"""Whether the hold-off in force is far too short or far too long, in a word."""

from __future__ import annotations

from tuning.results import DelayPoint, Finding
from tuning.sentence import say
from tuning.wording import duration, what_goes_off, what_is_on

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
            say(
                "{now} is too short: about {times:.1f} times a week the {what} goes off over somebody who is still there. "
                "At {then} that would be about {fewer:.2f}.",
                now=now,
                then=then,
                times=current.false_offs,
                fewer=recommended.false_offs,
                what=what_goes_off(control),
            ),
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
            say(
                "{now} is too long: {hours:.1f} h a week of {what} with nobody there. At {then} it would be {fewer:.1f} h.",
                now=now,
                then=then,
                hours=current.wasted_on_h,
                fewer=recommended.wasted_on_h,
                what=what_is_on(control),
            ),
            facts | {"wasted_on_h_per_week": round(current.wasted_on_h, 2)},
        )
    return None

"""Light that does not go off, that people left on, that burns in full daylight, or that hunts."""

from __future__ import annotations

import numpy as np

from tuning.diagnosis.facts import Facts, local_day, value_in_force
from tuning.gaps import Bools
from tuning.light.split import daylight_at
from tuning.logs import looked_at_every_s
from tuning.motion import US, Floats, Ints
from tuning.results import Finding
from tuning.sentence import say
from tuning.wording import iso_times

LONG_ABSENCES = 3
"""Fewer absences tell nothing. Chosen by us."""
NEVER_SHARE = 0.5
"""Share of the long absences lit to their end from which the light never goes off; below, it is left on now and then. Chosen by us."""


def switching_findings(facts: Facts) -> list[Finding]:
    """Find what is wrong with how the light is switched and dimmed."""
    if facts.output.is_empty() or facts.channel.control == "relay":
        return []
    found = [_left_lit(facts), _in_daylight(facts), _hunting(facts)]
    return [f for f in found if f is not None]


def _left_lit(facts: Facts) -> Finding | None:
    """Light that burns through long absences: always, or now and then after somebody pressed."""
    long = facts.gaps.gap_s > max(3 * facts.hold_s, 7200.0)
    start, gap_s = facts.gaps.start_us[long], facts.gaps.gap_s[long]
    if len(start) < LONG_ABSENCES:
        return None
    end = start + np.round(gap_s * US).astype(np.int64) - 60 * US
    began = value_in_force(facts.output_us, facts.output_pct, start + 10 * US) > 0
    # Lit a minute before anybody comes: it did not go off, or daylight put it out and dusk lit it again for nobody.
    stuck = value_in_force(facts.output_us, facts.output_pct, end) > 0
    count, hours = int(stuck.sum()), float(gap_s[stuck].sum() / 3600)
    evidence = {"times": iso_times(start[stuck]), "hours": round(hours, 1), "absences": count}
    if count >= LONG_ABSENCES and count / max((began | stuck).sum(), 1) >= NEVER_SHARE:
        return Finding(
            "light-never-off",
            "blocking",
            f"The light stayed on through {count} of {len(start)} long absences, {hours:.0f} h in all. "
            "Automatic switch-off does not work here: look for an override left on, or a channel that the detector does not switch.",
            evidence,
        )
    if count < 2:
        return None
    pressed = np.searchsorted(facts.presses_us, start[stuck] + 60 * US) - 1
    since = (start[stuck] - facts.presses_us[np.maximum(pressed, 0)]) / US if len(facts.presses_us) else np.empty(0)
    after_press = int(((pressed >= 0) & (since < 12 * 3600)).sum()) if len(since) else 0
    by = f", {after_press} times after somebody had pressed" if after_press else ""
    return Finding(
        "override-left-on",
        "warning",
        f"The light stayed on through {count} of {len(start)} long absences, {hours:.0f} h in all{by}. A manual override is left on: let it end "
        "with the hold-off, or after some hours.",
        evidence | {"after_press": after_press},
    )


BRIGHT = 1.5
"""Daylight of so many times what the lamps should bring the room to is full daylight. Chosen by us."""
BRIGHT_OUTPUT = 50.0
"""Output [%] that nobody needs then. Chosen by us: controls that stay at their lowest output do so at 10 % or less."""
BRIGHT_SHARE, BRIGHT_H_A_WEEK = 0.5, 1.0
STEP_S = 300.0


def _in_daylight(facts: Facts) -> Finding | None:
    """Lamps at half output or more while daylight alone would do."""
    split, name = facts.split, facts.name
    needed = facts.channel.target_lx
    if split is None or needed is None or name not in split.lamps:
        return None
    first, last = facts.output_us[0], facts.output_us[-1]
    t = np.arange(first, last, round(STEP_S * US), dtype=np.int64)
    level = value_in_force(facts.output_us, facts.output_pct, t)
    daylight = daylight_at(split, t)
    # A switched control waits for a dead band that is wider than its own lamps.
    enough = BRIGHT * needed + (1.5 * split.lamps[name].at_full_lx if facts.channel.control == "switched" else 0.0)
    bright = (level > 0) & (daylight > enough) & ~_asked_for(facts, t)
    wasteful = bright & (level >= BRIGHT_OUTPUT)
    hours = float(wasteful.sum() * STEP_S / 3600)
    if bright.sum() == 0 or wasteful.sum() / bright.sum() < BRIGHT_SHARE or hours / facts.weeks < BRIGHT_H_A_WEEK:
        return None
    days = np.unique(local_day(t[wasteful], facts.offset_us), return_index=True)[1]
    return Finding(
        "on-in-daylight",
        "warning",
        say(
            "{hours:.1f} h a week the lamps burn at {level:.0f} % although daylight alone brings the detector to {daylight:.0f} lx, with a "
            "target of {needed:.0f} lx. Check that the light sensor governs this channel, that it looks at the room and not at the lamps, "
            "and that its switching threshold is set.",
            hours=hours / facts.weeks,
            level=float(np.median(level[wasteful])),
            daylight=float(np.median(daylight[wasteful])),
            needed=needed,
        ),
        {
            "times": iso_times(t[wasteful][days]),
            "hours_per_week": round(hours / facts.weeks, 1),
            "daylight_lx": round(float(np.median(daylight[wasteful]))),
        },
    )


def _asked_for(facts: Facts, at_us: Ints) -> Bools:
    """Whether somebody has pressed since the light came on."""
    press, on = facts.presses_us, facts.ons_us()
    if len(press) == 0:
        return np.zeros(len(at_us), dtype=bool)
    pressed = np.searchsorted(press, at_us, side="right") - 1
    came = np.searchsorted(on, at_us, side="right") - 1
    since = np.where(came >= 0, on[np.maximum(came, 0)], facts.span_us[0]) if len(on) else facts.span_us[0]
    return np.asarray((pressed >= 0) & (press[np.maximum(pressed, 0)] >= since - 2 * US))


HUNT_STEP = 20.0
"""Moves of the output by less than this do not disturb [%]. Chosen by us."""
HUNT_TURNS = 8
"""So many turns between up and down within an hour are hunting. Chosen by us: clouds and people make some, not one every few minutes."""
HUNT_HOURS = 3
"""So many such hours, on more than one day."""


def _hunting(facts: Facts) -> Finding | None:
    """Output that goes up and down, or on and off, every few minutes though somebody is there."""
    if looked_at_every_s(facts.output) is not None:
        return None
    t, value = facts.output_us, facts.output_pct
    step = np.diff(value)
    # Switch-offs at the end of the hold-off, and the switch-ons after them, are how it should be.
    own = _by_control(facts, t[1:])
    big = (np.abs(step) >= HUNT_STEP) & own
    at, sign = t[1:][big], np.sign(step[big])
    turns: Ints = at[1:][(sign[1:] != sign[:-1]) & (at[1:] - at[:-1] < 900 * US)]
    if len(turns) < HUNT_TURNS:
        return None
    hours, count = np.unique(turns // (3600 * US), return_counts=True)
    restless = hours[count >= HUNT_TURNS]
    if len(restless) < HUNT_HOURS or len(np.unique(restless // 24)) < 2:
        return None
    inside = np.isin(turns // (3600 * US), restless)
    period: Floats = np.diff(turns[inside]) / US
    usual = float(np.median(period[period < 900])) * 2
    return Finding(
        "hunting",
        "warning",
        say(
            "In {hours} hours of the log the output turned up and down {turns} times, about every {minutes:.1f} min, with no cause in "
            "movement. The control chases its own lamps: widen the dead band, slow it down, or turn the light sensor away from the lamps.",
            hours=len(restless),
            turns=int(inside.sum()),
            minutes=usual / 60,
        ),
        {"times": iso_times(restless * 3600 * US), "hours": len(restless), "turns": int(inside.sum())},
    )


def _by_control(facts: Facts, at_us: Ints) -> Bools:
    """Whether a move of the output is the control's own: no press, and no end of the hold-off or fresh movement behind it."""
    motion = facts.motion
    before = np.searchsorted(motion.start_us, at_us + 2 * US, side="right") - 1
    since = (at_us - motion.end_us[np.maximum(before, 0)]) / US
    # The pause before the movement that is just going on: after a long one it is what switched on.
    moving = np.maximum(before, 1)
    paused = (
        (motion.start_us[moving] - motion.end_us[moving - 1]) / US
        if len(motion.start_us) > 1
        else np.full(len(at_us), np.inf)
    )
    fresh = (since < 5) & (paused > 0.8 * facts.hold_s)
    ended = since >= 0.8 * facts.hold_s
    pressed = np.zeros(len(at_us), dtype=bool)
    if len(facts.presses_us):
        press = np.searchsorted(facts.presses_us, at_us + 2 * US, side="right") - 1
        pressed = (press >= 0) & (at_us - facts.presses_us[np.maximum(press, 0)] <= 10 * US)
    return (before >= 0) & ~fresh & ~ended & ~pressed

"""Target and mode after the date, against what was said: from the reading that the control holds, and from who switches the light on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tuning.light.circumstances import value_at
from tuning.motion import US, times_us
from tuning.verification.parts import Part
from tuning.verification.periods import Change
from tuning.verification.results import SetCheck

HOLDS_FROM, HOLDS_TO = 8.0, 97.0
"""Between these outputs a dimming control holds its target; at its ends it cannot. Chosen by us. [%]"""
FEW_HELD, FEW_ON = 30, 10
"""Fewer readings, or switch-ons, tell nothing. Chosen by us."""
TARGET_TOLERANCE = 0.07
"""Dead bands and clouds move the held reading by so much. Chosen by us."""
BY_PRESS_S = 5.0
"""A switch-on so soon after a press is the person's. Chosen by us. [s]"""
MANUAL_SHARE = 0.7
"""Under manual-on at least so many of the switch-ons follow a press, under auto-on fewer. Chosen by us."""
Seen = tuple[str, bool]
"""What was seen, in words, and whether it speaks against what was said."""


def with_other_settings(check: SetCheck, before: Part, after: Part, change: Change) -> SetCheck:
    """Add what the log says of target and mode to what it says of the hold-off."""
    (target, wrong_target), (mode, wrong_mode) = _target(before, after, change), _mode(before, after, change)
    wrong = (("target",) if wrong_target else ()) + (("mode",) if wrong_mode else ())
    return replace(check, target=target, mode=mode, other_settings=wrong)


def _target(before: Part, after: Part, change: Change) -> Seen:
    """Whether a dimmed channel holds the target that was said; no words where the target was not to change."""
    was, said = change.was.target_lx, change.said.target_lx
    if said is None or was is None or was == said:
        return "", False
    if after.given.channel.control != "dimmed":
        return "cannot be told from the log where the target is a switching threshold", False
    held_before, held_after = _held_lx(before), _held_lx(after)
    if held_after is None:
        return "cannot be told: the light hardly dimmed since", False
    # The detector's own scale: what it held before for what was set before.
    scale = 1.0 if held_before is None or not 0.7 < held_before / was < 1.4 else held_before / was
    seen = held_after / scale
    tolerance = min(TARGET_TOLERANCE * said, 0.4 * abs(said - was))
    if abs(seen - said) <= tolerance:
        return f"as said: the light holds {seen:.0f} lx", False
    return f"not as said: the light holds {seen:.0f} lx, {said:.0f} lx was said", True


def _held_lx(part: Part) -> float | None:
    """Median reading while the control dims between its ends."""
    reading, output = part.found.facts.reading, part.found.output
    if reading.is_empty() or output.is_empty():
        return None
    t = times_us(reading)
    now, soon = value_at(output, t), value_at(output, t - 60 * US)
    holds = (now > HOLDS_FROM) & (now < HOLDS_TO) & (soon > HOLDS_FROM) & (soon < HOLDS_TO)
    if holds.sum() < FEW_HELD:
        return None
    return float(np.median(reading["value"].to_numpy()[holds]))


def _mode(before: Part, after: Part, change: Change) -> Seen:
    """Whether the light is switched on by who was said: people or movement; no words where the mode was not to change."""
    was, said = change.was.mode, change.said.mode
    if was == said:
        return "", False
    presses = np.concatenate([before.found.facts.presses_us, after.found.facts.presses_us])
    if not len(presses):
        return "cannot be told: the log holds no presses", False
    share = _by_press(after)
    if share is None:
        return "cannot be told: too few switch-ons since", False
    manual = share >= MANUAL_SHARE
    if manual == (said == "manual-on"):
        return f"as said: {share:.0%} of the switch-ons follow a press", False
    return f"not as said: {share:.0%} of the switch-ons follow a press, {said} was said", True


def _by_press(part: Part) -> float | None:
    t, value = times_us(part.found.output), part.found.output["value"].to_numpy()
    on = t[1:][(value[1:] > 0) & (value[:-1] <= 0)]
    if len(on) < FEW_ON:
        return None
    presses = part.found.facts.presses_us
    i = np.searchsorted(presses, on + round(1.0 * US), side="right") - 1
    near = (i >= 0) & (on - presses[np.maximum(i, 0)] <= BY_PRESS_S * US) if len(presses) else np.zeros(len(on), bool)
    return float(near.mean())

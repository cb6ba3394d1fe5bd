"""Lamps that lose output over the weeks: each switching moves the reading by less than the ones before."""

from __future__ import annotations

import numpy as np

from tuning.diagnosis.facts import Facts
from tuning.light.lamp_steps import moves, usable_points
from tuning.motion import US
from tuning.results import Finding
from tuning.wording import iso_times

LEAST_STEPS = 16
LEAST_DAYS = 14.0
LOST = 0.08
"""Loss over the log from which a word is due. Chosen by us: the maintained illuminance counts on some."""
LEAST_MOVE = 0.2
"""Output moves of less than a fifth of full tell too little. Chosen by us."""
MOST_DRIFT = 0.25
"""Steps beside which daylight moved by more than this share of them are set aside. Chosen by us."""
CONFIDENCE = 0.99


def output_falling(facts: Facts) -> Finding | None:
    """Find lamps whose contribution to the reading falls over the log.

    Notes
    -----
    Each move of the channel's own output gives one estimate of its lamps at full output, with the drift of daylight taken off. The slope over time is
    the median of all pairwise slopes (Theil–Sen); it must be below zero with 99 % confidence and bring a notable loss.
    """
    if facts.channel.control == "relay" or facts.output.is_empty() or facts.reading.is_empty():
        return None
    points = usable_points(facts.reading, {facts.name: facts.output})
    if points.t_us.size < LEAST_STEPS:
        return None
    step = moves(points)
    own = step.d_output[:, 0]
    big = np.abs(own) >= LEAST_MOVE
    drift = np.where(np.isnan(step.drift), 0.0, step.drift)
    lx = step.d_lx - drift
    usable = big & step.near & (np.abs(drift) <= MOST_DRIFT * np.abs(lx)) & (lx * own > 0)
    t, full = step.t_us[usable] / US / 86400, lx[usable] / own[usable]
    if len(t) < LEAST_STEPS or t[-1] - t[0] < LEAST_DAYS:
        return None
    if len(t) > 600:
        keep = np.linspace(0, len(t) - 1, 600).astype(int)
        t, full = t[keep], full[keep]
    from scipy.stats import theilslopes  # noqa: PLC0415 - slow to import

    slope, _, _, high = theilslopes(full, t, alpha=CONFIDENCE)
    span = float(t[-1] - t[0])
    begin = float(np.median(full - slope * (t - t[0])))
    lost = -slope * span / begin if begin > 0 else 0.0
    if high >= 0 or lost < LOST or -high * span / begin < LOST / 3:
        return None
    return Finding(
        "lamp-output-falling",
        "warning",
        f"Over {span:.0f} days the lamps' part of the reading at full output fell from {begin:.0f} to {begin + slope * span:.0f} lx, by {lost:.0%} "
        f"({len(t)} switchings). Clean the luminaires and look for lamps that have failed.",
        {
            "times": iso_times([int(t[0] * 86400 * US), int(t[-1] * 86400 * US)]),
            "at_full_begin_lx": round(begin, 1),
            "at_full_end_lx": round(begin + slope * span, 1),
            "lost_share": round(lost, 3),
            "switchings": len(t),
        },
    )

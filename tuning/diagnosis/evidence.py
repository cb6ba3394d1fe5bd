"""What the evidence itself suffers from: a stretched motion signal, lux that ends at a value or never comes down to the dark."""

from __future__ import annotations

import numpy as np
import polars as pl

from tuning.diagnosis.facts import NIGHT_FROM_H, NIGHT_TO_H, Facts, local_hour
from tuning.light.circumstances import output_of
from tuning.motion import times_us
from tuning.results import Finding
from tuning.sentence import say
from tuning.wording import duration, iso_times


def evidence_findings(facts: Facts) -> list[Finding]:
    """Find what is wrong with the series that a channel is judged by."""
    found = [_stretched(facts), saturated(facts.reading)]
    outputs = [
        output_of(facts.readings, name, channel, channel.power_w)
        for name, channel in facts.room.channels.items()
        if channel.control != "relay"
    ]
    found.append(zero_offset(facts.reading, [o for o in outputs if not o.is_empty()], offset_us=facts.offset_us))
    return [f for f in found if f is not None]


def _stretched(facts: Facts) -> Finding | None:
    held_s = facts.motion.stretch_s
    if held_s <= 0:
        return None
    return Finding(
        "stretched-motion",
        "info",
        say(
            "The motion signal stays up for {length} after each movement. That time is taken off and not counted as presence; pauses "
            "shorter than it cannot be seen, and no shorter hold-off is judged. If the detector can log movements as they come, let it.",
            length=duration(held_s),
        ),
        {"stretch_s": round(held_s, 1)},
    )


LEAST_AT_TOP, TOP_AGAINST_NEAR, LEAST_NEAR = 20, 8.0, 10
"""So many readings at the very top, and so many times more than at each value in the tenth below it, are the end of the sensor's range. There must
be some below: the constant light of a room without windows has none. Chosen by us."""
DARK_LX = 8.0
"""With all lamps off at night a detector reads a few lux at most (common practice, no source); more is an offset or a lamp that is not logged."""
LEAST_UNLIT = 100
DARK_QUANTILE = 0.05
GRID_US = 900_000_000


def saturated(reading: pl.DataFrame) -> Finding | None:
    """Find a reading that ends at the top of the sensor's range."""
    value = reading["value"].to_numpy()
    if len(value) < 10 * LEAST_AT_TOP:
        return None
    top = float(value.max())
    at_top = value >= top
    near = (value >= 0.9 * top) & ~at_top
    if top <= 0 or at_top.sum() < LEAST_AT_TOP or near.sum() < LEAST_NEAR:
        return None
    if at_top.sum() < TOP_AGAINST_NEAR * near.sum() / len(np.unique(value[near])):
        return None
    return Finding(
        "saturated-series",
        "info",
        f"The illuminance ends at {top:.0f} lx in {int(at_top.sum())} of {len(value)} readings: brighter daylight is read as that. "
        "Targets below it are not touched; daylight above it is not known.",
        {"times": iso_times(times_us(reading)[at_top]), "top_lx": round(top, 1), "readings": int(at_top.sum())},
    )


def zero_offset(reading: pl.DataFrame, outputs: list[pl.DataFrame], *, offset_us: int) -> Finding | None:
    """Find a reading that never comes down to the dark though all lamps are off.

    Parameters
    ----------
    reading
        ``time``, ``value`` [lx].
    outputs
        ``time``, ``value`` [%] of every channel of the room.
    offset_us
        UTC offset of the building. [µs]
    """
    written, values = times_us(reading), reading["value"].to_numpy()
    if len(written) < 2 or not outputs:
        return None
    # Looked at evenly: a log of changes has few rows in the dark.
    t = np.arange(written[0], written[-1], GRID_US)
    value = values[np.searchsorted(written, t, side="right") - 1]
    hour = local_hour(t, offset_us)
    unlit = (hour >= NIGHT_FROM_H) | (hour < NIGHT_TO_H)
    for output in outputs:
        at, level = times_us(output), output["value"].to_numpy()
        index = np.searchsorted(at, t, side="right") - 1
        unlit &= np.where(index >= 0, level[np.maximum(index, 0)], 0.0) <= 0
    if unlit.sum() < LEAST_UNLIT:
        return None
    darkest = float(np.quantile(value[unlit], DARK_QUANTILE))
    if darkest < DARK_LX:
        return None
    return Finding(
        "lux-zero-offset",
        "info",
        f"With all lamps off the illuminance does not fall below {darkest:.0f} lx, even at night. The sensor's zero is off, or a lamp that is not "
        "logged burns (escape lighting, a street lamp). That much counts as daylight here.",
        {"darkest_lx": round(darkest, 1), "unlit_h": round(float(unlit.sum()) * GRID_US / 3.6e9)},
    )

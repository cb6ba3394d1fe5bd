"""The frames that pass between the steps, one constant each, with what a row means.

Times are UTC, ``Datetime("us", "UTC")``; local time exists only where logs come in and figures go out.

Conventions at the boundaries, tested in ``tests/tuning/test_boundaries.py``
---------------------------------------------------------------------------
* A motion *event* is an instant. A motion *sample* of 1 covers its whole sampling interval, closed at the
  start and open at the end; a *pulse* covers from its 1 to its 0 in the same way.
* A *gap* runs from the end of one motion to the start of the next. Motions that touch leave no gap.
* A hold-off D *expires* in a gap g when g > D. At g = D the next motion is in time and the light stays on.
* The light is lit from a motion's start until min(next motion's start, motion's end + D).
* A lux or output value holds from its time until the next one of its series.
* An *episode* is a maximal run of motions in which the light did not go off: its gaps are all ≤ the hold-off in force.
"""

from __future__ import annotations

from typing import Final

import polars as pl

TIME: Final = pl.Datetime("us", "UTC")

READINGS: Final = pl.Schema(
    {
        "time": TIME,
        "room": pl.String(),
        "channel": pl.String(),
        "detector": pl.String(),
        "quantity": pl.String(),
        "value": pl.Float64(),
    }
)
"""One logged value. ``channel`` and ``detector`` are null for what the whole room shares. Sorted by time."""

MOTIONS: Final = pl.Schema({"room": pl.String(), "channel": pl.String(), "start": TIME, "end": TIME})
"""One stretch of seen movement of one channel, merged over its detectors; start = end for an event. Sorted, disjoint."""

END_KINDS: Final = ("motion", "log-gap", "end-of-log")

GAPS: Final = pl.Schema(
    {
        "room": pl.String(),
        "channel": pl.String(),
        "start": TIME,
        "gap_s": pl.Float64(),
        "end_kind": pl.Enum(END_KINDS),
    }
)
"""One pause between motions. ``start`` is the end of the motion before it; ``gap_s`` the motion-free time [s].
``end_kind``: ``motion``, ``log-gap`` (the log breaks off inside) or ``end-of-log``; the latter two are right-censored."""

EPISODES: Final = pl.Schema(
    {
        "room": pl.String(),
        "channel": pl.String(),
        "start": TIME,
        "end": TIME,
        "motions": pl.UInt32(),
        "lit_s": pl.Float64(),
        "lit_empty_s": pl.Float64(),
        "ended_by": pl.String(),
    }
)
"""One stay of the light: from the motion that began it to its switch-off."""

SWITCH_OFFS: Final = pl.Schema(
    {
        "time": TIME,
        "room": pl.String(),
        "channel": pl.String(),
        "gap_s": pl.Float64(),
        "resumed_after_s": pl.Float64(),
        "daylight_lx": pl.Float64(),
        "p_false": pl.Float64(),
        "review": pl.String(),
    }
)
"""One expiry of the hold-off in force. ``p_false``: probability that a present person was left in the dark."""

DRAWS: Final = pl.Schema(
    {
        "hold_off_s": pl.Float64(),
        "false_offs": pl.List(pl.Float32()),
        "wasted_kwh": pl.List(pl.Float32()),
        "false_offs_wide": pl.List(pl.Float32()),
        "wasted_kwh_wide": pl.List(pl.Float32()),
    }
)
"""One candidate hold-off [s] and its rates per week in each resample of the days, the first being the whole log, with the recommended target.
The mean decides; ``…_wide`` adds the doubt about who was there and is for 90 % intervals, in which the first does not count."""

PAIRS: Final = pl.Schema(
    {
        "hold_off_s": pl.Float64(),
        "target_lx": pl.Float64(),
        "false_offs": pl.Float64(),
        "wasted_on_h": pl.Float64(),
        "wasted_kwh": pl.Float64(),
        "energy_kwh": pl.Float64(),
    }
)
"""One pair of candidate hold-off [s] and target [lx] and its expected rates per week."""


def require(frame: pl.DataFrame, schema: pl.Schema, name: str) -> None:
    """Check that a frame is exactly what a step was promised.

    Raises
    ------
    TypeError
        If a column is missing, surplus, or of another type. A defect of the program, not of the input.
    """
    if frame.schema != schema:
        raise TypeError(f"{name}: expected {dict(schema)}, got {dict(frame.schema)}")

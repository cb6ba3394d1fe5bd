"""Daylight at a detector whose reading is not logged, from another detector of the room.

Two lighting groups of a room stand in the same daylight, one in more of it. How much more tells the channel's own control, where it dims:
what its lamps do not give of the target, daylight and the neighbour's lamps do. That takes the channel's lamps at full output from a hand
reading. Without both, the place of the lights says something: a row named after the window stands in more daylight than one named
after the wall.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import polars as pl

from tuning.light.circumstances import value_at
from tuning.light.split import LightSplit, daylight_at
from tuning.motion import US, Floats, Ints, times_us
from tuning.site import SpotReading

STEP_S = 120.0
"""How often output and daylight are held against each other [s]. Chosen by us: a cloud's while."""
LEAST_SAMPLES = 100
"""Fewer moments of dimmed light in daylight say nothing about the ratio. Chosen by us: some hours."""
DIMMED_PCT = (12.0, 95.0)
"""Output between its limits, where it follows the daylight [%]. Chosen by us."""
LEAST_LX = 10.0
"""Less daylight says nothing about a ratio [lx]. Chosen by us: ten roundings."""
HALF_PCT, SPOTS_DARK_PCT = 50.0, 1.0
RATIO_SPREAD = 0.2
"""Log-spread of a ratio found from the control. Chosen by us after looking at simulated rooms."""
PLACE_RATIO, PLACE_SPREAD = 2.0, 0.5
"""How many times more daylight a window row gets than a wall row, and the log-spread of that. Chosen by us: common practice, no source."""
WINDOW = re.compile(r"window|fa[cç]ade|fenster|fen[eê]tre|ventana|finestra|raam|vindu|f[oö]nster", re.IGNORECASE)
WALL = re.compile(
    r"wall|inner|inside|core|wand|innen|mur|pared|interior|parete|intern|binnen|v[aæ]g|indre|inre", re.IGNORECASE
)


@dataclass(frozen=True)
class OtherDaylight:
    """Daylight at a channel's own detector, as ``ratio`` times that of another; ``spread`` is the log-spread of the ratio.

    ``task_per_daylight`` is task illuminance per lx of it.
    """

    split: LightSplit
    ratio: float
    spread: float
    task_per_daylight: float

    def at(self, t_us: Ints) -> Floats:
        """Daylight at times. [lx]."""
        return self.ratio * daylight_at(self.split, t_us)


def other_daylight(
    split: LightSplit,
    *,
    names: tuple[str, str],
    outputs: tuple[pl.DataFrame, pl.DataFrame],
    dimmed: bool,
    target_lx: float | None,
    spots: tuple[SpotReading, ...],
) -> OtherDaylight | None:
    """Estimate the daylight of a channel without a reading from another channel's.

    Parameters
    ----------
    split
        The other channel's reading taken apart.
    names, outputs
        Of this channel and of the other: ``time``, ``value`` [%].
    dimmed, target_lx
        This channel's control, and the target in force.
    spots
        Its hand readings.

    Returns
    -------
    ``None`` where neither the control nor the names say anything.
    """
    task = [s.task_lx / s.detector_lx for s in spots if s.output_pct <= SPOTS_DARK_PCT and s.detector_lx]
    per_daylight = float(np.median(task)) if task else 1.0
    lamps = [100 * s.detector_lx / s.output_pct for s in spots if s.output_pct >= HALF_PCT and s.detector_lx]
    if dimmed and target_lx and lamps:
        found = _from_control(split, outputs, target_lx, float(np.median(lamps)))
        if found is not None:
            return OtherDaylight(split, found, RATIO_SPREAD, per_daylight)
    mine, theirs = (_towards_window(n) for n in names)
    if mine == theirs:
        return None
    return OtherDaylight(split, PLACE_RATIO ** np.sign(mine - theirs), PLACE_SPREAD, per_daylight)


def _towards_window(name: str) -> int:
    return int(bool(WINDOW.search(name))) - int(bool(WALL.search(name)))


def _from_control(
    split: LightSplit, outputs: tuple[pl.DataFrame, pl.DataFrame], target_lx: float, full_lx: float
) -> float | None:
    """Ratio of the two daylights: what the lamps leave of the target, less the neighbour's lamps as after dark."""
    span = [times_us(frame) for frame in outputs]
    if min(len(t) for t in span) < 2:
        return None
    t_us = np.arange(min(t[0] for t in span), max(t[-1] for t in span), round(STEP_S * US), dtype=np.int64)
    daylight = daylight_at(split, t_us)
    mine, theirs = (value_at(frame, t_us) for frame in outputs)
    lit = (mine > 0) & np.isfinite(daylight) & np.isfinite(theirs)
    follows = lit & (mine > DIMMED_PCT[0]) & (mine < DIMMED_PCT[1]) & (daylight > LEAST_LX)
    dark = lit & (daylight < LEAST_LX / 2)
    if follows.sum() < LEAST_SAMPLES or dark.sum() < LEAST_SAMPLES / 10:
        return None
    spill = max(target_lx - full_lx * float(np.median(mine[dark])) / 100, 0.0)
    usual = max(float(np.median(theirs[dark])), 1.0)
    rest = target_lx - full_lx * mine[follows] / 100 - spill * theirs[follows] / usual
    ratio = float(np.median(rest / daylight[follows]))
    return ratio if ratio > 0 else None

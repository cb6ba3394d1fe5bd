"""The occupancy factor as measured, beside the one that EN 15193 assumes.

The standard's factors are shares of the operating time. A log does not say when a building is open, but it shows when it is used: the hours of
the local week in which its rooms are, on average, occupied at least a quarter as much as in the busiest hour. In these hours the measured
absence factor F_A is the share of the time with nobody there, and the measured occupancy factor F_O the share in which the detector held the
light on (in manual-on: in which it was lit). Daylight is no part of either.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from tuning.en15193 import control_factor, occupancy_factor
from tuning.gaps import Bools
from tuning.results import ChannelResult
from tuning.time_use import WEEK_H

IN_USE = 0.25
"""Share of the busiest hour's occupancy from which on an hour of the week is operating time. Chosen by us."""


@dataclass(frozen=True)
class Occupancy:
    """Factors of a channel or a room in operating time, 0…1. ``formula``: F_O of EN 15193 with the absence that was measured."""

    absence: float
    factor: float
    formula: float


def hours_in_use(channels: Iterable[ChannelResult]) -> Bools:
    """Which hours of the local week are operating time, shape (168,); none without motion."""
    weeks = [c.time_use.week for c in channels if c.time_use is not None and c.time_use.week is not None]
    if not weeks:
        return np.zeros(WEEK_H, dtype=bool)
    occupied, covered = (np.array([w[name].to_numpy() for w in weeks]) for name in ("occupied", "covered_h"))
    mean = (occupied * (covered > 0)).sum(axis=0) / np.maximum((covered > 0).sum(axis=0), 1)
    most = float(mean.max())
    return np.asarray(mean >= IN_USE * most) if most > 0 else np.zeros(WEEK_H, dtype=bool)


def measured(c: ChannelResult, in_use: Bools) -> Occupancy | None:
    """Factors of a channel; ``None`` where its log covers no operating time.

    Parameters
    ----------
    c
        With its week (:class:`~tuning.results.TimeUse`).
    in_use
        Operating time of the building.
    """
    if c.time_use is None or c.time_use.week is None:
        return None
    week = c.time_use.week
    counts = in_use & (week["covered_h"].to_numpy() > 0)
    if not counts.any():
        return None
    manual = c.current.mode == "manual-on"
    absence = float(np.clip(1 - week["occupied"].to_numpy()[counts].mean(), 0, 1))
    factor = float(week["lit" if manual else "held"].to_numpy()[counts].mean())
    return Occupancy(absence, factor, occupancy_factor(control_factor(manual_on=manual), absence))


def together(parts: list[tuple[Occupancy, float]]) -> Occupancy | None:
    """Mean over channels, each weighed by its load."""
    if not parts:
        return None
    weight = np.array([w for _, w in parts])
    values = np.array([[o.absence, o.factor, o.formula] for o, _ in parts])
    return Occupancy(*(float(v) for v in np.average(values, axis=0, weights=weight)))

"""Partial pooling: the belief about a use, and what own rooms of that use show, each weighed by how precise it is.

Rooms of a use differ: what a room shows is ``y_i ~ N(μ, s_i² + τ²)``, where s_i is how well its log tells it and τ² how much rooms
differ. The belief says ``μ ~ N(m₀, σ₀²)``. Given τ², the weight of the own rooms is ``Σw / (Σw + 1/σ₀²)`` with ``w_i = 1/(s_i² + τ²)``, and
another room of the use lies around the pooled mean by its uncertainty and τ² together. τ² is the moment estimate of DerSimonian and Laird
(statsmodels), drawn toward the belief about it, because a handful of rooms tell little about how much rooms differ.

References
----------
R. DerSimonian, N. Laird, "Meta-analysis in clinical trials", Controlled Clinical Trials 7 (1986), 177-188 (from memory), as in statsmodels.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from tuning.motion import Floats
from tuning.results import ChannelResult
from tuning.starting.expect import LEAST, QUANTITIES, SPREAD, Spread

ENOUGH_ROOMS = 3
"""From so many own channels of a use on they count. Chosen by us: fewer cannot tell how much rooms differ."""
ENOUGH_DAYS = 7.0
"""A channel with less log does not count. [d]; chosen by us: one of each weekday."""
BELIEF_IN_TAU = 4.0
"""Weight of the belief about τ², in rooms. Chosen by us."""
NINETY = 2 * 1.6449
"""Width of a 90 % interval in standard deviations."""
BEST_KNOWN = 0.1
"""No log tells a mean better than to a tenth. Chosen by us: seasons and people change."""


@dataclass(frozen=True)
class Pooled:
    """The log of a quantity by hold-off: ``mean`` and ``sd`` for another room, the ``weight`` of own rooms (0…1), and ``tau`` between rooms."""

    mean: Floats
    sd: Floats
    weight: Floats
    tau: Floats


@dataclass(frozen=True)
class OwnRoom:
    """What one analysed channel shows, by quantity: the log of its value and its standard error, at the hold-offs asked for."""

    value: dict[str, Floats]
    error: dict[str, Floats]


def telling(channels: Iterable[ChannelResult], use: str) -> list[ChannelResult]:
    """Channels of a use that have a log worth counting."""
    name = use.strip().lower()
    return [
        c
        for c in channels
        if c.use.strip().lower() == name
        and len(c.delay_curve) > 1
        and c.usable_days >= ENOUGH_DAYS
        and c.decision != "fix-first"
        and c.control != "relay"
    ]


def own_room(c: ChannelResult, hold_off_s: Floats) -> OwnRoom:
    """Read a channel's curve at hold-offs, along their logarithm; beyond its ends at the end."""
    at, points = np.log(hold_off_s), c.delay_curve
    hold = np.log([p.hold_off_s for p in points])

    def of(name: str, values: list[float]) -> Floats:
        return np.asarray(np.interp(at, hold, np.log(np.maximum(values, 0.0) + LEAST[name])))

    # How sure the energy is follows from how sure the waste in it is.
    kw = max(c.load_w, 1e-3) / 1000
    half = [(p.wasted_on_h_high - p.wasted_on_h_low) / 2 for p in points]
    parts = {
        "false_offs": [(p.false_offs, p.false_offs_low, p.false_offs_high) for p in points],
        "wasted_on_h": [(p.wasted_on_h, p.wasted_on_h_low, p.wasted_on_h_high) for p in points],
        "full_load_h": [
            (p.energy_kwh / kw, max(p.energy_kwh / kw - h, 0.0), p.energy_kwh / kw + h)
            for p, h in zip(points, half, strict=True)
        ],
    }
    value, error = {}, {}
    for name in QUANTITIES:
        middle, low, high = (of(name, list(v)) for v in zip(*parts[name], strict=True))
        value[name] = middle
        error[name] = np.maximum((high - low) / NINETY, BEST_KNOWN)
    return OwnRoom(value, error)


def pool(belief: Floats, own: list[OwnRoom], name: str, spread: Spread | None = None) -> Pooled:
    """Pool one quantity.

    Parameters
    ----------
    belief
        Log of what the mean room of the use brings, by hold-off.
    own
        Own rooms of the use; fewer than :data:`ENOUGH_ROOMS` count nothing.
    name
        Key of :data:`~tuning.starting.expect.SPREAD`.
    spread
        How sure the belief is, where it is not the program's own.
    """
    spread = spread or SPREAD[name]
    of_mean, of_rooms = (np.broadcast_to(sd, belief.shape) for sd in (spread.belief, spread.rooms))
    if len(own) < ENOUGH_ROOMS:
        return Pooled(belief, np.hypot(of_mean, of_rooms), np.zeros(len(belief)), of_rooms)
    y, s = (np.array([getattr(o, part)[name] for o in own]) for part in ("value", "error"))
    tau2 = np.array([_tau2(y[:, j], s[:, j] ** 2, float(of_rooms[j])) for j in range(y.shape[1])])
    w = 1 / (s**2 + tau2)
    rooms, field = w.sum(axis=0), 1 / of_mean**2
    mean = ((w * y).sum(axis=0) + field * belief) / (rooms + field)
    return Pooled(mean, np.sqrt(1 / (rooms + field) + tau2), rooms / (rooms + field), np.sqrt(tau2))


def _tau2(y: Floats, variance: Floats, believed_sd: float) -> float:
    """Variance between rooms, drawn toward the belief."""
    # Slow to import, and most commands never come here.
    from statsmodels.stats.meta_analysis import combine_effects  # noqa: PLC0415

    # Where rooms differ by less than chance the estimate is negative, and what is derived from it no number; only the estimate is used.
    with np.errstate(invalid="ignore", divide="ignore"):
        seen = max(float(combine_effects(y, variance, method_re="dl").tau2), 0.0)
    free = len(y) - 1
    return float((BELIEF_IN_TAU * believed_sd**2 + free * seen) / (BELIEF_IN_TAU + free))

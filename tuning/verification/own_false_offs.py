"""False-offs under the hold-off that was in force: what a stretch shows itself, not what a curve foretells.

Up to the hold-off in force a log shows how often a pause outlasts it, so that the misfit of a fitted curve has no part in the doubt: resampled
days, the doubt about who was there and the level of the curve hold all of it. A sampled log is another case. A pause between two samples with
movement is recorded as the whole samples between them; it was longer than that by nothing up to two samples, one on average, and is analysed as
it can have been (:mod:`tuning.sampled_pauses`). Where a sample is a good part of the hold-off, the pauses that reached it cannot be told from those
that did not, so the draws look at it by hold-offs up to a sample shorter and longer.
"""

from __future__ import annotations

import numpy as np

from tuning.channel.analyse import ChannelInput, Examined, rates_of
from tuning.motion import Floats
from tuning.rates import Rates

LOOKED_AT = np.linspace(-1.0, 1.0, 5)
"""Hold-offs that are looked at, in samples beside the one in force."""
FEWEST = 1e-6
"""Stands for no false-off a week on the logarithm."""


def own_false_offs(given: ChannelInput, found: Examined, rates: Rates, own: int) -> Floats:
    """False-offs a week under the hold-off in force, with the doubt about who was there, in every draw.

    Parameters
    ----------
    given, found
        The stretch, and what was found in it.
    rates
        Of the stretch.
    own
        Column of ``rates`` that holds the hold-off in force.
    """
    sample_s, hold_off_s = found.motion.resolution_s, float(rates.hold_off_s[own])
    if sample_s <= 0 or found.motion.kind != "samples":
        return _undoubted(rates)[:, own]
    rng = np.random.default_rng([given.seed, 2])
    wanted = np.maximum(hold_off_s + sample_s * LOOKED_AT, sample_s / 2)
    looked = _undoubted(rates_of(given, found, hold_off_s=wanted))
    beside = rng.uniform(-1.0, 1.0, len(looked))
    beside[0] = 0.0
    logs = np.log(np.maximum(looked, FEWEST))
    return np.exp([np.interp(x, LOOKED_AT, row) for x, row in zip(beside, logs, strict=True)])


def _undoubted(rates: Rates) -> Floats:
    """False-offs with the doubt about who was there, without the misfit of the curve."""
    return rates.false_offs * rates.false_factor / rates.false_misfit

"""Who minds the dark: by the daylight left, and by how soon movement resumes in it.

A reading on the ceiling tells of the daylight at the task by a ratio that only hand readings give. Without them it is a guess, and a wrong guess
takes people for content who wave their arms. But they do wave, within seconds: in hours too dark for them, movement that resumes soon after a
switch-off resumes at once; in brighter hours no sooner than chance has it. Where the one goes over into the other tells the error that all
pauses of a channel have in common. Only pauses that ended soon are held beside each other, so it need not be known how many people were there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from tuning.motion import Floats

DAYLIGHT_SPREAD = 0.12
"""Log-spread of what people and detectors make of the same daylight. Chosen by us: about one in eight."""
SOON_S, AT_ONCE_S = 90.0, 20.0
"""Movement within the first is held beside that within the second: most reactions take some seconds. [s]. Chosen by us."""
ERRORS = np.linspace(-3.0, 3.0, 37)
"""Common errors looked at, in standard deviations of the guess."""
REACTIONS = np.geomspace(0.03, 300.0, 13)
"""Reactions looked at for each time that somebody comes in by chance, if everybody minds."""
SITTING = np.array([0.0, 0.1, 0.3, 0.6, 1.0])
"""Shares looked at of those who sit on undisturbed that happen to move within ``SOON_S``."""
BY_CHANCE = np.linspace(0.1, 0.7, 7)
"""Shares looked at of what happens by chance within ``SOON_S`` that falls into ``AT_ONCE_S``: 0.22 if spread evenly."""
FARTHEST, LIGHTS = 3.0, 60
"""Log-ratios of need and daylight looked at, twenty times too little to too much, and in how many steps."""


@dataclass(frozen=True)
class Need:
    """How far the daylight left at the switch-off falls short of what the task needs.

    Attributes
    ----------
    log_short
        Log of what the task needs over what daylight gives it, per gap; NaN where unknown.
    doubt
        Log-spread of the error that all gaps have in common: of the task's share in the detector's daylight.
    weight
        Probability of each of ``ERRORS``, times ``doubt``, as far as the log tells; ``None`` before it was asked.
    """

    log_short: Floats
    doubt: float
    weight: Floats | None = None

    def minds(self) -> Floats:
        """Probability that a present person minds the dark, per gap; 1 where nothing is known."""
        # One curve for all gaps, of which there are hundreds of thousands; finer where no doubt makes it smooth.
        if self.weight is None:
            short = np.linspace(-FARTHEST, FARTHEST, 100 * LIGHTS + 1)
            curve = ndtr(short / np.hypot(DAYLIGHT_SPREAD, self.doubt))
        else:
            short = np.linspace(-FARTHEST, FARTHEST, 10 * LIGHTS + 1)
            curve = self.weight @ minds_by_light(short + self.doubt * ERRORS[:, None])
        told = np.interp(self.log_short, short, curve)
        told[np.isnan(told)] = 1.0
        return told

    def learned(self, resumed_s: Floats) -> Need:
        """The same with what the log tells of the common error.

        Parameters
        ----------
        resumed_s
            Time from the light's going off to movement, per gap; NaN where it did not go off or nothing moved. [s]
        """
        return replace(self, weight=_weights(self, resumed_s)) if self.doubt > 0 else self


def minds_by_light(log_short: Floats) -> Floats:
    """Probability that a present person minds the dark where the daylight falls short of the need by so much, in logs."""
    return np.asarray(ndtr(log_short / DAYLIGHT_SPREAD))


def _weights(need: Need, resumed_s: Floats) -> Floats:
    """Posterior probability of each error: a normal prior, and all else as likely beforehand.

    Of what moves soon, reactions come at once, and what comes by chance is somebody who enters, or one of those who sit on because they do not
    mind. All three are summed over.
    """
    soon = np.isfinite(need.log_short) & (resumed_s > 0) & (resumed_s <= SOON_S)
    short, resumed_s = np.clip(need.log_short[soon], -FARTHEST, FARTHEST), resumed_s[soon]
    edges = np.linspace(-FARTHEST, FARTHEST, LIGHTS)
    at_once = np.histogram(short[resumed_s <= AT_ONCE_S], edges)[0]
    later = np.histogram(short[resumed_s > AT_ONCE_S], edges)[0]
    some = np.flatnonzero(at_once + later)
    middle = (edges[:-1] + edges[1:])[some] / 2
    # errors, reactions, who sit on, share by chance, lights
    minding = minds_by_light(middle + need.doubt * ERRORS[:, None])[:, None, None, None, :]
    reacting = REACTIONS[:, None, None, None] * minding
    by_chance = 1 + REACTIONS[:, None, None, None] * SITTING[:, None, None] * (1 - minding)
    first = (BY_CHANCE[:, None] * by_chance + reacting) / (by_chance + reacting)
    log_like = np.log(first) @ at_once[some] + np.log1p(-first) @ later[some]
    log_post = log_like - 0.5 * ERRORS[:, None, None, None] ** 2
    post = np.exp(log_post - log_post.max()).sum(axis=(1, 2, 3))
    return np.asarray(post / post.sum())

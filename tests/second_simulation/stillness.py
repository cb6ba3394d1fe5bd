"""How long somebody present keeps still: six families that differ in what matters to a hold-off, the tail."""

import math
from typing import NamedTuple

import numpy as np
from scipy.special import gammaincinv

from tests.second_simulation.compiled import compiled

EXPONENTIAL, WEIBULL, LOGNORMAL, GAMMA, LOGLOGISTIC, PARETO = range(6)
FAMILIES = ("exponential", "weibull", "lognormal", "gamma", "loglogistic", "pareto")
SHAPES = ((1.0, 1.0), (0.5, 0.9), (0.7, 1.3), (0.35, 0.85), (1.5, 2.6), (1.1, 2.2))
"""Ranges of the shape by family: none, Weibull's shape, spread of the logarithm, gamma's shape, the two powers of the tail."""
PARETO_END_S = 3600.0
SHORTEST_S, LONGEST_S = 0.5, 7200.0


class Stillness(NamedTuple):
    """One room's law. ``scale_s`` is the median, for gamma the scale that gives it [s]; Pareto's would be the median if it had no end."""

    family: int
    shape: float
    scale_s: float


def draw_stillness(rng: np.random.Generator, median_s: float) -> Stillness:
    """Draw one of the families at random, with the given median [s]."""
    family = int(rng.integers(len(FAMILIES)))
    shape = float(rng.uniform(*SHAPES[family]))
    return Stillness(family, shape, median_s / float(gammaincinv(shape, 0.5)) if family == GAMMA else median_s)


@compiled
def still_s(rng: np.random.Generator, law: Stillness) -> float:
    """Draw one stillness [s], within what anybody keeps."""
    if law.family == EXPONENTIAL:
        drawn = law.scale_s * rng.standard_exponential() / math.log(2.0)
    elif law.family == WEIBULL:
        drawn = law.scale_s * (rng.standard_exponential() / math.log(2.0)) ** (1.0 / law.shape)
    elif law.family == LOGNORMAL:
        drawn = law.scale_s * math.exp(law.shape * rng.standard_normal())
    elif law.family == GAMMA:
        drawn = law.scale_s * rng.standard_gamma(law.shape)
    elif law.family == LOGLOGISTIC:
        below = rng.random()
        drawn = law.scale_s * (below / (1.0 - below)) ** (1.0 / law.shape)
    else:
        least = law.scale_s * 0.5 ** (1.0 / law.shape)
        beyond_end = (least / PARETO_END_S) ** law.shape
        drawn = least * (1.0 - rng.random() * (1.0 - beyond_end)) ** (-1.0 / law.shape)
    return min(max(drawn, SHORTEST_S), LONGEST_S)

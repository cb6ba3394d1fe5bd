"""How long a present person stays still: families of inter-movement times.

The families differ in what matters to a hold-off, the tail. ``weibull`` below shape 1 and ``lognormal`` are stretched,
``lomax`` and ``loglogistic`` fall like a power, ``hyperexponential`` (mixtures of exponentials) and ``gamma`` end
exponentially, ``exponential`` has no memory.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

FloatArray = NDArray[np.float64]

# Nobody who is at work in a room is still for longer than this; also keeps means finite where the tail is a power.
LONGEST_S = 4 * 3600.0


@dataclass(frozen=True)
class Stillness:
    """Distribution of the time between two movements of one person.

    Parameters
    ----------
    family
        A key of `FAMILIES`.
    scale_s
        Scale [s]; its meaning depends on the family.
    shape
        Shape of the family; for ``hyperexponential`` the share of long spells.
    stretch
        ``hyperexponential`` only: mean of the long spells in units of `scale_s`.
    """

    family: str
    scale_s: float
    shape: float
    stretch: float = 1.0

    def sample(self, rng: np.random.Generator, n: int) -> FloatArray:
        """Draw `n` stillnesses [s], cut at `LONGEST_S`."""
        return np.minimum(_SAMPLERS[self.family](self, rng, n), LONGEST_S)

    def survival(self, t_s: FloatArray) -> FloatArray:
        """Probability that a stillness is longer than `t_s` [s] (before the cut at `LONGEST_S`)."""
        return _SURVIVAL[self.family](self, np.asarray(t_s, dtype=float))


def _hyper(s: Stillness, rng: np.random.Generator, n: int) -> FloatArray:
    long = rng.random(n) < s.shape
    return rng.exponential(1.0, n) * np.where(long, s.scale_s * s.stretch, s.scale_s)


def _loglogistic(s: Stillness, rng: np.random.Generator, n: int) -> FloatArray:
    u = rng.random(n)
    return s.scale_s * (u / (1.0 - u)) ** (1.0 / s.shape)


_SAMPLERS: dict[str, Callable[[Stillness, np.random.Generator, int], FloatArray]] = {
    "weibull": lambda s, rng, n: s.scale_s * rng.weibull(s.shape, n),
    "lognormal": lambda s, rng, n: s.scale_s * np.exp(s.shape * rng.standard_normal(n)),
    "lomax": lambda s, rng, n: s.scale_s * rng.pareto(s.shape, n),
    "hyperexponential": _hyper,
    "gamma": lambda s, rng, n: s.scale_s * rng.standard_gamma(s.shape, n),
    "loglogistic": _loglogistic,
    "exponential": lambda s, rng, n: rng.exponential(s.scale_s, n),
}

_SURVIVAL: dict[str, Callable[[Stillness, FloatArray], FloatArray]] = {
    "weibull": lambda s, t: np.exp(-((t / s.scale_s) ** s.shape)),
    "lognormal": lambda s, t: special.ndtr(-np.log(np.maximum(t, 1e-9) / s.scale_s) / s.shape),
    "lomax": lambda s, t: (1.0 + t / s.scale_s) ** -s.shape,
    "hyperexponential": lambda s, t: (
        s.shape * np.exp(-t / (s.scale_s * s.stretch)) + (1.0 - s.shape) * np.exp(-t / s.scale_s)
    ),
    "gamma": lambda s, t: special.gammaincc(s.shape, t / s.scale_s),
    "loglogistic": lambda s, t: 1.0 / (1.0 + (t / s.scale_s) ** s.shape),
    "exponential": lambda s, t: np.exp(-t / s.scale_s),
}

FAMILIES = tuple(_SAMPLERS)


def draw_stillness(rng: np.random.Generator, family: str, median_s: float) -> Stillness:
    """Draw a room's stillness of the given family about a typical pause of `median_s` [s]."""
    if family == "weibull":
        shape = rng.uniform(0.42, 0.8)
        return Stillness(family, median_s / np.log(2.0) ** (1 / shape), shape)
    if family == "lognormal":
        return Stillness(family, median_s, rng.uniform(1.1, 1.7))
    if family == "lomax":
        shape = rng.uniform(1.3, 2.8)
        return Stillness(family, median_s / (2.0 ** (1 / shape) - 1.0), shape)
    if family == "hyperexponential":
        return Stillness(family, median_s * 1.3, 10 ** rng.uniform(-2.0, -0.8), 10 ** rng.uniform(0.9, 1.6))
    if family == "gamma":
        shape = rng.uniform(0.3, 0.8)
        return Stillness(family, median_s / special.gammaincinv(shape, 0.5), shape)
    if family == "loglogistic":
        return Stillness(family, median_s, rng.uniform(1.3, 2.2))
    if family == "exponential":
        return Stillness(family, median_s * rng.uniform(1.5, 4.0), 1.0)
    raise ValueError(f"unknown family of stillness {family!r}; known are {', '.join(FAMILIES)}")

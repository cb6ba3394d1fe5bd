"""A room with two lights under one detector, of which one goes dark earlier: who misses which. Written for that question alone."""

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

DAY_S = 86_400.0
START_US = 1_767_571_200_000_000  # a Monday, 00:00 UTC


@dataclass(frozen=True)
class TwoLights:
    """Log of the room, and per light when it went dark [s] and whether somebody there missed it."""

    log: pl.DataFrame
    off_s: dict[str, FloatArray]
    missed: dict[str, NDArray[np.bool_]]


@dataclass
class _Lamp:
    hold_s: float
    on: list[float]
    off: list[float]
    missed: list[bool]
    lit: bool = False

    def trigger(self, t: float) -> None:
        if not self.lit:
            self.on.append(t)
            self.lit = True

    def dark(self, t: float, *, missed: bool) -> None:
        if self.lit:
            self.off.append(t)
            self.missed.append(missed)
            self.lit = False


def two_lights(
    seed: int,
    *,
    hold_off_s: tuple[float, float],
    share_who_miss_first: float,
    days: int = 30,
    visits_per_day: float = 6.0,
    shape: float = 1.6,
    scale_s: float = 14.0,
) -> TwoLights:
    """Simulate the room.

    Parameters
    ----------
    hold_off_s
        Of ``wall``, which goes dark first, and of ``window``, longer. [s]
    share_who_miss_first
        Share of the visits in which the person misses the wall light while the other one burns. Everybody misses the last light.
    visits_per_day
        Visits of a mean of 50 min, with absences of minutes to hours between them.
    shape, scale_s
        Of the Lomax distribution of pauses between movements.
    """
    rng = np.random.default_rng(seed)
    wall, window = (_Lamp(h, [], [], []) for h in hold_off_s)
    motion: list[float] = []
    for day in range(days):
        t, until = day * DAY_S + 8 * 3600 + rng.exponential(1800), day * DAY_S + 18 * 3600
        while t < until:
            t = _visit(
                rng, t, t + rng.exponential(3000) + 120, (wall, window), motion, share_who_miss_first, (shape, scale_s)
            )
            away = rng.lognormal(np.log(900), 1.0)
            for lamp in (wall, window):
                if away > lamp.hold_s:
                    lamp.dark(motion[-1] + lamp.hold_s, missed=False)
            t += away
        for lamp in (wall, window):
            lamp.dark(motion[-1] + lamp.hold_s, missed=False)
    frames = [_rows("", "motion", np.array(motion), np.ones(len(motion)))]
    for name, lamp in (("wall", wall), ("window", window)):
        at, value = np.array(lamp.on + lamp.off), np.repeat([100.0, 0.0], [len(lamp.on), len(lamp.off)])
        frames.append(_rows(name, "output", at, value))
    return TwoLights(
        pl.concat(frames).sort("time"),
        {"wall": np.array(wall.off), "window": np.array(window.off)},
        {"wall": np.array(wall.missed, bool), "window": np.array(window.missed, bool)},
    )


def _visit(
    rng: np.random.Generator,
    start: float,
    end: float,
    lamps: tuple[_Lamp, _Lamp],
    motion: list[float],
    share: float,
    pauses: tuple[float, float],
) -> float:
    """One visit: a burst, pauses, a burst. Whoever misses a light that goes dark moves within seconds, and starts afresh."""
    misses_first = rng.random() < share

    def move(t: float) -> None:
        motion.append(t)
        for lamp in lamps:
            lamp.trigger(t)

    t = start
    for _ in range(1 + rng.poisson(3.0)):
        move(t)
        t += rng.exponential(1.5) + 0.2
    while True:
        following = motion[-1] + pauses[1] * rng.pareto(pauses[0])
        for lamp, misses in zip(lamps, (misses_first, True), strict=True):
            dark = motion[-1] + lamp.hold_s
            if lamp.lit and dark < min(following, end):
                lamp.dark(dark, missed=misses)
                if misses:
                    following = min(following, dark + float(np.clip(rng.lognormal(np.log(4.0), 0.5), 0.5, 60)))
        if following >= end:
            break
        move(following)
    t = end
    for _ in range(1 + rng.poisson(3.0)):
        # The light may have gone dark in the last pause: whoever leaves moves.
        move(max(t, motion[-1] + 0.2))
        t += rng.exponential(1.5) + 0.2
    return motion[-1]


def _rows(channel: str, quantity: str, t_s: FloatArray, value: FloatArray) -> pl.DataFrame:
    time = pl.Series("time", START_US + np.round(t_s * 1e6).astype(np.int64)).cast(pl.Datetime("us", "UTC"))
    return pl.DataFrame({"time": time, "value": value}).select(
        "time", pl.lit("r").alias("room"), pl.lit(channel).alias("channel"), pl.lit(quantity).alias("quantity"), "value"
    )

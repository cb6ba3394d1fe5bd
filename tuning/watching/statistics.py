"""What is watched: each daily value with its scale, what it tells of, and its words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import polars as pl

from tuning.motion import Floats
from tuning.watching.drift import LEAST_REFERENCE, Series
from tuning.watching.stiller import beside_traffic, stiller

Kind = Literal["occupancy", "stillness", "lamps", "faults"]

USED_WEEKDAY = 0.25
"""A weekday with so much less presence than the busiest one is no regular day of the room. Chosen by us."""
CLOSED = 0.1
"""A regular day with less than so much of its usual presence is a holiday, and set aside. Chosen by us."""
HOLIDAYS = 15
"""So many regular days in a row may be holidays; from then on it is a change. Chosen by us: three weeks."""
PEOPLED = 0.25
"""A day with so much less to go by than busy days (their 75th percentile) tells of a cleaner, not of those who work there. Chosen by us."""
EPOCH = dt.date(1970, 1, 1)


@dataclass(frozen=True)
class Statistic:
    """One daily value that is watched.

    Attributes
    ----------
    name
        Column of DAILY.
    kind
        What it tells of.
    label, unit
        For people: the label stands alone, the unit behind a number.
    scale, back
        To a scale on which days spread evenly, and from it.
    floor
        The least standard deviation believed on that scale. Chosen by us: counting alone brings 1 on the scale of counts.
    least
        A smaller shift on that scale is not worth a word. Chosen by us: a twentieth of the lamps, a tenth of stillness.
    weight
        Column of DAILY that the value rests on, if it is not the day itself.
    regular_only
        Whether only regular days of the room tell, holidays left aside.
    of_channel
        Whether each channel has its own; the others are the room's.
    upward
        Whether only more of it is looked for.
    portion
        Part of the false alarms that it may cause, the others' being 1. Chosen by us: people who sit stiller than the hold-off was chosen for are
        what matters most and shows least.
    """

    name: str
    kind: Kind
    label: str
    unit: str
    scale: Callable[[Floats], Floats]
    back: Callable[[float], float]
    floor: float
    least: float = 0.0
    weight: str | None = None
    regular_only: bool = False
    of_channel: bool = False
    upward: bool = False
    portion: float = 1.0


def _counts(x: Floats) -> Floats:
    # Anscombe, "The transformation of Poisson, binomial and negative-binomial data", Biometrika 35, 1948, p. 246 (from memory).
    return 2.0 * np.sqrt(x + 3.0 / 8.0)


def _counted(y: float) -> float:
    return max((y / 2.0) ** 2 - 3.0 / 8.0, 0.0)


def _square(y: float) -> float:
    return max(y, 0.0) ** 2


STATISTICS: tuple[Statistic, ...] = (
    Statistic("presence_h", "occupancy", "hours with people", "h a day", np.sqrt, _square, 0.05, regular_only=True),
    Statistic("visits", "occupancy", "visits", "a day", _counts, _counted, 1.0, regular_only=True),
    Statistic("stillness_s", "stillness", "typical pause of people present", "s", np.log, np.exp, 0.02, 0.1, "pauses"),
    Statistic(
        "pauses_by_length",
        "stillness",
        "stillness against the reference days",
        "times",
        np.asarray,
        np.exp2,
        0.02,
        weight="n_by_length",
        upward=True,
        portion=4.0,
    ),
    Statistic("lamp_lx", "lamps", "lamps at full output", "lx", np.log, np.exp, 0.005, 0.05, of_channel=True),
    Statistic("night_triggers", "faults", "triggers between 22 and 5 o'clock", "a night", _counts, _counted, 1.0),
    Statistic("lone_triggers", "faults", "lone triggers by day", "a day", _counts, _counted, 1.0),
)
"""All of them."""


def series_of(statistic: Statistic, daily: pl.DataFrame, reference_to: dt.date) -> Series:
    """Days on which a statistic can tell, on its scale.

    Parameters
    ----------
    daily
        DAILY of a channel.
    reference_to
        First day that is no reference day; what is regular is learned before it.
    """
    if statistic.name not in daily.columns:  # days of an older analysis
        daily = daily.with_columns(pl.lit(None).alias(statistic.name)).clear()
    frame = daily.with_columns(
        number=(pl.col("day") - pl.lit(EPOCH)).dt.total_days(), weekday=pl.col("day").dt.weekday() - 1
    ).filter(pl.col(statistic.name).is_not_null())
    if statistic.name == "pauses_by_length":
        frame = _stiller(frame, reference_to)
    if statistic.name == "lamp_lx":
        frame = frame.filter(pl.col("lamp_lx") > 0)
    if statistic.regular_only:
        frame = _regular(frame, reference_to)
    if statistic.weight is not None:
        frame = _peopled(frame, statistic.weight, reference_to)
    value = statistic.scale(frame[statistic.name].to_numpy().astype(np.float64))
    weight = np.ones(len(value)) if statistic.weight is None else frame[statistic.weight].to_numpy()
    return Series(
        frame["number"].to_numpy().astype(np.int64),
        frame["weekday"].to_numpy().astype(np.int64),
        value,
        weight,
        statistic.floor,
        statistic.least,
        statistic.upward,
    )


def by_day(statistic: Statistic, daily: pl.DataFrame, reference_to: dt.date) -> pl.DataFrame:
    """``day``, ``value`` in the unit of the statistic, of the days that tell: for pictures."""
    if statistic.name not in daily.columns:
        return pl.DataFrame(schema={"day": pl.Date(), "value": pl.Float64()})
    frame = daily.filter(pl.col(statistic.name).is_not_null())
    if statistic.name == "pauses_by_length":
        frame = _stiller(frame, reference_to).with_columns(
            pl.lit(2.0).pow(pl.col(statistic.name)).alias(statistic.name)
        )
    return frame.select("day", value=pl.col(statistic.name).cast(pl.Float64()))


def _regular(frame: pl.DataFrame, reference_to: dt.date) -> pl.DataFrame:
    """Regular days of the room, without holidays."""
    before = frame.filter(pl.col("day") < reference_to)
    usual = before.group_by("weekday").agg(usual_h=pl.col("presence_h").median())
    if usual.is_empty():
        return frame.clear()
    kept = frame.join(usual, on="weekday", how="left", maintain_order="left").filter(
        pl.col("usual_h") > USED_WEEKDAY * float(usual["usual_h"].max())  # type: ignore[arg-type]
    )
    closed = pl.col("presence_h") < CLOSED * pl.col("usual_h")
    in_a_row = pl.int_range(pl.len()).over(closed.rle_id())
    return kept.filter(~closed | (in_a_row >= HOLIDAYS))


def _stiller(frame: pl.DataFrame, reference_to: dt.date) -> pl.DataFrame:
    """How much stiller people are on each day with people enough, whatever the traffic."""
    told = stiller(frame, reference_to)
    kept = _peopled(told, "n_by_length", reference_to)["day"]
    return beside_traffic(told.filter(pl.col("day").is_in(kept.implode())), reference_to)


def _peopled(frame: pl.DataFrame, weight: str, reference_to: dt.date) -> pl.DataFrame:
    """Days with people enough; one far busier than usual counts no more than a usual one."""
    before = frame.filter(pl.col("day") < reference_to)[weight]
    busy, usual = before.quantile(0.75), before.median()
    if busy is None:
        return frame.clear()
    return frame.filter(pl.col(weight) >= PEOPLED * busy).with_columns(pl.col(weight).clip(upper_bound=usual))  # type: ignore[arg-type]


def watchable(series: Series, reference_to: dt.date) -> bool:
    """Whether there are reference days enough."""
    return int(np.searchsorted(series.day, (reference_to - EPOCH).days)) >= LEAST_REFERENCE


def day_of(number: int) -> dt.date:
    """Return the day of a number."""
    return EPOCH + dt.timedelta(days=number)

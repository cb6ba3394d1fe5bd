"""What a column's values look like, whatever its name."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning.logs.sampling import sampling_interval_s
from tuning.logs.values import OFF, ON, NotAValueError, numbers, value_of
from tuning.mapping.model import Preview
from tuning.mapping.names import UNIT_OF
from tuning.schemas import TIME
from tuning.site import Quantity

MOST_KINDS = 3000
"""So many different texts are read as values. Chosen by us."""
DAY_S = 86_400


@dataclass(frozen=True)
class Looks:
    """What values say: which quantities they fit, which they cannot be.

    ``fits`` holds a score for each quantity: above 0 it looks like that, below 0 it does not. ``told`` is what was seen, as a sentence.
    """

    numeric: bool
    fits: dict[Quantity, float]
    told: tuple[str, ...]
    preview: Preview
    share_of_one: bool = False
    continuous: bool = False


def look(column: pl.Series, us: npt.NDArray[np.int64], *, utc: bool, whole: bool) -> Looks:
    """Look at a column beside the times of its rows [epoch µs, local or UTC]."""
    text = column.cast(pl.String, strict=False).str.strip_chars()
    filled = (text.is_not_null() & (text != "")).to_numpy()
    first = tuple(str(v)[:40] for v in text.filter(pl.Series(filled)).head(4))
    value, unit, words, share = _values(column.filter(pl.Series(filled)))
    t = us[filled]
    good = np.isfinite(value)
    value, t = value[good], t[good]
    order = np.argsort(t, kind="stable")
    value, t = value[order], t[order]
    unique = np.unique(t)
    zone = "UTC" if utc else None
    preview = Preview(
        first=first,
        rows=len(filled),
        empty=int((~filled).sum()),
        low=float(value.min()) if len(value) else None,
        high=float(value.max()) if len(value) else None,
        kinds=len(np.unique(value)) if len(value) else int(text.n_unique()),
        interval_s=sampling_interval_s(pl.Series(unique).cast(TIME)) if len(unique) else None,
        start=pl.Series([unique[0]]).cast(pl.Datetime("us", zone))[0] if len(unique) else None,
        end=pl.Series([unique[-1]]).cast(pl.Datetime("us", zone))[0] if len(unique) else None,
        whole=whole,
    )
    if share < 0.9 or len(value) == 0:
        told = "it holds no value" if not filled.any() else "its values are texts, neither numbers nor on and off"
        return Looks(numeric=False, fits={}, told=(told,), preview=preview)
    return _judged(value, t, unit, preview, words=words)


def _values(column: pl.Series) -> tuple[npt.NDArray[np.float64], str, bool, float]:
    """Numbers, the unit that they carry, whether they are words for on and off, and the share that are values at all."""
    if column.dtype != pl.String:
        read, _, wrong = numbers(column.head(0) if column.dtype.is_nested() else column, "motion")
        return (read, "", column.dtype == pl.Boolean, 1.0 if wrong is None and len(column) else 0.0)
    text = column.str.strip_chars()
    plain = text.cast(pl.Float64, strict=False)
    if plain.null_count() == 0:
        return plain.to_numpy(), "", False, 1.0
    kinds = text.unique(maintain_order=True).head(MOST_KINDS)
    table: dict[str, float] = {}
    units: dict[str, int] = {}
    words = 0
    for kind in kinds:
        try:
            table[kind] = value_of(kind, "motion")
        except NotAValueError:
            continue
        words += kind.casefold() in ON or kind.casefold() in OFF
        unit = kind.casefold().lstrip("+-0123456789.,' \u2019e").strip(". ")
        if unit in UNIT_OF and unit != kind.casefold():
            units[unit] = units.get(unit, 0) + 1
    known = text.is_in(list(table))
    # Numbers of which there are too many to look at each were read already.
    values = text.replace_strict(table, default=None, return_dtype=pl.Float64).fill_null(plain)
    unit = max(units, key=lambda u: units[u]) if units else ""
    right = (
        float((known | plain.is_not_null()).sum()) / len(text)
        if len(kinds) < MOST_KINDS
        else len(table) / max(len(kinds), 1)
    )
    return values.fill_null(float("nan")).to_numpy(), unit, words > 0, right


def _judged(
    value: npt.NDArray[np.float64], t: npt.NDArray[np.int64], unit: str, preview: Preview, *, words: bool
) -> Looks:
    low, high, kinds = float(value.min()), float(value.max()), preview.kinds
    told: list[str] = []
    fits: dict[Quantity, float] = dict.fromkeys(
        ("motion", "occupied", "illuminance", "output", "power", "override"), 0.0
    )
    binary = kinds <= 2 and set(np.unique(value).tolist()) <= {0.0, 1.0}
    if unit in UNIT_OF:
        told.append(f"values carry the unit {unit!r}")
        fits = dict.fromkeys(fits, -1.0) | {UNIT_OF[unit]: 1.0}
        if UNIT_OF[unit] == "output":
            fits["override"] = 0.3
    elif binary:
        told.append(
            "values are on and off" if words else "values are 0 and 1" if kinds == 2 else f"the only value is {low:g}"
        )
        fits |= {"illuminance": -1.0, "power": -1.0, "motion": 0.4, "occupied": 0.4, "output": 0.1, "override": 0.1}
        _binary(value, t, fits, told, preview)
    else:
        fits |= {"motion": -1.0, "occupied": -1.0}
        told.append(f"values run from {low:g} to {high:g}")
        _analog(value, t, fits, told)
    near_one = not binary and low >= 0 and high <= 1 and not unit
    continuous = not binary and float(np.mean((value > low) & (value < high))) > 0.01
    return Looks(
        numeric=True, fits=fits, told=tuple(told), preview=preview, share_of_one=near_one, continuous=continuous
    )


def _binary(
    value: npt.NDArray[np.float64],
    t: npt.NDArray[np.int64],
    fits: dict[Quantity, float],
    told: list[str],
    preview: Preview,
) -> None:
    """Tell a movement from a held state by how short the shortest stays at 1 are."""
    if preview.kinds == 1:
        if preview.low == 1.0:
            told.append("only movements are logged, no pauses: events")
            fits |= {"motion": 0.6, "occupied": -0.2}
        return
    begins = np.flatnonzero((value[1:] == 1) & (value[:-1] == 0)) + 1
    ends = np.flatnonzero((value[1:] == 0) & (value[:-1] == 1)) + 1
    ends = ends[ends > begins[0]] if len(begins) else ends
    count = min(len(begins), len(ends))
    if count < 5:
        return
    stays = (t[ends[:count]] - t[begins[:count]]) / 1e6
    short = float(np.quantile(stays, 0.05))
    # A log of changes that was sampled before holds whole steps only.
    step = float(np.gcd.reduce(np.round(np.diff(t) / 1e6).astype(np.int64)))
    interval = max(preview.interval_s or 0.0, step if step >= 5 else 0.0)
    if short >= max(55.0, 2.9 * interval):
        told.append(f"it stays at 1 for {short:.0f} s or longer: a hold-off is in it")
        fits |= {"occupied": 0.8, "motion": -0.3, "output": 0.3}
    elif short <= max(45.0, 1.5 * interval):
        told.append("it stays at 1 for moments only" if short <= 45 else "it changes from sample to sample")
        fits |= {"motion": 0.7, "occupied": -0.2 if short <= 45 and interval < 45 else 0.2, "output": -0.3}


def _analog(
    value: npt.NDArray[np.float64], t: npt.NDArray[np.int64], fits: dict[Quantity, float], told: list[str]
) -> None:
    low, high = float(value.min()), float(value.max())
    ends = float(np.mean((value == 0) | (value == 100)))
    if low < -5:
        fits |= {"illuminance": -1.0, "output": -1.0, "override": -1.0, "power": -0.5}
        return
    if high > 100.5:
        fits |= {"output": -1.0, "override": -1.0}
    if low >= 0 and 1 < high <= 100.5:
        fits["output"] = 0.4 if ends > 0.2 else 0.0
        fits["override"] = 0.2 if ends > 0.2 else -0.2
        if ends > 0.2:
            told.append("often 0 or 100, as an output in percent")
    swing = _swing(value, t)
    if swing is not None and swing > 0.25 and high > 100:
        told.append("brighter at noon than at night, as illuminance")
        fits["illuminance"] = 0.6
    elif high > 100.5:
        fits["illuminance"] = 0.2
    elif high <= 40:
        fits["illuminance"] = -0.3
    plateau = float(np.mean(np.abs(value - high) <= 0.03 * max(high, 1e-9)))
    if 3 < high < 20_000 and plateau > 0.03 and high > 100:
        fits["power"] = 0.2
    if high > 20_000:
        fits["power"] = -0.5
    # Room air is never 0 % and rarely moves: temperature, humidity, CO2.
    if low > 5 and high < 3000 and (high - low) < 0.9 * high and float(np.mean(value == low)) < 0.2 and ends < 0.01:
        told.append("never near 0: neither light, nor motion")
        fits |= {"illuminance": -0.6, "output": -0.7, "power": -0.2, "override": -1.0}


def _swing(value: npt.NDArray[np.float64], t: npt.NDArray[np.int64]) -> float | None:
    """How much brighter the brightest six hours of the day are than the darkest, as a share of the range; None below a day."""
    second = (t // 1_000_000) % DAY_S
    if t[-1] - t[0] < 0.9 * DAY_S * 1e6:
        return None
    hours = [value[(second // 3600) == h] for h in range(24)]
    mean = np.array([h.mean() if len(h) else np.nan for h in hours])
    if np.isnan(mean).sum() > 12:
        return None
    mean = np.where(np.isnan(mean), np.nanmin(mean), mean)
    around = np.array([np.roll(mean, -h)[:6].mean() for h in range(24)])
    return float((around.max() - around.min()) / max(float(value.max()), 1e-9))

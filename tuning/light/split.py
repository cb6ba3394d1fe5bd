"""Reading = daylight + lamps: the split, for one detector.

The lamps' shares come from :mod:`tuning.light.lamp_fit`; what is left of the reading is daylight. The check of the split is the
night: in hours without daylight nothing may be left.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tuning.light.darkness import dark_points
from tuning.light.lamp_fit import fit_lamps
from tuning.light.lamp_steps import (
    MOVED,
    OFF,
    Bools,
    Floats,
    Points,
    among,
    find_switching_steps,
    moves,
    series,
    usable_points,
)
from tuning.results import Finding
from tuning.schemas import TIME

__all__ = ["Contribution", "LightSplit", "daylight_at", "find_swapped", "find_switching_steps", "split_light"]

NIGHT_RESIDUAL_LX = 5.0
"""More daylight than this at night, and more than a twentieth of the lamps, is reported (chosen by us)."""
FEW_STEPS = 4
"""Below so many steps the contribution is called uncertain (chosen by us)."""
CROSSED = 1.3
"""How many times a reading must follow the other channel more than its own, on the geometric mean of the two (chosen by us)."""
UNSEEN_LX = 3.0
"""A lamp that adds less than this at full output is not seen by the detector (chosen by us: three roundings)."""
HOLD_SAMPLED_US = 1_800_000_000
HOLD_CHANGES_US = 86_400_000_000


@dataclass(frozen=True)
class Contribution:
    """What one channel's lamps add to a reading at full output, with a 90 % interval. [lx].

    ``steps`` counts the switching and dimming steps it rests on. ``separable`` is false where the channel always moved
    together with another one, so that only their sum is known; the sum is then shared out evenly.
    """

    at_full_lx: float
    low_lx: float
    high_lx: float
    steps: int
    separable: bool


@dataclass(frozen=True)
class LightSplit:
    """One reading series taken apart.

    Attributes
    ----------
    lamps
        By channel of the room. A channel is missing where its output never moved while readings exist: nothing can be told then.
    daylight
        ``time`` (UTC µs), ``reading_lx``, ``daylight_lx``, ``lamps_lx``; the latter two null where the output is not certain.
    night_residual_lx
        What is left at night, lit less unlit; must be near zero. ``None`` where no lit night was seen.
    findings
        What a person should know.
    held
        Whether readings are logged on change and hold until the next.
    borrowed_from
        Whose detector this is, where the channel has none of its own: see :mod:`tuning.light.borrowed`.
    """

    lamps: dict[str, Contribution]
    daylight: pl.DataFrame
    night_residual_lx: float | None
    findings: tuple[Finding, ...]
    held: bool = False
    borrowed_from: str | None = None

    @functools.cached_property
    def known(self) -> pl.DataFrame:
        """The rows of ``daylight`` at which the outputs are certain."""
        return self.daylight.drop_nulls("lamps_lx")


def split_light(
    reading: pl.DataFrame,
    outputs: Mapping[str, pl.DataFrame],
    *,
    own_channel: str,
    latitude: float | None = None,
    longitude: float | None = None,
) -> LightSplit:
    """Split a reading into daylight and the lamps of every channel that reaches the detector.

    Parameters
    ----------
    reading
        ``time``, ``value`` [lx]; samples or changes.
    outputs
        By channel of the room: ``time``, ``value`` [percent]. May be empty: switchings are then sought in the reading itself.
    own_channel
        The channel that this detector governs.
    latitude, longitude
        Of the building, where known: then dark hours come from the sun. [deg]

    Returns
    -------
    LightSplit.
    """
    outputs = {name: frame for name, frame in outputs.items() if frame.height}
    reading = reading.select("time", "value").drop_nulls()
    if reading.height == 0:
        return LightSplit({}, _daylight_frame(*(np.empty(0),) * 4), None, ())
    if not outputs:
        outputs, findings = _assumed_output(reading, own_channel), ["no-output"]
        if not outputs:
            return _unlit(reading)
    else:
        findings = []
    points = usable_points(reading, outputs)
    if points.t_us.size < 3:
        return _unlit(reading)
    dark = dark_points(points, latitude=latitude, longitude=longitude)
    fit = fit_lamps(points, moves(points), dark)
    names = list(outputs)
    lamps = {
        name: Contribution(
            float(fit.k[c]), float(fit.low[c]), float(fit.high[c]), int(fit.steps[c]), bool(fit.separable[c])
        )
        for c, name in enumerate(names)
        if not np.isnan(fit.k[c])
    }
    k = np.where(np.isnan(fit.k), 0.0, fit.k)
    residual = _night_residual(points, k, dark)
    frame = _take_apart(reading, points, k)
    told = _findings(lamps, names, points, own_channel, residual, findings)
    return LightSplit(lamps, frame, residual, told, points.held)


def _take_apart(reading: pl.DataFrame, points: Points, k: Floats) -> pl.DataFrame:
    t, lx = series(reading)
    lamps = points.output @ k
    if not points.held:
        part = np.full(t.size, np.nan)
        part[points.record] = lamps
        return _daylight_frame(t, lx, np.maximum(lx - part, 0), part)
    extra = ~among(points.t_us, t)
    at = np.concatenate([t, points.t_us[extra]])
    shown = np.concatenate([lx, points.lx[extra]])
    part = np.full(at.size, np.nan)
    known = np.flatnonzero(among(t, points.t_us))
    part[known] = lamps[np.searchsorted(points.t_us, t[known])]
    part[t.size :] = lamps[extra]
    order = np.argsort(at, kind="stable")
    return _daylight_frame(at[order], shown[order], np.maximum(shown - part, 0)[order], part[order])


def _daylight_frame(t: NDArray[np.int64] | Floats, lx: Floats, daylight: Floats, lamps: Floats) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "time": pl.Series(t.astype(np.int64)).cast(TIME),
            "reading_lx": lx.astype(float),
            "daylight_lx": pl.Series(daylight.astype(float)).fill_nan(None),
            "lamps_lx": pl.Series(lamps.astype(float)).fill_nan(None),
        }
    )


def _assumed_output(reading: pl.DataFrame, own_channel: str) -> dict[str, pl.DataFrame]:
    """A two-state output from the steps of the reading; empty where there are none."""
    steps = find_switching_steps(reading)
    if steps.height < 2:
        return {}
    on = (steps["step_lx"].to_numpy() > 0).astype(float) * 100
    t = steps["time"].dt.epoch("us").to_numpy()
    start = int(reading["time"].dt.epoch("us").min())  # type: ignore[arg-type]
    # half a second before the first value after the step, so that this value already counts as settled
    at = np.concatenate([[start - 10_000_000], t - 4_000_000])
    value = np.concatenate([[100 - on[0]], on])
    return {own_channel: pl.DataFrame({"time": pl.Series(at).cast(TIME), "value": value})}


def _unlit(reading: pl.DataFrame) -> LightSplit:
    """All of the reading as it stands: no output is known to take from it."""
    t, lx = series(reading)
    message = (
        "No light output was logged and the lux readings show no switching, so lamps and daylight cannot be told apart."
    )
    finding = Finding("no-output", "info", message)
    return LightSplit({}, _daylight_frame(t, lx, lx, np.zeros(t.size)), None, (finding,))


def _night_residual(points: Points, k: Floats, dark: Bools) -> float | None:
    lit = dark & (points.output >= MOVED).any(axis=1)
    if lit.sum() < 3:
        return None
    rest = points.lx - points.output @ k
    unlit = dark & (points.output <= OFF).all(axis=1)
    base_lx = float(np.median(points.lx[unlit])) if unlit.any() else 0.0
    return float(np.median(rest[lit])) - base_lx


def _findings(
    lamps: Mapping[str, Contribution],
    names: Sequence[str],
    points: Points,
    own_channel: str,
    residual: float | None,
    codes: Sequence[str],
) -> tuple[Finding, ...]:
    told: list[Finding] = []
    if "no-output" in codes:
        text = "No light output was logged; switchings were found in the lux readings themselves and taken as full on and off."
        told.append(Finding("no-output", "info", text))
    for name in names:
        if name not in lamps:
            c = list(names).index(name)
            constant = float(np.median(points.output[:, c])) * 100
            text = (
                f"The output of channel {name} stayed near {constant:.0f} % whenever a reading was taken, so what its lamps add cannot "
                "be told. Switch it off and on a few times after dark while the log runs."
            )
            told.append(Finding("lamp-unknown", "warning" if name == own_channel else "info", text, {"channel": name}))
    told.extend(_inseparable(lamps))
    own = lamps.get(own_channel)
    if own is not None and own.separable:
        told.extend(_own_findings(own, own_channel))
    lamp_lx = sum(c.at_full_lx for c in lamps.values())
    if residual is not None and abs(residual) > max(NIGHT_RESIDUAL_LX, 0.05 * lamp_lx):
        text = (
            f"At night with the light on, {residual:.0f} lx of the reading are explained by no logged lamp. Another lamp reaches the "
            "detector, or the output in the log is not that of these lamps."
        )
        told.append(Finding("night-residual", "warning", text, {"residual_lx": round(residual, 1)}))
    return tuple(told)


def _own_findings(own: Contribution, channel: str) -> list[Finding]:
    if own.high_lx < UNSEEN_LX and own.steps >= FEW_STEPS:
        text = (
            f"Switching channel {channel} does not move the reading of its own detector ({own.steps} steps). Check that the detector "
            "and the load belong together."
        )
        return [Finding("lamp-not-seen", "warning", text, {"steps": own.steps, "high_lx": round(own.high_lx, 1)})]
    if own.steps < FEW_STEPS or own.high_lx - own.low_lx > 0.5 * own.at_full_lx:
        text = (
            f"What the lamps of channel {channel} add is known only roughly: {own.at_full_lx:.0f} lx at full output, between "
            f"{own.low_lx:.0f} and {own.high_lx:.0f} lx, from {own.steps} steps."
        )
        return [Finding("few-steps", "info", text, {"steps": own.steps})]
    return []


def _inseparable(lamps: Mapping[str, Contribution]) -> list[Finding]:
    together = [name for name, c in lamps.items() if not c.separable]
    if not together:
        return []
    total = sum(lamps[name].at_full_lx for name in together)
    text = (
        f"Channels {', '.join(together)} always moved together, so their lamps cannot be told apart: together they add {total:.0f} lx at "
        "full output. Switch one of them alone a few times to part them."
    )
    return [Finding("inseparable", "warning", text, {"channels": together, "together_lx": round(total, 1)})]


def daylight_at(split: LightSplit, times_us: NDArray[np.int64]) -> Floats:
    """Daylight at given times, in the detector's reading.

    Parameters
    ----------
    split
        A split reading.
    times_us
        UTC epoch microseconds, any order, shape (n,).

    Returns
    -------
    Daylight [lx], shape (n,). Linear between values up to half an hour apart; across longer breaks the last value holds, for half an
    hour in a sampled log and for a day in a log of changes. NaN elsewhere.
    """
    frame = split.known
    times_us = np.asarray(times_us, dtype=np.int64)
    if frame.height == 0:
        return np.full(times_us.shape, np.nan)
    t = frame["time"].dt.epoch("us").to_numpy().astype(np.int64)
    d = frame["daylight_lx"].to_numpy()
    index = np.searchsorted(t, times_us, side="right") - 1
    earlier, later = np.maximum(index, 0), np.minimum(index + 1, t.size - 1)
    between = np.interp(times_us, t, d)
    close = (t[later] - t[earlier] <= HOLD_SAMPLED_US) & (index >= 0) & (index + 1 < t.size)
    held = (times_us - t[earlier] <= (HOLD_CHANGES_US if split.held else HOLD_SAMPLED_US)) & (index >= 0)
    soon = (index < 0) & (t[0] - times_us <= HOLD_SAMPLED_US / 3)
    return np.where(close, between, np.where(held, d[earlier], np.where(soon, d[0], np.nan)))


def find_swapped(readings_by_channel: Mapping[str, pl.DataFrame], outputs: Mapping[str, pl.DataFrame]) -> list[Finding]:
    """Channels whose outputs move each other's readings more than their own.

    Parameters
    ----------
    readings_by_channel
        By channel: the reading of its detector, ``time``, ``value`` [lx].
    outputs
        By channel: ``time``, ``value`` [percent]. Only channels in both are looked at.

    Returns
    -------
    One blocking finding per pair of swapped channels.
    """
    names = [name for name in readings_by_channel if name in outputs and readings_by_channel[name].height]
    if len(names) < 2:
        return []
    tracks = {name: outputs[name] for name in names}
    splits = {name: split_light(readings_by_channel[name], tracks, own_channel=name) for name in names}
    pairs = itertools.combinations(names, 2)
    return [_swapped(splits, a, b) for a, b in pairs if _crossed(splits[a], splits[b], a, b)]


def _crossed(split_a: LightSplit, split_b: LightSplit, a: str, b: str) -> bool:
    """Whether two readings follow each other's channel more than their own.

    Each detector may hang nearer to either load, so it is the product of the two cross contributions over the product of the two own ones
    that tells; where one reading cannot part the channels, the other has to be plain.
    """
    pairs = [(s.lamps.get(own), s.lamps.get(other)) for s, own, other in ((split_a, a, b), (split_b, b, a))]
    told = [(mine, theirs) for mine, theirs in pairs if mine and theirs and mine.separable and theirs.separable]
    if not told:
        return False
    cross, own = math.prod(theirs.low_lx for _, theirs in told), math.prod(mine.high_lx for mine, _ in told)
    return cross > CROSSED ** len(told) * own


def _swapped(splits: Mapping[str, LightSplit], a: str, b: str) -> Finding:
    parts, lx = [], {}
    for own, other in ((a, b), (b, a)):
        lamps = splits[own].lamps
        if own in lamps and other in lamps and lamps[own].separable and lamps[other].separable:
            lx[own] = {name: round(lamps[name].at_full_lx, 1) for name in (own, other)}
            parts.append(
                f"the output of {other} moves the reading of {own} by {lx[own][other]:.0f} lx, that of {own} itself by {lx[own][own]:.0f} lx"
            )
    text = (
        f"Channels {a} and {b} are swapped: {'; '.join(parts)}. Check the assignment of detectors and loads, or the names in the log; work "
        "on wiring is for licensed electricians."
    )
    return Finding("swapped-channels", "blocking", text, {"channels": [a, b], "at_full_lx_by_reading": lx})

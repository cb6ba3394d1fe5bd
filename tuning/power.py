"""Light output → power: as measured, as given, or a straight line."""

from __future__ import annotations

import numpy as np
import polars as pl

from tuning.motion import US, Floats, times_us
from tuning.site import Channel

STEADY_S = 120.0
"""A power value counts for an output that stood for two minutes before it and one after, so that averages over a metering interval do not
mix two outputs. Chosen by us. [s]"""
LEVELS, ENOUGH = 20, 3
"""Outputs are looked at in steps of a twentieth; a measured curve needs three of them with three values each. Chosen by us."""


def power_of_output(output_pct: Floats, channel: Channel, load_w: float) -> Floats:
    """Power at given outputs. [W]; the given curve, else linear between standby and load.

    Parameters
    ----------
    output_pct
        Light output, any shape. [%]
    channel
        For its power curve and its standby.
    load_w
        Power at full output. [W]
    """
    if channel.power_curve:
        x, y = np.array(sorted(channel.power_curve)).T
        return np.interp(output_pct, x, y)
    return channel.standby_w + (load_w - channel.standby_w) * np.maximum(output_pct, 0.0) / 100.0


def measured_curve(output: pl.DataFrame, power: pl.DataFrame) -> tuple[tuple[float, float], ...]:
    """Power at outputs, from a metered series.

    Parameters
    ----------
    output
        ``time``, ``value`` [%], changes or samples.
    power
        ``time``, ``value`` [W].

    Returns
    -------
    Pairs of output [%] and power [W], never falling; empty where fewer than three levels of output were metered.
    """
    t, v = times_us(output), output["value"].to_numpy()
    at, watts = times_us(power), power["value"].to_numpy()
    if len(t) < 2 or len(at) < ENOUGH * ENOUGH:
        return ()
    steady = np.stack([_held(t, v, at + round(s * US)) for s in (-STEADY_S, -STEADY_S / 2, 0.0, STEADY_S / 2)])
    known = np.isfinite(steady).all(axis=0) & (np.ptp(steady, axis=0) <= 1.0)
    level = np.round(steady[2][known] / 100 * LEVELS).astype(np.int64)
    level[(level == 0) & (steady[2][known] > 0)] = 1
    pairs = []
    for step in np.unique(level):
        here = level == step
        if here.sum() >= ENOUGH:
            pairs.append((float(np.median(steady[2][known][here])), float(np.median(watts[known][here]))))
    if len(pairs) < ENOUGH or pairs[-1][0] < 50:
        return ()
    x, y = np.array(pairs).T
    y = np.maximum.accumulate(y)
    if x[-1] < 100:
        # beyond the brightest that was metered: along the straight line through it
        slope = (y[-1] - y[0]) / max(x[-1] - x[0], 1e-9)
        x, y = np.append(x, 100.0), np.append(y, y[-1] + slope * (100 - x[-1]))
    return tuple((float(a), float(b)) for a, b in zip(x, y, strict=True))


def with_measured_power(channel: Channel, output: pl.DataFrame, power: pl.DataFrame | None) -> Channel:
    """Return the channel with the power curve that its meter shows, or unchanged where it shows none."""
    if power is None or power.is_empty() or output.is_empty():
        return channel
    curve = measured_curve(output, power)
    return channel.model_copy(update={"power_curve": curve}) if curve else channel


def _held(t: np.ndarray, v: Floats, at: np.ndarray) -> Floats:
    index = np.searchsorted(t, at, side="right") - 1
    return np.where(index >= 0, v[np.maximum(index, 0)], np.nan)

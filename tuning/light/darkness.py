"""Hours without daylight: from the sun where the place is known, else from the log itself."""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import NDArray

from tuning.light.lamp_steps import OFF, Bools, Floats, Points

DARK_SUN_DEG = -8.0
"""Sun that far under the horizon leaves less than about a lux outdoors (civil twilight ends at −6°; from memory)."""
BIN_US = 900_000_000
_HALF_MONTH_US = 15 * 86_400_000_000
_GRID_S = 1200
_GRID_DAYS = 32
"""Days of sun that are worked out at once: each once for a building, though its channels' logs begin and end when they like."""


@functools.lru_cache(maxsize=64)
def _sun_of_days(latitude: float, longitude: float, block: int) -> tuple[Floats, Floats]:
    """Sun elevation and azimuth [deg] on a grid of 20 min through some days; one call serves all channels of a building."""
    import pandas as pd  # noqa: PLC0415 - slow to import and needed only where the place is known
    from pvlib.solarposition import get_solarposition  # noqa: PLC0415

    size = _GRID_DAYS * 86_400 // _GRID_S
    at = np.arange(block * size, (block + 1) * size, dtype=np.int64) * _GRID_S
    sun = get_solarposition(pd.to_datetime(at, unit="s", utc=True), latitude, longitude)
    return sun["elevation"].to_numpy(), sun["azimuth"].to_numpy()


def sun_at(t_us: NDArray[np.int64], *, latitude: float, longitude: float) -> tuple[Floats, Floats]:
    """Elevation and azimuth of the sun. [deg].

    Parameters
    ----------
    t_us
        UTC epoch microseconds, any length.
    latitude, longitude
        North and east positive. [deg]

    Notes
    -----
    By pvlib on a grid of 20 min, linear between: within 0.05° of elevation.
    """
    if t_us.size == 0:
        return np.empty(0), np.empty(0)
    step_us = _GRID_S * 1_000_000
    size = _GRID_DAYS * 86_400 // _GRID_S
    # one step more, so that the last time has the grid on both sides
    first, last = int(t_us.min() // step_us) // size, (int(t_us.max() // step_us) + 1) // size
    blocks = [_sun_of_days(latitude, longitude, block) for block in range(first, last + 1)]
    elevation, azimuth = (np.concatenate(part) for part in zip(*blocks, strict=True))
    at = np.arange(first * size, (last + 1) * size, dtype=np.int64) * step_us
    turned = np.interp(t_us, at, np.unwrap(azimuth, period=360))
    return np.interp(t_us, at, elevation), turned % 360


def dark_points(points: Points, *, latitude: float | None, longitude: float | None) -> Bools:
    """Which points fell into hours without daylight, shape (n,).

    Without a place, a quarter of an hour of the day counts as dark in half a month when the unlit readings taken in it (three at
    least, on two days at least) stay within 2 lx of the lowest tenth of all unlit readings. Lit readings have no say.
    """
    if latitude is not None and longitude is not None:
        return sun_at(points.t_us, latitude=latitude, longitude=longitude)[0] < DARK_SUN_DEG
    # a value held through the night may have been written at dusk: in a log of changes only written values tell
    unlit = (points.output <= OFF).all(axis=1) & points.fresh
    if unlit.sum() < 10:
        return np.zeros(points.t_us.size, dtype=bool)
    base_lx = float(np.quantile(points.lx[unlit], 0.05 if points.held else 0.1))
    if np.mean(points.lx[unlit] > base_lx + 10) < 0.02:
        return np.zeros(points.t_us.size, dtype=bool)  # no day in the readings, so nothing to call dark against
    number = points.t_us // BIN_US
    quarter = number % 96
    half_month = (points.t_us - points.t_us[0]) // _HALF_MONTH_US
    key = half_month * 96 + quarter
    size = int(key.max()) + 1
    count = np.bincount(key[unlit], minlength=size)
    bright = np.bincount(key[unlit], weights=points.lx[unlit] > base_lx + 2.0, minlength=size)
    # times are sorted, so each quarter of an hour of each day is one run
    run = np.append(True, np.diff(number[unlit]) > 0)
    days = np.bincount(key[unlit][run], minlength=size)
    dark = (count >= 3) & (days >= 2) & (bright <= 0.02 * count)
    return np.asarray(dark[key])

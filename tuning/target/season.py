"""Daylight of other months, from the sun's position and the daylight factors that the log shows.

Daylight at the detector is taken as a factor times the light that a clear sky would give outdoors. The factor holds window, blinds and
weather; its spread is learned by the direction of the sun, because a window sees the sun from one side. For other months the sun
is put where it will be at the hours at which the room was occupied, and the factors of that direction are drawn again. Weather that the
log's season did not have is not in it, nor is foliage or snow.
"""

from __future__ import annotations

import datetime as dt
import functools
from zoneinfo import ZoneInfo

import numpy as np

from tuning.light.darkness import sun_at
from tuning.light.lit_time import Moments
from tuning.light.split import LightSplit
from tuning.motion import US, Floats, Ints, times_us

LEAST_SUN_DEG = 3.0
"""Below this elevation the clear-sky model says nothing of use. Chosen by us. [deg]"""
SECTORS = 12
QUANTILES = np.array([0.05, 0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.95])
"""Ten equally likely skies."""
BIN_S = 1800
ENOUGH_SUNNY = 50
"""So many quarters of an hour with the sun up are needed to know a room's daylight. Chosen by us: some days."""
EVERY_US = 900 * US


def clear_sky_w_m2(elevation_deg: Floats) -> Floats:
    """Global horizontal irradiance under a clear sky [W/m²] by pvlib's Haurwitz model, 0 below the horizon.

    Parameters
    ----------
    elevation_deg
        Elevation of the sun, any shape. [deg]

    References
    ----------
    B. Haurwitz, "Insolation in relation to cloudiness and cloud density", Journal of Meteorology 2 (1945), as in pvlib.
    """
    import pandas as pd  # noqa: PLC0415 - slow to import, as is pvlib
    from pvlib.clearsky import haurwitz  # noqa: PLC0415

    elevation = np.asarray(elevation_deg, dtype=float)
    ghi = haurwitz(pd.Series(90.0 - elevation.ravel()))["ghi"].to_numpy()
    return np.asarray(ghi, dtype=float).reshape(elevation.shape)


def year_moments(
    split: LightSplit, moments: Moments, *, latitude: float, longitude: float, zone: ZoneInfo
) -> Moments | None:
    """Lit occupied time of a whole year, as it would be with the log's habits and skies.

    Parameters
    ----------
    split
        The reading taken apart; its daylight teaches the factors.
    moments
        Lit occupied time of the log; teaches the hours.
    latitude, longitude
        North and east positive. [deg]
    zone
        The building's zone.

    Returns
    -------
    Moments whose ``day`` is the month (1…12), all months with the same occupied time; ``None`` where the log shows too little sun.
    """
    factors = _factors(split, latitude, longitude)
    if factors is None:
        return None
    minute, share = _hours(moments, zone)
    year = dt.datetime.fromtimestamp(int(moments.t_us[-1]) / US, tz=dt.UTC).year
    t = _year_times(year, zone.key)  # shape (12, bins)
    elevation, azimuth = _year_sun(year, zone.key, latitude, longitude)
    sky = np.where(elevation > 0, clear_sky_w_m2(elevation), 0.0)
    sector = (azimuth / 360 * SECTORS).astype(np.int64) % SECTORS
    daylight = sky[..., None] * factors[sector]  # (12, bins, skies)
    weight = np.broadcast_to(share[None, minute, None], daylight.shape) / len(QUANTILES)
    month = np.broadcast_to(np.arange(1, 13)[:, None, None], daylight.shape)
    keep = weight.ravel() > 0
    neighbours = np.average(moments.neighbours, weights=moments.weight)
    size = int(keep.sum())
    return Moments(
        daylight.ravel()[keep],
        np.full(size, neighbours),
        np.zeros(size),
        weight.ravel()[keep],
        month.ravel()[keep],
        np.broadcast_to(t[..., None], daylight.shape).ravel()[keep],
    )


def _factors(split: LightSplit, latitude: float, longitude: float) -> Floats | None:
    """Daylight per clear-sky irradiance by direction of the sun, quantiles, shape (SECTORS, skies); ``None`` if not known."""
    t, d = times_us(split.known), split.known["daylight_lx"].to_numpy()
    first = np.append(True, np.diff(t // EVERY_US) > 0)
    t, d = t[first], d[first]
    elevation, azimuth = sun_at(t, latitude=latitude, longitude=longitude)
    up = elevation > LEAST_SUN_DEG
    if up.sum() < ENOUGH_SUNNY:
        return None
    factor = d[up] / clear_sky_w_m2(elevation[up])
    sector = (azimuth[up] / 360 * SECTORS).astype(np.int64) % SECTORS
    table = np.tile(np.quantile(factor, QUANTILES), (SECTORS, 1))
    seen = [s for s in range(SECTORS) if (sector == s).sum() >= ENOUGH_SUNNY // 2]
    for s in seen:
        table[s] = np.quantile(factor[sector == s], QUANTILES)
    for s in range(SECTORS):  # a direction that the log's season did not have takes after its neighbour
        if seen and s not in seen:
            table[s] = table[min(seen, key=lambda o: min((o - s) % SECTORS, (s - o) % SECTORS))]
    return table


def _hours(moments: Moments, zone: ZoneInfo) -> tuple[Ints, Floats]:
    """Bins of the local day and the share of occupied time in each."""
    middle = dt.datetime.fromtimestamp(int(np.median(moments.t_us)) / US, tz=zone)
    offset_us = round((middle.utcoffset() or dt.timedelta()).total_seconds()) * US
    second = (moments.t_us + offset_us) // US % 86_400
    share = np.bincount(second // BIN_S, weights=moments.weight, minlength=86_400 // BIN_S)
    return np.arange(86_400 // BIN_S), share / share.sum()


@functools.lru_cache(maxsize=8)
def _year_times(year: int, zone_name: str) -> Ints:
    """UTC of the middle of every bin of the 15th of each month, shape (12, bins). [µs]."""
    zone = ZoneInfo(zone_name)
    rows = []
    for month in range(1, 13):
        noon = dt.datetime(year, month, 15, 12, tzinfo=zone)
        rows.append(round(noon.timestamp()) * US + (np.arange(0, 86_400, BIN_S) + BIN_S // 2 - 43_200) * US)
    return np.array(rows, dtype=np.int64)


@functools.lru_cache(maxsize=8)
def _year_sun(year: int, zone_name: str, latitude: float, longitude: float) -> tuple[Floats, Floats]:
    """Elevation and azimuth at those times. [deg]; day by day, so that only twelve days are worked out."""
    days = [sun_at(row, latitude=latitude, longitude=longitude) for row in _year_times(year, zone_name)]
    return np.array([d[0] for d in days]), np.array([d[1] for d in days])

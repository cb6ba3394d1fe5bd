"""Daylight outside: the sun of the dates, under clouds that are drawn."""

import math
from datetime import date
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Floats = NDArray[np.float64]

DAY_MIN = 1440
CLEAR_FIRST, CLEAR_AFTER_CLOUDY, CLEAR_AFTER_CLEAR = 0.4, 0.27, 0.6
"""Shares of clear days: the first one, after a cloudy day, after a clear day."""


class Place(NamedTuple):
    """Where a room is, in degrees north and east."""

    time_zone: str
    latitude: float
    longitude: float


PLACES = (
    Place("Europe/Copenhagen", 55.7, 12.6),
    Place("Europe/Berlin", 52.5, 13.4),
    Place("Europe/London", 51.5, -0.1),
    Place("Europe/Madrid", 40.4, -3.7),
    Place("Europe/Vienna", 48.2, 16.4),
    Place("Europe/Helsinki", 60.2, 24.9),
)


class Outdoors(NamedTuple):
    """Every minute: light of the sky on the ground [lx], of the sun across its beam [lx], where it stands [rad from north], sine of its height."""

    sky_lx: Floats
    beam_lx: Floats
    azimuth: Floats
    height: Floats


def outdoors(
    rng: np.random.Generator, place: Place, first: date, utc_offset_h: float, days: int, repeats: int
) -> Outdoors:
    """Draw the daylight of ``days`` dates, ``repeats`` times over: the same sun under other clouds."""
    elevation, azimuth = _sun(place, first.timetuple().tm_yday - 1 + np.arange(days * DAY_MIN) / DAY_MIN, utc_offset_h)
    height = np.clip(np.sin(elevation), 0, None)
    twilight = 300 * np.exp(np.clip(np.degrees(elevation), -12, 0) / 1.7) * (elevation > math.radians(-10))
    height, twilight, azimuth = (np.tile(x, repeats) for x in (height, twilight, azimuth))
    clear = 1 - _cloud_cover(rng, days * repeats)
    sky = height**0.85 * (14_000 + 13_200 * np.sin(np.pi * clear)) + twilight
    beam = clear**1.5 * 90_000 * np.exp(-0.22 / np.clip(height, 0.02, None)) * (height > 0)
    return Outdoors(sky, beam, azimuth, height)


def _sun(place: Place, day_of_year: Floats, utc_offset_h: float) -> tuple[Floats, Floats]:
    """Elevation and azimuth [rad] by the usual short formulas; days of the year from 0, in local time."""
    declination = -0.4093 * np.cos(2 * np.pi * (day_of_year + 10) / 365.25)
    angle = 2 * np.pi * (day_of_year - 81) / 365
    equation_min = 9.87 * np.sin(2 * angle) - 7.53 * np.cos(angle) - 1.5 * np.sin(angle)
    solar_h = 24 * (day_of_year % 1) - utc_offset_h + (4 * place.longitude + equation_min) / 60
    hour_angle = np.radians(15 * (solar_h - 12))
    north = math.radians(place.latitude)
    sine = np.sin(north) * np.sin(declination) + np.cos(north) * np.cos(declination) * np.cos(hour_angle)
    towards_north = (np.sin(declination) - np.sin(north) * sine) / np.cos(north)
    return np.arcsin(sine), np.arctan2(-np.cos(declination) * np.sin(hour_angle), towards_north)


def _cloud_cover(rng: np.random.Generator, days: int) -> Floats:
    """Every minute, from 0 (clear) to 1: clear and cloudy days that last, clouds of 40 min, and of 4 min."""
    drawn = rng.random(days)
    clear = np.zeros(days, bool)
    for day in range(days):
        share = CLEAR_FIRST if day == 0 else CLEAR_AFTER_CLEAR if clear[day - 1] else CLEAR_AFTER_CLOUDY
        clear[day] = drawn[day] < share
    by_day = np.where(clear, rng.normal(-1.6, 0.5, days), rng.normal(1.2, 0.8, days))
    slow = np.interp(np.arange(days * DAY_MIN) / DAY_MIN, np.arange(days) + 0.5, by_day)
    log_odds = slow + _wander(rng, days * DAY_MIN, 40.0, 0.8) + _wander(rng, days * DAY_MIN, 4.0, 0.35)
    return 1 / (1 + np.exp(-log_odds))


def _wander(rng: np.random.Generator, minutes: int, lasts_min: float, spread: float) -> Floats:
    kept = math.exp(-1 / lasts_min)
    return lfilter([spread * math.sqrt(1 - kept * kept)], [1, -kept], rng.standard_normal(minutes))


class Window(NamedTuple):
    """A room's window: where it faces [rad from north], share of the sky's light at the detector, share of the sun that blinds let in."""

    facing: float
    daylight_factor: float
    blinds: float

    def inside_lx(self, outside: Outdoors) -> Floats:
        """Daylight in the detector's reading [lx]; above 3000 lx it hardly rises."""
        along = np.sqrt(np.clip(1 - outside.height**2, 0, 1))
        on_facade = np.clip(np.cos(outside.azimuth - self.facing), 0, None) * along
        sun = (0.5 * self.blinds * on_facade + 0.08 * outside.height) * outside.beam_lx
        reading = self.daylight_factor * (0.6 * outside.sky_lx + sun)
        return np.minimum(reading, 3000 + 0.1 * reading)


def draw_window(rng: np.random.Generator, *, interior: bool) -> Window:
    """Draw a window; ``interior`` rooms get a fiftieth, through doors."""
    factor = float(np.exp(rng.uniform(np.log(0.004), np.log(0.09))))
    return Window(float(rng.uniform(0, 2 * np.pi)), factor * (0.02 if interior else 1.0), float(rng.uniform(0.1, 0.4)))

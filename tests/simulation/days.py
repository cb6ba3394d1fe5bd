"""The days of a log in local time, and the sun over them."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

DAY_S = 86_400.0
WEEK_S = 7 * DAY_S
KNOT_S = 300.0  # spacing of the daylight series
GRID_S = 60.0  # spacing of the light control


@dataclass(frozen=True)
class Place:
    """A town with its time zone, latitude and longitude [deg]."""

    time_zone: str
    latitude_deg: float
    longitude_deg: float


PLACES = (
    Place("Europe/Copenhagen", 55.7, 12.6),
    Place("Europe/Vienna", 48.2, 16.4),
    Place("Europe/Lisbon", 38.7, -9.1),
    Place("Europe/Helsinki", 60.2, 24.9),
    Place("Europe/Dublin", 53.3, -6.3),
    Place("America/Chicago", 41.9, -87.6),
    Place("Australia/Melbourne", -37.8, 145.0),
)


@dataclass(frozen=True)
class Calendar:
    """Days of one or more repetitions of the same weeks.

    Attributes
    ----------
    start
        Local midnight of the first Monday, as an aware datetime in UTC.
    midnight_s
        Local midnight of every day [s] after `start`, shape (days,).
    weekday
        0 Monday … 6 Sunday, shape (days,).
    span_s
        Length of all repetitions [s].
    repeats
        How often the weeks are repeated (always with the same sun).
    """

    start: datetime
    midnight_s: FloatArray
    weekday: NDArray[np.int64]
    span_s: float
    repeats: int
    place: Place

    @property
    def weeks(self) -> float:
        """Number of weeks over all repetitions."""
        return self.span_s / WEEK_S


def make_calendar(first_monday: date, weeks: int, place: Place, repeats: int = 1) -> Calendar:
    """Lay out `weeks` from `first_monday`, `repeats` times over with the same dates."""
    zone = ZoneInfo(place.time_zone)
    utc = ZoneInfo("UTC")
    start = datetime.combine(first_monday, datetime.min.time(), tzinfo=zone).astimezone(utc)
    offsets = []
    for day in range(7 * weeks):
        # Noon less twelve hours: on the night the clocks change this is right from the small hours on.
        noon = datetime.combine(first_monday + timedelta(days=day), datetime.min.time(), tzinfo=zone).replace(hour=12)
        offsets.append((noon.astimezone(utc) - start).total_seconds() - DAY_S / 2)
    once = np.asarray(offsets)
    span = weeks * WEEK_S
    midnight = (once[None, :] + span * np.arange(repeats)[:, None]).ravel()
    return Calendar(start, midnight, np.tile(np.arange(7 * weeks) % 7, repeats), span * repeats, repeats, place)


def sun(calendar: Calendar) -> tuple[FloatArray, FloatArray]:
    """Sine of the sun's elevation and its azimuth [rad, from north through east], at knots of one repetition.

    Low-precision formulas (declination from the day of the year, equation of time left out: up to 16 min early or
    late), which is enough to give a room its day.
    """
    n = round(calendar.span_s / calendar.repeats / KNOT_S) + 1
    t_s = np.arange(n) * KNOT_S
    start = calendar.start
    day_of_year = start.timetuple().tm_yday + (start.hour * 3600 + start.minute * 60 + t_s) / DAY_S
    declination = np.radians(-23.44) * np.cos(2 * np.pi * (day_of_year + 9) / 365.25)
    solar_h = (start.hour + start.minute / 60 + t_s / 3600 + calendar.place.longitude_deg / 15) % 24
    hour_angle = np.radians(15 * (solar_h - 12))
    latitude = np.radians(calendar.place.latitude_deg)
    sin_elevation = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    east = -np.cos(declination) * np.sin(hour_angle)
    north = np.cos(latitude) * np.sin(declination) - np.sin(latitude) * np.cos(declination) * np.cos(hour_angle)
    return sin_elevation, np.arctan2(east, north)

"""A week → a year: by the number of weeks, and by season where the log and the sun's position tell what other months bring."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from tuning.owner.under import Week
from tuning.results import ChannelResult

WEEKS_A_YEAR = 365.25 / 7
LEAST_SEASON, MOST_SEASON = 0.5, 2.0
"""A season that would halve or double a week's energy is not believed; the log's week is taken as it is. Chosen by us."""


@dataclass(frozen=True)
class YearFigures:
    """A year of one channel or of many.

    Attributes
    ----------
    energy_kwh, light_kwh
        All energy that is known, and the part that is light. [kWh/a]
    false_offs, wasted_on_h
        Of light, a year.
    dark_h
        Hours in which a false-off left somebody in the dark until they moved. [h/a]
    """

    energy_kwh: float = 0.0
    light_kwh: float = 0.0
    false_offs: float = 0.0
    wasted_on_h: float = 0.0
    dark_h: float = 0.0


def total(parts: Iterable[YearFigures]) -> YearFigures:
    """Sum years."""
    whole = list(parts)
    return YearFigures(
        *(sum(getattr(p, f) for p in whole) for f in ("energy_kwh", "light_kwh", "false_offs", "wasted_on_h", "dark_h"))
    )


def season_factor(c: ChannelResult) -> float | None:
    """Energy of an average week of the year over that of an average week of the log; ``None`` where other months are not known.

    The analysis works out a year's energy under the target that keeps the task lit (:mod:`tuning.target.season`); against the log's own weeks
    under the same target that gives a factor, which is taken to hold under other targets and hold-offs as well.
    """
    light = c.light
    week = next((p.energy_kwh for p in light.target_curve if p.target_lx == light.recommended_target_lx), 0.0)
    if light.yearly_kwh is None or week <= 0:
        return None
    factor = light.yearly_kwh / (week * WEEKS_A_YEAR)
    return factor if LEAST_SEASON <= factor <= MOST_SEASON else None


def year_of(week: Week, *, season: float | None, lights: bool, energy_known: bool, dark_s: float | None) -> YearFigures:
    """Scale a week.

    Parameters
    ----------
    week
        Of one channel.
    season
        See :func:`season_factor`; 1 where ``None``.
    lights
        Whether the channel is light; of a fan or another relay only the energy counts.
    energy_known
        Whether its load is given or metered; else its energy counts nothing.
    dark_s
        How long a false-off leaves somebody in the dark; counts nothing where not known. [s]
    """
    energy = week.energy_kwh * WEEKS_A_YEAR * (season or 1.0) if energy_known else 0.0
    return YearFigures(
        energy_kwh=energy,
        light_kwh=energy if lights else 0.0,
        false_offs=week.false_offs * WEEKS_A_YEAR * lights,
        wasted_on_h=week.wasted_on_h * WEEKS_A_YEAR * lights,
        dark_h=week.false_offs * WEEKS_A_YEAR * (dark_s or 0.0) / 3600 * lights,
    )

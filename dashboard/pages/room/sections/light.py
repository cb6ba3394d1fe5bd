"""What the log tells of the light: targets, the task, a typical day, a year. Each figure is hidden where the log does not tell."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import dash
from dash import Output, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.figures.drawing import Figure
from dashboard.figures.light_day import light_day_figure
from dashboard.figures.season import season_figure
from dashboard.figures.target_curve import target_figure
from dashboard.figures.task_light import task_figure
from dashboard.figures.theme import Palette, palette
from dashboard.pages.room.context import (
    PLACE,
    QUIET,
    SCHEME,
    VERSION,
    Place,
    drawn,
    evidence,
    find,
    fitted,
    graph,
)
from dashboard.store import Stores
from tuning.results import ChannelResult, LightResult


@dataclass(frozen=True)
class _Picture:
    """One figure: where it goes, what is said with it, and whether there is anything to draw."""

    name: str
    box: str
    title: str
    caption: str
    label: str
    draw: Callable[[ChannelResult, Palette], Figure]
    told: Callable[[LightResult], bool]

    def laid_out(self) -> Component:
        inner = evidence(self.title, self.caption, graph(self.name, QUIET, self.label))
        return html.Div(inner, id=self.box, hidden=True)


_PICTURES = (
    _Picture(
        ids.TARGET,
        ids.TARGET_BOX,
        "What each target brings",
        "Shares of the time that is lit with somebody there.",
        "Under-lit share and energy for each target illuminance",
        target_figure,
        lambda light: bool(light.target_curve),
    ),
    _Picture(
        ids.TASK,
        ids.TASK_BOX,
        "Light at the task",
        "Daylight and lamps together, at five-minute steps while lit with somebody there.",
        "Distribution of the illuminance at the task",
        task_figure,
        lambda light: light.task_lx_lit is not None,
    ),
    _Picture(
        ids.LIGHT_DAY,
        ids.LIGHT_DAY_BOX,
        "Daylight and lamps over a day",
        "Mean of the days on which the light burnt. Bars: where the daylight of eight days in ten lay.",
        "Reading at the detector over a typical day: daylight, and lamps on top of it",
        light_day_figure,
        lambda light: light.typical_day is not None,
    ),
    _Picture(
        ids.SEASON,
        ids.SEASON_BOX,
        "Over a year",
        "Under the target that keeps the task lit; daylight of other months is estimated from the sun and the daylight that the log shows.",
        "Under-lit share, energy and daylight of each month",
        season_figure,
        lambda light: light.months is not None,
    ),
)


def section() -> Component:
    """Lay the section out."""
    return html.Div([picture.laid_out() for picture in _PICTURES])


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""
    places = [out for p in _PICTURES for out in (Output(p.box, "hidden"), *drawn(p.name))]

    # One answer for all of them: each answer costs the browser a walk through everything on the page.
    @app.callback(*places, PLACE, VERSION, SCHEME)
    def fill(place: Place, _version: int | None, scheme: str | None) -> tuple[Any, ...]:
        c = find(stores, place).channel
        made = ((not p.told(c.light), *fitted(p.draw(c, palette(scheme)))) for p in _PICTURES)
        return tuple(part for picture in made for part in picture)

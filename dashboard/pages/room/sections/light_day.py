"""The reading over a typical day; hidden where the log does not tell lamps from daylight."""

from __future__ import annotations

import dash
from dash import Output, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.figures.light_day import light_day_figure
from dashboard.figures.theme import palette
from dashboard.pages.room.context import (
    LATER,
    QUIET,
    SCHEME,
    VERSION,
    Drawn,
    Place,
    drawn,
    evidence,
    find,
    fitted,
    graph,
)
from dashboard.store import Stores


def section() -> Component:
    """Lay the section out."""
    inner = evidence(
        "Daylight and lamps over a day",
        "Mean of the days on which the light burnt. Bars: where the daylight of eight days in ten lay.",
        graph(ids.LIGHT_DAY, QUIET, "Reading at the detector over a typical day: daylight, and lamps on top of it"),
    )
    return html.Div(inner, id=ids.LIGHT_DAY_BOX, hidden=True)


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(Output(ids.LIGHT_DAY_BOX, "hidden"), *drawn(ids.LIGHT_DAY), LATER, VERSION, SCHEME)
    def light_day(place: Place, _version: int | None, scheme: str | None) -> tuple[bool, *Drawn]:
        c = find(stores, place).channel
        return c.light.typical_day is None, *fitted(light_day_figure(c, palette(scheme)))

"""What other months would bring; hidden where the log does not tell."""

from __future__ import annotations

import dash
from dash import Output, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.figures.season import season_figure
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
        "Over a year",
        "Under the target that keeps the task lit; daylight of other months is estimated from the sun and the daylight that the log shows.",
        graph(ids.SEASON, QUIET, "Under-lit share, energy and daylight of each month"),
    )
    return html.Div(inner, id=ids.SEASON_BOX, hidden=True)


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(Output(ids.SEASON_BOX, "hidden"), *drawn(ids.SEASON), LATER, VERSION, SCHEME)
    def season(place: Place, _version: int | None, scheme: str | None) -> tuple[bool, *Drawn]:
        c = find(stores, place).channel
        return c.light.months is None, *fitted(season_figure(c, palette(scheme)))

"""What each target illuminance brings; hidden where the log does not tell."""

from __future__ import annotations

import dash
from dash import Output, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.figures.target_curve import target_figure
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
        "What each target brings",
        "Shares of the time that is lit with somebody there.",
        graph(ids.TARGET, QUIET, "Under-lit share and energy for each target illuminance"),
    )
    return html.Div(inner, id=ids.TARGET_BOX, hidden=True)


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(Output(ids.TARGET_BOX, "hidden"), *drawn(ids.TARGET), LATER, VERSION, SCHEME)
    def target(place: Place, _version: int | None, scheme: str | None) -> tuple[bool, *Drawn]:
        c = find(stores, place).channel
        return not c.light.target_curve, *fitted(target_figure(c, palette(scheme)))

"""What each hold-off brings: the delay curve, and the same in numbers."""

from __future__ import annotations

import dash
from dash import Output, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components.still import still
from dashboard.figures.delay_curve import delay_figure
from dashboard.figures.theme import palette
from dashboard.pages.room import parts
from dashboard.pages.room.context import (
    LATER,
    PLACE,
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
    return evidence(
        "What each hold-off brings",
        "Full line: seen in the log. Broken line on shaded ground: extrapolated beyond the hold-off in force. Crosses may not be set.",
        graph(ids.DELAY, QUIET, "Delay curve: false-offs, light with nobody there and cost for each hold-off"),
        html.Details(
            [html.Summary("The same in numbers"), html.Div(id=ids.ROOM_NUMBERS, className="scrolls", tabIndex=0)]
        ),
    )


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(*drawn(ids.DELAY), PLACE, VERSION, SCHEME)
    def delay(place: Place, _version: int | None, scheme: str | None) -> Drawn:
        here = find(stores, place)
        return fitted(delay_figure(here.channel, palette(scheme), currency=here.analysis.currency))

    @app.callback(Output(ids.ROOM_NUMBERS, "children"), LATER, VERSION)
    def numbers(place: Place, _version: int | None) -> Component:
        here = find(stores, place)
        return still(parts.numbers(here.channel, here.analysis))

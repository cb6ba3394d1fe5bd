"""What each hold-off brings: the delay curve, and the same in numbers."""

from __future__ import annotations

from typing import Any

import dash
from dash import Output, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components.still import still
from dashboard.figures.delay_curve import delay_figure
from dashboard.figures.theme import palette
from dashboard.pages.room import parts
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

    # One answer for both: each answer costs the browser a walk through everything on the page.
    @app.callback(*drawn(ids.DELAY), Output(ids.ROOM_NUMBERS, "children"), PLACE, VERSION, SCHEME)
    def delay(place: Place, _version: int | None, scheme: str | None) -> tuple[Any, ...]:
        here = find(stores, place)
        figure = fitted(delay_figure(here.channel, palette(scheme), currency=here.analysis.currency))
        return *figure, still(parts.numbers(here.channel, here.analysis))

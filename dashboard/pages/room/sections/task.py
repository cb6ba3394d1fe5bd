"""How much light the task had; hidden where the log does not tell."""

from __future__ import annotations

import dash
from dash import Output, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.figures.task_light import task_figure
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
        "Light at the task",
        "Daylight and lamps together, at five-minute steps while lit with somebody there.",
        graph(ids.TASK, QUIET, "Distribution of the illuminance at the task"),
    )
    return html.Div(inner, id=ids.TASK_BOX, hidden=True)


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(Output(ids.TASK_BOX, "hidden"), *drawn(ids.TASK), LATER, VERSION, SCHEME)
    def task(place: Place, _version: int | None, scheme: str | None) -> tuple[bool, *Drawn]:
        c = find(stores, place).channel
        return c.light.task_lx_lit is None, *fitted(task_figure(c, palette(scheme)))

"""Auto-on or manual-on: what a press instead of movement would save and cost."""

from __future__ import annotations

import dash
from dash import Output, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.components.still import still
from dashboard.mode_words import CAPTION, TITLE, mode_rows, mode_verdict
from dashboard.pages.room.context import PLACE, VERSION, Place, analysis_of, channel_of, evidence
from dashboard.store import Stores


def section() -> Component:
    """Lay the section out."""
    return evidence(TITLE, CAPTION, html.Div(id=ids.MODE))


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(Output(ids.MODE, "children"), PLACE, VERSION)
    def mode(place: Place, _version: int | None) -> list[Component]:
        _, analysis = analysis_of(stores, place)
        c = channel_of(analysis, place["room"], place["channel"])
        if c is None:
            raise PreventUpdate
        rows = mode_rows(c, analysis)
        table = html.Dl([html.Div([html.Dt(k), html.Dd(v)]) for k, v in rows], className="known")
        return still([html.P(mode_verdict(c)), *([table] if rows else [])])

"""The verification page's skeleton; a callback fills it."""

from __future__ import annotations

from urllib.parse import unquote

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components.marks import cautions


def layout(building: str = "", **_other: str) -> Component:
    """Lay out the page of a building."""
    return html.Div(
        [
            dcc.Store(id=ids.VERIFIED, data=unquote(building)),
            html.Div(id=ids.VERIFIED_BODY),
            cautions(),
        ],
        className="page verification",
    )

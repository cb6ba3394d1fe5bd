"""The owner's page: a year of the building, to look at and to print; callbacks fill it."""

from __future__ import annotations

from urllib.parse import unquote

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids


def layout(building: str = "", settings: str = "", **_other: str) -> Component:
    """Lay out the page.

    Parameters
    ----------
    building
        As the address names it.
    settings
        ``accepted`` or ``recommended``; where neither, accepted ones once somebody has decided.
    """
    return html.Div(
        [
            dcc.Store(id=ids.OWNER, data={"building": unquote(building), "settings": settings}),
            html.Div(html.P("Working out the year …", className="nothing"), id=ids.OWNER_BODY),
        ],
        className="page owner",
    )

"""The building page's skeleton; callbacks fill it, and the browser draws the list of rooms into it."""

from __future__ import annotations

from urllib.parse import unquote

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components.marks import cautions
from dashboard.pages.building import decisions


def layout(building: str = "", **_state: str) -> Component:
    """Lay out the page.

    Parameters
    ----------
    building
        As the address names it; empty where the server has one only. Search, filters, order and selection stand in the address as
        well; the browser reads them there.
    """
    return html.Div(
        [
            dcc.Store(id=ids.BUILDING, data=unquote(building)),
            dcc.Store(id=ids.BUILDING_DATA),
            dcc.Store(id=ids.BUILDING_DRAWN),
            dcc.Store(id=ids.SELECTION, data=[]),
            dcc.Store(id=ids.DRIFT_OPEN, data=False),
            html.Div(id=ids.BUILDING_HEAD, className="page-head"),
            html.Div(
                [html.Section(id=ids.BUILDING_BALANCE), html.Section(id=ids.BUILDING_ATTENTION)],
                className="overview",
            ),
            html.Section(
                [html.Div(id=ids.BUILDING_DRIFT), html.Div(id=ids.DRIFT_TOLD, role="status")], className="changed-rooms"
            ),
            html.Section(_list(), id=ids.BUILDING_ROWS, className="rooms", **{"aria-label": "Rooms"}),
            html.Section(
                [html.Div(id=ids.BUILDING_STARTING), html.Div(id=ids.STARTING_TOLD, role="status")],
                className="without-log",
            ),
            html.Section(id=ids.BUILDING_LOGS),
            cautions(),
        ],
        className="page building",
    )


def _list() -> list[Component]:
    """Places that ``assets/rooms.js`` draws into; of these only the actions belong to callbacks."""
    return [
        html.Div(className="toolbar"),
        html.Div(html.P("Reading the list of rooms …", className="nothing"), className="listing"),
        html.Div(
            [
                html.Div(className="sums"),
                html.Div(
                    [*decisions.actions(), *decisions.told()], id=ids.BUILDING_ACTIONS, className="actions", hidden=True
                ),
            ],
            className="picked",
            role="region",
            hidden=True,
            **{"aria-label": "Selected rooms"},
        ),
    ]

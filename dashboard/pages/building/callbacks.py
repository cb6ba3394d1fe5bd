"""The building page's callbacks: read, call, return."""

from __future__ import annotations

from typing import Any

import dash
from dash import ClientsideFunction, Input, Output
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.pages.building import parts
from dashboard.pages.building.rows import table_data
from dashboard.store import Stores
from tuning.results import Analysis


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the page to the stores."""

    @app.callback(
        Output(ids.BUILDING_HEAD, "children"),
        Output(ids.BUILDING_BALANCE, "children"),
        Output(ids.BUILDING_ATTENTION, "children"),
        Output(ids.BUILDING_LOGS, "children"),
        Output(ids.BUILDING_DATA, "data"),
        Input(ids.VERSION, "data"),
        Input(ids.BUILDING, "data"),
    )
    def overview(_version: int | None, building: str) -> tuple[Any, ...]:
        analysis = analysis_of(stores, building)
        told = parts.attention_list(analysis, building)
        return parts.head(analysis), parts.balance(analysis), told, parts.logs(analysis), table_data(analysis, building)

    app.clientside_callback(
        ClientsideFunction("rooms", "show"), Output(ids.BUILDING_DRAWN, "data"), Input(ids.BUILDING_DATA, "data")
    )


def analysis_of(stores: Stores, building: str) -> Analysis:
    """Return a building's analysis.

    Raises
    ------
    PreventUpdate
        While there is none.
    """
    store = stores.of(building)
    analysis = store.analysis() if store is not None else None
    if analysis is None:
        raise PreventUpdate
    return analysis

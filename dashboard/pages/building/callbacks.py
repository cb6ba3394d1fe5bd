"""The building page's callbacks: read, call, return."""

from __future__ import annotations

from typing import Any

import dash
from dash import ClientsideFunction, Input, Output
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.pages.building import decisions, parts
from dashboard.pages.building.rows import table_data
from dashboard.store import Store, Stores
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
        Input(ids.BOOK, "data"),
    )
    def overview(_version: int | None, building: str, _book: int | None) -> tuple[Any, ...]:
        store, analysis = store_of(stores, building)
        told = parts.attention_list(analysis, building)
        rows = table_data(analysis, building, decisions.stands(store.desk, analysis), can_decide=store.desk is not None)
        return (
            parts.head(analysis),
            parts.balance(analysis),
            told,
            parts.logs(analysis),
            rows,
        )

    decisions.register(app, stores)
    app.clientside_callback(
        ClientsideFunction("rooms", "show"), Output(ids.BUILDING_DRAWN, "data"), Input(ids.BUILDING_DATA, "data")
    )


def store_of(stores: Stores, building: str) -> tuple[Store, Analysis]:
    """Return a building's store and analysis.

    Raises
    ------
    PreventUpdate
        While there is none.
    """
    store = stores.of(building)
    analysis = store.analysis() if store is not None else None
    if store is None or analysis is None:
        raise PreventUpdate
    return store, analysis

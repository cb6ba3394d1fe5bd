"""The building page's callbacks: read, call, return."""

from __future__ import annotations

from typing import Any

import dash
from dash import ClientsideFunction, Input, Output
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.components.still import still
from dashboard.pages.building import decisions, drifting, parts, starting
from dashboard.pages.building.rows import table_data
from dashboard.store import Desk, Store, Stores
from dashboard.workspace import acknowledging, intake
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
        desk = store.desk
        drifted = None if desk is None else acknowledging.standing(desk.ws, desk.building, desk.analysis)
        told = parts.attention_list(analysis, building, drifted, _not_taken(desk))
        rows = table_data(
            analysis, building, decisions.stands(desk, analysis), can_decide=desk is not None, drifted=drifted
        )
        return (
            still(parts.head(analysis)),
            still(parts.balance(analysis)),
            still(told),
            still(parts.logs(analysis)),
            rows,
        )

    decisions.register(app, stores)
    starting.register(app, stores)
    drifting.register(app, stores)
    app.clientside_callback(
        ClientsideFunction("rooms", "show"), Output(ids.BUILDING_DRAWN, "data"), Input(ids.BUILDING_DATA, "data")
    )


def _not_taken(desk: Desk | None) -> list[str]:
    """Files in the watched folder that could not be taken in, in words."""
    if desk is None:
        return []
    return [f"{a.name}: {a.problem}" for a in intake.problems(desk.ws, desk.building)]


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

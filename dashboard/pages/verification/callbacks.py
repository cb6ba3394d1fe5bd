"""The verification page's callback."""

from __future__ import annotations

import dash
from dash import Input, Output
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components.still import still
from dashboard.pages.verification import parts
from dashboard.workspace import Workspace, inputs, verifications
from dashboard.workspace import buildings as buildings_of
from dashboard.workspace.errors import NotThereError


def register(app: dash.Dash, ws: Workspace) -> None:
    """Tie the page to the workspace."""

    @app.callback(
        Output(ids.VERIFIED_BODY, "children"),
        Input(ids.VERIFIED, "data"),
        Input(ids.VERSION, "data"),
        Input(ids.BOOK, "data"),
    )
    def show(building: str, _version: int | None, _book: int | None) -> list[Component]:
        return still(body(ws, building))


def body(ws: Workspace, building: str) -> list[Component]:
    """Everything on the page."""
    try:
        name = buildings_of.info(ws, building).name
    except NotThereError:
        return parts.nowhere()
    with ws.reading() as session:
        visits = inputs.present(session, building)["visits"]
    return parts.page(name, building, verifications.latest(ws, building), visits)

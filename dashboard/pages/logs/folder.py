"""A folder of this machine that new logs are taken from: named by an administrator, with what came of each file."""

from __future__ import annotations

from typing import Any

import dash
import dash_mantine_components as dmc
from dash import Input, Output, State, ctx, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.needs import needs
from dashboard.pages.logs.parts import size, when
from dashboard.workspace import Workspace, buildings, intake
from dashboard.workspace.errors import NotThereError, WorkspaceError
from dashboard.workspace.intake import STILL_S, Arrival

SHOWN = 12
"""Files that are listed. Chosen by us."""


def section() -> Component:
    """Lay the section out, folded."""
    return html.Details(
        [
            html.Summary("Watched folder"),
            html.P(
                "New logs that are put into a folder of the server are taken in by themselves, each once, and "
                "analysed. A file is "
                f"complete when it has not changed for {STILL_S:g} s. Nothing in the folder is changed, and folders inside it are not looked into.",
                className="caption",
            ),
            html.Div(id=ids.FOLDER_STATE),
            html.Div(
                [
                    # Sent when the field is left: else a click may come before what was typed last.
                    dmc.TextInput(
                        id=ids.FOLDER_PATH, label="Folder, below the server's", value="", placeholder="harbour-house/export", debounce=True
                    ),
                    html.Button("Watch this folder", id=ids.FOLDER_WATCH, className="primary", n_clicks=0),
                    html.Button("Watch no more", id=ids.FOLDER_STOP, className="quiet", n_clicks=0, hidden=True),
                ],
                id=ids.FOLDER_FORM,
                className="form",
                hidden=True,
            ),
            html.P(id=ids.FOLDER_TOLD, className="told", role="alert"),
        ],
        className="old-analyses watched-folder",
    )  # fmt: skip


def register(app: dash.Dash, ws: Workspace) -> None:
    """Tie the section to a workspace."""

    @app.callback(
        Output(ids.FOLDER_STATE, "children"),
        Output(ids.FOLDER_FORM, "hidden"),
        Output(ids.FOLDER_STOP, "hidden"),
        Input(ids.LOGS, "data"),
        Input(ids.POLL, "data"),
        Input(ids.FOLDER_TOLD, "children"),
    )
    def show(building: str, _news: int | None, _told: Any) -> tuple[Any, bool, bool]:
        return shown(ws, building)

    @app.callback(
        Output(ids.FOLDER_TOLD, "children"),
        Input(ids.FOLDER_WATCH, "n_clicks"),
        Input(ids.FOLDER_STOP, "n_clicks"),
        State(ids.FOLDER_PATH, "value"),
        State(ids.LOGS, "data"),
        State(ids.WHO, "value"),
        prevent_initial_call=True,
    )
    @needs("administer")
    def act(_watch: int, _stop: int, path: str | None, building: str, who: str | None) -> str:
        if not ctx.triggered[0]["value"]:
            raise PreventUpdate
        return changed(ws, building, path or "", who or "", stop=ctx.triggered_id == ids.FOLDER_STOP)


def changed(ws: Workspace, building: str, path: str, who: str, *, stop: bool) -> str:
    """Watch a folder, or no more; says what went wrong."""
    try:
        if stop:
            intake.stop(ws, building, by=who)
        else:
            intake.watch(ws, building, path, by=who)
    except WorkspaceError as error:
        return str(error)
    return ""


def shown(ws: Workspace, building: str) -> tuple[Any, bool, bool]:
    """What is watched and what came of it; whether no folder can be named; whether none is watched."""
    try:
        folder, found = intake.watched(ws, building), intake.arrivals(ws, building, most=SHOWN)
        zone = str(buildings.document(ws, building)[0]["site"]["time_zone"])
    except NotThereError:
        return None, True, True
    if ws.logs_under is None:
        return (
            html.P(
                ["No folder can be watched: start the server with ", html.Code("--logs-under FOLDER"), "."],
                className="soft",
            ),
            True,
            True,
        )
    told = "No folder is watched."
    if folder is not None:
        told = f"Watching {folder.path}, named by {folder.by}, {when(folder.at, zone)}."
        try:
            intake.inside(ws, folder.path)
        except WorkspaceError:
            told += " It is not there now; it will be looked at when it is back."
    rows = [_row(a, zone) for a in found]
    table = [html.Table(html.Tbody(rows), className="plain")] if rows else []
    return [html.P(told, className="watch-state"), *table], False, folder is None


def _row(a: Arrival, zone: str) -> Component:
    state: Any = (
        html.Span([html.Strong("Not taken in. "), a.problem, " Mend or replace it there."], className="doubt")
        if a.problem
        else "taken in"
    )
    return html.Tr(
        [
            html.Th(a.name, scope="row"),
            html.Td(size(a.size), className="number", **{"data-label": "Size"}),
            html.Td(when(a.at, zone), className="soft"),
            html.Td(state),
        ]
    )

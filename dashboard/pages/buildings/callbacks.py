"""The list of buildings: read, call, return."""

from __future__ import annotations

from typing import Any

import dash
from dash import ALL, Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.components import marks
from dashboard.reader import number
from dashboard.workspace import Workspace, analyses, buildings, jobs
from dashboard.workspace.buildings import BuildingInfo
from dashboard.workspace.errors import WorkspaceError


def register(app: dash.Dash, ws: Workspace) -> None:
    """Tie the page to a workspace."""

    @app.callback(
        Output(ids.BUILDINGS, "children"),
        Input(ids.BUILDINGS, "id"),
        Input(ids.POLL, "n_intervals"),
        Input(ids.BUILDINGS_TOLD, "children"),
    )
    def listed(_id: str, _ticks: int | None, _told: Any) -> Component:
        return table(ws)

    @app.callback(
        Output(ids.BUILDINGS_TOLD, "children"),
        *(Input({"kind": kind, "building": ALL}, "n_clicks") for kind in (ids.BUILDING_OUT, ids.BUILDING_BACK)),
        State(ids.WHO, "value"),
        prevent_initial_call=True,
    )
    def move(_out: Any, _back: Any, who: str | None) -> str:
        if not ctx.triggered[0]["value"]:
            raise PreventUpdate
        return moved(ws, ctx.triggered_id, who or "")

    @app.callback(
        Output(ids.NEW_GO, "href"),
        Output(ids.NEW_TOLD, "children"),
        Input(ids.NEW_MAKE, "n_clicks"),
        State(ids.NEW_NAME, "value"),
        State(ids.NEW_ZONE, "value"),
        State(ids.WHO, "value"),
        prevent_initial_call=True,
    )
    def make(_clicks: int, name: str | None, zone: str | None, who: str | None) -> tuple[Any, str]:
        if not (name or "").strip():
            return dash.no_update, "Give the building a name."
        try:
            made = buildings.create(ws, {"site": {"name": str(name).strip(), "time_zone": zone}}, by=who or "")
        except WorkspaceError as error:
            return dash.no_update, str(error)
        return ids.logs_href(made), ""


def moved(ws: Workspace, button: dict[str, str], who: str) -> str:
    """Take a building out of the list or bring it back; says what went wrong."""
    act = buildings.remove if button["kind"] == ids.BUILDING_OUT else buildings.restore
    try:
        act(ws, button["building"], by=who)
    except WorkspaceError as error:
        return str(error)
    return ""


def table(ws: Workspace) -> Component:
    """List the buildings, with what goes on in them, and those that were removed."""
    found, gone = buildings.all_of(ws), buildings.all_of(ws, removed=True)
    head = ("Building", "Rooms", "Channels", "Logs", "State", "")
    shown: list[Component] = (
        [
            html.Table(
                [
                    html.Thead(html.Tr([html.Th(h, scope="col") for h in head])),
                    html.Tbody(
                        [html.Tr([*_cells(ws, b), html.Td(_button(b, ids.BUILDING_OUT, "Remove"))]) for b in found]
                    ),
                ],
                className="plain",
            )
        ]
        if found
        else [marks.empty("No building yet. Create the first one below, then bring in its logs.")]
    )
    if gone:
        rows = [
            html.Tr([html.Th(b.name, scope="row"), html.Td(_button(b, ids.BUILDING_BACK, "Bring back"))]) for b in gone
        ]
        inner = html.Table(html.Tbody(rows), className="plain")
        shown.append(html.Details([html.Summary(f"{len(gone)} removed; nothing of them is deleted"), inner]))
    return html.Div(shown)


def _button(b: BuildingInfo, kind: str, word: str) -> Component:
    name = {"kind": kind, "building": b.id}
    return html.Button(word, id=name, className="quiet", n_clicks=0, **{"aria-label": f"{word} {b.name}"})


def _cells(ws: Workspace, b: BuildingInfo) -> list[Component]:
    newest, job = analyses.latest(ws, b.id), jobs.last(ws, b.id)
    href = ids.building_href(b.id) if newest else ids.logs_href(b.id)
    if job is not None and job.open:
        state = f"Analysis under way, {job.share:.0%}"
    elif newest is not None:
        state = f"Analysed {newest.created_at:%d %b %Y}, by {newest.created_by}"
    elif job is not None and job.state == "failed":
        state = "The analysis failed"
    else:
        state = "Not analysed yet" if b.files else "No logs yet"
    return [
        html.Th(dcc.Link(b.name, href=href), scope="row"),
        *(
            html.Td(number(n), **{"data-label": w})
            for n, w in ((b.rooms, "Rooms"), (b.channels, "Channels"), (b.files, "Logs"))
        ),
        html.Td(state, className="soft"),
    ]

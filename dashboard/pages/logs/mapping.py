"""What is in the files: proposed, corrected, checked live, written."""

from __future__ import annotations

import copy
from typing import Any

import dash
from dash import ALL, Input, Output, State, html
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.pages.logs import draft_parts as parts
from dashboard.workspace import Workspace, buildings, jobs, mapping
from dashboard.workspace.errors import NotThereError, WorkspaceError
from dashboard.workspace.mapping import Draft

CELL = {"kind": ids.MAPPING_CELL, "at": ALL, "field": ALL}
USE = {"kind": ids.MAPPING_USE, "room": ALL}


def register(app: dash.Dash, ws: Workspace) -> None:
    """Tie the step to a workspace."""

    @app.callback(
        Output(ids.DRAFT, "data"),
        Output(ids.MAPPING_TABLES, "children"),
        Input(ids.MAPPING, "data"),
        State(ids.LOGS, "data"),
    )
    def look(found: list[int] | None, building: str) -> tuple[Any, Any]:
        if not found:
            return None, parts.nothing()
        try:
            draft = mapping.propose(ws, building)
        except NotThereError as error:
            return None, str(error)
        return draft, parts.tables(draft, ws, building)

    @app.callback(
        Output(ids.MAPPING_ROOMS, "children"),
        Output(ids.MAPPING_CHECK, "children"),
        Output(ids.MAPPING_SAVE, "hidden"),
        Input(ids.DRAFT, "data"),
        Input(CELL, "value"),
        State(CELL, "id"),
        State(USE, "id"),
        State(USE, "value"),
        State(ids.LOGS, "data"),
    )
    def tried(
        draft: Draft | None, values: list[Any], cells: list[Any], rooms: list[Any], uses: list[Any], building: str
    ) -> tuple[Any, Any, bool]:
        if not draft:
            return None, None, True
        now = corrected(draft, cells, values, rooms, uses)
        document, _ = buildings.document(ws, building)
        found = mapping.check(ws, building, now)
        lacking = mapping.new_rooms(document, now)
        shown = parts.check(found, document)
        in_force = not found.problem and mapping.is_in_force(document, now)
        if in_force:
            shown.append(html.P("This is in force already.", className="soft"))
        return (
            parts.rooms(lacking, {room: mapping.use_of(now, room) for room in lacking}),
            shown,
            bool(found.problem) or in_force,
        )

    @app.callback(
        Output(ids.MAPPING_TOLD, "children"),
        Input(ids.MAPPING_SAVE, "n_clicks"),
        State(ids.DRAFT, "data"),
        State(CELL, "value"),
        State(CELL, "id"),
        State(USE, "id"),
        State(USE, "value"),
        State(ids.LOGS, "data"),
        State(ids.WHO, "value"),
        prevent_initial_call=True,
    )
    def save(
        clicks: int, draft: Draft | None, values: list[Any], cells: list[Any], rooms: list[Any], uses: list[Any],
        building: str, who: str | None,
    ) -> Any:  # fmt: skip
        if not clicks or not draft:
            raise PreventUpdate
        return saved(ws, building, corrected(draft, cells, values, rooms, uses), who or "")


def corrected(
    draft: Draft, cells: list[dict[str, str]], values: list[Any], rooms: list[dict[str, str]], uses: list[Any]
) -> Draft:
    """Put what stands in the fields into a draft."""
    now = copy.deepcopy(draft)
    for cell, value in zip(cells, values, strict=True):
        table, column = map(int, cell["at"].split("."))
        text = (value or "").strip()
        now["tables"][table]["columns"][column][cell["field"]] = (
            (None if text in ("", parts.LEFT_OUT) else text) if cell["field"] == "quantity" else text
        )
    now["uses"] = {r["room"]: u for r, u in zip(rooms, uses, strict=True)}
    return now


def saved(ws: Workspace, building: str, draft: Draft, who: str) -> Any:
    """Write a draft and have the building analysed with it; says what went wrong, or that it is done."""
    try:
        mapping.save(ws, building, draft, by=who)
        jobs.ask(ws, building, "analyse", by=who)
    except WorkspaceError as error:
        return str(error)
    return parts.is_saved(building)

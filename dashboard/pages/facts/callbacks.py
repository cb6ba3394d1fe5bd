"""Facts: read, call, return."""

from __future__ import annotations

import json
from typing import Any

import dash
from dash import ALL, Input, Output, State, ctx
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.pages.facts import parts
from dashboard.workspace import Workspace, buildings, documents
from dashboard.workspace.documents import MISSING, Document, Path
from dashboard.workspace.errors import WorkspaceError, WrongValueError
from dashboard.workspace.fields import field_of, read

FIELD = {"kind": ids.FACTS_FIELD, "path": ALL}


def register(app: dash.Dash, ws: Workspace) -> None:
    """Tie the page to a workspace."""

    @app.callback(
        Output(ids.FACTS_ROOM, "data"),
        Output(ids.FACTS_ROOM, "value"),
        Output(ids.FACTS_FORM, "children"),
        Output(ids.FACTS_HISTORY, "children"),
        Output(ids.FACTS_REVISION, "data"),
        Output(ids.FACTS_TOLD, "children"),
        Input(ids.FACTS, "data"),
        Input(ids.FACTS_ROOM, "value"),
        Input(ids.FACTS_SAVE, "n_clicks"),
        Input(ids.FACTS_DISCARD, "n_clicks"),
        Input(ids.FACTS_ADD_ROOM, "n_clicks"),
        Input(ids.FACTS_ADD_CHANNEL, "n_clicks"),
        Input({"kind": ids.FACTS_DROP, "path": ALL}, "n_clicks"),
        Input({"kind": ids.FACTS_UNDO, "edit": ALL}, "n_clicks"),
        State(FIELD, "id"),
        State(FIELD, "value"),
        State(ids.FACTS_NEW, "value"),
        State(ids.FACTS_REVISION, "data"),
        State(ids.WHO, "value"),
    )
    def show(
        building: str, room: str | None, _save: Any, _discard: Any, _add: Any, _add_channel: Any, _drop: Any, _undo: Any,
        fields: list[dict[str, str]], values: list[Any], new: str | None, revision: int | None, who: str | None,
    ) -> tuple[Any, ...]:  # fmt: skip
        button = ctx.triggered_id
        asked = isinstance(button, dict) or button in (ids.FACTS_SAVE, ids.FACTS_ADD_ROOM, ids.FACTS_ADD_CHANNEL)
        if isinstance(button, dict) and not ctx.triggered[0]["value"]:
            # Only drawn, not pressed.
            raise PreventUpdate
        given = {tuple(json.loads(f["path"])): v for f, v in zip(fields, values, strict=True)}
        if button == ids.FACTS_ROOM and (left := unsaved(ws, building, given)) is not None and left[0] != (room or ""):
            return dash.no_update, left[0], *([dash.no_update] * 3), left[1]
        told = "Discarded." if button == ids.FACTS_DISCARD else ""
        if asked:
            try:
                room, told = act(
                    ws, building, button, room or "", given, (new or "").strip(), revision=revision, who=who or ""
                )
            except WorkspaceError as error:
                # The fields stay as they were filled in.
                return *([dash.no_update] * 5), str(error)
        return *shown(ws, building, room or ""), told


def unsaved(ws: Workspace, building: str, given: dict[Path, Any]) -> tuple[str, str] | None:
    """Return the room whose fields hold what is not saved, and what to say of it; ``None`` where all is saved."""
    if not given:
        return None
    document, _ = buildings.document(ws, building)
    room = next((path[1] for path in given if path[0] == "rooms"), "")
    if room and documents.get(document, ("rooms", room)) is MISSING:
        return None
    try:
        count = len(changed(document, given))
    except WrongValueError:
        count = 1
    many = "1 change is" if count == 1 else f"{count} changes are"
    return (room, f"{many} not saved yet. Save or discard first, then go on to another room.") if count else None


def shown(ws: Workspace, building: str, room: str) -> tuple[Any, ...]:
    """Rooms to choose from, the one chosen, its fields, the history, the revision."""
    document, revision = buildings.document(ws, building)
    history = parts.history(buildings.history(ws, building), document["site"]["time_zone"])
    return parts.rooms(document), room, parts.form(document, room), history, revision


def act(
    ws: Workspace,
    building: str,
    button: Any,
    room: str,
    given: dict[Path, Any],
    new: str,
    *,
    revision: int | None,
    who: str,
) -> tuple[str, str]:
    """Do what a button asks for; returns the room to show, and what to say."""
    document, _ = buildings.document(ws, building)
    if isinstance(button, dict) and button["kind"] == ids.FACTS_UNDO:
        buildings.undo_edit(ws, building, button["edit"], by=who)
        return room, "Taken back."
    if isinstance(button, dict):
        path = tuple(json.loads(button["path"]))
        buildings.edit(ws, building, {path: MISSING}, by=who, revision=revision)
        return ("" if len(path) == 2 else room), "Removed; the history can bring it back."
    if button == ids.FACTS_SAVE:
        changes = changed(document, given)
        if not changes:
            return room, "Nothing was changed."
        buildings.edit(ws, building, changes, by=who, revision=revision)
        return room, "Saved."
    return added(
        ws, building, document, room if button == ids.FACTS_ADD_CHANNEL else None, new, revision=revision, who=who
    )


def added(
    ws: Workspace, building: str, document: Document, room: str | None, new: str, *, revision: int | None, who: str
) -> tuple[str, str]:
    """Add a room, or a channel to one."""
    if not new:
        raise WrongValueError(("short name",), "give one, as the logs have it")
    if room == "":
        raise WrongValueError(("channel",), "choose its room first")
    path = ("rooms", new) if room is None else ("rooms", room, "channels", new)
    if documents.get(document, path) is not MISSING:
        raise WrongValueError(path[1:], "it is there already")
    # A room is only part of the building once something in it is switched.
    value = {"name": new, "use": "office", "channels": {"main": {}}} if room is None else {}
    buildings.edit(ws, building, {path: value}, by=who, revision=revision)
    return (new if room is None else room), "Added."


def changed(document: Document, given: dict[Path, Any]) -> dict[Path, Any]:
    """Values of fields that differ from what is known.

    Raises
    ------
    WrongValueError
        If one is no number where one is needed.
    """
    changes = {}
    for path, text in given.items():
        field = field_of(path)
        if field is None:
            continue
        try:
            value = read(field, text)
        except ValueError as error:
            raise WrongValueError(path[1:], str(error)) from error
        now = documents.get(document, path)
        standard = documents.defaults(path)
        same = now == value or (now is MISSING and value == standard)
        if not same:
            changes[path] = value
    return changes

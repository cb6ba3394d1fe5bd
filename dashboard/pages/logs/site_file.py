"""A ``site.toml`` among the files: what it says otherwise than what is in force, and taking it over."""

from __future__ import annotations

from typing import Any

import dash
import dash_mantine_components as dmc
from dash import Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.pages.facts.parts import told
from dashboard.reader import number
from dashboard.workspace import Workspace, buildings, site_file
from dashboard.workspace.buildings import Change
from dashboard.workspace.documents import Document, Path
from dashboard.workspace.errors import NotThereError, WorkspaceError
from dashboard.workspace.site_file import Group, Proposal

STAYS_SHOWN = 6
"""Facts that stay, named one by one. Chosen by us."""


def section() -> Component:
    """Lay the section out; it is hidden where no such file was brought in."""
    return html.Div(
        [
            html.H3("What site.toml says"),
            html.Div(id=ids.SITE_FILE_TEXT),
            dcc.Store(id=ids.SITE_FILE_SEEN),
            dmc.CheckboxGroup(
                id=ids.SITE_FILE_GROUPS, label="What to take over", children=[], value=[], className="site-groups"
            ),
            html.Button("Take over what is ticked", id=ids.SITE_FILE_TAKE, className="primary", n_clicks=0, hidden=True),
            html.Div(id=ids.SITE_FILE_TOLD, role="status"),
        ],
        id=ids.SITE_FILE,
        className="site-file",
        hidden=True,
    )  # fmt: skip


def register(app: dash.Dash, ws: Workspace) -> None:
    """Tie the section to a workspace."""

    @app.callback(
        Output(ids.SITE_FILE, "hidden"),
        Output(ids.SITE_FILE_TEXT, "children"),
        Output(ids.SITE_FILE_GROUPS, "children"),
        Output(ids.SITE_FILE_GROUPS, "value"),
        Output(ids.SITE_FILE_SEEN, "data"),
        Output(ids.SITE_FILE_TAKE, "hidden"),
        Input(ids.LOGS_FILES, "children"),
        Input(ids.SITE_FILE_TOLD, "children"),
        State(ids.LOGS, "data"),
    )
    def look(_files: Any, _told: Any, building: str) -> tuple[Any, ...]:
        return looked(ws, building)

    @app.callback(
        Output(ids.SITE_FILE_TOLD, "children"),
        Output(ids.LOGS_CHANGED, "data", allow_duplicate=True),
        Input(ids.SITE_FILE_TAKE, "n_clicks"),
        State(ids.SITE_FILE_SEEN, "data"),
        State(ids.SITE_FILE_GROUPS, "value"),
        State(ids.LOGS, "data"),
        State(ids.WHO, "value"),
        prevent_initial_call=True,
    )
    def take(
        clicks: int, seen: dict[str, int] | None, keys: list[str], building: str, who: str | None
    ) -> tuple[Any, Any]:
        if not clicks or not seen:
            raise PreventUpdate
        return taken(ws, building, seen, keys, who or "")


def looked(ws: Workspace, building: str) -> tuple[Any, ...]:
    """Whether there is nothing to show; what the file is; its groups, all of them ticked; what goes back; whether nothing can be taken over."""
    try:
        found = site_file.proposal(ws, building)
        document, _ = buildings.document(ws, building)
    except NotThereError:
        found, document = None, {}
    if found is None:
        return True, [], [], [], None, True
    keys = [g.key for g in found.groups]
    boxes = [dmc.Checkbox(value=g.key, label=_label(g, document)) for g in found.groups]
    return False, text(found), boxes, keys, {"file": found.file.id, "revision": found.revision}, not keys


def taken(ws: Workspace, building: str, seen: dict[str, int], keys: list[str], who: str) -> tuple[Any, Any]:
    """Take groups over; what to tell, and a sign that the files are to be looked at again."""
    if not keys:
        return html.P("Tick first what is to be taken over.", className="notice refused", role="alert"), dash.no_update
    try:
        revision = site_file.take_over(ws, building, seen["file"], keys, revision=seen["revision"], by=who)
    except WorkspaceError as error:
        return html.P(str(error), className="notice refused", role="alert"), dash.no_update
    done = html.P(
        ["Taken over. Undo and history stand under ", dcc.Link("Facts", href=ids.facts_href(building)), "; analyse below."],
        className="notice done",
    )  # fmt: skip
    return done, f"facts {revision}"


def text(found: Proposal) -> list[Component]:
    """What the file is, what stands against it, and what it leaves alone."""
    if found.problem:
        return [html.P([html.Strong("It cannot be taken over yet. "), found.problem], className="trouble")]
    parts: list[Component] = []
    if not found.groups:
        parts.append(html.P(f"{found.file.name} says nothing that is not in force already.", className="soft"))
    else:
        count = sum(len(g.changes) for g in found.groups)
        parts.append(
            html.P(
                f"{found.file.name}, brought in by {found.file.added_by}, differs in {number(count)} "
                f"{'fact' if count == 1 else 'facts'} from what is in force. Nothing is changed before you say so."
            )
        )
    if found.stays:
        rest = len(found.stays) - STAYS_SHOWN
        named = ", ".join(_place(p) for p in found.stays[:STAYS_SHOWN]) + (
            f" and {number(rest)} more" if rest > 0 else ""
        )
        parts.append(html.P(f"It does not mention, and these stay: {named}.", className="soft"))
    if found.absent:
        parts.append(
            html.P(f"It also speaks of logs that are not here yet: {', '.join(found.absent)}.", className="doubt")
        )
    return parts


def _label(group: Group, document: Document) -> Component:
    kind, _, room = group.key.partition("/")
    name = document.get("rooms", {}).get(room, {}).get("name") or room
    title = {"site": "The building", "logs": "How the logs are read"}.get(
        kind, name if name == room else f"{name} ({room})"
    )
    items = [] if kind == "logs" else [html.Li(_said(c)) for c in group.changes]
    return html.Span([html.Strong(title), *([html.Ul(items)] if items else [])], className="site-group")


def _said(change: Change) -> str:
    if change.added and len(change.path) == 2 and change.path[0] == "rooms":
        channels = ", ".join(change.after.get("channels", {})) or "no channel"
        return f"new room: {change.after.get('use', 'office')}, {channels}"
    return told(change)


def _place(path: Path) -> str:
    return " ".join(p for p in path if p not in ("site", "rooms", "channels"))

"""The way in: read, call, return."""

from __future__ import annotations

from typing import Any

import dash
from dash import ALL, Input, Output, State, ctx, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.pages.logs import folder, mapping, old, parts, site_file
from dashboard.workspace import Workspace, analyses, buildings, files, jobs, uploads
from dashboard.workspace.errors import NotThereError, WorkspaceError

FILE_BUTTONS = ({"kind": ids.FILE_OUT, "file": ALL}, {"kind": ids.FILE_BACK, "file": ALL})


def register(app: dash.Dash, ws: Workspace) -> None:
    """Tie the page to a workspace."""
    place = Input(ids.LOGS, "data")

    @app.callback(
        Output(ids.LOGS_FILES, "children"),
        Output(ids.FILES_TOLD, "children"),
        Output(ids.MAPPING, "data"),
        place,
        Input(ids.LOGS_CHANGED, "data"),
        *(Input(button, "n_clicks") for button in FILE_BUTTONS),
        State(ids.WHO, "value"),
    )
    def listed(building: str, _changed: Any, _out: Any, _back: Any, who: str | None) -> tuple[Any, str, Any]:
        told = moved(ws, building, ctx.triggered_id, clicked=bool(ctx.triggered[0]["value"]), who=who or "")
        try:
            shown = parts.files(
                files.all_of(ws, building, removed=True), uploads.unfinished(ws, building), zone_of(ws, building)
            )
        except NotThereError as error:
            return html.P(str(error)), "", dash.no_update
        return shown, told, [f.id for f in files.all_of(ws, building) if not files.is_facts(f.stored)]

    @app.callback(
        Output(ids.JOB, "children"),
        Output(ids.JOB_STOP, "hidden"),
        place,
        Input(ids.POLL, "data"),
        Input(ids.JOB_TOLD, "children"),
    )
    def job(building: str, _news: int | None, _told: Any) -> tuple[Any, bool]:
        return job_shown(ws, building)

    @app.callback(
        Output(ids.JOB_TOLD, "children"),
        Input(ids.JOB_START, "n_clicks"),
        Input(ids.JOB_STOP, "n_clicks"),
        State(ids.LOGS, "data"),
        State(ids.WHO, "value"),
        prevent_initial_call=True,
    )
    def start(_start: int, _stop: int, building: str, who: str | None) -> str:
        return started(ws, building, who or "", stop=ctx.triggered_id == ids.JOB_STOP)

    mapping.register(app, ws)
    folder.register(app, ws)
    old.register(app, ws)
    site_file.register(app, ws)


def moved(ws: Workspace, building: str, button: Any, *, clicked: bool, who: str) -> str:
    """Take a log out or bring it back, if a button asks for it; says what went wrong."""
    if not isinstance(button, dict) or not clicked:
        return ""
    try:
        (files.remove if button["kind"] == ids.FILE_OUT else files.restore)(ws, building, button["file"], by=who)
    except WorkspaceError as error:
        return str(error)
    return ""


def started(ws: Workspace, building: str, who: str, *, stop: bool) -> str:
    """Ask for an analysis, or no longer want it; says what went wrong."""
    try:
        if stop:
            job = jobs.last(ws, building)
            if job is not None:
                jobs.cancel(ws, job.id, by=who)
        elif not buildings.info(ws, building).channels:
            return "Say first what is in the files: without a room there is nothing to analyse."
        else:
            jobs.ask(ws, building, "analyse", by=who)
    except WorkspaceError as error:
        return str(error)
    return ""


def job_shown(ws: Workspace, building: str) -> tuple[Component | None, bool]:
    """How far the analysis is; and whether there is nothing to stop."""
    try:
        job, newest = jobs.last(ws, building), analyses.latest(ws, building)
        changed = analyses.changes_since(ws, building, newest.id) if newest else []
    except NotThereError:
        return None, True
    return parts.job(job, newest, changed, building, zone_of(ws, building)), job is None or not job.open


def zone_of(ws: Workspace, building: str) -> str:
    """Time zone of a building."""
    return str(buildings.document(ws, building)[0]["site"]["time_zone"])

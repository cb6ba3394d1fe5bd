"""Builds the web application around a store."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from http import HTTPStatus
from typing import Any

import dash
from dash import MATCH, Dash, Input, Output, State, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate
from flask import current_app
from plotly.utils import PlotlyJSONEncoder

from dashboard import ids, news, operation, upload_routes
from dashboard.access import guard
from dashboard.access.headers import STARTING
from dashboard.components import frame
from dashboard.figures.theme import DARK, FONT, LIGHT, css_variables
from dashboard.pages.building import callbacks as building_callbacks
from dashboard.pages.building import layout as building
from dashboard.pages.buildings import callbacks as buildings_callbacks
from dashboard.pages.buildings import layout as buildings
from dashboard.pages.calibration import callbacks as calibration_callbacks
from dashboard.pages.calibration import layout as calibration
from dashboard.pages.facts import callbacks as facts_callbacks
from dashboard.pages.facts import layout as facts
from dashboard.pages.logs import callbacks as logs_callbacks
from dashboard.pages.logs import layout as logs
from dashboard.pages.owner import callbacks as owner_callbacks
from dashboard.pages.owner import layout as owner
from dashboard.pages.room import callbacks as room_callbacks
from dashboard.pages.room import layout as room
from dashboard.pages.sheet import callbacks as sheet_callbacks
from dashboard.pages.sheet import layout as sheet
from dashboard.pages.verification import callbacks as verification_callbacks
from dashboard.pages.verification import layout as verification
from dashboard.store import Stores
from dashboard.workspace import Workspace, analyses, jobs
from dashboard.workspace import buildings as buildings_of
from dashboard.workspace.errors import WorkspaceError

Layout = Callable[..., Component]
MANY = "HOLDOFF_KEEPS_BUILDINGS"
"""Key in the server's configuration: whether it keeps a workspace, with buildings."""
INDEX = (
    "<!DOCTYPE html><html lang='en'><head>{%metas%}<title>{%title%}</title>{%favicon%}{%css%}<style>"
    f":root{{{css_variables(LIGHT)}--font:{FONT};color-scheme:light}}"
    f"@media(prefers-color-scheme:dark){{:root{{{css_variables(DARK)}color-scheme:dark}}}}"
    f":root[data-scheme=light]{{{css_variables(LIGHT)}color-scheme:light}}"
    f":root[data-scheme=dark]{{{css_variables(DARK)}color-scheme:dark}}"
    "</style></head><body>{%app_entry%}<footer>{%config%}{%scripts%}{%renderer%}</footer></body></html>"
)


def create_app(stores: Stores) -> Dash:
    """Build the application.

    Parameters
    ----------
    stores
        Give the analysis of a building, now or later.

    Returns
    -------
    The Dash application; its ``server`` is a WSGI application that has answered one request already, because the first requests of
    a fresh process must not race each other.
    """
    app = Dash(
        "dashboard",
        use_pages=True,
        include_pages_meta=False,
        pages_folder="",
        title="holdoff",
        update_title="",
        serve_locally=True,
        index_string=INDEX,
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
    )
    workspace = stores.workspace
    guard.protect(app, workspace)
    app.server.config[MANY] = workspace is not None
    _pages()
    app.layout = lambda: frame.frame(workspace=workspace is not None, known=guard.known())
    _frame_callbacks(app, stores)
    news.register(app.server, stores)
    if workspace is not None:
        operation.register(app.server, workspace)
        upload_routes.register(app.server, workspace)
        buildings_callbacks.register(app, workspace)
        logs_callbacks.register(app, workspace)
        facts_callbacks.register(app, workspace)
        verification_callbacks.register(app, workspace)
        calibration_callbacks.register(app, workspace)
        _again_callback(app, workspace)
    building_callbacks.register(app, stores)
    room_callbacks.register(app, stores)
    sheet_callbacks.register(app, stores)
    owner_callbacks.register(app, stores)
    answer = app.server.test_client().get("/", environ_overrides={STARTING: True})
    if answer.status_code != HTTPStatus.OK:
        raise RuntimeError(f"the application does not answer: {answer.status}")
    return app


def _pages() -> None:
    # The registry is one per process. Every application says the same of it, so that none takes the pages of another away; which of two pages
    # an address shows is asked of the application that answers.
    # A placeholder takes in slashes, and the first address that fits is taken: the longer ones come first.
    for order, under in ((10, "/building/<building>"), (20, "")):
        more = {"layout": room.layout, "title": room.title, "order": order}
        dash.register_page(f"room{under}", path_template=f"{under}/room/<room>", **more)
    one: list[tuple[str, Layout]] = [
        ("settings", sheet.layout),
        ("report", owner.layout),
        ("logs", _of_many(logs.layout)),
        ("facts", _of_many(facts.layout)),
        ("verification", _of_many(verification.layout)),
    ]
    for name, layout in one:
        way = f"/building/<building>/{name}"
        dash.register_page(name, path_template=way, title=f"holdoff: {name}", layout=layout, order=40)
    dash.register_page(
        "predictions", path=ids.CALIBRATION, title="holdoff: predictions", layout=_of_many(calibration.layout), order=40
    )
    dash.register_page(
        "root", path="/", title="holdoff", layout=_of_many(buildings.layout, else_=building.layout), order=30
    )
    dash.register_page(
        "building of many",
        path_template="/building/<building>",
        title="holdoff: rooms",
        layout=building.layout,
        order=90,
    )
    dash.register_page("not_found_404", title="holdoff: not here", layout=_not_here)


def _not_here(**_other: str) -> Component:
    return html.Div(
        [html.H1("Not here"), html.P(["There is no such page. ", html.A("All rooms", href="/")])], className="page"
    )


def _of_many(layout: Layout, *, else_: Layout = _not_here) -> Layout:
    """A page of an application that keeps a workspace, and what one without shows in its place."""

    def shown(**said: str) -> Component:
        return (layout if current_app.config[MANY] else else_)(**said)

    return shown


def _frame_callbacks(app: Dash, stores: Stores) -> None:
    @app.callback(
        Output(ids.STATUS, "children"),
        Output(ids.NEWS, "children"),
        Output(ids.NAV, "children"),
        Output(ids.VERSION, "data"),
        Output(ids.CHANGED, "data"),
        Output(ids.SITE_NAME, "children"),
        Output(ids.WHO_BOX, "hidden"),
        Output(ids.FRAME_SHOWN, "data"),
        Input(ids.POLL, "data"),
        Input(ids.LOCATION, "pathname"),
        State(ids.VERSION, "data"),
        State(ids.FRAME_SHOWN, "data"),
    )
    def poll(_news: int | None, path: str | None, version: int | None, before: str | None) -> tuple[Any, ...]:
        told = polled(stores, path or "/", version)
        shown = hashlib.sha256(json.dumps([*told[:3], *told[5:]], cls=PlotlyJSONEncoder).encode()).hexdigest()[:20]
        # News are mostly of something that this page does not show; an answer costs it a walk through everything.
        if shown == before and told[3] is dash.no_update:
            raise PreventUpdate
        return *told, shown

    app.clientside_callback(
        frame.SCHEME_JS,
        Output(ids.SCHEME, "data"),
        Output(ids.SCHEME_CHOICE, "data"),
        Output(ids.MANTINE, "forceColorScheme"),
        Output(ids.SCHEME_BUTTON, "children"),
        Output(ids.SCHEME_BUTTON, "title"),
        Input(ids.SCHEME_BUTTON, "n_clicks"),
        Input(ids.SCHEME_CHOICE, "modified_timestamp"),
        State(ids.SCHEME_CHOICE, "data"),
    )


def polled(stores: Stores, path: str, version: int | None) -> tuple[Any, ...]:
    """What the frame shows on a page.

    Returns
    -------
    State in place of the page, news above it, links, the number of the analysis, the same where what the page is about has changed, the building's
    name, and whether nobody need say who they are.
    """
    building = ids.building_of(path)
    store = stores.of(building)
    if store is None:
        return None, [], [], dash.no_update, dash.no_update, "", stores.workspace is None
    own = path.startswith((ids.logs_href(building), ids.facts_href(building))) if building else False
    load, analysis = store.load(), store.analysis()
    fresh = load.version if load.version != version else dash.no_update
    changed = dash.no_update if _says_the_same(stores, building, path, version, load.version) else fresh
    name: Any = analysis.site if analysis else ""
    if name and (path.rstrip("/") or "/") == ids.building_href(building):
        # Its heading says it; here it keeps its place.
        name = html.Span(name, className="here")
    if stores.workspace is None:
        return frame.status(load), [], [], fresh, changed, name, True
    return (
        None if own else frame.status(load, building),
        [] if own else frame.news(load, building),
        frame.nav(building, path),
        fresh,
        changed,
        name or buildings_of.info(stores.workspace, building).name,
        False,
    )


def _says_the_same(stores: Stores, building: str, path: str, before: int | None, now: int | None) -> bool:
    """Whether a page is about a room of which another analysis says the same: nothing on it is drawn anew, and nobody loses the place looked at."""
    room, ws = ids.room_of(path), stores.workspace
    if not room or ws is None or not before or not now or before == now:
        return False
    return analyses.same_room(ws, building, before, now, room)


def _again_callback(app: Dash, workspace: Workspace) -> None:
    @app.callback(
        Output({"kind": ids.AGAIN, "building": MATCH}, "children"),
        Input({"kind": ids.AGAIN, "building": MATCH}, "n_clicks"),
        State({"kind": ids.AGAIN, "building": MATCH}, "id"),
        State(ids.WHO, "value"),
    )
    def again(clicks: int | None, button: dict[str, str], who: str | None) -> Any:
        if not clicks:
            return dash.no_update
        try:
            jobs.ask(workspace, button["building"], "analyse", by=who or "")
        except WorkspaceError as error:
            return str(error)
        # The frame sends nothing where it says what it said before; what the button says now it does not know of.
        dash.set_props(ids.FRAME_SHOWN, {"data": None})
        return "Waiting"

"""Builds the web application around a store."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

import dash
from dash import Dash, Input, Output, State, html

from dashboard import ids
from dashboard.components import frame
from dashboard.figures.theme import DARK, FONT, LIGHT, css_variables
from dashboard.pages.building import callbacks as building_callbacks
from dashboard.pages.building import layout as building
from dashboard.pages.room import callbacks as room_callbacks
from dashboard.pages.room import layout as room
from dashboard.pages.sheet import callbacks as sheet_callbacks
from dashboard.pages.sheet import layout as sheet
from dashboard.store import Stores

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
    _pages()
    app.layout = frame.frame()
    _frame_callbacks(app, stores)
    building_callbacks.register(app, stores)
    room_callbacks.register(app, stores)
    sheet_callbacks.register(app, stores)
    answer = app.server.test_client().get("/")
    if answer.status_code != HTTPStatus.OK:
        raise RuntimeError(f"the application does not answer: {answer.status}")
    return app


def _pages() -> None:
    # The registry is one per process; a second application replaces the pages of the first with equal ones.
    dash.page_registry.clear()
    # A placeholder takes in slashes, and the first address that fits is taken: the longer ones come first.
    for order, under in ((10, "/building/<building>"), (20, "")):
        more = {"layout": room.layout, "title": room.title, "order": order}
        dash.register_page(f"room{under}", path_template=f"{under}/room/<room>", **more)
    dash.register_page(
        "sheet",
        path_template="/building/<building>/settings",
        title="holdoff: settings sheet",
        layout=sheet.layout,
        order=40,
    )
    dash.register_page("building", path="/", title="holdoff: rooms", layout=building.layout, order=30)
    dash.register_page(
        "building of many",
        path_template="/building/<building>",
        title="holdoff: rooms",
        layout=building.layout,
        order=90,
    )
    dash.register_page(
        "not_found_404",
        title="holdoff: not here",
        layout=lambda **_: html.Div(
            [html.H1("Not here"), html.P(["There is no such page. ", html.A("All rooms", href="/")])], className="page"
        ),
    )


def _frame_callbacks(app: Dash, stores: Stores) -> None:
    @app.callback(
        Output(ids.STATUS, "children"),
        Output(ids.VERSION, "data"),
        Output(ids.SITE_NAME, "children"),
        Output(ids.POLL, "disabled"),
        Output(ids.WHO_BOX, "hidden"),
        Input(ids.POLL, "n_intervals"),
        Input(ids.LOCATION, "pathname"),
        State(ids.VERSION, "data"),
    )
    def poll(_ticks: int | None, path: str | None, version: int | None) -> tuple[Any, ...]:
        store = stores.of(ids.building_of(path))
        if store is None:
            return None, dash.no_update, "", True, not ids.building_of(path)
        load, analysis = store.load(), store.analysis()
        news = load.version if load.version != version else dash.no_update
        return frame.status(load), news, analysis.site if analysis else "", load.state != "loading", store.desk is None

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

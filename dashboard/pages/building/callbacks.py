"""The building page's callbacks: read, call, return."""

from __future__ import annotations

from typing import Any

import dash
from dash import Input, Output, State, html
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.components import marks
from dashboard.pages.building import parts, ranking
from dashboard.store import Stores
from tuning.results import Analysis

PAGE_OF_ROOMS = 60
"""Rooms shown at a time: a longer list is asked for with the button below it."""

URL_JS = """
function(q, show, sort, _was) {
  if (!/^\\/(building\\/[^/]+)?$/.test(window.location.pathname)) { return dash_clientside.no_update; }
  const query = new URLSearchParams();
  if (q) { query.set('q', q); }
  if (show && show.length) { query.set('show', show.join(',')); }
  if (sort && sort !== 'worth') { query.set('sort', sort); }
  const text = query.toString();
  const url = window.location.pathname + (text ? '?' + text : '');
  if (url !== window.location.pathname + window.location.search) { window.history.replaceState(window.history.state, '', url); }
  return text;
}
"""


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the page to the stores."""

    @app.callback(
        Output(ids.BUILDING_HEAD, "children"),
        Output(ids.BUILDING_BALANCE, "children"),
        Output(ids.BUILDING_ATTENTION, "children"),
        Output(ids.BUILDING_LOGS, "children"),
        Input(ids.VERSION, "data"),
        Input(ids.BUILDING, "data"),
    )
    def overview(_version: int | None, building: str) -> tuple[Any, ...]:
        analysis = analysis_of(stores, building)
        told = parts.attention_list(analysis, building)
        return parts.head(analysis), parts.balance(analysis), told, parts.logs(analysis)

    @app.callback(
        Output(ids.BUILDING_ROWS, "children"),
        Output(ids.BUILDING_COUNT, "children"),
        Output(ids.BUILDING_MORE, "hidden"),
        Input(ids.VERSION, "data"),
        Input(ids.SEARCH, "value"),
        Input(ids.SHOW, "value"),
        Input(ids.SORT, "value"),
        Input(ids.BUILDING_MORE, "n_clicks"),
        State(ids.BUILDING, "data"),
    )
    def rows(
        _version: int | None,
        query: str | None,
        show: list[str] | None,
        sort: str | None,
        more: int | None,
        building: str,
    ) -> tuple[Any, ...]:
        return room_rows(
            stores, building, query=query or "", show=show or [], sort=sort or "worth", pages=1 + (more or 0)
        )

    app.clientside_callback(
        URL_JS,
        Output(ids.BUILDING_URL, "data"),
        Input(ids.SEARCH, "value"),
        Input(ids.SHOW, "value"),
        Input(ids.SORT, "value"),
        State(ids.BUILDING_URL, "data"),
    )


def analysis_of(stores: Stores, building: str) -> Analysis:
    """Return a building's analysis.

    Raises
    ------
    PreventUpdate
        While there is none.
    """
    store = stores.of(building)
    analysis = store.analysis() if store is not None else None
    if analysis is None:
        raise PreventUpdate
    return analysis


def room_rows(
    stores: Stores, building: str, *, query: str, show: list[str], sort: str, pages: int
) -> tuple[Any, str, bool]:
    """Rows, how many there are, and whether these are all."""
    analysis = analysis_of(stores, building)
    everything = ranking.rooms(analysis)
    found = ranking.select(everything, query=query, decisions=show, sort=sort)
    if not found:
        return (
            marks.empty(
                "No room matches. Take out a word or a decision.",
                html.A("Show all rooms", href=ids.building_href(building)),
            ),
            "none of them",
            True,
        )
    shown = found[: pages * PAGE_OF_ROOMS]
    count = f"{len(found)} of {len(everything)}" if len(found) < len(everything) else str(len(everything))
    return parts.table(shown, analysis, building), count, len(shown) == len(found)

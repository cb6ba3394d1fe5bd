"""The list of buildings: read, call, return."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

import dash
from dash import ALL, Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids, words
from dashboard.components import marks
from dashboard.components.still import still
from dashboard.needs import needs
from dashboard.pages.buildings.totals import Totals, totals
from dashboard.reader import number
from dashboard.workspace import Workspace, analyses, buildings, decisions, jobs
from dashboard.workspace.analyses import AnalysisInfo
from dashboard.workspace.buildings import BuildingInfo
from dashboard.workspace.errors import WorkspaceError


def register(app: dash.Dash, ws: Workspace) -> None:
    """Tie the page to a workspace."""

    @app.callback(
        Output(ids.BUILDINGS, "children"),
        Output(ids.BUILDINGS_SEEN, "data"),
        Input(ids.BUILDINGS, "id"),
        Input(ids.POLL, "data"),
        Input(ids.BUILDINGS_TOLD, "children"),
        Input(ids.BUILDINGS_SEARCH, "value"),
        State(ids.BUILDINGS_SEEN, "data"),
    )
    def listed(_id: str, _news: int | None, _told: Any, search: str | None, seen: str | None) -> tuple[Any, Any]:
        shown = table(ws, search or "")
        now = hashlib.sha256(str(shown).encode()).hexdigest()
        return (dash.no_update, dash.no_update) if now == seen else (still(shown), now)

    @app.callback(
        Output(ids.BUILDINGS_TOLD, "children"),
        *(Input({"kind": kind, "building": ALL}, "n_clicks") for kind in (ids.BUILDING_OUT, ids.BUILDING_BACK)),
        State(ids.WHO, "value"),
        prevent_initial_call=True,
    )
    @needs("administer")
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
    @needs("administer")
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


@dataclass(frozen=True)
class Line:
    """A building in the list: what its newest analysis comes to, if there is one, and how many channels are undecided."""

    info: BuildingInfo
    newest: AnalysisInfo | None
    totals: Totals | None
    undecided: int


def lines(ws: Workspace, search: str = "") -> list[Line]:
    """Return the buildings whose names hold all words, those that tuning is worth most first, those without an analysis last."""
    counted, found = decisions.decided(ws), []
    for info in buildings.all_of(ws):
        if all(word in info.name.casefold() for word in search.casefold().split()):
            newest = analyses.latest(ws, info.id)
            summed = totals(ws, info.id, newest.id) if newest else None
            found.append(Line(info, newest, summed, max(info.channels - counted.get(info.id, 0), 0)))
    return sorted(found, key=lambda x: (x.totals is None, -x.totals.worth if x.totals else 0.0))


def table(ws: Workspace, search: str = "") -> Component:
    """List the buildings, with what they are worth and what goes on in them, and those that were removed."""
    found, gone = lines(ws, search), buildings.all_of(ws, removed=True)
    head = ("Building", "Saves a week", "Attention", "Undecided", "Channels", "State", "")
    none = (
        marks.empty("No building matches. Take out a word.")
        if search.strip()
        else marks.empty("No building yet. Create the first one below, then bring in its logs.")
    )
    shown: list[Component] = (
        [
            html.Table(
                [
                    html.Thead(html.Tr([html.Th(h, scope="col") for h in head])),
                    html.Tbody(
                        [html.Tr([*_cells(ws, x), html.Td(_button(x.info, ids.BUILDING_OUT, "Remove"))]) for x in found]
                    ),
                    *_sums(found),
                ],
                className="plain estate",
            )
        ]
        if found
        else [none]
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


def _sums(found: list[Line]) -> list[Component]:
    """Return the last line: all of them together; each currency by itself."""
    if len(found) < 2:
        return []
    worth: dict[str, float] = {}
    for x in found:
        if x.totals is not None:
            worth[x.totals.currency] = worth.get(x.totals.currency, 0.0) + x.totals.worth
    cells = (
        ("Saves a week", "; ".join(words.money(v, c) for c, v in worth.items()) or words.NONE),
        ("Attention", number(sum(x.totals.attention for x in found if x.totals))),
        ("Undecided", number(sum(x.undecided for x in found))),
        ("Channels", number(sum(x.info.channels for x in found))),
    )
    head = html.Th(f"{number(len(found))} buildings", scope="row")
    return [html.Tfoot(html.Tr([head, *(html.Td(v, **{"data-label": w}) for w, v in cells), html.Td(), html.Td()]))]


def _cells(ws: Workspace, x: Line) -> list[Component]:
    b, job = x.info, jobs.last(ws, x.info.id)
    href = ids.building_href(b.id) if x.newest else ids.logs_href(b.id)
    if job is not None and job.open:
        state = f"Analysis under way, {words.percent(job.share)}"
    elif x.newest is not None:
        state = f"Analysed {x.newest.created_at:%d %b %Y}, by {x.newest.created_by}"
    elif job is not None and job.state == "failed":
        state = "The analysis failed"
    else:
        state = "Not analysed yet" if b.files else "No logs yet"
    rest = (
        dcc.Link(number(x.undecided), href=f"{href}?decided=none") if x.newest and x.undecided else number(x.undecided)
    )
    cells: tuple[tuple[str, Any], ...] = (
        ("Saves a week", html.Strong(words.money(x.totals.worth, x.totals.currency)) if x.totals else words.NONE),
        ("Attention", number(x.totals.attention) if x.totals else words.NONE),
        ("Undecided", rest if x.newest else words.NONE),
        ("Channels", f"{number(b.channels)} in {number(b.rooms)} {'room' if b.rooms == 1 else 'rooms'}"),
    )
    return [
        html.Th(dcc.Link(b.name, href=href), scope="row"),
        *(html.Td(v, **{"data-label": w}) for w, v in cells),
        html.Td(state, className="soft"),
    ]

"""The owner's page, and the addresses of its files."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import quote

import dash
import flask
from dash import Input, Output, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids, owner_report
from dashboard.components.still import still
from dashboard.reader import number
from dashboard.store import Desk, Stores
from dashboard.workspace import yearly
from tuning.owner import OwnerReport, RoomReport, report_document
from tuning.owner.document import method

WAYS = {"accepted": "As accepted", "recommended": "As recommended"}


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the page and its files to the stores."""
    app.server.add_url_rule(
        "/building/<building>/report.<kind>", "owner-report", lambda building, kind: file(stores, building, kind)
    )

    @app.callback(
        Output(ids.OWNER_BODY, "children"),
        Input(ids.OWNER, "data"),
        Input(ids.VERSION, "data"),
        Input(ids.BOOK, "data"),
    )
    def show(place: dict[str, str], _version: int | None, _book: int | None) -> list[Component]:
        store = stores.of(place["building"])
        if store is None or store.desk is None:
            raise PreventUpdate
        made, way = of(store.desk, place["settings"])
        return still(body(made, way, place["building"]))


def of(desk: Desk, settings: str) -> tuple[OwnerReport, str]:
    """Return the report, and which settings it counts with."""
    way = settings if settings in WAYS else "accepted" if yearly.decided(desk.ws, desk.building) else "recommended"
    return yearly.report(desk.ws, desk.building, desk.analysis, accepted=way == "accepted"), way


def file(stores: Stores, building: str, kind: str) -> flask.Response:
    """Return the report to print, or its figures."""
    store = stores.of(building)
    if store is None or store.desk is None or kind not in ("html", "json"):
        flask.abort(404)
    made, way = of(store.desk, flask.request.args.get("settings", ""))
    if kind == "html":
        answer = flask.Response(owner_report.page(made), content_type="text/html; charset=utf-8")
    else:
        text = json.dumps(report_document(made), ensure_ascii=False, indent=1, allow_nan=False)
        answer = flask.Response(text + "\n", content_type="application/json; charset=utf-8")
        answer.headers["Content-Disposition"] = f"attachment; filename={quote(f'{building}-year-{way}.json')}"
    answer.headers["Cache-Control"] = "no-store"
    return answer


def body(r: OwnerReport, way: str, building: str) -> list[Component]:
    """Lay out the year."""
    under = ids.building_href(building)
    ways = [
        html.Span(word, className="chan here", **{"aria-current": "page"})
        if name == way
        else dcc.Link(word, href=f"{ids.report_href(building)}?settings={name}", className="chan")
        for name, word in WAYS.items()
    ]
    links = [
        html.A("Print or save as PDF", href=f"{under}/report.html?settings={way}", target="_blank", className="button"),
        html.A("JSON", href=f"{under}/report.json?settings={way}", className="button"),
    ]
    return [
        html.Div(
            [
                html.Nav(
                    [dcc.Link(r.site, href=under), " / A year"], className="crumbs", **{"aria-label": "You are here"}
                ),
                html.H1("A year of light"),
                html.P(
                    "What the building takes in a year as it is, and under other settings. For its owner, on one page.",
                    className="soft",
                ),
                html.Nav(ways, className="channels", **{"aria-label": "Settings that count"}),
                html.Div(links, className="buttons"),
            ],
            className="page-head",
        ),
        html.Section([html.H2("The building"), _balance(r, way), *_below(r)]),
        html.Section([html.H2("Rooms"), _rooms(r), *_missing(r)]),
        html.Section(
            [
                html.H2("Method and limits"),
                *(html.P([html.Strong(h), " ", t], className="caption") for h, t in method(r)),
            ]
        ),
    ]


def _balance(r: OwnerReport, way: str) -> Component:
    lines = [
        *owner_report.rows(r),
        (
            "LENI",
            "kWh/m²",
            owner_report.number_or_dash(r.leni_now, 1),
            owner_report.number_or_dash(r.leni_then, 1),
            "" if r.leni_now is None or r.leni_then is None else owner_report.change(r.leni_now, r.leni_then, 1),
        ),
    ]
    rows = [
        html.Tr(
            [
                html.Th([what, *([html.Span(f" [{unit}]", className="unit")] if unit else [])], scope="row"),
                html.Td(now),
                html.Td(html.Strong(then, className="new")),
                html.Td(less, className="soft"),
            ]
        )
        for what, unit, now, then, less in lines
    ]
    heads = ("A year", "Now", WAYS[way], "Change")
    return html.Table(
        [html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])), html.Tbody(rows)], className="balance"
    )


def _below(r: OwnerReport) -> list[Component]:
    if r.leni_table is None or r.leni_tabled_now is None:
        return []
    text = (
        f"In the rooms whose use the tables of EN 15193 know, LENI is {number(r.leni_tabled_now, 1)} as measured and "
        f"{number(r.leni_table, 1)} by the tables."
    )
    return [html.P(text, className="soft")]


HEADS = ("Room", "Area, m²", "kWh a year", "LENI", "by EN 15193", "Absent (F_A)", "Held on (F_O)", "by EN 15193")


def _rooms(r: OwnerReport) -> Component:
    if not r.rooms:
        return html.P("No room has a log of movement, so nothing can be counted.", className="nothing")
    head = html.Thead(html.Tr([html.Th(h, scope="col") for h in HEADS]))
    return html.Table([head, html.Tbody([_room(x) for x in r.rooms])], className="plain")


def _room(x: RoomReport) -> Component:
    seen = x.occupancy

    def cell(label: str, now: float | None, then: float | None, digits: int) -> Component:
        a, b = (owner_report.number_or_dash(v, digits) for v in (now, then))
        inner: Any = a if a == b else [html.Span(a, className="was"), " → ", html.Strong(b, className="new")]
        return html.Td(inner, className="number", **{"data-label": label})

    return html.Tr(
        [
            html.Th([x.name, " ", html.Span(x.use, className="soft")], scope="row"),
            cell("Area, m²", x.area_m2, x.area_m2, 0),
            cell("kWh a year", x.now.energy_kwh, x.then.energy_kwh, 0),
            cell("LENI", x.leni_now, x.leni_then, 1),
            cell("LENI by EN 15193", x.leni_table, x.leni_table, 1),
            cell("Absent (F_A)", seen.absence if seen else None, seen.absence if seen else None, 2),
            cell("Held on (F_O)", seen.factor if seen else None, x.occupancy_then, 2),
            cell("F_O by EN 15193", x.occupancy_table, x.occupancy_table, 2),
        ]
    )


def _missing(r: OwnerReport) -> list[Component]:
    if not r.missing:
        return []
    items = [
        html.Li([html.Strong(f"{m.what[:1].upper()}{m.what[1:]}: "), f"{', '.join(m.rooms)}. {m.follows}"])
        for m in r.missing
    ]
    return [html.H2("What is missing"), html.Ul(items)]

"""The sheet page's callbacks, and the addresses of its files."""

from __future__ import annotations

import datetime as dt
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

import dash
import dash_mantine_components as dmc
import flask
from dash import ALL, Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids, sheet, words
from dashboard.components import decide, marks
from dashboard.components.still import still
from dashboard.reader import said
from dashboard.sheet import Sheet, SheetRow
from dashboard.store import Desk, Stores
from dashboard.workspace import decisions, verifications

FILES = {
    "html": ("text/html; charset=utf-8", sheet.page),
    "csv": ("text/csv; charset=utf-8", sheet.csv),
    "json": ("application/json; charset=utf-8", sheet.as_json),
}


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the page and its files to the stores."""
    app.server.add_url_rule(
        "/building/<building>/settings.<kind>", "settings-sheet", lambda building, kind: file(stores, building, kind)
    )

    @app.callback(
        Output(ids.SHEET_HEAD, "children"),
        Output(ids.SHEET_ROWS, "children"),
        Output(ids.SHEET_FORM, "hidden"),
        Output(ids.SHEET_WHEN, "value"),
        Input(ids.SHEET, "data"),
        Input(ids.VERSION, "data"),
        Input(ids.BOOK, "data"),
    )
    def show(building: str, _version: int | None, _book: int | None) -> tuple[Any, ...]:
        desk = desk_of(stores, building)
        made = sheet.sheet_of(desk.ws, building)
        now = dt.datetime.now(ZoneInfo(made.time_zone))
        open_ = [r for r in made.rows if r.visit is None]
        return still(head(made)), still(rows(made)), not open_, f"{now:%Y-%m-%d %H:%M}"

    @app.callback(
        Output(ids.SHEET_TOLD, "children"),
        Input(ids.SHEET_SET, "n_clicks"),
        Input({"kind": ids.SHEET_UNSET, "visit": ALL}, "n_clicks"),
        State({"kind": ids.SHEET_TICK, "decision": ALL}, "checked"),
        State({"kind": ids.SHEET_TICK, "decision": ALL}, "id"),
        State(ids.SHEET_WHEN, "value"),
        State(ids.SHEET_BY, "value"),
        State(ids.SHEET_NOTE, "value"),
        State(ids.WHO, "value"),
        State(ids.SHEET, "data"),
        State(ids.BOOK, "data"),
        prevent_initial_call=True,
    )
    def act(*given: Any) -> Any:
        _n, _unset, ticks, named, at, by, note, who, building, book = given
        if not ctx.triggered[0]["value"]:
            raise PreventUpdate
        desk, trigger = desk_of(stores, building), ctx.triggered_id
        if isinstance(trigger, dict):
            outcome = decide.attempt(lambda: unset(desk, int(trigger["visit"]), who or ""))
        else:
            picked = [int(name["decision"]) for on, name in zip(ticks, named, strict=True) if on]
            outcome = decide.attempt(lambda: mark_set(desk, picked, at or "", by or who or "", note or "", who or ""))
        decide.written_down(book)
        return outcome.told


def desk_of(stores: Stores, building: str) -> Desk:
    """Return the desk of a building.

    Raises
    ------
    PreventUpdate
        Where there is none: no such building, nothing analysed, or no workspace.
    """
    store = stores.of(building)
    if store is None or store.desk is None:
        raise PreventUpdate
    return store.desk


def file(stores: Stores, building: str, kind: str) -> flask.Response:
    """Return the sheet as a file."""
    store = stores.of(building)
    if store is None or store.desk is None or kind not in FILES:
        flask.abort(404)
    mime, write = FILES[kind]
    made = sheet.sheet_of(store.desk.ws, building)
    answer = flask.Response(write(made), mimetype=mime.split(";")[0], content_type=mime)
    if kind != "html":
        name = f"{building}-settings-{made.made:%Y-%m-%d}.{kind}"
        answer.headers["Content-Disposition"] = f"attachment; filename={quote(name)}"
    answer.headers["Cache-Control"] = "no-store"
    return answer


def head(made: Sheet) -> list[Component]:
    """Name, what the sheet rests on, and the ways to take it along."""
    under = ids.building_href(made.building)
    sources: list[Component] = []
    for s in made.sources:
        text = f"Analysis {s.id} of {decide.when(s.made, made.time_zone)}, holdoff {s.version}."
        sources.append(html.P(text, className="soft"))
        if s.changes:
            inner = [html.Strong("Outdated since. "), "; ".join(said(c) for c in s.changes), "."]
            sources.append(html.Div(html.P(inner), className="notice refused"))
    links = [
        html.A("Print or save as PDF", href=f"{under}/settings.html", target="_blank", className="button"),
        html.A("CSV", href=f"{under}/settings.csv", className="button"),
        html.A("JSON", href=f"{under}/settings.json", className="button"),
    ]
    count = len(made.rows)
    summed = [
        f"{count} channel{'' if count == 1 else 's'} to set, ",
        dcc.Link(f"{made.undecided} undecided", href=f"{under}?decided=none") if made.undecided else "none undecided",
        f", {len(made.rejected)} rejected.",
    ]
    return [
        html.Nav(
            [dcc.Link(made.site, href=under), " / Settings sheet"],
            className="crumbs",
            **{"aria-label": "You are here"},
        ),
        html.H1("Settings sheet"),
        html.P(summed, className="soft"),
        *sources,
        html.Div(links, className="buttons"),
    ]


HEADS = ("Set", "Room, channel", "Detector position", "Hold-off", "Hold timer", "Target", "Mode", "Decided", "On site")


def rows(made: Sheet) -> Component:
    """All that is to be set, as a table; what was rejected below it."""
    if not made.rows and not made.rejected:
        return marks.empty(
            "Nothing has been decided yet. Accept or adjust rooms, and they stand here to be set.",
            dcc.Link("All rooms", href=ids.building_href(made.building)),
        )
    under = made.building
    body = [_row(r, under, made.time_zone) for r in made.rows]
    table = html.Table(
        [html.Thead(html.Tr([html.Th(h, scope="col") for h in HEADS])), html.Tbody(body)],
        className="settings-sheet",
    )
    left = [
        html.Li(f"{r.room_name}, {r.channel}: {r.reason} ({r.decided_by}, {decide.when(r.decided_at, made.time_zone)})")
        for r in made.rejected
    ]
    parts: list[Component] = [table] if made.rows else []
    if left:
        parts += [html.H2("Leave as they are"), html.Ul(left)]
    return html.Div(parts)


def _row(r: SheetRow, building: str, zone: str) -> Component:
    name = f"{r.room_name}, {r.channel}"
    tick = dmc.Checkbox(
        id={"kind": ids.SHEET_TICK, "decision": r.decision}, checked=False, **{"aria-label": f"Set {name}"}
    )
    cells: list[tuple[Any, str]] = [
        ("✓" if r.visit else tick, "Set"),
        (r.position or words.NONE, "Detector position"),
        (marks.now_new(words.pair(words.hold(r.now.hold_off_s), words.hold(r.new.hold_off_s))), "Hold-off"),
        (words.NONE if r.code_new is None else f"{r.code_new}", "Hold timer, IEC 62386-303"),
        (
            words.NONE
            if r.control == "relay"
            else marks.now_new(words.pair(words.lux(r.now.target_lx), words.lux(r.new.target_lx))),
            "Target",
        ),
        (marks.now_new(words.pair(r.now.mode, r.new.mode)), "Mode"),
        (_decided(r, zone), "Decided"),
        (_visit(r, name, zone, building), "On site"),
    ]
    tds = [html.Td(inner, className=f"s-{i}", **{"data-label": label}) for i, (inner, label) in enumerate(cells)]
    link = dcc.Link(
        [html.Strong(r.room_name), " ", html.Span(r.channel, className="channel")],
        href=ids.room_href(r.room, r.channel, building=building),
    )
    return html.Tr([tds[0], html.Th(link, scope="row", className="c-name"), *tds[1:]])


def _decided(r: SheetRow, zone: str) -> list[Any]:
    told: list[Any] = [f"{decide.VERB[r.kind]} by {r.decided_by}, {decide.when(r.decided_at, zone)}"]
    if r.kind == "starting":
        told.append(html.Div([html.Span("Starting point", className="mark more-data"), " ", r.reason]))
    if r.trial_days:
        told.append(html.Div(f"Trial, {r.trial_days} days"))
    if r.marks:
        told.append(html.Div([html.Span("Exception", className="mark fix-first"), " ", sheet.exception(r)]))
    return told


def _visit(r: SheetRow, name: str, zone: str, building: str) -> Any:
    if r.visit is None:
        return html.Span("not yet", className="soft")
    return [
        f"{r.visit.set_by}, {decide.when(r.visit.set_at, zone)} ",
        dcc.Link("What came of it", href=ids.verification_href(building), title=f"What came of it: {name}"),
        " ",
        html.Button(
            "Take back",
            id={"kind": ids.SHEET_UNSET, "visit": r.visit.id},
            n_clicks=0,
            className="quiet",
            **{"aria-label": f"Take back that {name} was set"},
        ),
    ]


def mark_set(desk: Desk, picked: list[int], at: str, by: str, note: str, who: str) -> str:
    """Mark the ticked channels as set; returns what to tell.

    Raises
    ------
    WorkspaceError
        If the workspace refuses.
    """
    if not picked:
        raise decide.nothing("Tick the channels that were set.")
    zone = sheet.sheet_of(desk.ws, desk.building).time_zone
    time = sheet.local_to_utc(at.strip(), zone)
    if time is None:
        raise decide.nothing(f"“{at}” is no time; write it like 2026-04-14 10:30.")
    done = decisions.mark_set(desk.ws, desk.building, dict.fromkeys(picked, time), set_by=by, by=who, note=note)
    count = len(done)
    verified = verifications.set_anew(desk.ws, desk.building, [time], by=who)
    told = (
        f"{count} channel{'' if count == 1 else 's'} marked as set; the verification begins {decide.when(time, zone)}."
    )
    return f"{told} The log reaches beyond that and is being held against it." if verified else told


def unset(desk: Desk, visit: int, who: str) -> str:
    """Take back that a channel was set; returns what to tell."""
    decisions.unmark_set(desk.ws, desk.building, visit, by=who)
    # A verification that counted it is made again.
    verifications.set_anew(desk.ws, desk.building, [dt.datetime.min.replace(tzinfo=dt.UTC)], by=who)
    return "Taken back: not set on site."

"""Rooms without a log on the building page: where to start, what to expect, and taking it with one click, for one channel or for all."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import dash
from dash import ALL, Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids, words
from dashboard.components import decide, marks
from dashboard.reader import said
from dashboard.store import Desk, Store, Stores
from dashboard.workspace import beginning, decisions
from dashboard.workspace.decisions import ChannelState, Choice
from tuning.starting import Expected, StartingSettings

HEADS = (
    "Room, channel",
    "Hold-off",
    "Target",
    "False-offs a week",
    "Light for nobody, h",
    "Energy, kWh",
    "Log needed",
    "",
)
ALL_OF_THEM = "*"


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(
        Output(ids.BUILDING_STARTING, "children"),
        Input(ids.VERSION, "data"),
        Input(ids.BUILDING, "data"),
        Input(ids.BOOK, "data"),
    )
    def show(_version: int | None, building: str, _book: int | None) -> list[Component]:
        store = stores.of(building)
        return [] if store is None or store.analysis() is None else section(store)

    @app.callback(
        Output(ids.STARTING_TOLD, "children"),
        Input({"kind": ids.STARTING_TAKE, "place": ALL}, "n_clicks"),
        Input({"kind": ids.STARTING_UNDO, "decision": ALL}, "n_clicks"),
        State(ids.BUILDING, "data"),
        State(ids.VERSION, "data"),
        State(ids.WHO, "value"),
        State(ids.BOOK, "data"),
        prevent_initial_call=True,
    )
    def act(_take: Any, _undo: Any, building: str, version: int | None, who: str | None, book: int | None) -> Component:
        store, name = stores.of(building), ctx.triggered_id
        if store is None or store.desk is None or version is None:
            raise PreventUpdate
        if not isinstance(name, dict) or not ctx.triggered[0]["value"]:
            raise PreventUpdate
        desk = replace(store.desk, analysis=version)
        if name["kind"] == ids.STARTING_UNDO:
            outcome = decide.attempt(lambda: undone(desk, int(name["decision"]), who or ""))
        else:
            outcome = decide.attempt(lambda: taken(desk, str(name["place"]), who or ""))
        decide.written_down(book)
        return outcome.told


def key(s: StartingSettings) -> str:
    """How a button names its channel."""
    return f"{s.room}\n{s.channel}"


def section(store: Store) -> list[Component]:
    """Lay the section out; nothing where every channel has a log, or where nobody can decide."""
    desk = store.desk
    if desk is None:
        return []
    found = beginning.starts(desk.ws, desk.building, desk.analysis)
    if not found:
        return []
    states = decisions.states(desk.ws, desk.building)
    rows = [_row(s, states.get((s.room, s.channel), ChannelState()), desk.building) for s in found]
    open_ = [s for s in found if states.get((s.room, s.channel), ChannelState()).decision is None]
    every = html.Button(
        f"Take all {len(open_)}", id={"kind": ids.STARTING_TAKE, "place": ALL_OF_THEM}, className="primary", n_clicks=0
    )
    return [
        html.H2("Rooms without a log: where to start"),
        html.P(
            "Starting points by the use of the room, not measurements: from field data, and from own rooms of the use once there are enough. "
            "In brackets what nine of ten such rooms bring. Come back when there is as much log as under Log needed.",
            className="caption",
        ),
        html.Table(
            [html.Thead(html.Tr([html.Th(h, scope="col") for h in HEADS])), html.Tbody(rows)],
            className="plain starting",
        ),
        *([html.Div(every, className="buttons")] if len(open_) > 1 else []),
    ]


def _row(s: StartingSettings, state: ChannelState, building: str) -> Component:
    name = f"{s.room_name}, {s.channel}"
    settable = s.settings != s.now or s.settings.hold_off_s is not None
    if state.decision is not None:
        last: Any = [html.Span(decide.VERB[state.decision.kind], className=f"stand {state.decision.kind}")]
        if state.decision.kind == "starting" and state.visit is None:
            take_back = {"kind": ids.STARTING_UNDO, "decision": state.decision.id}
            last.append(
                html.Button("Undo", id=take_back, className="quiet", n_clicks=0, **{"aria-label": f"Take back {name}"})
            )
    elif settable:
        last = html.Button(
            "Take",
            id={"kind": ids.STARTING_TAKE, "place": key(s)},
            className="quiet",
            n_clicks=0,
            **{"aria-label": f"Take the starting setting of {name}"},
        )
    else:
        last = ""
    old = "not given" if s.now.hold_off_s is None else words.hold(s.now.hold_off_s)
    cells: list[tuple[Any, str]] = [
        (marks.now_new(words.pair(old, words.hold(s.settings.hold_off_s))), "Hold-off"),
        (
            words.NONE
            if s.control == "relay"
            else marks.now_new(words.pair(words.lux(s.now.target_lx), words.lux(s.settings.target_lx))),
            "Target",
        ),
        (expect(s.false_offs), "False-offs a week"),
        (expect(s.wasted_on_h), "Light for nobody, h a week"),
        (expect(s.energy_kwh), "Energy, kWh a week"),
        (f"{s.days_needed} days", "Log needed"),
        (last, ""),
    ]
    link = dcc.Link(
        [html.Strong(s.room_name), " ", html.Span(s.channel, className="channel")],
        href=ids.room_href(s.room, s.channel, building=building),
    )
    why = html.Details(
        [html.Summary("Why"), html.Ul([*(html.Li(said(r)) for r in s.reasons), html.Li(f"Source: {s.source}.")])]
    )
    return html.Tr(
        [
            html.Th([link, html.Div(s.use, className="soft"), why], scope="row"),
            *(html.Td(inner, **({"data-label": label} if label else {})) for inner, label in cells),
        ]
    )


def expect(e: Expected | None) -> str:
    """Write what to expect with its range."""
    if e is None:
        return words.NONE
    return f"{words.weekly(e.middle)} ({words.weekly(e.low)} to {words.weekly(e.high)})"


def told(s: StartingSettings) -> str:
    """What was expected, kept as the reason of the decision and printed on the sheet."""
    return (
        f"Starting setting without a log. Expected a week: {expect(s.false_offs)} false-offs, {expect(s.wasted_on_h)} h of light for nobody. "
        f"Come back after {s.days_needed} days of log."
    )


def taken(desk: Desk, place: str, who: str) -> str:
    """Take the starting settings of a channel, or of all that nobody decided about; returns what to tell.

    Raises
    ------
    WorkspaceError
        If the workspace refuses.
    """
    states = decisions.states(desk.ws, desk.building)
    open_ = [
        s
        for s in beginning.starts(desk.ws, desk.building, desk.analysis)
        if (
            states.get((s.room, s.channel), ChannelState()).decision is None
            if place == ALL_OF_THEM
            else key(s) == place
        )
    ]
    if not open_:
        raise decide.nothing("There is no channel without a log left to decide about.")
    choices = [
        Choice(
            s.room, s.channel, "starting", states.get((s.room, s.channel), ChannelState()).revision, s.settings, told(s)
        )
        for s in open_
    ]
    done = decisions.decide(desk.ws, desk.building, choices, analysis=desk.analysis, by=who)
    return f"{len(done)} starting setting{'s' if len(done) > 1 else ''} taken. They stand on the settings sheet."


def undone(desk: Desk, decision: int, who: str) -> str:
    """Take a decision back."""
    decisions.undo(desk.ws, desk.building, [decision], by=who)
    return "Taken back."

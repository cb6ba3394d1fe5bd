"""Deciding about one channel: accept, adjust to what is tried, reject; undo; and what was decided before."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import dash
from dash import Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids, words
from dashboard.components import decide
from dashboard.components.still import still
from dashboard.pages.room.context import NUMBER, PLACE, Here, Place, find
from dashboard.reader import said
from dashboard.store import Desk, Stores
from dashboard.workspace import analyses, decisions
from dashboard.workspace.decisions import ChannelState, Choice, Decision, Kind
from dashboard.workspace.errors import NotThereError
from tuning.results import Settings

BUTTONS: dict[str, Kind] = {ids.CHANNEL_ACCEPT: "accept", ids.CHANNEL_ADJUST: "adjust", ids.CHANNEL_REJECT: "reject"}
NOTHING_TRIED = "Adjust: try other settings first"
SHOWN = 8
"""Earlier decisions that are listed. Chosen by us."""


def panel() -> Component:
    """Lay the panel out."""
    return html.Section(
        [
            dcc.Store(id=ids.CHANNEL_SEEN),
            html.H2("Decision"),
            html.Div(id=ids.CHANNEL_STANDS),
            html.Div(
                [
                    html.Label("Reason", htmlFor=ids.CHANNEL_REASON),
                    dcc.Textarea(
                        id=ids.CHANNEL_REASON,
                        value="",
                        rows=2,
                        maxLength=500,
                        placeholder="To reject, or for a setting beyond a floor or a limit",
                    ),
                ],
                className="field",
            ),
            html.Div(
                [
                    html.Button("Accept", id=ids.CHANNEL_ACCEPT, className="primary", n_clicks=0),
                    html.Button(NOTHING_TRIED, id=ids.CHANNEL_ADJUST, className="quiet", n_clicks=0, disabled=True),
                    html.Button("Reject", id=ids.CHANNEL_REJECT, className="quiet", n_clicks=0),
                    html.Button("Undo", id=ids.CHANNEL_UNDO, className="quiet", n_clicks=0, hidden=True),
                ],
                className="buttons",
            ),
            html.Div(id=ids.CHANNEL_TOLD, role="status"),
        ],
        id=ids.CHANNEL_BOX,
        className="card",
        hidden=True,
        **{"aria-label": "Decision"},
    )


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the panel to the stores."""

    @app.callback(
        Output(ids.CHANNEL_BOX, "hidden"),
        Output(ids.CHANNEL_STANDS, "children"),
        Output(ids.CHANNEL_SEEN, "data"),
        Output(ids.CHANNEL_UNDO, "hidden"),
        PLACE,
        NUMBER,
        Input(ids.BOOK, "data"),
    )
    def show(place: Place, version: int | None, _book: int | None) -> tuple[Any, ...]:
        here = find(stores, place)
        if here.store.desk is None:
            return True, [], None, True
        desk = of_page(here.store.desk, version)
        state = state_of(here, desk)
        seen = {"revision": state.revision, "decision": state.decision.id if state.decision else None}
        return False, still(stands(here, desk, state)), seen, state.decision is None

    @app.callback(
        Output(ids.CHANNEL_ADJUST, "children"),
        Output(ids.CHANNEL_ADJUST, "disabled"),
        Input(ids.TRIED, "data"),
        State(ids.ROOM, "data"),
        prevent_initial_call=True,
    )
    def offer(tried: dict[str, Any] | None, place: Place) -> tuple[str, bool]:
        here = find(stores, place)
        return adjust_label(here, tried)

    @app.callback(
        Output(ids.CHANNEL_TOLD, "children"),
        Output(ids.CHANNEL_REASON, "value"),
        *(Input(name, "n_clicks") for name in (*BUTTONS, ids.CHANNEL_UNDO)),
        State(ids.ROOM, "data"),
        State(ids.VERSION, "data"),
        State(ids.CHANNEL_SEEN, "data"),
        State(ids.TRIED, "data"),
        State(ids.CHANNEL_REASON, "value"),
        State(ids.WHO, "value"),
        State(ids.BOOK, "data"),
        prevent_initial_call=True,
    )
    def act(*given: Any) -> tuple[Any, ...]:
        place, version, seen, tried, reason, who, book = given[4:]
        here = find(stores, place)
        if here.store.desk is None or not ctx.triggered[0]["value"] or not seen:
            raise PreventUpdate
        desk = replace(here.store.desk, analysis=version)
        if ctx.triggered_id == ids.CHANNEL_UNDO:
            outcome = decide.attempt(lambda: undone(desk, seen, who or ""))
        else:
            kind = BUTTONS[str(ctx.triggered_id)]
            outcome = decide.attempt(lambda: decided(here, desk, kind, seen, tried, reason or "", who or ""))
        decide.written_down(book)
        return outcome.told, "" if outcome.done else dash.no_update


def of_page(desk: Desk, version: int | None) -> Desk:
    """Return the desk of the analysis that a page shows, which is what a click decides on; a newer one may be there already.

    Where the page tells none yet, or still one of the building before, it is the newest.
    """
    if version is None:
        return desk
    try:
        return replace(desk, analysis=analyses.info(desk.ws, desk.building, version).id)
    except NotThereError:
        return desk


def state_of(here: Here, desk: Desk) -> ChannelState:
    """Where the channel stands."""
    place = (here.channel.room, here.channel.channel)
    return decisions.states(desk.ws, desk.building).get(place, ChannelState())


def tried_settings(here: Here, tried: dict[str, Any] | None) -> Settings | None:
    """Return the settings that are tried; ``None`` where they are the recommended ones or none."""
    if not tried:
        return None
    c = here.channel
    settings = Settings(tried["hold_off_s"], tried["target_lx"], c.recommended.mode)
    return None if settings == c.recommended else settings


def adjust_label(here: Here, tried: dict[str, Any] | None) -> tuple[str, bool]:
    """What the button to adjust says, with its price; and whether it is out of use."""
    settings = tried_settings(here, tried)
    if settings is None:
        return NOTHING_TRIED, True
    return f"Adjust to {decide.settings_text(settings, here.channel.control)}", False


def decided(
    here: Here, desk: Desk, kind: Kind, seen: dict[str, Any], tried: dict[str, Any] | None, reason: str, who: str
) -> str:
    """Decide about the channel; returns what to tell.

    Raises
    ------
    WorkspaceError
        If the workspace refuses.
    """
    c = here.channel
    settings = tried_settings(here, tried) if kind == "adjust" else None
    if kind == "adjust" and settings is None:
        raise decide.nothing("Try other settings first; adjusting to the recommended ones is to accept them.")
    choice = Choice(c.room, c.channel, kind, seen["revision"], settings, reason)
    (done,) = decisions.decide(desk.ws, desk.building, [choice], analysis=desk.analysis, by=who)
    text = f"{decide.VERB[kind]}."
    if kind == "adjust":
        text = f"Adjusted; {decide.extra(done.extra_cost, here.analysis)}."
    return text + (" Marked as an exception on the sheet." if done.marks else "")


def undone(desk: Desk, seen: dict[str, Any], who: str) -> str:
    """Take the standing decision back."""
    if seen.get("decision") is None:
        raise decide.nothing("There is nothing to take back.")
    decisions.undo(desk.ws, desk.building, [seen["decision"]], by=who)
    return "Taken back."


def stands(here: Here, desk: Desk, state: ChannelState) -> list[Component]:
    """What is decided, from which analysis, whether it is outdated, and what was decided before."""
    c, zone = here.channel, here.analysis.time_zone
    info = analyses.info(desk.ws, desk.building, desk.analysis)
    changed = analyses.changes_since(desk.ws, desk.building, desk.analysis, c.room)
    parts: list[Component] = []
    if changed:
        parts.append(
            html.Div(
                [
                    html.P([html.Strong("This analysis is outdated."), " Nothing can be decided on it. Since then:"]),
                    html.Ul([html.Li(said(x)) for x in changed]),
                ],
                className="notice refused",
            )
        )
    parts.append(html.P(_standing(here, state), className="stands"))
    when = decide.when(info.created_at, zone)
    parts.append(html.P(f"Rests on analysis {info.id} of {when}, holdoff {info.version}.", className="caption"))
    earlier = decisions.history(desk.ws, desk.building, c.room, c.channel)
    if earlier:
        items = [html.Li(_told(d, here)) for d in earlier[:SHOWN]]
        parts.append(html.Details([html.Summary(f"History ({len(earlier)})"), html.Ul(items, className="history")]))
    return parts


def _standing(here: Here, state: ChannelState) -> list[Any]:
    d = state.decision
    if d is None:
        return [html.Span("Nothing decided yet.", className="soft")]
    told = [html.Strong(decide.story(d, here.channel, here.analysis.time_zone))]
    if d.kind == "adjust":
        told.append(f" It costs {decide.extra(d.extra_cost, here.analysis)}.")
    if state.visit is not None:
        told.append(
            f" Set on site by {state.visit.set_by}, {decide.when(state.visit.set_at, here.analysis.time_zone)}."
        )
    return told


def _told(d: Decision, here: Here) -> str:
    zone = here.analysis.time_zone
    text = decide.story(d, here.channel, zone)
    if d.undone_at is not None:
        text += f" Taken back by {d.undone_by}, {decide.when(d.undone_at, zone)}."
    elif d.superseded_at is not None:
        text += f" Replaced {decide.when(d.superseded_at, zone)}."
    return text.replace(words.NBSP, " ")


__all__ = ["adjust_label", "panel", "register"]

"""Deciding about the rooms that are ticked in the list, with one click for all of them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import dash
import dash_mantine_components as dmc
from dash import Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids, words
from dashboard.components import decide
from dashboard.store import Desk, Stores
from dashboard.workspace import buildings, decisions
from dashboard.workspace.decisions import ChannelState, Choice, Kind
from tuning.results import Analysis, ChannelResult

Pairs = list[list[str]]
KINDS: dict[str, Kind] = {ids.DECIDE_ACCEPT: "accept", ids.DECIDE_ADJUST: "adjust", ids.DECIDE_REJECT: "reject"}
DONE = {"accept": "accepted", "adjust": "adjusted", "reject": "rejected", "starting": "started with"}


def actions() -> list[Component]:
    """Lay out the buttons and fields beside the sums of the selection."""
    return [
        html.Div(
            [
                html.Button("Accept", id=ids.DECIDE_ACCEPT, className="primary", n_clicks=0),
                dmc.TextInput(
                    id=ids.DECIDE_REASON,
                    value="",
                    # Sent when the field is left: else a click may come before what was typed last.
                    debounce=True,
                    placeholder="Reason: to reject, or for an exception",
                    className="reason",
                    **{"aria-label": "Reason"},
                ),
                html.Button("Reject", id=ids.DECIDE_REJECT, className="quiet", n_clicks=0),
                dmc.Select(
                    id=ids.DECIDE_HOLD,
                    data=[],
                    placeholder="Other hold-off",
                    className="other-hold",
                    **{"aria-label": "Hold-off for all selected"},
                ),
                html.Button("Adjust", id=ids.DECIDE_ADJUST, className="quiet", n_clicks=0),
            ],
            className="buttons",
        ),
        html.P(id=ids.DECIDE_FORM, className="soft", role="status"),
    ]


def told() -> list[Component]:
    """Lay out where the outcome is told; it stays when the selection is gone."""
    return [
        dcc.Store(id=ids.DECIDE_BATCH),
        html.Div(id=ids.DECIDE_TOLD, role="status"),
        html.Button("Undo", id=ids.DECIDE_UNDO, className="quiet", n_clicks=0, hidden=True),
    ]


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the buttons to the stores."""

    @app.callback(
        Output(ids.BUILDING_ACTIONS, "hidden"),
        Output(ids.DECIDE_HOLD, "data"),
        Input(ids.VERSION, "data"),
        Input(ids.BUILDING, "data"),
    )
    def offered(_version: int | None, building: str) -> tuple[bool, list[dict[str, str]]]:
        store = stores.of(building)
        analysis = store.analysis() if store is not None else None
        if store is None or analysis is None:
            raise PreventUpdate
        return store.desk is None, hold_options(analysis)

    @app.callback(
        Output(ids.DECIDE_FORM, "children"),
        Input(ids.DECIDE_HOLD, "value"),
        Input(ids.SELECTION, "data"),
        State(ids.BUILDING, "data"),
        prevent_initial_call=True,
    )
    def preview(hold: str | None, pairs: Pairs, building: str) -> str:
        store = stores.of(building)
        analysis = store.analysis() if store is not None else None
        if store is None or store.desk is None or analysis is None or not hold or not pairs:
            return ""
        return cost_of(store.desk, analysis, pairs, float(hold))

    @app.callback(
        Output(ids.DECIDE_TOLD, "children"),
        Output(ids.DECIDE_BATCH, "data"),
        Output(ids.DECIDE_UNDO, "hidden"),
        *(Input(name, "n_clicks") for name in (*KINDS, ids.DECIDE_UNDO)),
        State(ids.SELECTION, "data"),
        State(ids.DECIDE_HOLD, "value"),
        State(ids.DECIDE_REASON, "value"),
        State(ids.WHO, "value"),
        State(ids.DECIDE_BATCH, "data"),
        State(ids.BUILDING, "data"),
        State(ids.VERSION, "data"),
        State(ids.BUILDING_DATA, "data"),
        State(ids.BOOK, "data"),
        prevent_initial_call=True,
    )
    def act(*given: Any) -> tuple[Any, ...]:
        pairs, hold, reason, who, batch, building, version, data, book = given[4:]
        store = stores.of(building)
        if store is None or store.desk is None or not ctx.triggered[0]["value"]:
            raise PreventUpdate
        desk = replace(store.desk, analysis=version)
        if ctx.triggered_id == ids.DECIDE_UNDO:
            outcome = decide.attempt(lambda: undone(desk, batch, who or ""))
            decide.written_down(book)
            return outcome.told, None, True
        kind = KINDS[str(ctx.triggered_id)]
        seen = revisions(data)
        made: list[str] = []
        outcome = decide.attempt(lambda: decided(desk, pairs, kind, hold, reason or "", who or "", seen, made))
        decide.written_down(book)
        return outcome.told, made[0] if made else None, not made


def hold_options(analysis: Analysis) -> list[dict[str, str]]:
    """Hold-offs that some channel of the building may be set to."""
    found = sorted({p.hold_off_s for c in analysis.channels for p in c.delay_curve if p.allowed})
    return [{"value": f"{s:g}", "label": words.hold(s)} for s in found]


def revisions(data: dict[str, Any] | None) -> dict[tuple[str, str], int]:
    """How often each channel had been decided about when the list was sent to the page."""
    rooms = data["rooms"] if data else []
    return {(r["room"], c["channel"]): c["revision"] for r in rooms for c in r["channels"]}


def _picked(analysis: Analysis, pairs: Pairs) -> list[ChannelResult]:
    wanted = {(room, channel) for room, channel in pairs}
    return [c for c in analysis.channels if (c.room, c.channel) in wanted]


def cost_of(desk: Desk, analysis: Analysis, pairs: Pairs, hold_off_s: float) -> str:
    """Say what one hold-off for all selected costs against what is recommended for each."""
    picked = [c for c in _picked(analysis, pairs) if c.recommended.hold_off_s is not None]
    price = buildings.site(desk.ws, desk.building).site.electricity_price
    costs = [decisions.extra_cost(c, replace(c.recommended, hold_off_s=hold_off_s), price=price) for c in picked]
    known = [v for v in costs if v is not None]
    text = f"{words.hold(hold_off_s)} for all {len(picked)}: {decide.extra(sum(known), analysis)}"
    return text + (f"; of {len(costs) - len(known)} it is not known." if len(known) < len(costs) else ".")


def decided(
    desk: Desk,
    pairs: Pairs,
    kind: Kind,
    hold: str | None,
    reason: str,
    who: str,
    seen: dict[tuple[str, str], int],
    made: list[str],
) -> str:
    """Decide about all selected channels, or about none; notes the batch in ``made`` and returns what to tell.

    Raises
    ------
    WorkspaceError
        If the workspace refuses.
    """
    if not pairs:
        raise decide.nothing("No room is selected.")
    if kind == "adjust" and not hold:
        raise decide.nothing("Choose the hold-off first.")
    analysis = decide.analysis_of(desk)
    picked = {(c.room, c.channel): c for c in _picked(analysis, pairs)}
    empty = {place for place, c in picked.items() if kind == "accept" and not decisions.acceptable(c)}
    wanted = [(room, channel) for room, channel in pairs if (room, channel) not in empty]
    if not wanted:
        raise decide.nothing(
            "The log tells no settings of what is selected, so there is nothing to accept; see the findings."
        )
    choices = []
    for room, channel in wanted:
        c = picked.get((room, channel))
        settings = None
        if kind == "adjust" and c is not None:
            settings = replace(c.recommended, hold_off_s=float(hold or 0))
        choices.append(Choice(room, channel, kind, seen.get((room, channel), 0), settings, reason))
    done = decisions.decide(desk.ws, desk.building, choices, analysis=desk.analysis, by=who)
    made.append(done[0].batch)
    marked = sum(bool(d.marks) for d in done)
    text = f"{len(done)} channel{'s' if len(done) > 1 else ''} {DONE[kind]}."
    text += f" {marked} marked as exception{'s' if marked > 1 else ''}." if marked else ""
    names = ", ".join(sorted(f"{picked[place].room_name} {picked[place].channel}" for place in empty))
    return text + (f" Left out, because the log tells no settings: {names}." if empty else "")


def undone(desk: Desk, batch: str | None, who: str) -> str:
    """Take back what the last click decided."""
    if not batch:
        raise decide.nothing("There is nothing to take back.")
    count = decisions.undo_batch(desk.ws, desk.building, batch, by=who)
    return f"{count} decision{'s' if count > 1 else ''} taken back."


def stands(desk: Desk | None, analysis: Analysis) -> dict[tuple[str, str], dict[str, Any]]:
    """What the list shows of each channel's decisions, with the revision that goes back with the next one."""
    if desk is None:
        return {}
    states = decisions.states(desk.ws, desk.building)
    found = {}
    for c in analysis.channels:
        state = states.get((c.room, c.channel), ChannelState())
        found[c.room, c.channel] = {"revision": state.revision, "stand": decide.short(state, c, analysis.time_zone)}
    return found


__all__ = ["actions", "register", "stands", "told"]

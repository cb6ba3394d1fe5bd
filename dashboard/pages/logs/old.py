"""Old analyses: what would go under a rule, said first; then, on a second click, gone."""

from __future__ import annotations

from typing import Any

import dash
import dash_mantine_components as dmc
from dash import Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.pages.logs.parts import size, when
from dashboard.reader import number
from dashboard.workspace import Workspace, buildings, pruning
from dashboard.workspace.errors import WorkspaceError
from dashboard.workspace.pruning import Plan, Rule

SHOWN = 12
"""Analyses that are listed one by one. Chosen by us."""


def section() -> Component:
    """Lay the section out, folded."""
    return html.Details(
        [
            html.Summary("Old analyses"),
            html.P(
                "Every verdict and every changed fact makes a new analysis. What people decided stays, whatever you choose here: an analysis that "
                "any decision rests on, even one taken back, stays whole. Of the others, those go that are neither among the newest nor young. "
                "The facts, logs and verdicts that they rested on stay on record.",
                className="caption",
            ),
            html.Div(
                [
                    dmc.NumberInput(id=ids.OLD_NEWEST, label="Keep the newest", value=Rule().newest, min=1, max=999, allowDecimal=False),
                    dmc.NumberInput(id=ids.OLD_DAYS, label="Keep those of the last [days]", value=Rule().days, min=0, max=3660),
                    html.Button("Show what would go", id=ids.OLD_LOOK, className="quiet", n_clicks=0),
                ],
                className="form",
            ),
            dcc.Store(id=ids.OLD_PLAN),
            html.Div(id=ids.OLD_TOLD, role="status"),
            html.Button("Let them go", id=ids.OLD_GO, className="primary", n_clicks=0, hidden=True),
        ],
        className="old-analyses",
    )  # fmt: skip


def register(app: dash.Dash, ws: Workspace) -> None:
    """Tie the section to a workspace."""

    @app.callback(
        Output(ids.OLD_TOLD, "children"),
        Output(ids.OLD_PLAN, "data"),
        Output(ids.OLD_GO, "hidden"),
        Input(ids.OLD_LOOK, "n_clicks"),
        Input(ids.OLD_GO, "n_clicks"),
        Input(ids.OLD_NEWEST, "value"),
        Input(ids.OLD_DAYS, "value"),
        State(ids.OLD_PLAN, "data"),
        State(ids.LOGS, "data"),
        State(ids.WHO, "value"),
        prevent_initial_call=True,
    )
    def act(
        _look: int, _go: int, newest: Any, days: Any, shown: list[int] | None, building: str, who: str | None
    ) -> tuple[Any, list[int] | None, bool]:
        if ctx.triggered_id in (ids.OLD_NEWEST, ids.OLD_DAYS):
            # What was shown belongs to another rule.
            return [], None, True
        if not ctx.triggered[0]["value"]:
            raise PreventUpdate
        try:
            rule = Rule(int(newest), float(days))
        except (TypeError, ValueError):
            return "Say how many analyses and how many days to keep.", None, True
        except WorkspaceError as error:
            return str(error), None, True
        return (
            gone(ws, building, shown, rule, who or "") if ctx.triggered_id == ids.OLD_GO else looked(ws, building, rule)
        )


def looked(ws: Workspace, building: str, rule: Rule) -> tuple[Any, list[int] | None, bool]:
    """Say what would go; the numbers to be agreed to; whether there is nothing to agree to."""
    try:
        plan = pruning.plan(ws, building, rule)
    except WorkspaceError as error:
        return str(error), None, True
    zone = str(buildings.document(ws, building)[0]["site"]["time_zone"])
    return told(plan, zone), [old.id for old in plan.going], not plan.going


def gone(
    ws: Workspace, building: str, shown: list[int] | None, rule: Rule, who: str
) -> tuple[Any, list[int] | None, bool]:
    """Let go what was shown."""
    if not shown:
        raise PreventUpdate
    try:
        freed = pruning.prune(ws, building, shown, rule, by=who)
    except WorkspaceError as error:
        return html.P(str(error), className="notice refused", role="alert"), shown, False
    return html.P(f"{_many(len(shown))} let go, {size(freed)} freed.", className="notice done"), None, True


def told(plan: Plan, zone: str) -> list[Component]:
    """What stays and why, and what would go."""
    stays = [
        f"{number(count)} {why}"
        for count, why in (
            (plan.newest, "among the newest"),
            (plan.young, "young"),
            (plan.decided, "with decisions resting on them"),
        )
        if count
    ]
    parts: list[Component] = [html.P(f"Stays: {', '.join(stays)}.")]
    if not plan.going:
        return [*parts, html.P("Nothing would go.", className="soft")]
    rows = [
        html.Li(f"Analysis {old.id} of {when(old.created_at, zone)}, by {old.created_by}, {size(old.size)}")
        for old in plan.going[:SHOWN]
    ]
    rest = len(plan.going) - SHOWN
    more = [html.P(f"and {number(rest)} more", className="soft")] if rest > 0 else []
    lead = html.P(
        [
            html.Strong(f"Would go: {_many(len(plan.going))}, {size(plan.size)}."),
            " This cannot be undone, but analysing again gives the same from the same logs.",
        ]
    )
    return [*parts, lead, html.Ul(rows), *more]


def _many(count: int) -> str:
    return f"{number(count)} {'analysis' if count == 1 else 'analyses'}"

"""The calibration page's callback, and what it counts."""

from __future__ import annotations

from dataclasses import dataclass

import dash
import numpy as np
from dash import Input, Output, dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components import marks
from dashboard.figures.calibration import calibration_figure
from dashboard.figures.theme import palette
from dashboard.reader import number
from dashboard.workspace import Workspace, verifications
from dashboard.workspace import buildings as buildings_of
from tuning.verification import Compared, Verified

QUANTITIES = (("false_offs", "False-offs", "per week"), ("energy_kwh", "Energy", "kWh per week"))


@dataclass(frozen=True)
class Past:
    """A change that was verified, in its building."""

    building: str
    site: str
    change: Verified


def register(app: dash.Dash, ws: Workspace) -> None:
    """Tie the page to the workspace."""

    @app.callback(Output(ids.CALIBRATED_BODY, "children"), Input(ids.CALIBRATED, "data"), Input(ids.SCHEME, "data"))
    def show(_data: None, scheme: str | None) -> list[Component]:
        return body(ws, scheme)


def past(ws: Workspace) -> list[Past]:
    """All changes with figures on both sides, of the newest analysis of every building; those that were not set as said count for nothing."""
    found = []
    for b in buildings_of.all_of(ws):
        verification = verifications.latest(ws, b.id)
        changes = () if verification is None else verification.changes
        found += [Past(b.id, b.name, c) for c in changes if c.quantities and c.verdict != "not-set"]
    return found


def body(ws: Workspace, scheme: str | None) -> list[Component]:
    """Everything on the page."""
    seen = past(ws)
    head = [
        html.Nav(
            [dcc.Link("Buildings", href="/"), " / Predictions"], className="crumbs", **{"aria-label": "You are here"}
        ),
        html.H1("Predicted and happened"),
    ]
    if not seen:
        return [
            html.Div(head, className="page-head"),
            marks.empty(
                "No prediction has met its outcome yet. Set rooms on site, log on, and analyse again; each change then stands here."
            ),
        ]
    parts: list[Component] = [html.Div([*head, html.P(_told(seen), className="soft")], className="page-head")]
    for name, title, unit in QUANTITIES:
        both = [p.change.quantities[name] for p in seen]
        labels = [f"{p.site}: {p.change.room_name} · {p.change.channel}" for p in seen]
        parts.append(
            html.Section(
                [
                    html.H2(title),
                    html.P(summary(both, unit)),
                    dcc.Graph(
                        figure=calibration_figure(both, labels, palette(scheme), unit=unit),
                        config={"displayModeBar": False},
                    ),
                ],
                **{"aria-label": title},
            )
        )
    rows = [
        html.Li(
            dcc.Link(f"{p.site}: {p.change.room_name} · {p.change.channel}", href=ids.verification_href(p.building))
        )
        for p in seen
    ]
    return [*parts, html.Details([html.Summary("The changes"), html.Ul(rows)])]


def _told(seen: list[Past]) -> str:
    many = len({p.building for p in seen})
    counted = f"{len(seen)} change{'' if len(seen) == 1 else 's'} in {many} building{'' if many == 1 else 's'}"
    return f"{counted}, each with what the log before it foretold and what came."


def summary(both: list[Compared], unit: str) -> str:
    """How often predictions held, and how far off they are on the whole."""
    held = sum(q.held for q in both)
    off = np.array([q.change.value - q.predicted_change.value for q in both])
    return (
        f"{held} of {len(both)} predictions held within their 90 % ranges, that of the measurement included. What happened differs from what "
        f"had been predicted by {number(float(off.mean()), 2)} {unit} on average (bias), and by "
        f"{number(float(np.median(np.abs(off))), 2)} in size in the median."
    )

"""The sheet page's skeleton; callbacks fill it."""

from __future__ import annotations

from urllib.parse import unquote

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components.marks import cautions


def layout(building: str = "", **_other: str) -> Component:
    """Lay out the page.

    Parameters
    ----------
    building
        As the address names it.
    """
    return html.Div(
        [
            dcc.Store(id=ids.SHEET, data=unquote(building)),
            html.Div(id=ids.SHEET_HEAD, className="page-head"),
            html.Div(id=ids.SHEET_ROWS),
            html.Section(
                _set_form(), id=ids.SHEET_FORM, className="card", hidden=True, **{"aria-label": "Set on site"}
            ),
            html.Div(id=ids.SHEET_TOLD, role="status"),
            cautions(),
        ],
        className="page sheet",
    )


def _set_form() -> list[Component]:
    return [
        html.H2("Set on site"),
        html.P(
            "Tick the channels above that were set. From the time given on, their logs are verified against what was set.",
            className="caption",
        ),
        html.Div(
            [
                html.Div(
                    [
                        html.Label("Set at, on the building's clock", htmlFor=ids.SHEET_WHEN),
                        dcc.Input(id=ids.SHEET_WHEN, type="text", value="", placeholder="2026-04-14 10:30"),
                    ],
                    className="field",
                ),
                html.Div(
                    [html.Label("Set by", htmlFor=ids.SHEET_BY), dcc.Input(id=ids.SHEET_BY, type="text", value="")],
                    className="field",
                ),
                html.Div(
                    [html.Label("Note", htmlFor=ids.SHEET_NOTE), dcc.Input(id=ids.SHEET_NOTE, type="text", value="")],
                    className="field",
                ),
                html.Button("Mark as set", id=ids.SHEET_SET, className="primary", n_clicks=0),
            ],
            className="buttons",
        ),
    ]

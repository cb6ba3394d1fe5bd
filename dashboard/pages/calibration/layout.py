"""Predicted against happened, over all rooms and buildings of a workspace."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids


def layout(**_other: str) -> Component:
    """Lay out the page."""
    return html.Div([dcc.Store(id=ids.CALIBRATED), html.Div(id=ids.CALIBRATED_BODY)], className="page calibration")

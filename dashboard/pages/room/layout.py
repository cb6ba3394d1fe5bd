"""The room page's skeleton; callbacks fill it."""

from __future__ import annotations

from urllib.parse import unquote

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids

QUIET: dict[str, object] = {"displayModeBar": False}
ZOOM: dict[str, object] = {
    "displaylogo": False,
    "modeBarButtons": [["zoom2d", "pan2d", "zoomIn2d", "zoomOut2d", "resetScale2d"]],
}


def _graph(name: str, config: dict[str, object], label: str) -> Component:
    return html.Div(
        dcc.Graph(id=name, config=config, responsive=True, style={"height": "300px"}),
        className="plot",
        role="group",
        **{"aria-label": label},
    )


def _evidence(title: str, caption: str, *content: Component, **more: str) -> Component:
    return html.Section([html.H2(title), html.P(caption, className="caption"), *content], className="evidence", **more)


def title(room: str = "", **_other: str) -> str:
    """Name the page for the browser's tab and history."""
    return f"{unquote(room)}: holdoff"


def layout(room: str = "", channel: str = "", day: str = "", **_other: str) -> Component:
    """Lay out the page.

    Parameters
    ----------
    room, channel, day
        What the address names; the room's first channel and its most telling day where it does not.
    """
    return html.Div(
        [
            dcc.Store(id=ids.ROOM, data={"room": unquote(room), "channel": channel, "day": day}),
            dcc.Store(id=ids.ROOM_URL),
            html.Div(id=ids.ROOM_HEAD, className="page-head"),
            html.Div(
                [
                    html.Section(id=ids.ROOM_CARD, className="card", **{"aria-label": "Recommendation"}),
                    html.Div(_figures(), className="figures"),
                    html.Div(id=ids.ROOM_ASIDE, className="aside"),
                ],
                id=ids.ROOM_BODY,
                className="room-body",
                hidden=True,
            ),
        ],
        className="page room",
    )


def _figures() -> list[Component]:
    return [
        _evidence(
            "What each hold-off brings",
            "Full line: seen in the log. Broken line on shaded ground: extrapolated beyond the hold-off in force. Crosses may not be set.",
            _graph(ids.DELAY, QUIET, "Delay curve: false-offs, light with nobody there and cost for each hold-off"),
            html.Details([html.Summary("The same in numbers"), html.Div(id=ids.ROOM_NUMBERS, className="scrolls")]),
        ),
        _evidence(
            "Day by day",
            "One row a day, cells of five minutes. Triangles: switch-offs that probably left somebody in the dark. A click chooses a day.",
            html.Div(id=ids.RASTER_KEY),
            _graph(ids.RASTER, QUIET, "Raster of all days: somebody there, lit with nobody there, left in the dark"),
        ),
        _evidence(
            "One day",
            "Every movement the detector saw, what the light did, and what it read.",
            html.Div(
                [
                    html.Button("‹", id=ids.DAY_BACK, className="quiet", n_clicks=0, **{"aria-label": "Day before"}),
                    dmc.Select(
                        id=ids.DAY_CHOICE,
                        data=[],
                        searchable=True,
                        allowDeselect=False,
                        className="days",
                        **{"aria-label": "Day"},
                    ),
                    html.Button("›", id=ids.DAY_ON, className="quiet", n_clicks=0, **{"aria-label": "Day after"}),
                ],
                className="day-bar",
            ),
            html.Div(id=ids.DAY_KEY),
            _graph(ids.DAY, ZOOM, "One day: movement, light, illuminance and output"),
        ),
        _evidence(
            "Length of the pauses",
            "A pause longer than the hold-off switches off. What stands right of the line in blue is somebody left in the dark; "
            "the bulge just right of it are people who moved to get the light back.",
            _graph(ids.GAPS, QUIET, "Lengths of the pauses between movements, stillness against absence"),
        ),
        html.Div(
            _evidence(
                "What each target brings",
                "Shares of the time that is lit with somebody there.",
                _graph(ids.TARGET, QUIET, "Under-lit share and energy for each target illuminance"),
            ),
            id=ids.TARGET_BOX,
        ),
        html.Div(
            _evidence(
                "Light at the task",
                "Daylight and lamps together, at five-minute steps while lit with somebody there.",
                _graph(ids.TASK, QUIET, "Distribution of the illuminance at the task"),
            ),
            id=ids.TASK_BOX,
        ),
    ]

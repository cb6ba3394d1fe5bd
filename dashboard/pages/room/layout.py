"""The room page's skeleton; callbacks fill it."""

from __future__ import annotations

from urllib.parse import unquote

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.pages.room.sections import SECTIONS


def title(room: str = "", **_other: str) -> str:
    """Name the page for the browser's tab and history."""
    return f"{unquote(room)}: holdoff"


def layout(building: str = "", room: str = "", channel: str = "", day: str = "", **_other: str) -> Component:
    """Lay out the page.

    Parameters
    ----------
    building, room, channel, day
        What the address names; the room's first channel and its most telling day where it does not.
    """
    place = {"building": unquote(building), "room": unquote(room), "channel": channel, "day": day}
    return html.Div(
        [
            dcc.Store(id=ids.ROOM, data=place),
            dcc.Store(id=ids.ROOM_URL),
            html.Div(id=ids.ROOM_HEAD, className="page-head"),
            html.Div(
                [
                    html.Section(id=ids.ROOM_CARD, className="card", **{"aria-label": "Recommendation"}),
                    html.Div([s.section() for s in SECTIONS], className="figures"),
                    html.Div(id=ids.ROOM_ASIDE, className="aside"),
                ],
                id=ids.ROOM_BODY,
                className="room-body",
                hidden=True,
            ),
        ],
        className="page room",
    )

"""The room page's skeleton; callbacks fill it."""

from __future__ import annotations

from urllib.parse import unquote

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.pages.room import deciding
from dashboard.pages.room.sections import SECTIONS

KEPT = ("day", "from", "to", "off")
"""Parts of the address that say what of the room is looked at: a day, a window of time on the building's clock, a switch-off (UTC)."""


def title(room: str = "", **_other: str) -> str:
    """Name the page for the browser's tab and history."""
    return f"{unquote(room)}: holdoff"


def layout(building: str = "", room: str = "", channel: str = "", **state: str) -> Component:
    """Lay out the page.

    Parameters
    ----------
    building, room, channel
        What the address names; the room's first channel where it names none.
    state
        What of the page the address keeps: see ``KEPT``. The most telling day and switch-off where it does not.
    """
    place = {"building": unquote(building), "room": unquote(room), "channel": channel}
    place |= {name: state.get(name, "") for name in KEPT}
    return html.Div(
        [
            dcc.Store(id=ids.ROOM, data=place),
            dcc.Store(id=ids.ROOM_LATER),
            dcc.Store(id=ids.ROOM_URL),
            dcc.Store(id=ids.WINDOW),
            dcc.Store(id=ids.OFF),
            html.Div(id=ids.ROOM_HEAD, className="page-head"),
            html.Div(
                [
                    html.Div(
                        [
                            html.Section(id=ids.ROOM_CARD, className="card", **{"aria-label": "Recommendation"}),
                            deciding.panel(),
                        ],
                        className="lead",
                    ),
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

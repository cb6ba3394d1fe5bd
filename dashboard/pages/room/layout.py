"""The room page's skeleton; callbacks fill it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any
from urllib.parse import unquote

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.pages.room import deciding, later
from dashboard.pages.room.sections import FIRST, LATER

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
    first = [section.section() for section in FIRST]
    # Asked for no room, all of it, which callbacks are held against.
    asked = {"days"} if any(place[name] for name in KEPT) else set()
    further = [later.laid_out(name, together, asked=name in asked, whole=not room) for name, together in LATER.items()]
    return html.Div(
        [
            dcc.Store(id=ids.ROOM, data=place),
            dcc.Store(id=ids.ROOM_FIRST),
            html.Div(id=ids.ROOM_HEAD, className="page-head"),
            html.Nav(
                [html.A(title, href=f"#{name}") for section in [*first, *further] for title, name in headings(section)],
                className="jump",
                **{"aria-label": "On this page"},
            ),
            html.Div(
                [
                    html.Div(
                        [
                            html.Section(id=ids.ROOM_CARD, className="card", **{"aria-label": "Recommendation"}),
                            deciding.panel(),
                        ],
                        className="lead",
                    ),
                    html.Div([*first, *further], className="figures"),
                    html.Div(id=ids.ROOM_ASIDE, className="aside"),
                ],
                id=ids.ROOM_BODY,
                className="room-body",
                hidden=True,
            ),
        ],
        className="page room",
    )


def headings(part: Any) -> Iterator[tuple[str, str]]:
    """Headings in a part of the page and their names in addresses; what may stay hidden is not promised."""
    if getattr(part, "hidden", False):
        return
    if isinstance(part, html.H2) and getattr(part, "id", None):
        yield str(part.children), part.id
        return
    inner = getattr(part, "children", None)
    for child in inner if isinstance(inner, list | tuple) else [inner] if inner is not None else []:
        yield from headings(child)

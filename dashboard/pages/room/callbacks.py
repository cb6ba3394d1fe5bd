"""The room page's head, card and margin; its sections fill themselves."""

from __future__ import annotations

from typing import Any

import dash
from dash import Input, Output, State

from dashboard import ids
from dashboard.components.still import still
from dashboard.pages.room import deciding, parts
from dashboard.pages.room.context import PLACE, VERSION, Place, analysis_of, channel_of
from dashboard.pages.room.sections import SECTIONS
from dashboard.pages.verification import parts as verification_parts
from dashboard.store import Stores

LATER_JS = """
function(figure, place, was) {
  return figure && place && JSON.stringify(place) !== JSON.stringify(was) ? place : dash_clientside.no_update;
}
"""


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the page to the stores."""

    @app.callback(
        Output(ids.ROOM_HEAD, "children"),
        Output(ids.ROOM_CARD, "children"),
        Output(ids.ROOM_ASIDE, "children"),
        Output(ids.ROOM_BODY, "hidden"),
        PLACE,
        VERSION,
    )
    def text(place: Place, _version: int | None) -> tuple[Any, ...]:
        head, card, aside, hidden = room_text(stores, place)
        return still(head), still(card), still(aside), hidden

    app.clientside_callback(
        LATER_JS,
        Output(ids.ROOM_LATER, "data"),
        Input(ids.DELAY, "figure"),
        State(ids.ROOM, "data"),
        State(ids.ROOM_LATER, "data"),
    )
    deciding.register(app, stores)
    for section in SECTIONS:
        section.register(app, stores)


def room_text(stores: Stores, place: Place) -> tuple[Any, ...]:
    """Everything on the page that is no figure, and whether the page is hidden."""
    _, analysis = analysis_of(stores, place)
    c = channel_of(analysis, place["room"], place["channel"])
    if c is None:
        return parts.missing(place, analysis), [], [], True
    building = place.get("building", "")
    return (
        [*parts.head(c, analysis, building), *verification_parts.of_room(stores.workspace, c, building)],
        parts.card(c, analysis),
        parts.aside(c, analysis),
        False,
    )

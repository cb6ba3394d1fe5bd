"""The room page's head, card and margin; its sections fill themselves."""

from __future__ import annotations

from typing import Any

import dash
from dash import ClientsideFunction, Input, Output, State

from dashboard import ids
from dashboard.components.still import still
from dashboard.pages.room import deciding, later, parts
from dashboard.pages.room.context import NUMBER, PLACE, Place, analysis_of, channel_of
from dashboard.pages.room.sections import LATER, SECTIONS
from dashboard.pages.verification import parts as verification_parts
from dashboard.store import Stores


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the page to the stores."""

    @app.callback(
        Output(ids.ROOM_HEAD, "children"),
        Output(ids.ROOM_CARD, "children"),
        Output(ids.ROOM_ASIDE, "children"),
        Output(ids.ROOM_BODY, "hidden"),
        PLACE,
        NUMBER,
    )
    def text(place: Place, _version: int | None) -> tuple[Any, ...]:
        head, card, aside, hidden = room_text(stores, place)
        return still(head), still(card), still(aside), hidden

    app.clientside_callback(
        ClientsideFunction("later", "watch"),
        Output(ids.ROOM_FIRST, "data"),
        # Until the second is there, everything below lies higher up the page.
        Input(ids.DELAY, "figure"),
        Input(ids.TRY_DRAWN, "data"),
        State(ids.ROOM, "data"),
        prevent_initial_call=True,
    )
    later.register(app, list(LATER))
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

"""Lengths of the pauses between movements."""

from __future__ import annotations

import dash
from dash.development.base_component import Component

from dashboard import ids
from dashboard.figures.gap_lengths import gap_figure
from dashboard.figures.theme import palette
from dashboard.pages.room.context import (
    PLACE,
    QUIET,
    SCHEME,
    VERSION,
    Drawn,
    Place,
    drawn,
    evidence,
    find,
    fitted,
    graph,
)
from dashboard.store import Stores


def section() -> Component:
    """Lay the section out."""
    return evidence(
        "Length of the pauses",
        "A pause longer than the hold-off switches off. What stands right of the line in blue is somebody left in the dark; "
        "the bulge just right of it are people who moved to get the light back.",
        graph(ids.GAPS, QUIET, "Lengths of the pauses between movements, stillness against absence"),
    )


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(*drawn(ids.GAPS), PLACE, VERSION, SCHEME)
    def gaps(place: Place, _version: int | None, scheme: str | None) -> Drawn:
        return fitted(gap_figure(find(stores, place).channel, palette(scheme)))

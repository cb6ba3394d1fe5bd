"""What every section of the room page starts from: which channel the page is about, and where its figures go."""

from __future__ import annotations

import re
from dataclasses import dataclass

from dash import Input, Output, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.figures.drawing import Figure
from dashboard.figures.timeline import Raster, Timeline
from dashboard.reader import separators
from dashboard.store import Store, Stores
from tuning.results import Analysis, ChannelResult

Place = dict[str, str]
"""What the address names: ``building``, ``room``, ``channel`` and what ``layout.KEPT`` lists."""
Drawn = tuple[Figure, dict[str, str]]

PLACE = Input(ids.ROOM, "data")
VERSION = Input(ids.CHANGED, "data")
NUMBER = Input(ids.VERSION, "data")
SCHEME = Input(ids.SCHEME, "data")
"""What a section's callbacks listen to: the address, an analysis in which the room changed, any new analysis, light or dark."""

DRAWN = "--drawn"
"""Property of a figure's place that says to the style sheet that its callback has answered."""

QUIET: dict[str, object] = {"displayModeBar": False}


@dataclass(frozen=True)
class Here:
    """The channel that a page is about, with the analysis and the store it comes from."""

    store: Store
    analysis: Analysis
    channel: ChannelResult

    def pictures(self) -> tuple[Timeline, Raster] | None:
        """Return the channel laid out along time; ``None`` without motion."""
        return self.store.pictures(self.channel)


def find(stores: Stores, place: Place | None) -> Here:
    """Return the channel that a page is about.

    Raises
    ------
    PreventUpdate
        While there is no analysis, or where the address names no channel of it.
    """
    store, analysis = analysis_of(stores, place)
    found = channel_of(analysis, place["room"], place["channel"]) if place else None
    if found is None:
        raise PreventUpdate
    return Here(store, analysis, store.full(found))


def analysis_of(stores: Stores, place: Place | None) -> tuple[Store, Analysis]:
    """Return a building's store and analysis.

    Raises
    ------
    PreventUpdate
        While there is none.
    """
    store = stores.of(place.get("building", "")) if place else None
    analysis = store.analysis() if store is not None else None
    if store is None or analysis is None:
        raise PreventUpdate
    return store, analysis


def channel_of(analysis: Analysis, room: str, channel: str) -> ChannelResult | None:
    """Return the channel, or the room's first where none is named."""
    mine = [c for c in analysis.channels if c.room == room]
    return next((c for c in mine if not channel or c.channel == channel), None)


def drawn(graph: str) -> tuple[Output, Output]:
    """What a figure's callback writes: the figure, and the height of its place on the page."""
    return Output(graph, "figure"), Output(graph, "style")


def fitted(figure: Figure) -> Drawn:
    """Take the height out of a figure and give it to its place, so that the figure follows the width of the page."""
    height = figure.height
    figure.update_layout(height=None, autosize=True, separators=separators())
    return figure, {"height": f"{height:g}px", DRAWN: "1"}


def _waiting() -> dict[str, object]:
    """What stands in a figure's place until its callback has answered: no axes that mean nothing."""
    hidden, clear = {"visible": False}, "rgba(0,0,0,0)"
    return {"data": [], "layout": {"xaxis": hidden, "yaxis": hidden, "paper_bgcolor": clear, "plot_bgcolor": clear}}


def graph(name: str, config: dict[str, object], label: str) -> Component:
    """Place a figure that callbacks fill, with what it shows said to those who do not see it."""
    return html.Div(
        [
            dcc.Graph(id=name, figure=_waiting(), config=config, responsive=True, style={"height": "300px"}),
            html.Span("Drawing…", className="drawing", **{"aria-hidden": "true"}),
        ],
        className="plot",
        role="group",
        **{"aria-label": label},
    )


def evidence(title: str, caption: str, *content: Component, **more: str) -> Component:
    """One section of evidence: heading, a sentence on how to read it, content."""
    head = html.H2(title, id=anchor(title))
    return html.Section([head, html.P(caption, className="caption"), *content], className="evidence", **more)


def anchor(title: str) -> str:
    """Name of a section in an address.

    Examples
    --------
    >>> anchor("Was somebody still there?")
    'was-somebody-still-there'
    """
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")

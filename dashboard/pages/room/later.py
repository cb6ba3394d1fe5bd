"""What lies further down the room page is put there when it comes near the window.

Whoever decides from the card never goes there, and everything on a page costs: its callbacks the server, every component the browser at each step of
every other callback, an empty figure as much as a small one. Until then its headings and the sentences below them stand there, so that links lead to
them and a search of the page finds them. `assets/later.js` looks what is near.
"""

from __future__ import annotations

import json
from types import ModuleType
from typing import Any

import dash
from dash import Input, Output, State, dcc, html
from dash.development.base_component import Component
from plotly.utils import PlotlyJSONEncoder

from dashboard import ids

BRING_JS = """
function(near, parts) { return near ? parts : dash_clientside.no_update; }
"""
OUTLINE = "data-outline"
"""Attribute of what stands there until then."""
ASKED = "data-asked"
"""Attribute of a place that the address tells something of."""
PLACE_PX = 300
"""Height of a figure that is not there yet. Chosen by us: about that of most."""


def laid_out(name: str, sections: tuple[ModuleType, ...], *, asked: bool, whole: bool) -> Component:
    """Lay out the place of some sections: their headings, and beside them, as data, what will be there.

    ``asked``: the address tells something of them, so that they come wherever the window is; ``whole``: they are there at once.
    """
    marks = {"data-later": ids.near(name)} | ({ASKED: ""} if asked else {})
    parts = [section.section() for section in sections]
    outline = html.Div([line for part in parts for line in outlines(part)], **{OUTLINE: ""})
    return html.Div(
        [
            dcc.Store(id=ids.near(name)),
            dcc.Store(id=ids.later_parts(name), data=json.loads(json.dumps(parts, cls=PlotlyJSONEncoder))),
            html.Div(parts if whole else outline, id=ids.later(name), className="later", **marks),
        ]
    )


def register(app: dash.Dash, names: list[str]) -> None:
    """Tie places to what the browser says is near."""
    for name in names:
        app.clientside_callback(
            BRING_JS,
            Output(ids.later(name), "children"),
            Input(ids.near(name), "data"),
            State(ids.later_parts(name), "data"),
            prevent_initial_call=True,
        )


def outlines(part: Any) -> list[Component]:
    """Headings in a part of the page with the sentences below them, and the places of their figures; what may stay hidden is not promised."""
    if getattr(part, "hidden", False):
        return []
    inner = getattr(part, "children", None)
    children = inner if isinstance(inner, list | tuple) else [] if inner is None else [inner]
    if isinstance(part, html.Section) and "evidence" in (part.className or ""):
        kept = [c for c in children if isinstance(c, html.H2) or getattr(c, "className", None) == "caption"]
        place = html.Div(
            html.Span("Drawing…", className="drawing", **{"aria-hidden": "true"}),
            className="plot",
            style={"height": f"{PLACE_PX}px"},
        )
        return [html.Section([*kept, place], className="evidence")]
    return [line for child in children for line in outlines(child)]

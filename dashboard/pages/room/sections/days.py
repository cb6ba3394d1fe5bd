"""All days as a raster, and one of them in full."""

from __future__ import annotations

import datetime as dt
from typing import Any

import dash
import dash_mantine_components as dmc
from dash import Input, Output, State, ctx, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components import key
from dashboard.figures.day_detail import day_figure
from dashboard.figures.day_raster import raster_figure
from dashboard.figures.theme import palette, sentence
from dashboard.pages.room import parts
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

ZOOM: dict[str, object] = {
    "displaylogo": False,
    "modeBarButtons": [["zoom2d", "pan2d", "zoomIn2d", "zoomOut2d", "resetScale2d"]],
}

URL_JS = """
function(day, place) {
  if (!day || !/\\/room\\/[^/]*$/.test(window.location.pathname)) { return dash_clientside.no_update; }
  const query = new URLSearchParams(window.location.search);
  query.set('day', day);
  window.history.replaceState(window.history.state, '', window.location.pathname + '?' + query.toString());
  return day;
}
"""


def section() -> Component:
    """Lay the section out."""
    return html.Div(
        [
            evidence(
                "Day by day",
                "One row a day, cells of five minutes. Triangles: switch-offs that probably left somebody in the dark. A click chooses a day.",
                html.Div(id=ids.RASTER_KEY),
                graph(ids.RASTER, QUIET, "Raster of all days: somebody there, lit with nobody there, left in the dark"),
            ),
            evidence(
                "One day",
                "Every movement the detector saw, what the light did, and what it read.",
                _day_bar(),
                html.Div(id=ids.DAY_KEY),
                graph(ids.DAY, ZOOM, "One day: movement, light, illuminance and output"),
            ),
        ]
    )


def _day_bar() -> Component:
    return html.Div(
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
    )


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(Output(ids.RASTER_KEY, "children"), Output(ids.DAY_KEY, "children"), PLACE, VERSION)
    def keys(place: Place, _version: int | None) -> tuple[Any, Any]:
        here = find(stores, place)
        made = here.pictures()
        return None if made is None else key.raster_key(made[1]), key.day_key(here.channel)

    @app.callback(
        Output(ids.DAY_CHOICE, "data"),
        Output(ids.DAY_CHOICE, "value"),
        PLACE,
        VERSION,
        Input(ids.RASTER, "clickData"),
        Input(ids.DAY_BACK, "n_clicks"),
        Input(ids.DAY_ON, "n_clicks"),
        State(ids.DAY_CHOICE, "value"),
    )
    def choose(
        place: Place, _version: int | None, click: dict[str, Any] | None, _back: int, _on: int, chosen: str | None
    ) -> tuple[Any, Any]:
        return choose_day(stores, place, chosen, trigger=ctx.triggered_id, click=click)

    @app.callback(*drawn(ids.RASTER), PLACE, SCHEME, Input(ids.DAY_CHOICE, "value"))
    def raster(place: Place, scheme: str | None, day: str | None) -> Drawn:
        made = find(stores, place).pictures()
        if made is None:
            return fitted(sentence(palette(scheme), "The log holds no movement of this channel."))
        return fitted(raster_figure(made[1], palette(scheme), chosen=as_day(day), legend=False))

    @app.callback(*drawn(ids.DAY), PLACE, SCHEME, Input(ids.DAY_CHOICE, "value"))
    def detail(place: Place, scheme: str | None, day: str | None) -> Drawn:
        here = find(stores, place)
        made, when = here.pictures(), as_day(day)
        if made is None or when is None or when not in made[1].days:
            return fitted(sentence(palette(scheme), "No day to show."))
        return fitted(day_figure(here.channel, made[0], when, palette(scheme), legend=False))

    app.clientside_callback(URL_JS, Output(ids.ROOM_URL, "data"), Input(ids.DAY_CHOICE, "value"), PLACE)


def as_day(text: str | None) -> dt.date | None:
    """Read a day from an address; ``None`` where it is none."""
    try:
        return dt.date.fromisoformat(text or "")
    except ValueError:
        return None


def choose_day(
    stores: Stores, place: Place, chosen: str | None, *, trigger: Any, click: dict[str, Any] | None
) -> tuple[Any, Any]:
    """Days to choose from and the day chosen: by a click, a step, the address, or the most telling one."""
    made = find(stores, place).pictures()
    if made is None:
        return [], None
    days = made[1].days
    wanted = as_day(chosen) if trigger in (ids.RASTER, ids.DAY_BACK, ids.DAY_ON) else as_day(place["day"])
    if trigger == ids.RASTER and click:
        wanted = as_day(str(click["points"][0]["y"]))
    elif trigger in (ids.DAY_BACK, ids.DAY_ON) and wanted in days:
        step = 1 if trigger == ids.DAY_ON else -1
        wanted = days[min(max(days.index(wanted) + step, 0), len(days) - 1)]
    if wanted not in days:
        wanted = parts.telling_day(made[1])
    return parts.day_options(made[1]), wanted.isoformat() if wanted else None

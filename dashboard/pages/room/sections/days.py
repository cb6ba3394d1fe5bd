"""All days as a raster, and any stretch of time from the whole log down to seconds."""

from __future__ import annotations

import datetime as dt
from typing import Any

import dash
import dash_mantine_components as dmc
import numpy as np
from dash import Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.components import key
from dashboard.components.still import still
from dashboard.figures.along_time import time_figure
from dashboard.figures.day_raster import raster_figure
from dashboard.figures.theme import palette, sentence
from dashboard.figures.timeline import Timeline, local_times
from dashboard.figures.window import Window, day_window, local_window, moved, scaled, within
from dashboard.needs import needs
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

ZOOM: dict[str, object] = {"displayModeBar": False, "scrollZoom": False, "doubleClick": "reset"}
STEPS = {
    ids.TIME_EARLIER: ("Earlier", "Half a window earlier"),
    ids.TIME_LATER: ("Later", "Half a window later"),
    ids.TIME_IN: ("Zoom in", "A third of the window"),
    ids.TIME_OUT: ("Zoom out", "Three times the window"),
    ids.TIME_ALL: ("Whole log", "From the first day to the last"),
}

STEP_DAY_JS = """
function(_back, _on, days, chosen) {
  // In the browser, so that quick clicks do not start from one and the same day.
  const step = dash_clientside.callback_context.triggered_id === 'room-day-on' ? 1 : -1;
  const at = (days || []).findIndex(d => d.value === chosen);
  return at < 0 ? dash_clientside.no_update : days[Math.min(Math.max(at + step, 0), days.length - 1)].value;
}
"""
URL_JS = """
function(day, shown, off) {
  if (!/\\/room\\/[^/]*$/.test(window.location.pathname)) { return dash_clientside.no_update; }
  const query = new URLSearchParams(window.location.search), put = (key, value) => value ? query.set(key, value) : query.delete(key);
  if (day) { put('day', day); }
  if (shown) { put('from', shown.day ? '' : shown.first); put('to', shown.day ? '' : shown.last); }
  if (off) { put('off', off.asked ? off.time : ''); }
  const text = query.toString();
  const now = window.location, url = now.pathname + (text ? '?' + text : '') + now.hash;
  if (url !== now.pathname + now.search + now.hash) { window.history.replaceState(window.history.state, '', url); }
  return text;
}
"""


def section() -> Component:
    """Lay the section out."""
    return html.Div(
        [
            dcc.Store(id=ids.ROOM_URL),
            dcc.Store(id=ids.WINDOW),
            dcc.Store(id=ids.OFF),
            evidence(
                "Day by day",
                "One row a day, cells of five minutes. Triangles: switch-offs that probably left somebody in the dark. A click chooses a day.",
                html.Div(id=ids.RASTER_KEY),
                graph(ids.RASTER, QUIET, "Raster of all days: somebody there, lit with nobody there, left in the dark"),
            ),
            evidence(
                "Along time",
                "Every movement the detector saw, what the light did, and what it read. Drag across a stretch to zoom, down to seconds; "
                "a double click goes back to the day. A click on a triangle opens that switch-off below.",
                _bar(),
                html.Div(id=ids.DAY_KEY),
                graph(ids.DAY, ZOOM, "Along time: movement, light, illuminance and output"),
            ),
        ]
    )


def _bar() -> Component:
    return html.Div(
        [
            html.Button("‹", id=ids.DAY_BACK, className="quiet", n_clicks=0, **{"aria-label": "Day before"}),
            dmc.Select(
                id=ids.DAY_CHOICE,
                data=[],
                searchable=True,
                allowDeselect=False,
                className="days",
                # A year has 365 of them, which nobody sees until the list is opened.
                comboboxProps={"keepMounted": False},
                **{"aria-label": "Day"},
            ),
            html.Button("›", id=ids.DAY_ON, className="quiet", n_clicks=0, **{"aria-label": "Day after"}),
            html.Div(
                [
                    html.Button(word, id=name, className="quiet", n_clicks=0, title=meaning)
                    for name, (word, meaning) in STEPS.items()
                ],
                className="steps",
                role="group",
                **{"aria-label": "Stretch of time shown"},
            ),
        ],
        className="day-bar",
    )


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(Output(ids.RASTER_KEY, "children"), Output(ids.DAY_KEY, "children"), PLACE, VERSION)
    def keys(place: Place, _version: int | None) -> tuple[Any, Any]:
        here = find(stores, place)
        made = here.pictures()
        return still(None if made is None else key.raster_key(made[1])), still(key.day_key(here.channel))

    @app.callback(
        Output(ids.DAY_CHOICE, "data"),
        Output(ids.DAY_CHOICE, "value"),
        PLACE,
        VERSION,
        Input(ids.RASTER, "clickData"),
        State(ids.DAY_CHOICE, "value"),
    )
    def choose(place: Place, _version: int | None, click: dict[str, Any] | None, chosen: str | None) -> tuple[Any, Any]:
        return choose_day(stores, place, chosen, trigger=ctx.triggered_id, click=click)

    app.clientside_callback(
        STEP_DAY_JS,
        Output(ids.DAY_CHOICE, "value", allow_duplicate=True),
        Input(ids.DAY_BACK, "n_clicks"),
        Input(ids.DAY_ON, "n_clicks"),
        State(ids.DAY_CHOICE, "data"),
        State(ids.DAY_CHOICE, "value"),
        prevent_initial_call=True,
    )

    @app.callback(*drawn(ids.RASTER), PLACE, SCHEME, Input(ids.DAY_CHOICE, "value"))
    def raster(place: Place, scheme: str | None, day: str | None) -> Drawn:
        made = find(stores, place).pictures()
        if made is None:
            return fitted(sentence(palette(scheme), "The log holds no movement of this channel."))
        return fitted(raster_figure(made[1], palette(scheme), chosen=as_day(day), legend=False))

    @app.callback(
        Output(ids.WINDOW, "data"),
        Input(ids.DAY_CHOICE, "value"),
        Input(ids.DAY, "relayoutData"),
        *(Input(name, "n_clicks") for name in STEPS),
        State(ids.WINDOW, "data"),
        State(ids.ROOM, "data"),
    )
    @needs("look")
    def look(day: str | None, dragged: dict[str, Any] | None, *more: Any) -> dict[str, Any]:
        pressed = dict(zip(STEPS, more, strict=False))
        return choose_window(stores, more[-1], more[-2], day=day, dragged=dragged, pressed=pressed, trigger=_trigger())

    @app.callback(*drawn(ids.DAY), Input(ids.WINDOW, "data"), SCHEME, State(ids.ROOM, "data"))
    def along(shown: dict[str, Any] | None, scheme: str | None, place: Place) -> Drawn:
        here = find(stores, place)
        made = here.pictures()
        window = None if made is None or not shown else local_window(made[0], shown["first"], shown["last"])
        if made is None or window is None:
            return fitted(sentence(palette(scheme), "No day to show."))
        return fitted(time_figure(here.channel, made[0], window, palette(scheme)))

    app.clientside_callback(
        URL_JS,
        Output(ids.ROOM_URL, "data"),
        Input(ids.DAY_CHOICE, "value"),
        Input(ids.WINDOW, "data"),
        Input(ids.OFF, "data"),
    )


def as_day(text: str | None) -> dt.date | None:
    """Read a day from an address; ``None`` where it is none."""
    try:
        return dt.date.fromisoformat(text or "")
    except ValueError:
        return None


def choose_day(
    stores: Stores, place: Place, chosen: str | None, *, trigger: Any, click: dict[str, Any] | None
) -> tuple[Any, Any]:
    """Days to choose from and the day chosen: by a click, the address, or the most telling one."""
    made = find(stores, place).pictures()
    if made is None:
        return [], None
    days = made[1].days
    wanted = as_day(chosen) if trigger == ids.RASTER else as_day(place["day"])
    if trigger == ids.RASTER and click:
        wanted = as_day(str(click["points"][0]["y"]))
    if wanted not in days:
        wanted = parts.telling_day(made[1])
    return parts.day_options(made[1]), wanted.isoformat() if wanted else None


def choose_window(
    stores: Stores,
    place: Place,
    shown: dict[str, Any] | None,
    *,
    day: str | None,
    dragged: dict[str, Any] | None,
    pressed: dict[str, int],
    trigger: Any,
) -> dict[str, Any]:
    """Return the stretch of time to show after a day was chosen, a stretch dragged over or a button pressed.

    Whoever presses a button again before the answer is there sends the stretch of before along; it says how often each button had been
    ``pressed`` when it was made, so that no press is lost.

    Raises
    ------
    PreventUpdate
        Where there is nothing to show, or what happened changes nothing.
    """
    made = find(stores, place).pictures()
    when = as_day(day)
    if made is None or when is None or when not in made[1].days:
        raise PreventUpdate
    line, of_day = made[0], day_window(made[0], when)
    now = local_window(line, shown["first"], shown["last"]) if shown else None
    ahead = _not_done(shown or {}, pressed, trigger)
    if shown is None and place.get("from"):
        # A page that was just opened shows what its address says.
        found = local_window(line, place["from"], place.get("to", "")) or of_day
    elif now is None or trigger == ids.DAY_CHOICE:
        found = of_day
    elif trigger == ids.DAY and (drawn_over := _dragged(line, dragged, of_day)) is not None:
        found = drawn_over
    elif ahead:
        found = now
        for button in ahead:
            found = _stepped(line, found, button)
    elif trigger == ids.DAY or trigger in STEPS:
        raise PreventUpdate
    else:
        found = of_day
    return told(line, found, of_day) | {"pressed": pressed}


def _not_done(shown: dict[str, Any], pressed: dict[str, int], trigger: Any) -> list[str]:
    """Buttons pressed since a window was made, each as often as it was; the one that was pressed last comes last."""
    done = shown.get("pressed", {})
    steps = [name for name, count in pressed.items() for _ in range((count or 0) - done.get(name, 0))]
    return sorted(steps, key=lambda name: name == trigger)


def _trigger() -> str | None:
    """What happened; a day that was chosen counts for more than the figure's own news of the same moment."""
    happened = {name.rpartition(".")[0] for name in ctx.triggered_prop_ids}
    return ids.DAY_CHOICE if ids.DAY_CHOICE in happened else ctx.triggered_id


def _dragged(line: Timeline, dragged: dict[str, Any] | None, of_day: Window) -> Window | None:
    """Read what the figure says of a drag or a double click; ``None`` where it says nothing of the kind."""
    ends = {key[-3:]: value for key, value in (dragged or {}).items() if key.startswith("xaxis") and ".range[" in key}
    if any(key.endswith("autorange") for key in dragged or {}):
        return of_day
    return local_window(line, *(str(ends.get(k, "")) for k in ("[0]", "[1]")))


def _stepped(line: Timeline, now: Window, trigger: str) -> Window:
    if trigger == ids.TIME_ALL:
        return within(line, line.first_us, line.first_us + 10**18)
    if trigger in (ids.TIME_IN, ids.TIME_OUT):
        return scaled(line, now, 1 / 3 if trigger == ids.TIME_IN else 3)
    return moved(line, now, 0.5 if trigger == ids.TIME_LATER else -0.5)


def told(line: Timeline, window: Window, of_day: Window) -> dict[str, Any]:
    """Write a window for the page: its ends on the building's clock, and whether it is just the day that is chosen."""
    first, last = (t.isoformat() for t in local_times(_array(window), line.zone))
    return {"first": first, "last": last, "day": window == of_day}


def _array(window: Window) -> Any:
    return np.array([window.first_us, window.last_us], dtype=np.int64)

"""The room page's callbacks: read, call, return."""

from __future__ import annotations

import datetime as dt
from typing import Any

import dash
import plotly.graph_objects as go
from dash import Input, Output, State, ctx
from dash.exceptions import PreventUpdate

from dashboard import ids
from dashboard.components import key
from dashboard.figures.day_detail import day_figure
from dashboard.figures.day_raster import raster_figure
from dashboard.figures.delay_curve import delay_figure
from dashboard.figures.gap_lengths import gap_figure
from dashboard.figures.target_curve import target_figure
from dashboard.figures.task_light import task_figure
from dashboard.figures.theme import palette, sentence
from dashboard.pages.room import parts
from dashboard.store import Store
from tuning.results import Analysis, ChannelResult

Place = dict[str, str]
Drawn = tuple[go.Figure, dict[str, str]]

URL_JS = """
function(day, place) {
  if (!day || !window.location.pathname.startsWith('/room/')) { return dash_clientside.no_update; }
  const query = new URLSearchParams(window.location.search);
  query.set('day', day);
  window.history.replaceState(window.history.state, '', window.location.pathname + '?' + query.toString());
  return day;
}
"""


def find(store: Store, place: Place | None) -> tuple[Analysis, ChannelResult]:
    """The analysis and the channel that a page is about.

    Raises
    ------
    PreventUpdate
        While there is no analysis, or where the address names no channel of it.
    """
    analysis = store.analysis()
    if analysis is None or not place:
        raise PreventUpdate
    found = channel_of(analysis, place["room"], place["channel"])
    if found is None:
        raise PreventUpdate
    return analysis, found


def channel_of(analysis: Analysis, room: str, channel: str) -> ChannelResult | None:
    """Return the channel, or the room's first where none is named."""
    mine = [c for c in analysis.channels if c.room == room]
    return next((c for c in mine if not channel or c.channel == channel), None)


def drawn(graph: str) -> tuple[Output, Output]:
    """What a figure's callback writes: the figure, and the height of its place on the page."""
    return Output(graph, "figure"), Output(graph, "style")


def fitted(figure: go.Figure) -> Drawn:
    """Take the height out of a figure and give it to its place, so that the figure follows the width of the page."""
    height = figure.layout.height
    figure.update_layout(height=None, autosize=True)
    return figure, {"height": f"{height}px"}


def register(app: dash.Dash, store: Store) -> None:
    """Tie the page to a store."""
    place, version, scheme = Input(ids.ROOM, "data"), Input(ids.VERSION, "data"), Input(ids.SCHEME, "data")

    @app.callback(
        Output(ids.ROOM_HEAD, "children"),
        Output(ids.ROOM_CARD, "children"),
        Output(ids.ROOM_ASIDE, "children"),
        Output(ids.ROOM_NUMBERS, "children"),
        Output(ids.ROOM_BODY, "hidden"),
        Output(ids.TARGET_BOX, "hidden"),
        Output(ids.TASK_BOX, "hidden"),
        Output(ids.RASTER_KEY, "children"),
        Output(ids.DAY_KEY, "children"),
        place,
        version,
    )
    def text(place: Place, _version: int | None) -> tuple[Any, ...]:
        return room_text(store, place)

    @app.callback(*drawn(ids.DELAY), place, version, scheme)
    def delay(place: Place, _version: int | None, scheme: str | None) -> Drawn:
        analysis, c = find(store, place)
        return fitted(delay_figure(c, palette(scheme), currency=analysis.currency))

    @app.callback(*drawn(ids.GAPS), place, version, scheme)
    def gaps(place: Place, _version: int | None, scheme: str | None) -> Drawn:
        _, c = find(store, place)
        return fitted(gap_figure(c, palette(scheme)))

    @app.callback(*drawn(ids.TARGET), place, version, scheme)
    def target(place: Place, _version: int | None, scheme: str | None) -> Drawn:
        _, c = find(store, place)
        return fitted(target_figure(c, palette(scheme)))

    @app.callback(*drawn(ids.TASK), place, version, scheme)
    def task(place: Place, _version: int | None, scheme: str | None) -> Drawn:
        _, c = find(store, place)
        return fitted(task_figure(c, palette(scheme)))

    @app.callback(
        Output(ids.DAY_CHOICE, "data"),
        Output(ids.DAY_CHOICE, "value"),
        place,
        version,
        Input(ids.RASTER, "clickData"),
        Input(ids.DAY_BACK, "n_clicks"),
        Input(ids.DAY_ON, "n_clicks"),
        State(ids.DAY_CHOICE, "value"),
    )
    def choose(
        place: Place, _version: int | None, click: dict[str, Any] | None, _back: int, _on: int, chosen: str | None
    ) -> tuple[Any, Any]:
        return choose_day(store, place, chosen, trigger=ctx.triggered_id, click=click)

    @app.callback(*drawn(ids.RASTER), place, scheme, Input(ids.DAY_CHOICE, "value"))
    def raster(place: Place, scheme: str | None, day: str | None) -> Drawn:
        _, c = find(store, place)
        made = store.pictures(c)
        if made is None:
            return fitted(sentence(palette(scheme), "The log holds no movement of this channel."))
        return fitted(raster_figure(made[1], palette(scheme), chosen=as_day(day), legend=False))

    @app.callback(*drawn(ids.DAY), place, scheme, Input(ids.DAY_CHOICE, "value"))
    def detail(place: Place, scheme: str | None, day: str | None) -> Drawn:
        _, c = find(store, place)
        made, when = store.pictures(c), as_day(day)
        if made is None or when is None or when not in made[1].days:
            return fitted(sentence(palette(scheme), "No day to show."))
        return fitted(day_figure(c, made[0], when, palette(scheme), legend=False))

    app.clientside_callback(URL_JS, Output(ids.ROOM_URL, "data"), Input(ids.DAY_CHOICE, "value"), place)


def room_text(store: Store, place: Place) -> tuple[Any, ...]:
    """Everything on the page that is no figure, and which parts are hidden."""
    analysis = store.analysis()
    if analysis is None:
        raise PreventUpdate
    c = channel_of(analysis, place["room"], place["channel"])
    if c is None:
        return parts.missing(place["room"], place["channel"], analysis), [], [], [], True, True, True, None, None
    made = store.pictures(c)
    return (
        parts.head(c, analysis),
        parts.card(c, analysis),
        parts.aside(c, analysis),
        parts.numbers(c, analysis),
        False,
        not c.light.target_curve,
        c.light.task_lx_lit is None,
        None if made is None else key.raster_key(made[1]),
        key.day_key(c),
    )


def as_day(text: str | None) -> dt.date | None:
    """Read a day from an address; ``None`` where it is none."""
    try:
        return dt.date.fromisoformat(text or "")
    except ValueError:
        return None


def choose_day(
    store: Store, place: Place, chosen: str | None, *, trigger: Any, click: dict[str, Any] | None
) -> tuple[Any, Any]:
    """Days to choose from and the day chosen: by a click, a step, the address, or the most telling one."""
    _, c = find(store, place)
    made = store.pictures(c)
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

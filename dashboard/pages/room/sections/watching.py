"""Whether the room has changed since its reference days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import dash
from dash import Input, Output, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components.still import still
from dashboard.figures.drift import drift_figure
from dashboard.figures.theme import palette
from dashboard.pages.building.drifting import said_by
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
from dashboard.store import Desk, Stores
from dashboard.workspace import acknowledging
from tuning.results import ChannelResult
from tuning.watching import Watched, watch_room
from tuning.watching.reference import REFERENCE_DAYS


def section() -> Component:
    """Lay the section out."""
    return evidence(
        "Has the room changed?",
        "Each point is a day. Neither another hold-off nor the season moves these figures; the newer days are held against the "
        "shaded reference days; a dashed line is where one changed.",
        html.Div(id=ids.DRIFT_WORDS),
        graph(ids.DRIFT, QUIET, "Daily figures of the room with the reference days and what has changed since"),
    )


def watched_of(channel: ChannelResult) -> Watched | None:
    """Look for drift in a channel; ``None`` where there are no days after the reference."""
    daily = channel.daily
    if daily is None or daily.is_empty():
        return None
    days: list[dt.date] = daily["day"].to_list()
    reference_to = days[0] + dt.timedelta(days=REFERENCE_DAYS)
    return (
        watch_room(channel.room, {channel.channel: daily}, reference_to=reference_to)
        if days[-1] >= reference_to
        else None
    )


def kept_of(desk: Desk | None, room: str) -> Watched | None:
    """What was found in the room as a whole when it was analysed, against the days since it was last set; ``None`` where nothing was kept."""
    found = None if desk is None else acknowledging.watched(desk.ws, desk.building, desk.analysis, room)
    return None if found is None else found.watched


def notes_of(desk: Desk | None, room: str, zone: str) -> dict[tuple[str, str], str]:
    """Who acknowledged what, or why it counts again, by channel and statistic."""
    found = None if desk is None else acknowledging.standing(desk.ws, desk.building, desk.analysis)
    mine = (found or {}).get(room)
    drifts = mine.drifts if mine else ()
    return {(s.drift.channel, s.drift.statistic): text for s in drifts if (text := s.again or said_by(s, zone))}


def words(watched: Watched | None, notes: Mapping[tuple[str, str], str] | None = None) -> Component:
    """What has drifted, with what people said of it, or what is watched."""
    if watched is None:
        return html.P(
            "Nothing is watched yet: the first six weeks of log are the reference, and no later day has come. Bring in newer logs."
        )
    told: list[Component] = [
        html.Li([d.message, " ", html.Em((notes or {}).get((d.channel, d.statistic), ""))]) for d in watched.drifts
    ]
    if watched.until is not None and watched.until <= watched.reference_to:
        return html.P(
            f"Nothing is watched yet: the reference days go on until {watched.reference_to.isoformat()}, six weeks from when the room was last set "
            "or its log began. Until then the change is verified."
        )
    rate = f"{watched.false_alarms:g}"
    about = (
        f"Watched since {watched.reference_to.isoformat()}: {', '.join(watched.statistics)}. "
        f"Expect at most {rate} false alarm a room and year, over all of it together."
    )
    if watched.blind:
        about += f" Not watched: {'; '.join(watched.blind)}."
    return html.Div([html.Ul(told) if told else html.P("No drift found."), html.P(about, className="caption")])


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(
        *drawn(ids.DRIFT), Output(ids.DRIFT_WORDS, "children"), PLACE, VERSION, SCHEME, Input(ids.BOOK, "data")
    )
    def drift(place: Place, _version: int | None, scheme: str | None, _book: int | None) -> tuple[object, ...]:
        here = find(stores, place)
        channel = here.channel
        watched = kept_of(here.store.desk, channel.room) or watched_of(channel)
        figure: Drawn = fitted(drift_figure(channel.daily, watched, palette(scheme)))
        return *figure, still(words(watched, notes_of(here.store.desk, channel.room, here.analysis.time_zone)))

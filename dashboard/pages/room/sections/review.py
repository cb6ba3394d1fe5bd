"""One switch-off and the minutes around it, to say whether somebody was still there."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import dash
import polars as pl
from dash import ALL, Input, Output, State, ctx, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids, words
from dashboard.components import decide
from dashboard.components.still import still
from dashboard.figures.along_time import time_figure
from dashboard.figures.theme import palette, sentence
from dashboard.figures.timeline import US
from dashboard.figures.window import within
from dashboard.needs import needs
from dashboard.pages.room.context import (
    PLACE,
    QUIET,
    SCHEME,
    VERSION,
    Drawn,
    Here,
    Place,
    drawn,
    evidence,
    find,
    fitted,
    graph,
)
from dashboard.reader import number
from dashboard.store import Stores
from dashboard.workspace import jobs, verdicts
from dashboard.workspace.verdicts import Verdict

AROUND_S = 900.0
"""Shown before the last movement and after the switch-off; a person's habit shows in a quarter of an hour. Chosen by us."""
LISTED = 12
"""Least sure switch-offs that are offered. Chosen by us: a person looks at a dozen, not at hundreds."""

Off = dict[str, Any]
Said = dict[dt.datetime, Verdict]


@dataclass(frozen=True)
class SwitchOff:
    """One expiry as the page tells of it."""

    time: dt.datetime
    gap_s: float | None
    resumed_after_s: float | None
    daylight_lx: float | None
    p_false: float | None
    review: str | None

    @property
    def key(self) -> str:
        """Its time as addresses carry it."""
        return self.time.isoformat()


def section() -> Component:
    """Lay the section out."""
    inner = evidence(
        "Was somebody still there?",
        "The switch-offs that the log leaves most open, first; each opens the minutes around it. Your word on one counts for more than its pattern.",
        html.Div(
            [
                html.Div(id=ids.OFF_LIST, className="offs"),
                html.Div(
                    [
                        html.Div(
                            [
                                html.Button("‹ Earlier one", id=ids.OFF_BACK, className="quiet", n_clicks=0),
                                html.Button("Later one ›", id=ids.OFF_ON, className="quiet", n_clicks=0),
                            ],
                            className="day-bar",
                        ),
                        html.Div(id=ids.OFF_FACTS),
                        _word(),
                        graph(
                            ids.OFF_PLOT,
                            QUIET,
                            "The minutes around the switch-off: movement, light, illuminance, output",
                        ),
                    ]
                ),
            ],
            className="review",
        ),
    )
    return html.Div(inner, id=ids.OFF_BOX, hidden=True)


def _word() -> Component:
    """Buttons to say whether somebody was there."""
    return html.Div(
        [
            html.Div(
                [
                    html.Button("Somebody was there", id=ids.SAY_PRESENT, className="quiet", n_clicks=0),
                    html.Button("Nobody was there", id=ids.SAY_ABSENT, className="quiet", n_clicks=0),
                    html.Button("Take back", id=ids.SAY_UNDO, className="quiet", n_clicks=0, hidden=True),
                ],
                className="buttons",
            ),
            html.Div(id=ids.SAY_TOLD, role="status"),
        ],
        id=ids.SAY_BOX,
        hidden=True,
    )


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(
        Output(ids.OFF, "data"),
        PLACE,
        VERSION,
        Input(ids.DAY, "clickData"),
        Input({"kind": ids.OFF_ROW, "time": ALL}, "n_clicks"),
        Input(ids.OFF_BACK, "n_clicks"),
        Input(ids.OFF_ON, "n_clicks"),
        State(ids.OFF, "data"),
    )
    @needs("look")
    def choose(place: Place, _v: int | None, click: Any, _rows: Any, back: int, on: int, shown: Off | None) -> Off:
        if isinstance(ctx.triggered_id, dict) and not ctx.triggered[0]["value"]:
            # The list was drawn anew; nobody pressed anything.
            raise PreventUpdate
        ahead = (on or 0) - (back or 0)
        return choose_off(find(stores, place), place, shown, trigger=ctx.triggered_id, click=click, ahead=ahead)

    @app.callback(
        Output(ids.OFF_LIST, "children"),
        Output(ids.OFF_FACTS, "children"),
        Output(ids.OFF_BOX, "hidden"),
        Output(ids.SAY_BOX, "hidden"),
        Output(ids.SAY_UNDO, "hidden"),
        Input(ids.OFF, "data"),
        Input(ids.BOOK, "data"),
        State(ids.ROOM, "data"),
    )
    def text(shown: Off | None, _book: int | None, place: Place) -> tuple[Any, Any, bool, bool, bool]:
        here = find(stores, place)
        off = looked_at(here, shown)
        if off is None:
            return [], [], True, True, True
        said = verdicts_of(here)
        return (
            still(listed(here, off, said)),
            still(facts(here, off, said)),
            False,
            here.store.desk is None,
            off.time not in said,
        )

    @app.callback(
        Output(ids.SAY_TOLD, "children"),
        Input(ids.SAY_PRESENT, "n_clicks"),
        Input(ids.SAY_ABSENT, "n_clicks"),
        Input(ids.SAY_UNDO, "n_clicks"),
        State(ids.OFF, "data"),
        State(ids.ROOM, "data"),
        State(ids.WHO, "value"),
        State(ids.BOOK, "data"),
        prevent_initial_call=True,
    )
    def say(_p: int, _a: int, _u: int, shown: Off | None, place: Place, who: str | None, book: int | None) -> Any:
        here = find(stores, place)
        off = looked_at(here, shown)
        if off is None or here.store.desk is None or not ctx.triggered[0]["value"]:
            raise PreventUpdate
        outcome = decide.attempt(lambda: spoken(here, off, str(ctx.triggered_id), who or ""))
        decide.written_down(book)
        return outcome.told

    @app.callback(*drawn(ids.OFF_PLOT), Input(ids.OFF, "data"), SCHEME, State(ids.ROOM, "data"))
    def minutes(shown: Off | None, scheme: str | None, place: Place) -> Drawn:
        here = find(stores, place)
        off, made = looked_at(here, shown), here.pictures()
        if off is None or made is None:
            return fitted(sentence(palette(scheme), "No switch-off to show."))
        time_us, held_us = round(off.time.timestamp() * US), round((here.channel.current.hold_off_s or 0) * US)
        around = round(AROUND_S * US)
        window = within(made[0], time_us - held_us - around, time_us + around)
        return fitted(time_figure(here.channel, made[0], window, palette(scheme), chosen=off.time))


def offs_of(here: Here) -> pl.DataFrame:
    """All switch-offs of the channel, in order."""
    frame = here.channel.switch_offs
    return pl.DataFrame(schema={"time": pl.Datetime("us", "UTC"), "p_false": pl.Float64}) if frame is None else frame


def _one(row: dict[str, Any]) -> SwitchOff:
    return SwitchOff(**{name: row[name] for name in SwitchOff.__dataclass_fields__})


def looked_at(here: Here, shown: Off | None) -> SwitchOff | None:
    """Find the switch-off that is looked at."""
    time = as_time(shown["time"] if shown else None)
    if time is None:
        return None
    rows = offs_of(here).filter(pl.col("time") == time)
    return None if rows.is_empty() else _one(rows.row(0, named=True))


def verdicts_of(here: Here) -> Said:
    """What people said of the channel's switch-offs, by time."""
    desk, c = here.store.desk, here.channel
    if desk is None:
        return {}
    return {v.time: v for v in verdicts.standing(desk.ws, desk.building, c.room, c.channel)}


def _word_on(v: Verdict) -> str:
    return f"{'somebody' if v.present else 'nobody'} was there, says {v.by}"


def spoken(here: Here, off: SwitchOff, button: str, who: str) -> str:
    """Note, or take back, a person's word on a switch-off; returns what to tell.

    Raises
    ------
    WorkspaceError
        If the workspace refuses.
    """
    desk, c = here.store.desk, here.channel
    assert desk is not None
    before = verdicts_of(here).get(off.time)
    if button == ids.SAY_UNDO:
        if before is None:
            raise decide.nothing("There is no word to take back.")
        verdicts.undo(desk.ws, before.id, by=who)
        jobs.ask(desk.ws, desk.building, "analyse", by=who, rooms=[c.room])
        return "Taken back; the next analysis does without it."
    present = button == ids.SAY_PRESENT
    verdicts.say(
        desk.ws,
        desk.building,
        c.room,
        c.channel,
        off.time,
        present=present,
        by=who,
        replaces=None if before is None else before.id,
    )
    jobs.ask(desk.ws, desk.building, "analyse", by=who, rooms=[c.room])
    return f"Noted that {'somebody' if present else 'nobody'} was there; the next analysis counts it."


def as_time(text: str | None) -> dt.datetime | None:
    """Read a time from an address; ``None`` where it is none."""
    try:
        time = dt.datetime.fromisoformat(text or "")
    except ValueError:
        return None
    return time if time.tzinfo is not None else None


def least_sure(here: Here) -> list[SwitchOff]:
    """The switch-offs of which the log says least: probabilities nearest to one half."""
    rows = offs_of(here).filter(pl.col("p_false").is_not_null())
    return [_one(r) for r in rows.sort((pl.col("p_false") - 0.5).abs(), "time").head(LISTED).iter_rows(named=True)]


def choose_off(here: Here, place: Place, shown: Off | None, *, trigger: Any, click: Any, ahead: int = 0) -> Off:
    """Choose a switch-off: by a click in the figure or the list, a step, the address, or the least sure one.

    ``ahead`` counts all steps on less those back; what is shown says how many it rests on, so that quick clicks lose none.

    Raises
    ------
    PreventUpdate
        Where there is none, or what was clicked is none.
    """
    rows = offs_of(here)
    if rows.is_empty():
        raise PreventUpdate
    if trigger == ids.DAY:
        data = click["points"][0].get("customdata") if click else None
        time = as_time(data[1]) if isinstance(data, list) and len(data) == 2 else None
        return _asked(rows, time, ahead)
    if isinstance(trigger, dict):
        return _asked(rows, as_time(trigger["time"]), ahead)
    now = as_time(shown["time"] if shown else None)
    if trigger in (ids.OFF_BACK, ids.OFF_ON) and now is not None:
        times = rows["time"]
        index = int(times.search_sorted(now)) + ahead - (shown or {}).get("ahead", 0)
        return {"time": times[min(max(index, 0), len(times) - 1)].isoformat(), "asked": True, "ahead": ahead}
    wanted = as_time(place.get("off"))
    if wanted is not None and not rows.filter(pl.col("time") == wanted).is_empty():
        return {"time": wanted.isoformat(), "asked": True, "ahead": ahead}
    unsure = least_sure(here)
    return {"time": unsure[0].key if unsure else rows["time"][0].isoformat(), "asked": False, "ahead": ahead}


def _asked(rows: pl.DataFrame, time: dt.datetime | None, ahead: int) -> Off:
    if time is None or rows.filter(pl.col("time") == time).is_empty():
        raise PreventUpdate
    return {"time": time.isoformat(), "asked": True, "ahead": ahead}


def _clock(here: Here, time: dt.datetime) -> str:
    local = time.astimezone(ZoneInfo(here.analysis.time_zone))
    return f"{local:%a} {local.day} {local:%b}, {local:%H:%M}"


def _chance(p_false: float | None) -> str:
    return words.NONE if p_false is None else words.percent(p_false)


def listed(here: Here, off: SwitchOff, said: Said) -> list[Component]:
    """The least sure ones as buttons, with what is believed of each; below them those that somebody judged."""
    open_ = [one for one in least_sure(here) if one.time not in said]
    judged = [_one(r) for r in offs_of(here).filter(pl.col("time").is_in(list(said))).iter_rows(named=True)]
    parts: list[Component] = [html.Ul([_button(here, one, off, said) for one in open_])]
    if judged:
        parts += [html.H3("Judged by people"), html.Ul([_button(here, one, off, said) for one in judged])]
    return parts


def _button(here: Here, one: SwitchOff, off: SwitchOff, said: Said) -> Component:
    inner = [
        html.Span(_clock(here, one.time)),
        html.Span([_bar(one.p_false), _chance(one.p_false)], className="chance"),
        *([html.Span(_word_on(said[one.time]), className="said")] if one.time in said else []),
    ]
    here_ = {"aria-current": "true"} if one.time == off.time else {}
    return html.Li(
        html.Button(
            inner,
            id={"kind": ids.OFF_ROW, "time": one.key},
            n_clicks=0,
            className="off here" if here_ else "off",
            **here_,
        )
    )


def _bar(p_false: float | None) -> Component:
    width = 0.0 if p_false is None else 100 * p_false
    return html.I(html.I(style={"width": f"{width:.0f}%"}), className="meter", **{"aria-hidden": "true"})


def facts(here: Here, off: SwitchOff, said: Said) -> list[Component]:
    """What the log says of one switch-off."""
    c = here.channel
    local = off.time.astimezone(ZoneInfo(here.analysis.time_zone))
    rows = [
        ("Somebody still there", _chance(off.p_false)),
        ("No movement for", _length(off.gap_s)),
        ("Next movement after it went off", _length(off.resumed_after_s)),
        ("Daylight at the detector", words.lux(off.daylight_lx)),
        ("Hold-off in force", words.hold(c.current.hold_off_s)),
    ]
    if off.time in said:
        rows.append(("Said by a person", _word_on(said[off.time])))
    return [
        html.H3(f"{local:%a} {local.day} {local:%b %Y, %H:%M:%S}", className="when"),
        html.Dl([html.Div([html.Dt(k), html.Dd(v)]) for k, v in rows], className="off-facts"),
    ]


def _length(seconds: float | None) -> str:
    """Write a length of time to its own size."""
    if seconds is None:
        return "the log ends first"
    if seconds < 120:
        return f"{number(seconds)}{words.NBSP}s"
    if seconds < 7200:
        return f"{number(seconds / 60, 1)}{words.NBSP}min"
    return f"{number(seconds / 3600, 1)}{words.NBSP}h"

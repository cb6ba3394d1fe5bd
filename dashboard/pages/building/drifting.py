"""Rooms that have changed since they were last set: what has drifted, whether another look pays, and acknowledging it with a reason."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import dash
import dash_mantine_components as dmc
from dash import ALL, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from dashboard import ids, words
from dashboard.components import decide
from dashboard.components.still import still
from dashboard.pages.building.ranking import rooms
from dashboard.store import Desk, Stores
from dashboard.workspace import acknowledging, buildings
from dashboard.workspace.acknowledging import RoomStanding, Standing
from tuning.results import Analysis

LEVEL_WORD = {"look": "Worth another look", "site": "Look on site", "note": "For information"}
LEVEL_MARK = {"look": "change", "site": "trial", "note": "keep"}
ORDER = ("look", "site", "note", "")
SHOWN = 5
"""How many rooms are laid out at once; the list of all rooms stands below them, and each has a field and a button. The rest is fetched."""


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(
        Output(ids.BUILDING_DRIFT, "children"),
        Input(ids.VERSION, "data"),
        Input(ids.BUILDING, "data"),
        Input(ids.BOOK, "data"),
        State(ids.DRIFT_OPEN, "data"),
    )
    def show(_version: int | None, building: str, _book: int | None, open_: Any) -> list[Component]:
        found = _at(stores, building)
        return still(section(*found, all_of_them=bool(open_))) if found else []

    @app.callback(
        Output({"kind": ids.DRIFT_REST, "building": ALL}, "children"),
        Output(ids.DRIFT_OPEN, "data"),
        Input({"kind": ids.DRIFT_MORE, "building": ALL}, "n_clicks"),
        State({"kind": ids.DRIFT_REST, "building": ALL}, "children"),
        State(ids.BUILDING, "data"),
        prevent_initial_call=True,
    )
    def more(clicks: list[int], there: list[list[Component]], building: str) -> tuple[list[Any], bool]:
        if not any(clicks):
            raise PreventUpdate
        # A second click closes them. What is there stays, with the words that were typed into it.
        found = None if there[0] else _at(stores, building)
        return [still(_rooms_of(found[0], found[1], slice(SHOWN, None))) if found else no_update], clicks[0] % 2 == 1

    @app.callback(
        Output(ids.DRIFT_TOLD, "children"),
        Input({"kind": ids.DRIFT_ACKNOWLEDGE, "room": ALL}, "n_clicks"),
        Input({"kind": ids.DRIFT_BACK, "number": ALL}, "n_clicks"),
        State({"kind": ids.DRIFT_REASON, "room": ALL}, "value"),
        State({"kind": ids.DRIFT_REASON, "room": ALL}, "id"),
        State(ids.BUILDING, "data"),
        State(ids.VERSION, "data"),
        State(ids.WHO, "value"),
        State(ids.BOOK, "data"),
        prevent_initial_call=True,
    )
    def act(
        _said: Any,
        _back: Any,
        reasons: list[str],
        fields: list[dict[str, str]],
        building: str,
        version: int | None,
        who: str | None,
        book: int | None,
    ) -> Component:
        store, button = stores.of(building), ctx.triggered_id
        if store is None or store.desk is None or version is None:
            raise PreventUpdate
        if not isinstance(button, dict) or not ctx.triggered[0]["value"]:
            raise PreventUpdate
        desk = store.desk
        if button["kind"] == ids.DRIFT_BACK:
            outcome = decide.attempt(lambda: taken_back(desk, int(button["number"]), who or ""))
        else:
            room = str(button["room"])
            reason = next((r for r, f in zip(reasons, fields, strict=True) if f["room"] == room), "") or ""
            outcome = decide.attempt(lambda: acknowledged(desk, room, version, reason, who or ""))
        # Words half typed elsewhere stay where nothing was done.
        if outcome.done:
            decide.written_down(book)
        return outcome.told


def _at(stores: Stores, building: str) -> tuple[Desk, Analysis] | None:
    store = stores.of(building)
    analysis = store.analysis() if store is not None else None
    return None if store is None or store.desk is None or analysis is None else (store.desk, analysis)


def acknowledged(desk: Desk, room: str, analysis: int, reason: str, who: str) -> str:
    """Acknowledge what counts in a room; returns what to tell."""
    count = acknowledging.acknowledge(desk.ws, desk.building, room, analysis=analysis, reason=reason, by=who)
    return f"{count} finding{'s' if count > 1 else ''} acknowledged. They count again once there is new evidence."


def taken_back(desk: Desk, number: int, who: str) -> str:
    """Take an acknowledgement back; returns what to tell."""
    acknowledging.take_back(desk.ws, desk.building, number, by=who)
    return "Taken back: it counts again."


def _counting(found: dict[str, RoomStanding], names: dict[str, str]) -> list[RoomStanding]:
    return sorted(
        (r for r in found.values() if r.counting),
        key=lambda r: (ORDER.index(r.level), -r.found.worth_per_week, names.get(r.room, r.room)),
    )


def _rooms_of(desk: Desk, analysis: Analysis, which: slice) -> list[Component]:
    names = {row.room: row.name for row in rooms(analysis)}
    counting = _counting(acknowledging.standing(desk.ws, desk.building, desk.analysis) or {}, names)
    return [_room(r, names.get(r.room, r.room), desk.building) for r in counting[which]]


def section(desk: Desk, analysis: Analysis, *, all_of_them: bool = False) -> list[Component]:
    """Lay the section out; nothing before anything is watched. Of many rooms the first ones, unless ``all_of_them`` were asked for."""
    found = acknowledging.standing(desk.ws, desk.building, desk.analysis)
    if not found:
        return []
    names = {row.room: row.name for row in rooms(analysis)}
    counting = _counting(found, names)
    seen = [(r, s) for r in found.values() for s in r.drifts if s.acknowledged is not None]
    past = [r for r in found.values() if not r.counting and not any(s.acknowledged for s in r.drifts)]
    visit = buildings.site(desk.ws, desk.building).site.cost_per_visit
    look = sum(r.level == "look" for r in counting)
    rate = next(iter(found.values())).found.watched.false_alarms
    head = [
        html.H2("Changed since they were last set"),
        html.P(
            f"{_rooms(len(counting))} changed, {look} worth another look. "
            "A room is proposed for another look only where the log since the change finds a setting that is better in nine of ten resampled logs "
            f"and saves more than the price of a visit ({words.money(visit, analysis.currency)} a year); else it is kept as information. "
            "Reference: the six weeks after a room was last set on site, or of its log where it never was. "
            f"Expect at most {rate:g} false alarm a room and year.",
            className="caption",
        ),
    ]
    return [
        *head,
        *([html.Ul([_room(r, names.get(r.room, r.room), desk.building) for r in counting[:SHOWN]], className="drifting")] if counting else []),
        *([_rest(counting[SHOWN:], names, desk.building, open_=all_of_them)] if counting[SHOWN:] else []),
        *([_acknowledged(seen, names, desk.building, analysis.time_zone)] if seen else []),
        *([_past(past, names, desk.building)] if past else []),
    ]  # fmt: skip


def _rooms(count: int) -> str:
    return f"{count or 'No'} room{'' if count == 1 else 's'}"


def _rest(rest: list[RoomStanding], names: dict[str, str], building: str, *, open_: bool) -> Component:
    laid_out = [_room(r, names.get(r.room, r.room), building) for r in rest] if open_ else []
    return html.Details(
        [
            html.Summary(
                f"{len(rest)} more changed",
                id={"kind": ids.DRIFT_MORE, "building": building},
                n_clicks=int(open_),
            ),
            html.Ul(laid_out, id={"kind": ids.DRIFT_REST, "building": building}, className="drifting"),
        ],
        open=open_,
    )


def _link(room: str, name: str, building: str) -> Component:
    return dcc.Link(html.Strong(name), href=f"{ids.room_href(room, building=building)}#{ids.DRIFT_ANCHOR}")


def _room(r: RoomStanding, name: str, building: str) -> Component:
    told = [
        html.Li([d.message, *([html.Em(f" {s.again}")] if s.again else [])])
        for s in r.drifts
        if s.counts
        for d in (s.drift,)
    ]
    return html.Li(
        [
            html.Div(
                [
                    _link(r.room, name, building),
                    html.Span(LEVEL_WORD[r.level], className=f"mark {LEVEL_MARK[r.level]}"),
                ],
                className="drift-head",
            ),
            html.Ul([*told, *(html.Li(html.Strong(sentence)) for sentence in r.found.advice)]),
            html.Div(
                [
                    dmc.TextInput(
                        id={"kind": ids.DRIFT_REASON, "room": r.room},
                        value="",
                        debounce=True,
                        placeholder="Why nobody need go there",
                        className="reason",
                        **{"aria-label": f"Reason to acknowledge what changed in {name}"},
                    ),
                    html.Button(
                        "Acknowledge",
                        id={"kind": ids.DRIFT_ACKNOWLEDGE, "room": r.room},
                        className="quiet",
                        n_clicks=0,
                        **{"aria-label": f"Acknowledge what changed in {name}"},
                    ),
                ],
                className="buttons",
            ),
        ]
    )


def _acknowledged(
    seen: list[tuple[RoomStanding, Standing]], names: dict[str, str], building: str, zone: str
) -> Component:
    rows = [
        html.Li(
            [
                _link(r.room, names.get(r.room, r.room), building),
                f": {s.drift.message} ",
                html.Span(said_by(s, zone), className="soft"),
                " ",
                html.Button(
                    "Undo",
                    id={"kind": ids.DRIFT_BACK, "number": s.acknowledged.id},
                    className="quiet",
                    n_clicks=0,
                    **{"aria-label": f"Take back the acknowledgement: {names.get(r.room, r.room)}, {s.drift.label}"},
                ),
            ]
        )
        for r, s in seen
        if s.acknowledged is not None
    ]
    return html.Details(
        [
            html.Summary(f"{len(rows)} acknowledged"),
            html.P(
                "They count again when newer logs take the figure beyond the range that was acknowledged or to the other side, when it changes "
                "once more or comes back, or when another setting becomes worth a visit.",
                className="caption",
            ),
            html.Ul(rows, className="acknowledged"),
        ]
    )  # fmt: skip


def said_by(s: Standing, zone: str) -> str:
    """Who acknowledged it, when and why."""
    a = s.acknowledged
    if a is None:
        return ""
    local = a.at.astimezone(ZoneInfo(zone))
    return f"Acknowledged by {a.by}, {local.day} {local:%b %Y, %H:%M}: “{a.reason}”"


def _past(past: list[RoomStanding], names: dict[str, str], building: str) -> Component:
    rows = [
        html.Li(
            [
                _link(r.room, names.get(r.room, r.room), building),
                ": ",
                f"set anew on {r.decided_since.isoformat()}; drift is looked for in the days after."
                if r.decided_since
                else " ".join(s.drift.message for s in r.drifts),
            ]
        )
        for r in past
    ]
    return html.Details([html.Summary(f"{len(rows)} past"), html.Ul(rows)])

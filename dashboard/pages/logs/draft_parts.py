"""A draft of what is in the files → elements to look at and to correct."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids, words
from dashboard.components import marks
from dashboard.reader import number, said
from dashboard.workspace import Workspace, files
from dashboard.workspace.documents import Document
from dashboard.workspace.mapping import Check, Draft
from tuning.logs.values import QUANTITIES
from tuning.room_uses import ROOM_USES

LEFT_OUT = "left out"
SHOWN = 80
"""Columns of a table that can be corrected here, the unsure ones first; the rest is taken as proposed. Chosen by us."""
UNSURE = "?"


def nothing() -> Component:
    """Say what has to come first."""
    return html.P("Bring in files first.", className="soft")


def is_saved(building: str) -> Component:
    """Say that a mapping is in force, and what is left to be said."""
    return html.Span(
        [
            "In use, and being analysed. Loads, prices and uses can be given under ",
            dcc.Link("Facts", href=ids.facts_href(building)),
            ".",
        ],
        className="done",
    )


def tables(draft: Draft, ws: Workspace, building: str) -> list[Component]:
    """All tables with their columns, and the files that nothing can be made of."""
    named = {f.stored: f.name for f in files.all_of(ws, building)}
    shown: list[Component] = [_problem(text, named) for text in draft["problems"]]
    for index, table in enumerate(draft["tables"]):
        shown.append(_head(table, named))
        shown.append(_long(table) if table["layout"] == "long" else _wide(table, index))
    return shown


def _problem(text: str, named: dict[str, str]) -> Component:
    for stored, name in named.items():
        text = text.replace(stored, name)
    return html.P([html.Strong("Not a log that can be read. "), text], className="trouble")


def _head(table: dict[str, Any], named: dict[str, str]) -> Component:
    time = " and ".join(f"“{name}”" for name in table["time"])
    told = (
        f"Time in column {time}: {table['time_preview']}"
        if time
        else "No column with the time was found; these files cannot be read."
    )
    return html.Div(
        [
            html.H3(", ".join(named.get(f, f) for f in table["files"])),
            html.Span(told, className="soft" if time else "doubt"),
        ],
        className="table-head",
    )


def _long(table: dict[str, Any]) -> Component:
    rooms = dict.fromkeys(c["room"] for c in table["columns"] if c["quantity"])
    odd = [c for c in table["columns"] if not c["quantity"]]
    lines: list[Component] = [
        html.P(
            f"Every row names its room, channel and quantity: {number(len(table['columns']))} series of "
            f"{number(len(rooms))} {'room' if len(rooms) == 1 else 'rooms'}. Nothing to say here."
        )
    ]
    if odd:
        lines.append(
            html.P(
                f"Left out, because the quantity is not known: {', '.join(c['name'] for c in odd[:8])}.",
                className="doubt",
            )
        )
    rows = [html.Tr([html.Th(c["name"], scope="row"), html.Td(said(c["preview"]))]) for c in table["columns"][:SHOWN]]
    lines.append(html.Details([html.Summary("The series"), html.Table(html.Tbody(rows), className="numbers")]))
    return html.Div(lines)


def _wide(table: dict[str, Any], index: int) -> Component:
    order = sorted(
        range(len(table["columns"])),
        key=lambda i: (table["columns"][i]["sure"], table["columns"][i]["quantity"] is None, i),
    )
    head = html.Thead(
        html.Tr(
            [
                html.Th(h, scope="col", className=f"m-{c}")
                for h, c in (
                    ("Column", "name"),
                    ("Values", "preview"),
                    ("Quantity", "quantity"),
                    ("Room", "room"),
                    ("Channel", "channel"),
                )
            ]
        )
    )
    body = html.Tbody([_row(table["columns"][i], f"{index}.{i}") for i in sorted(order[:SHOWN])])
    rest = len(order) - SHOWN
    more = [html.P(f"{number(rest)} more columns are taken as proposed.", className="soft")] if rest > 0 else []
    return html.Div([html.Table([head, body], className="plain mapped"), *more])


def _row(column: dict[str, Any], at: str) -> Component:
    unsure = not column["sure"]
    doubt = [html.Span("Please look at this one", className="doubt")] if unsure else []
    why = html.Details([html.Summary("Why"), html.Ul([html.Li(r) for r in column["reasons"]])])

    def cell(field: str) -> dict[str, str]:
        return {"kind": ids.MAPPING_CELL, "at": at, "field": field}

    quantity = dmc.Select(
        id=cell("quantity"),
        data=[*QUANTITIES, LEFT_OUT],
        value=column["quantity"] or LEFT_OUT,
        allowDeselect=False,
        **{"aria-label": f"Quantity of {column['name']}"},
    )

    def text(field: str, label: str) -> Component:
        return dmc.TextInput(
            id=cell(field),
            value=column[field] if column["quantity"] else "",
            debounce=400,
            **{"aria-label": f"{label} of {column['name']}"},
        )

    return html.Tr(
        [
            html.Th([html.Strong(column["name"]), *doubt, why], scope="row", className="m-name"),
            html.Td(html.B(said(column["preview"])), className="m-preview"),
            html.Td(quantity, className="m-quantity"),
            html.Td(text("room", "Room"), **{"data-label": "Room"}),
            html.Td(text("channel", "Channel"), **{"data-label": "Channel"}),
        ],
        className="unsure" if unsure and column["quantity"] else "left-out" if not column["quantity"] else "",
    )


def rooms(lacking: dict[str, dict[str, str]], uses: dict[str, Any]) -> Component | None:
    """Rooms that are new, with what they are used for; their channels."""
    if not lacking:
        return None
    entries = [
        html.Div(
            [
                html.Strong(room),
                dmc.Select(
                    id={"kind": ids.MAPPING_USE, "room": room},
                    label="Used as",
                    data=list(ROOM_USES),
                    value=uses.get(room) or "office",
                    searchable=True,
                    allowDeselect=False,
                ),
                html.Span(
                    [
                        html.Span("Channels", className="soft"),
                        html.Br(),
                        ", ".join(f"{c} ({k})" for c, k in channels.items()),
                    ]
                ),
            ]
        )
        for room, channels in lacking.items()
    ]
    caption = "What a room is used for decides what illuminance it needs and what is believed of its people before the log is read."
    return html.Div(
        [html.H3("New rooms"), html.P(caption, className="caption"), html.Div(entries, className="room-list")]
    )


def check(found: Check, document: Document) -> list[Component]:
    """What would be read."""
    if found.problem:
        return [html.P([html.Strong("This does not read yet. "), found.problem], className="trouble")]
    kinds = sorted({q for quantities in found.rooms.values() for q in quantities}, key=QUANTITIES.index)
    head = html.Thead(html.Tr([html.Th("Room", scope="col"), *(html.Th(k, scope="col") for k in kinds)]))
    body = html.Tbody(
        [
            html.Tr(
                [
                    html.Th(_named(document, room), scope="row"),
                    *(html.Td(number(q[k]) if k in q else words.NONE) for k in kinds),
                ]
            )
            for room, q in found.rooms.items()
        ]
    )
    part = "" if found.whole else " of the beginnings of the files"
    lines: list[Component] = [
        html.P([html.Strong("This reads. "), f"Readings{part} by room:"]),
        html.Table([head, body]),
    ]
    if found.silent and found.whole:
        lines.append(
            html.P(f"Without a reading: {', '.join(_named(document, r) for r in found.silent)}.", className="doubt")
        )
    elif found.silent:
        later = f"{number(len(found.silent))} more {'room comes' if len(found.silent) == 1 else 'rooms come'}"
        lines.append(
            html.P(f"{later} later in the files, if at all; the analysis reads all of them.", className="soft")
        )
    zone = document["site"]["time_zone"]
    lines += [marks.finding(f, zone) for f in found.findings if f.severity != "info"]
    return lines


def _named(document: Document, room: str) -> str:
    return str(document.get("rooms", {}).get(room, {}).get("name") or room)

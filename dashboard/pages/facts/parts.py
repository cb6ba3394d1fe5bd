"""Facts and their history → elements."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

import dash_mantine_components as dmc
from dash import html
from dash.development.base_component import Component

from dashboard import ids, words
from dashboard.reader import between, said
from dashboard.workspace import documents
from dashboard.workspace.buildings import Change, Edit
from dashboard.workspace.documents import MISSING, Document, Path
from dashboard.workspace.fields import CHANNEL, ROOM, SITE, Field, field_of, written
from tuning.room_uses import ROOM_USES


def rooms(document: Document) -> list[dict[str, str]]:
    """Choices: the building itself, and its rooms."""
    named = [{"value": room, "label": _named(room, entry)} for room, entry in document.get("rooms", {}).items()]
    return [{"value": "", "label": "The building"}, *sorted(named, key=lambda r: r["label"].casefold())]


def _named(room: str, entry: dict[str, Any]) -> str:
    name = entry.get("name") or room
    return name if name == room else f"{name} ({room})"


def form(document: Document, room: str) -> list[Component]:
    """Fields of the building, or of a room and its channels."""
    if not room:
        return [_group("The building", [_field(document, ("site", f.key), f) for f in SITE])]
    entry = document.get("rooms", {}).get(room)
    if entry is None:
        return [html.P(f"There is no room {room} here.", className="soft")]
    groups = [
        _group(_named(room, entry), [_field(document, ("rooms", room, f.key), f) for f in ROOM], drop=("rooms", room))
    ]
    for channel in entry.get("channels", {}):
        path = ("rooms", room, "channels", channel)
        groups.append(_group(f"Channel {channel}", [_field(document, (*path, f.key), f) for f in CHANNEL], drop=path))
    if not entry.get("channels"):
        groups.append(
            html.P("No channel yet. Add one below; a channel is a load that is switched by itself.", className="soft")
        )
    uses = html.Datalist([html.Option(value=use) for use in ROOM_USES], id="room-uses")
    return [*groups, uses]


def _group(title: str, fields: list[Component], *, drop: Path | None = None) -> Component:
    word = "Remove room" if drop and len(drop) == 2 else "Remove channel"
    button = (
        [html.Button(word, id={"kind": ids.FACTS_DROP, "path": json.dumps(drop)}, className="quiet", n_clicks=0)]
        if drop
        else []
    )
    return html.Fieldset([html.Legend(title), html.Div(fields, className="fields"), *button])


def _field(document: Document, path: Path, field: Field) -> Component:
    value = _shown(field, documents.get(document, path))
    standard = _shown(field, documents.defaults(path))
    name = {"kind": ids.FACTS_FIELD, "path": json.dumps(path)}
    label = f"{field.label} [{field.unit}]" if field.unit else field.label
    if field.kind == "choice":
        return dmc.Select(id=name, label=label, data=list(field.choices), value=value or standard, allowDeselect=False)
    if field.kind == "rows":
        return dmc.Textarea(id=name, label=label, value=value, autosize=True, minRows=2, className="wide")
    more = {"list": "room-uses"} if field.key == "use" else {}
    wide: dict[str, Any] = (
        {"className": "wide"} if field.key in ("note", "allowed_hold_off_s", "allowed_target_lx") else {}
    )
    numeric = {"inputMode": "decimal"} if field.kind == "number" else {}
    if field.unit == "s" and field.kind == "number":
        # Everything else speaks of minutes; a 10 that was meant so would be ten seconds.
        stands = documents.get(document, path)
        wide |= {"description": "or “10 min”" if stands is MISSING else f"= {words.hold(stands)}; or write “10 min”"}
        numeric = {}
    return dmc.TextInput(id=name, label=label, value=value, placeholder=standard, inputProps=more | numeric, **wide)


def _shown(field: Field, value: Any) -> str:
    """A value as the reader writes it, and as it is read again."""
    if field.kind == "numbers" and isinstance(value, list) and len(value) == 1:
        # A lone number with a comma would be read as two.
        return written(field, value)
    return said(written(field, value, between=between()))


def history(edits: Sequence[Edit], zone: str) -> Component:
    """Return the edits, the newest first, each with its undo."""
    if not edits:
        return html.P("Nothing yet.", className="soft")
    return html.Ol([_edit(e, ZoneInfo(zone)) for e in edits], className="edits")


def _edit(e: Edit, zone: ZoneInfo) -> Component:
    at = e.at.astimezone(zone)
    if e.undone_by is not None:
        end: Component = html.Span("taken back", className="soft")
    else:
        end = html.Button(
            "Undo",
            id={"kind": ids.FACTS_UNDO, "edit": e.id},
            className="quiet",
            n_clicks=0,
            **{"aria-label": f"Undo the change of {at:%d %b, %H:%M}"},
        )
    head = html.Div(
        [html.Strong(e.by), html.Span(f" {at:%d %b %Y, %H:%M}", className="soft"), end], className="edit-head"
    )
    undoing = [html.P("Took an earlier change back:", className="soft")] if e.undoes is not None else []
    return html.Li(
        [head, *undoing, html.Ul([html.Li(told(c)) for c in e.changes])], className="undone" if e.undone_by else ""
    )


def told(c: Change) -> str:
    """One change in words."""
    place = " · ".join(p for p in c.path[1:] if p != "channels")
    field = field_of(c.path)
    if field is None:
        if c.path == ("logs",):
            return "How the logs are read"
        return f"{place} {'added' if c.added else 'removed' if c.removed else 'changed'}"
    unit = f" {field.unit}" if field.unit and field.kind == "number" else ""
    inner = " · ".join(p for p in c.path[1:-1] if p != "channels")

    def shown(value: Any, *, there: bool) -> str:
        text = said(written(field, value if there else MISSING, between=between()))
        return text.replace("\n", " | ") + unit if text else "not given"

    before, after = shown(c.before, there=not c.added), shown(c.after, there=not c.removed)
    return f"{inner + ': ' if inner else ''}{field.label} {before} → {after}"

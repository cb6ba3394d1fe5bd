"""Files, jobs → elements of the page that brings logs in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from zoneinfo import ZoneInfo

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.reader import number, said
from dashboard.workspace.analyses import AnalysisInfo
from dashboard.workspace.files import LogFile
from dashboard.workspace.jobs import Job
from dashboard.workspace.uploads import Upload


def size(byte_count: int) -> str:
    """Write a size to three digits or so."""
    value = float(byte_count)
    for unit in ("B", "kB", "MB"):
        if value < 1000:
            return f"{number(value, 0 if unit == 'B' or value >= 100 else 1)}\u00a0{unit}"
        value /= 1000
    return f"{number(value, 1)}\u00a0GB"


def when(time: dt.datetime, zone: str) -> str:
    """Write a time in the building's zone."""
    local = time.astimezone(ZoneInfo(zone))
    return f"{local.day} {local:%b %Y, %H:%M}"


def files(every: Sequence[LogFile], coming: Sequence[Upload], zone: str) -> Component:
    """Files that are there, those that half arrived, and those taken out."""
    here = [f for f in every if f.removed_at is None]
    gone = [f for f in every if f.removed_at is not None]
    shown: list[Component] = []
    if coming:
        told = ", ".join(f"{u.name} ({u.received / u.size:.0%})" for u in coming)
        shown.append(html.P(f"Half arrived: {told}. Drop the same file again to go on with it.", className="caption"))
    if here:
        shown.append(_table(here, ids.FILE_OUT, "Take out", zone))
    if gone:
        inner = _table(gone, ids.FILE_BACK, "Bring back", zone)
        shown.append(html.Details([html.Summary(f"{len(gone)} taken out; kept, but not analysed"), inner]))
    return html.Div(shown)


def _table(listed: Sequence[LogFile], kind: str, word: str, zone: str) -> Component:
    rows = [
        html.Tr(
            [
                html.Th(f.name, scope="row"),
                html.Td(size(f.size), className="number", **{"data-label": "Size"}),
                html.Td(f"{when(f.added_at, zone)}, {f.added_by}", className="soft"),
                html.Td(
                    html.Button(
                        word,
                        id={"kind": kind, "file": f.id},
                        className="quiet",
                        n_clicks=0,
                        **{"aria-label": f"{word} {f.name}"},
                    )
                ),
            ]
        )
        for f in listed
    ]
    head = html.Thead(html.Tr([html.Th(h, scope="col") for h in ("File", "Size", "Brought in", "")]))
    return html.Table([head, html.Tbody(rows)], className="plain")


def job(last: Job | None, newest: AnalysisInfo | None, changed: Sequence[str], building: str, zone: str) -> Component:
    """What goes on, and what is there."""
    lines: list[Component] = []
    if last is not None and last.open:
        again = f" It broke off and was begun again ({last.tries} tries)." if last.tries > 1 else ""
        stopping = " Stopping." if last.cancel else ""
        lines += [
            html.Progress(value=f"{last.share:.3f}", max="1", **{"aria-label": "Progress of the analysis"}),
            html.P(f"{last.share:.0%}, {last.what or 'waiting for the worker'}.{again}{stopping}"),
        ]
    elif last is not None and last.state == "failed":
        lines.append(html.P([html.Strong("The analysis failed. "), last.error], className="trouble"))
    elif last is not None and last.state == "cancelled":
        lines.append(html.P("Stopped; nothing of it was kept.", className="soft"))
    if newest is not None:
        done = f"Analysed {when(newest.created_at, zone)} by {newest.created_by}. "
        state = f"Since then: {'; '.join(said(c) for c in changed[:5])}." if changed else "Up to date."
        lines.append(html.P([done, state, " ", dcc.Link("Look at the rooms", href=ids.building_href(building))]))
    if not lines:
        lines.append(html.P("Not analysed yet.", className="soft"))
    return html.Div(lines)

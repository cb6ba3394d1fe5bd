"""Small signs that are read at a glance. Each says in words, too, what its colour and shape say."""

from __future__ import annotations

import datetime as dt
import math
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from dash import html
from dash.development.base_component import Component

from dashboard import ids, words
from dashboard.reader import said
from tuning.results import ChannelResult, Decision, Finding, Severity

SCALE_S = (30.0, 3600.0)
"""Ends of the hold-off scale in lists. [s]"""


def decision_mark(decision: Decision) -> Component:
    """Name a decision in its frame: filled to act, hollow to leave."""
    return html.Span(
        words.DECISION_WORD[decision], className=f"mark {decision}", title=words.DECISION_MEANING[decision]
    )


def severity_mark(severity: Severity) -> Component:
    """Name a severity."""
    return html.Span(words.SEVERITY_WORD[severity], className=f"severity {severity}")


def now_new(pair: words.Pair) -> list[Component | str]:
    """Write a figure now and after the change; what is recommended wears the accent."""
    if pair.new is None:
        return [pair.now]
    return [
        html.Span(pair.now, className="was"),
        html.Span(" → ", className="arrow"),
        html.Strong(pair.new, className="new"),
    ]


def _along(hold_off_s: float) -> float:
    low, high = (math.log(v) for v in SCALE_S)
    return min(max((math.log(hold_off_s) - low) / (high - low), 0.0), 1.0)


def hold_scale(c: ChannelResult) -> Component:
    """Hold-off now (ring) and recommended (diamond) on a scale from 30 s to 1 h, the same in every row."""
    marks: list[Component] = []
    now, new = c.current.hold_off_s, c.recommended.hold_off_s
    if now is not None and new is not None and now != new:
        a, b = sorted((_along(now), _along(new)))
        marks.append(html.I(className="run", style={"left": f"{100 * a:.1f}%", "width": f"{100 * (b - a):.1f}%"}))
    if now is not None:
        marks.append(html.I(className="ring", style={"left": f"{100 * _along(now):.1f}%"}))
    if new is not None and new != now:
        marks.append(html.I(className="diamond", style={"left": f"{100 * _along(new):.1f}%"}))
    return html.Div(marks, className="scale", **{"aria-hidden": "true"})


def bars(now: float | None, new: float | None, *, most: float) -> Component:
    """Two thin bars, now and then, on one scale for the whole building."""
    values = [("bar-now", now)] + ([("bar-new", new)] if new != now else [])
    inner = [
        html.I(className=name, style={"width": f"{100 * min(value / most, 1.0):.1f}%"})
        for name, value in values
        if value is not None and most > 0
    ]
    return html.Div(inner, className="bars", **{"aria-hidden": "true"})


LOOK_AROUND = dt.timedelta(minutes=30)
"""How much is shown around a time that is evidence."""


def finding(f: Finding, zone: str, *, of_channel: str | None = None) -> Component:
    """A finding with its evidence folded away; on the page of the channel's room each time opens the stretch around it."""
    facts = words.evidence(f, zone)
    times = f.evidence.get("times")
    rows: list[Component] = []
    for name, value in facts:
        linked = of_channel is not None and name == "times" and isinstance(times, list)
        rows.append(
            html.Div([html.Dt(name), html.Dd(_looks(of_channel or "", times or [], zone) if linked else value)])
        )
    more = [html.Details([html.Summary("Evidence"), html.Dl(rows)])] if rows else []
    return html.Div(
        [html.P([severity_mark(f.severity), " ", said(f.message)]), *more], className=f"finding {f.severity}"
    )


def _looks(channel: str, times: list[str], zone: str) -> list[Component | str]:
    """Times as links to what the log shows around them."""
    found: list[Component | str] = []
    for iso in times:
        at = dt.datetime.fromisoformat(iso).astimezone(ZoneInfo(zone)).replace(tzinfo=None, microsecond=0)
        query = {
            "channel": channel,
            "day": at.date().isoformat(),
            "from": (at - LOOK_AROUND).isoformat(),
            "to": (at + LOOK_AROUND).isoformat(),
        }
        text = words.local_time(iso, zone)
        found += ["; " if found else "", html.A(text, href=f"?{urlencode(query)}#{ids.DAY}")]
    return found


def cautions() -> Component:
    """What anybody must know before touching a setting."""
    items = [html.Li([html.Strong(head), " ", text]) for head, text in words.CAUTIONS]
    return html.Section([html.H2("Before anybody touches a setting"), html.Ul(items)], className="cautions")


def empty(text: str, *more: Component) -> Component:
    """Say why there is nothing to see, and what to do."""
    return html.Div([html.P(text), *more], className="nothing")

"""Results → elements of the building page."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids, words
from dashboard.components import marks
from dashboard.pages.building.ranking import attention, counts
from dashboard.reader import said
from dashboard.workspace.acknowledging import RoomStanding
from tuning.results import Analysis, ChannelResult, Finding

ATTENTION_SHOWN = 5


def head(analysis: Analysis) -> list[Component]:
    """Name of the building and what its figures rest on."""
    zone = ZoneInfo(analysis.time_zone)
    starts = [c.start for c in analysis.channels if c.start]
    ends = [c.end for c in analysis.channels if c.end]
    span = ""
    if starts and ends:
        first, last = min(starts).astimezone(zone), max(ends).astimezone(zone)
        span = f"Logs {first.day} {first:%b %Y} to {last.day} {last:%b %Y}. "
    number = counts(analysis)
    told = ", ".join(f"{n} {words.DECISION_WORD[d].lower()}" for d, n in sorted(number.items(), key=lambda x: -x[1]))
    return [
        html.H1(analysis.site),
        html.P(
            f"{span}{len(analysis.channels)} channels: {told}. A false-off is taken to cost "
            f"{words.money(analysis.cost_per_false_off, analysis.currency)}, a kilowatt-hour "
            f"{words.money(analysis.electricity_price, analysis.currency)}.",
            className="soft",
        ),
    ]


def balance(analysis: Analysis) -> list[Component]:
    """The building's week now and with all recommendations set."""
    both = [c for c in analysis.channels if c.current_rates is not None and c.recommended_rates is not None]
    currency = analysis.currency

    def row(title: str, field: str, unit: str) -> Component:
        now = sum(getattr(c.current_rates, field) for c in both)
        new = sum(getattr(c.recommended_rates, field) for c in both)
        say = words.weekly if field == "false_offs" else words.hours
        less = new - now
        sign = "−" if less < 0 else "+"
        change = "±0" if say(abs(less)) in ("0", words.hours(0.0)) else f"{sign}{say(abs(less))}"
        return html.Tr(
            [
                html.Th([title, html.Span(f" [{unit}]", className="unit")], scope="row"),
                html.Td(say(now)),
                html.Td(html.Strong(say(new), className="new")),
                html.Td(change, className="soft"),
            ]
        )

    worth = sum(c.worth_per_week for c in both if c.decision in ("change", "trial"))
    return [
        html.H2("A week in this building"),
        html.P(
            [
                html.Strong(words.money(worth, currency), className="sum"),
                " a week is what setting the recommendations is worth.",
                *_shares(both, currency),
            ]
        ),
        html.Table(
            [
                html.Thead(
                    html.Tr([html.Th("", scope="col"), *(html.Th(t, scope="col") for t in ("Now", "Then", "Change"))])
                ),
                html.Tbody(
                    [
                        row("False-offs", "false_offs", "per week"),
                        row("Wasted on-time", "wasted_on_h", "h per week"),
                        row("Energy", "energy_kwh", "kWh per week"),
                        row("Nuisance and waste", "cost", f"{currency} per week"),
                    ]
                ),
            ],
            className="balance",
        ),
    ]


def _shares(both: list[ChannelResult], currency: str) -> list[str]:
    targets = sum(c.target_saving for c in both if c.decision in ("change", "trial"))
    if targets < 0.005:
        return []
    return [f" Of that, {words.money(targets, currency)} comes from targets; the last line below is without it."]


def attention_list(
    analysis: Analysis,
    building: str = "",
    drifted: Mapping[str, RoomStanding] | None = None,
    not_taken: Sequence[str] = (),
) -> list[Component]:
    """What needs somebody on site, before any setting: what blocks, what has changed and asks for another look, what warns."""
    told = attention(analysis)
    changed = [
        functools.partial(_changed, r, next((c for c in analysis.channels if c.room == r.room), None), building)
        for r in sorted((drifted or {}).values(), key=lambda r: -r.found.worth_per_week)
        if r.level in ("look", "site")
    ]
    changed = [*(functools.partial(_file, text, building) for text in not_taken), *changed]
    if not told and not changed:
        return [
            html.H2("Needs attention first"),
            html.P("Nothing: the settings below answer every warning.", className="soft"),
        ]
    listed = [functools.partial(_found, c, f, building) for c, f in told]
    blocking = sum(f.severity == "blocking" for _, f in told)
    items = [*listed[:blocking], *changed, *listed[blocking:]]
    rest = len(items) - ATTENTION_SHOWN
    more = [html.P(f"{rest} more stand with their rooms.", className="soft rest")] if rest > 0 else []
    shown = [item() for item in items[:ATTENTION_SHOWN]]
    return [html.H2("Needs attention first"), html.Ul(shown, className="attention"), *more]


def _found(c: ChannelResult, f: Finding, building: str) -> Component:
    link = dcc.Link(f"{words.room_title(c)} · {c.channel}", href=ids.room_href(c.room, c.channel, building=building))
    return html.Li([marks.severity_mark(f.severity), html.Div([link, html.P(said(f.message))])])


def _file(text: str, building: str) -> Component:
    link = dcc.Link("A log in the watched folder was not taken in", href=ids.logs_href(building))
    return html.Li([marks.severity_mark("warning"), html.Div([link, html.P(text)])])


def _changed(r: RoomStanding, c: ChannelResult | None, building: str) -> Component:
    name = r.room if c is None else words.room_title(c)
    link = dcc.Link(name, href=f"{ids.room_href(r.room, building=building)}#{ids.DRIFT_ANCHOR}")
    message = " ".join([*(d.message for d in r.counting), *r.found.advice])
    return html.Li([html.Span("Changed", className="severity warning"), html.Div([link, html.P(message)])])


def logs(analysis: Analysis) -> list[Component]:
    """Findings about the logs themselves."""
    if not analysis.findings:
        return []
    return [html.H2("The logs"), *(marks.finding(f, analysis.time_zone) for f in analysis.findings)]

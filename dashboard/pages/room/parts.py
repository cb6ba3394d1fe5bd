"""Results → elements of the room page."""

from __future__ import annotations

import datetime as dt

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids, words
from dashboard.components import marks
from dashboard.figures.timeline import EMPTY_LIT, Raster
from dashboard.pages.building.ranking import rooms, select
from dashboard.reader import number, said
from tuning.results import Analysis, ChannelResult


def head(c: ChannelResult, analysis: Analysis, building: str = "") -> list[Component]:
    """Way back, name of the room, its channels, and the rooms before and after it in the ranking."""
    ranked = select(rooms(analysis), query="", decisions=(), sort="worth")
    at = next(i for i, r in enumerate(ranked) if r.room == c.room)
    row = ranked[at]
    neighbours = [
        dcc.Link(
            [arrow, r.name] if arrow == "‹ " else [r.name, arrow],
            href=ids.room_href(r.room, r.channels[0].channel, building=building),
            title=title,
        )
        for i, arrow, title in ((at - 1, "‹ ", "Worth more"), (at + 1, " ›", "Worth less"))
        if 0 <= i < len(ranked)
        for r in (ranked[i],)
    ]
    tabs = [
        html.Span(_tab(x), className="chan here", **{"aria-current": "page"})
        if x.channel == c.channel
        else dcc.Link(_tab(x), href=ids.room_href(x.room, x.channel, building=building), className="chan")
        for x in row.channels
    ]
    return [
        html.Div(
            [
                html.Nav(
                    [dcc.Link(analysis.site, href=ids.building_href(building)), " / ", row.name],
                    className="crumbs",
                    **{"aria-label": "You are here"},
                ),
                html.Nav(neighbours, className="neighbours", **{"aria-label": "Rooms by worth"}),
            ],
            className="way",
        ),
        html.H1(row.name),
        html.P(
            f"{row.use}, {c.control}, {number(c.load_w)}{words.NBSP}W. Log {words.span(c, analysis.time_zone)}: "
            f"{number(c.usable_days, 1)} usable days.",
            className="soft",
        ),
        html.Nav(tabs, className="channels", **{"aria-label": "Channels"}),
    ]


def _tab(c: ChannelResult) -> list[Component | str]:
    return [c.channel, " ", html.Span(words.DECISION_WORD[c.decision], className="soft")]


def missing(place: dict[str, str], analysis: Analysis) -> list[Component]:
    """Say that the address names nothing."""
    room, channel, building = place["room"], place["channel"], place.get("building", "")
    named = next((r for r in rooms(analysis) if r.room == room), None)
    if named is None:
        text, way = f"This building has no room “{room}”.", dcc.Link("All rooms", href=ids.building_href(building))
    else:
        text = f"{named.name} has no channel “{channel}”."
        way = dcc.Link(named.name, href=ids.room_href(room, building=building))
    return [html.H1("Not here"), marks.empty(text, way)]


def card(c: ChannelResult, analysis: Analysis) -> list[Component]:
    """The recommendation: settings old and new, what they bring, and why."""
    settings = [("Hold-off", words.hold_pair(c))]
    if c.control != "relay":
        settings.append(("Target at the detector", words.target_pair(c)))
    settings.append(("Mode", words.pair(c.current.mode, c.recommended.mode)))
    brings = (
        ("False-offs a week", words.false_offs_pair(c)),
        ("Wasted on-time, h a week", words.wasted_pair(c)),
        ("Energy, kWh a week", _energy(c)),
        ("Saves a week", words.Pair(words.worth(c, analysis.currency), None)),
    )
    trial = [html.P(f"For {c.trial_days} days, then read the log again.", className="for-days")] if c.trial_days else []
    return [
        html.Div([marks.decision_mark(c.decision), html.P(words.DECISION_MEANING[c.decision])], className="verdict"),
        *trial,
        html.Dl([html.Div([html.Dt(name), html.Dd(marks.now_new(p))]) for name, p in settings], className="settings"),
        html.Dl([html.Div([html.Dt(name), html.Dd(marks.now_new(p))]) for name, p in brings], className="brings"),
        html.H2("Why"),
        html.Ul([html.Li(said(r)) for r in c.reasons], className="reasons"),
        dmc.CopyButton(
            "Copy settings and reasons",
            value=words.plain_summary(c, analysis),
            copiedChildren="Copied",
            timeout=2000,
            className="copy",
            variant="default",
        ),
    ]


def _energy(c: ChannelResult) -> words.Pair:
    now = words.NONE if c.current_rates is None else number(c.current_rates.energy_kwh, 1)
    new = words.NONE if c.recommended_rates is None else number(c.recommended_rates.energy_kwh, 1)
    return words.pair(now, new)


def aside(c: ChannelResult, analysis: Analysis) -> list[Component]:
    """Findings, what is known of the light, sensitivity and cautions."""
    return [
        html.Section(
            [
                html.H2("Findings"),
                *(
                    [marks.finding(f, analysis.time_zone, of_channel=c.channel) for f in c.findings]
                    or [html.P("None.", className="soft")]
                ),
            ]
        ),
        *_known(c),
        *_sensitivity(c, analysis),
        marks.cautions(),
    ]


def _known(c: ChannelResult) -> list[Component]:
    light, rows = c.light, []
    if c.current.hold_off_s is not None:
        rows.append(("Hold-off, documented or inferred", words.hold(c.current.hold_off_s)))
    if c.observed_hold_off_s is not None:
        rows.append(("Hold-off, seen in the log", f"{number(c.observed_hold_off_s)}{words.NBSP}s"))
    if light.electric_lx_at_full is not None:
        low, high = light.electric_low, light.electric_high
        band = f" ({number(low)} to {number(high)})" if low is not None and high is not None else ""
        rows.append(
            ("Own lamps at full output, at the detector", f"{number(light.electric_lx_at_full)}{band}{words.NBSP}lx")
        )
        rows.append(("Steps this rests on", str(light.steps)))
    rows += [
        (f"Lamps of channel {name} at full output", f"{number(lx)}{words.NBSP}lx")
        for name, lx in light.neighbours.items()
    ]
    if light.target_low_lx is not None and light.target_high_lx is not None:
        rows.append(
            (
                "Target that keeps the task lit, 90 % band",
                f"{number(light.target_low_lx)} to {number(light.target_high_lx)}{words.NBSP}lx",
            )
        )
    if c.light.daylight is not None:
        rows.append(("Detector tied to the task by spot readings", "yes" if light.calibrated else "no, assumed"))
    if not rows:
        return []
    return [
        html.Section(
            [
                html.H2("Seen in the log"),
                html.Dl([html.Div([html.Dt(k), html.Dd(v)]) for k, v in rows], className="known"),
            ]
        )
    ]


def _sensitivity(c: ChannelResult, analysis: Analysis) -> list[Component]:
    moved = words.sensitivities(c, analysis)
    if not moved:
        return []
    chosen = words.hold(c.recommended.hold_off_s)
    return [
        html.Section(
            [
                html.H2("If the assumptions were others"),
                html.P(
                    "The cheapest hold-off under each; bold where it is not the recommended one.", className="caption"
                ),
                *(_moved(m, chosen) for m in moved),
                *(html.P(s) for s in words.sensitivity_sentences(c, analysis)),
            ]
        )
    ]


def _moved(m: words.Moved, chosen: str) -> Component:
    heads = [html.Th(v, scope="col", className="used" if i == m.base else "") for i, v in enumerate(m.values)]
    cells = [html.Td(best if best == chosen else html.Strong(best)) for best in m.cheapest]
    return html.Table(
        [html.Caption(m.assumption), html.Thead(html.Tr(heads)), html.Tbody(html.Tr(cells))], className="sensitivity"
    )


def numbers(c: ChannelResult, analysis: Analysis) -> Component:
    """The delay curve as a table."""
    heads = (
        "Hold-off",
        "False-offs a week",
        "90 %",
        "Wasted on-time, h",
        "Energy, kWh",
        f"Cost, {analysis.currency}",
        "Basis",
    )
    now, new = c.current.hold_off_s, c.recommended.hold_off_s
    body = [
        html.Tr(
            [
                html.Th([words.hold(p.hold_off_s), *_tags(p.hold_off_s, now, new, allowed=p.allowed)], scope="row"),
                html.Td(words.weekly(p.false_offs)),
                html.Td(f"{words.weekly(p.false_offs_low)} to {words.weekly(p.false_offs_high)}"),
                html.Td(number(p.wasted_on_h, 1)),
                html.Td(number(p.energy_kwh, 1)),
                html.Td(number(p.cost, 2)),
                html.Td(p.basis),
            ]
        )
        for p in c.delay_curve
    ]
    return html.Table(
        [html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])), html.Tbody(body)], className="numbers"
    )


def _tags(hold_off_s: float, now: float | None, new: float | None, *, allowed: bool) -> list[Component]:
    told = [
        ("in force", hold_off_s == now, ""),
        ("recommended", hold_off_s == new, "new"),
        ("may not be set", not allowed, ""),
    ]
    return [html.Span(f" {text}", className=f"tag {cls}") for text, there, cls in told if there]


def telling_day(raster: Raster) -> dt.date:
    """Day to open first: the one on which most were left in the dark, else the one with most light for nobody."""
    left = {d: int(n) for d, n in raster.left["day"].value_counts().iter_rows()}
    wasted = (raster.state == EMPTY_LIT).sum(axis=1)
    best = max(range(len(raster.days)), key=lambda i: (left.get(raster.days[i], 0), int(wasted[i])))
    return raster.days[best]


def day_options(raster: Raster) -> list[dict[str, str]]:
    """Days to choose from, with how many times somebody was left in the dark."""
    left = {d: int(n) for d, n in raster.left["day"].value_counts().iter_rows()}
    return [
        {
            "value": d.isoformat(),
            "label": f"{d:%a} {d.day} {d:%b %Y}" + (f", {left[d]} left in the dark" if left.get(d) else ""),
        }
        for d in raster.days
    ]

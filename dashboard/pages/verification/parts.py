"""A verification → elements of its page: what needs attention first, a picture of each change, and how it was found."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from typing import Any
from zoneinfo import ZoneInfo

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids, words
from dashboard.components import marks
from dashboard.reader import number, said
from dashboard.workspace import Workspace, verifications
from tuning.results import ChannelResult
from tuning.verification import Compared, Estimate, Verification, Verified, cannot_tell
from tuning.verification.method import METHOD
from tuning.verification.table import WORDS

MARK_CLASS = {
    "as-predicted": "change",
    "better": "change",
    "worse": "fix-first",
    "too-early": "more-data",
    "not-set": "fix-first",
}
LINES = (
    ("false_offs", "False-offs", "per week"),
    ("wasted_on_h", "Wasted on-time", "h per week"),
    ("energy_kwh", "Energy", "kWh per week"),
    ("cost", "Nuisance and waste", "{currency} per week"),
)


def nowhere() -> list[Component]:
    """Say that there is no such building."""
    return [html.H1("Not here"), marks.empty("There is no such building.", dcc.Link("All buildings", href="/"))]


def page(name: str, building: str, found: Verification | None, visits: list[dict[str, Any]]) -> list[Component]:
    """Lay out all of it.

    Parameters
    ----------
    name, building
        The building.
    found
        What was verified last; ``None`` where nothing could be yet.
    visits
        What was set on site, as plain JSON.
    """
    under = ids.building_href(building)
    way = html.Nav(
        [dcc.Link(name, href=under), " / Verification"], className="crumbs", **{"aria-label": "You are here"}
    )
    top: list[Component] = [way, html.H1("Did it work?")]
    done = {(c.room, c.channel, c.set_at) for c in found.changes} if found is not None else set()
    waiting = [v for v in visits if (v["room"], v["channel"], dt.datetime.fromisoformat(v["set_at"])) not in done]
    if found is None:
        return [html.Div(top, className="page-head"), _nothing(building, waiting)]
    count = Counter(c.verdict for c in found.changes)
    told = ", ".join(f"{n} {WORDS[v]}" for v, n in count.most_common())
    top += [
        html.P(
            f"{len(found.changes)} change{'' if len(found.changes) == 1 else 's'} of settings: {told}. "
            "The same presence hours and the same daylight before and after; ranges of 90 %.",
            className="soft",
        ),
        html.P(dcc.Link("How predictions did over all buildings", href=ids.CALIBRATION)),
    ]
    missed = [c for c in found.changes if c.really_set is False]
    return [
        html.Div(top, className="page-head"),
        *_not_set(missed, building),
        *_unknown(cannot_tell(found.changes), building),
        html.Section([_change(c, found, building) for c in found.changes], **{"aria-label": "Changes"}),
        *([_nothing(building, waiting)] if waiting else []),
        html.Section([html.H2("How it was found"), *(html.P(text, className="caption") for text in METHOD)]),
    ]


def of_room(ws: Workspace | None, c: ChannelResult, building: str) -> list[Component]:
    """Say on the page of a room what came of its latest change, with the way to all of it; nothing where nothing was changed."""
    found = None if ws is None or not building else verifications.latest(ws, building)
    mine = [v for v in ([] if found is None else found.changes) if (v.room, v.channel) == (c.room, c.channel)]
    if not mine:
        return []
    last = max(mine, key=lambda v: v.set_at)
    return [
        html.P(
            [
                "Set on site: ",
                settings_line(last),
                ". ",
                dcc.Link(f"What came of it: {WORDS[last.verdict]}", href=ids.verification_href(building)),
            ]
        )
    ]


def _nothing(building: str, waiting: list[dict[str, Any]]) -> Component:
    if not waiting:
        return marks.empty(
            "Nothing was set on site yet. Decide about rooms, set them, and mark them as set on the settings sheet.",
            dcc.Link("Settings sheet", href=ids.sheet_href(building)),
        )
    rooms = ", ".join(f"{v['room']}/{v['channel']}" for v in waiting)
    return marks.empty(
        f"Too early: the analysed logs do not reach beyond the change yet, or it was marked after the last analysis ({rooms}). Bring in "
        "logs of a week or more since, then analyse.",
        dcc.Link("Logs", href=ids.logs_href(building)),
    )


def _not_set(missed: list[Verified], building: str) -> list[Component]:
    if not missed:
        return []
    items = [html.Li([_link(c, building), ": ", said(_why(c))]) for c in missed]
    return [html.Section([html.H2("Not set as said"), html.Ul(items)], **{"aria-label": "Not set as said"})]


def _unknown(changes: list[Verified], building: str) -> list[Component]:
    """Rooms of which nobody knows yet, apart from those set as said: what the log leaves open, and what would tell."""
    if not changes:
        return []
    title = "Cannot be told from this log"
    items = [
        html.Li([_link(c, building), ": ", said(c.set_check.message), " ", html.Strong(said(c.set_check.to_do))])
        for c in changes
    ]
    return [html.Section([html.H2(title), html.Ul(items)], **{"aria-label": title})]


def _why(c: Verified) -> str:
    if c.set_check.status in ("as-said", "cannot-tell"):
        return " ".join(f"{name} {getattr(c.set_check, name)}." for name in c.set_check.other_settings)
    return c.set_check.message


def _link(c: Verified, building: str) -> Component:
    return dcc.Link(f"{c.room_name} · {c.channel}", href=ids.room_href(c.room, c.channel, building=building))


def settings_line(c: Verified) -> str:
    """What was changed, in one line."""
    parts = [
        words.pair(words.hold(c.was.hold_off_s), words.hold(c.said.hold_off_s)),
        words.pair(words.lux(c.was.target_lx), words.lux(c.said.target_lx)),
        words.pair(c.was.mode, c.said.mode),
    ]
    return ", ".join(p.text for p in parts if p.new is not None)


def _change(c: Verified, found: Verification, building: str) -> Component:
    set_at = c.set_at.astimezone(ZoneInfo(found.time_zone))
    more = f" {c.more_days} days more will tell." if c.more_days else ""
    told = [t for t in (c.set_check.message, c.set_check.to_do) if t and t not in c.reasons]
    told += [r for r in c.reasons if r not in told]
    inner: list[Component] = [
        html.H2([_link(c, building), " ", html.Span(WORDS[c.verdict], className=f"mark {MARK_CLASS[c.verdict]}")]),
        html.P(
            f"{settings_line(c)}, set {set_at.day} {set_at:%b %Y}. Log: {number(c.before_days)} days before, "
            f"{number(c.after_days)} since.{more}",
            className="soft",
        ),
        html.Ul([html.Li(said(t)) for t in told]),
    ]
    if c.quantities:
        inner += [_table(c, found.currency), _more(c, found.currency)]
    return html.Article(inner, className="card verified")


def _table(c: Verified, currency: str) -> Component:
    heads = ("", "Before", "Since", "Predicted", "Change", "Picture")
    rows = []
    for name, title, unit in LINES:
        q = c.quantities[name]
        named = [title, html.Span(f" [{unit.format(currency=currency)}]", className="unit")]
        cells = [
            ("Before", _range(q.before)),
            ("Since", html.Strong(_range(q.after))),
            ("Predicted", _range(q.predicted)),
            ("Change", _range(q.change, signed=True)),
        ]
        rows.append(
            html.Tr(
                [
                    html.Th(named, scope="row"),
                    *(html.Td(inner, **{"data-label": label}) for label, inner in cells),
                    html.Td(picture(q)),
                ]
            )
        )
    return html.Table(
        [html.Thead(html.Tr([html.Th(h, scope="col") for h in heads])), html.Tbody(rows)], className="verified-table"
    )


def _range(e: Estimate, *, signed: bool = False) -> str:
    def write(value: float) -> str:
        digits = 0 if abs(value) >= 100 else 1 if abs(value) >= 10 else 2
        text = number(value, digits)
        return f"+{text}" if signed and value > 0 else text

    return f"{write(e.value)} ({write(e.low)} to {write(e.high)})"


def picture(q: Compared) -> Component:
    """Before (ring), since (diamond) and predicted (bar) with their ranges, on one scale from nothing."""
    most = max(q.before.high, q.after.high, q.predicted.high, 1e-9)
    strips = []
    for kind, e in (("ring", q.before), ("diamond", q.after), ("tick", q.predicted)):
        low, high, at = (100 * min(max(v, 0.0) / most, 1.0) for v in (e.low, e.high, e.value))
        strips.append(
            html.Div(
                [
                    html.I(className="range", style={"left": f"{low:.1f}%", "width": f"{max(high - low, 0.5):.1f}%"}),
                    html.I(className=kind, style={"left": f"{at:.1f}%"}),
                ],
                className="strip",
            )
        )
    return html.Div(strips, className="strips", **{"aria-hidden": "true"})


def _more(c: Verified, currency: str) -> Component:
    lines = []
    cost = c.quantities["cost"]
    if cost.by_controls is not None:
        lines.append(
            f"Against {len(c.controls)} channels left alone, the change of cost is {_range(cost.by_controls, signed=True)} {currency} per week."
        )
    elif c.no_controls:
        lines.append(c.no_controls)
    else:
        lines.append("Too little happened in the channels left alone to hold the cost against theirs.")
    if c.conditions is not None:
        lines.append(
            f"Presence {number(c.conditions.presence_before_h, 1)} h per week before, {number(c.conditions.presence_after_h, 1)} since; "
            "both are carried to the whole log's."
        )
    if c.replay is not None:
        lines.append(
            f"Lit hours of a day as movement and hold-off foretell them: bias {number(100 * c.replay.nmbe, 1)} %, scatter "
            f"{number(100 * c.replay.cv_rmse, 1)} % of the mean."
        )
    lines.append(f"IPMVP option {c.option}.")
    return html.Details([html.Summary("What it rests on"), html.Ul([html.Li(t) for t in lines])])

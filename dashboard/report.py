"""Analysis → one self-contained HTML file, fit to print on A4. It loads nothing: plotly.js is inside, once."""

from __future__ import annotations

import datetime as dt
import re
from html import escape
from zoneinfo import ZoneInfo

from plotly.offline import get_plotlyjs

from dashboard import mode_words, words
from dashboard.figures.day_raster import raster_figure
from dashboard.figures.delay_curve import delay_figure
from dashboard.figures.drawing import Figure
from dashboard.figures.gap_lengths import gap_figure
from dashboard.figures.light_day import light_day_figure
from dashboard.figures.season import season_figure
from dashboard.figures.target_curve import target_figure
from dashboard.figures.task_light import task_figure
from dashboard.figures.theme import LIGHT
from dashboard.figures.timeline import raster, timeline
from dashboard.reader import number, said
from dashboard.report_style import SCRIPT, STYLE
from tuning.pipeline import worth_ranking
from tuning.results import Analysis, ChannelResult, Finding

PRINT_HEIGHT = 0.85
"""Figures are this much lower on paper than on the screen, so that a channel fits three pages."""
DRAWN = 40
"""Channels with pictures, those that tuning is worth most: with a year of logs a channel's take a third of a megabyte, and nobody prints 300.
Chosen by us."""
UNDRAWN = f"<p class='soft'>No pictures here: only the {DRAWN} channels that tuning is worth most have them. All stand on the pages of the rooms.</p>"
WIDTH_PX = 696
"""Width of the figures: A4 less its margins, at 96 px per inch."""


def html_report(analysis: Analysis) -> str:
    """Write the report.

    Parameters
    ----------
    analysis
        Of one building.

    Returns
    -------
    An HTML document. Every name that comes from outside is escaped; no resource is loaded from anywhere.
    """
    ranked = worth_ranking(analysis)
    parts = [
        _title(analysis),
        _cautions(),
        _summary(ranked, analysis),
        _logs(analysis),
        *(_channel(c, analysis, drawn=i < DRAWN) for i, c in enumerate(ranked)),
        _method(),
    ]
    return (
        "<!doctype html>\n<html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<title>{escape(analysis.site)}: recommended settings</title>\n<style>{STYLE}</style>\n"
        f"<script>{get_plotlyjs()}</script></head>\n<body>\n"
        + "\n".join(parts)
        + f"\n<script>{SCRIPT}</script></body></html>\n"
    )


def _title(analysis: Analysis) -> str:
    made = analysis.generated.astimezone(ZoneInfo(analysis.time_zone))
    return (
        f"<header><h1>{escape(analysis.site)}</h1><p class='soft'>Recommended settings of {len(analysis.channels)} channels. Made "
        f"{_day(made)}, {made:%H:%M}, holdoff {escape(analysis.version)}. Times in {escape(analysis.time_zone)}. A false-off is taken to "
        f"cost {words.money(analysis.cost_per_false_off, escape(analysis.currency))}, a kilowatt-hour "
        f"{words.money(analysis.electricity_price, escape(analysis.currency))}.</p></header>"
    )


def _day(when: dt.datetime) -> str:
    return f"{when.day} {when:%B %Y}"


def _cautions() -> str:
    items = "".join(f"<li><b>{escape(head)}</b> {escape(text)}</li>" for head, text in words.CAUTIONS)
    return f"<aside class='cautions'><h3>Before anybody touches a setting</h3><ul>{items}</ul></aside>"


def _pair(p: words.Pair) -> str:
    if p.new is None:
        return escape(p.now)
    return f"{escape(p.now)} → <b class='new'>{escape(p.new)}</b>"


def _mark(c: ChannelResult) -> str:
    return f"<span class='mark {c.decision}'>{words.DECISION_WORD[c.decision]}</span>"


def _summary(ranked: list[ChannelResult], analysis: Analysis) -> str:
    head = (
        "<tr><th>Room, channel</th><th>Decision</th><th>Hold-off</th><th>Target</th><th class='n'>False-offs<br>a week</th>"
        "<th class='n'>Wasted on-<br>time, h a week</th><th class='n'>Saves a week</th></tr>"
    )
    rows = "".join(
        f"<tr><td><a href='#{_anchor(c)}'>{escape(words.room_title(c))}</a> · {escape(c.channel)}</td><td>{_mark(c)}</td>"
        f"<td>{_pair(words.hold_pair(c))}</td><td>{_pair(words.target_pair(c))}</td>"
        f"<td class='n'>{_pair(words.false_offs_pair(c))}</td><td class='n'>{_pair(words.wasted_pair(c))}</td>"
        f"<td class='n'>{escape(words.worth(c, analysis.currency))}</td></tr>"
        for c in ranked
    )
    return (
        f"<h2>Settings, what tuning is worth most first</h2><table><thead>{head}</thead><tbody>{rows}</tbody></table>"
    )


def _anchor(c: ChannelResult) -> str:
    return "c-" + re.sub(r"[^A-Za-z0-9]", lambda m: f"-{ord(m[0]):x}-", f"{c.room}/{c.channel}")


def _logs(analysis: Analysis) -> str:
    if not analysis.findings:
        return ""
    return "<h3>The logs</h3>" + "".join(_finding(f, analysis.time_zone) for f in analysis.findings)


def _finding(f: Finding, zone: str) -> str:
    facts = "; ".join(f"{escape(k)}: {escape(v)}" for k, v in words.evidence(f, zone))
    tail = f"<small>{facts}</small>" if facts else ""
    return f"<div class='finding {f.severity}'><b>{words.SEVERITY_WORD[f.severity]}</b>{escape(said(f.message))}{tail}</div>"


def _channel(c: ChannelResult, analysis: Analysis, *, drawn: bool = True) -> str:
    log = f"Log {words.span(c, analysis.time_zone)}, {number(c.usable_days, 1)} usable days."
    facts = f"{escape(c.use)}, {escape(c.control)}, {number(c.load_w)} W. {log}"
    reasons = "".join(f"<li>{escape(said(r))}</li>" for r in c.reasons)
    return (
        f"<section class='channel' id='{_anchor(c)}'><h2>{escape(words.room_title(c))} · {escape(c.channel)} {_mark(c)}</h2>"
        f"<p class='soft'>{facts}</p>{_settings(c, analysis)}<ul>{reasons}</ul>"
        f"{_figures(c, analysis) if drawn else UNDRAWN}"
        f"{_findings(c, analysis)}{_mode(c, analysis)}{_sensitivity(c, analysis)}</section>"
    )


def _settings(c: ChannelResult, analysis: Analysis) -> str:
    def big(name: str, p: words.Pair) -> str:
        if p.new is None:
            return f"<div><dt>{name}</dt><dd>{escape(p.now)}</dd></div>"
        return f"<div><dt>{name}</dt><dd><span class='was'>{escape(p.now)} →</span> <span class='new'>{escape(p.new)}</span></dd></div>"

    mode = words.pair(c.current.mode, c.recommended.mode)
    parts = [big("Hold-off", words.hold_pair(c))]
    if c.control != "relay":
        parts.append(big("Target at the detector", words.target_pair(c)))
    parts += [big("Mode", mode), big("Saves a week", words.Pair(words.worth(c, analysis.currency), None))]
    return f"<dl class='settings'>{''.join(parts)}</dl>"


def _figures(c: ChannelResult, analysis: Analysis) -> str:
    if not c.delay_curve:
        return ""
    drawn = [
        _figure(
            "What each hold-off brings",
            "Full line: seen in the log. Broken line on shaded ground: extrapolated beyond the hold-off in force. Band: 90 %.",
            delay_figure(c, LIGHT, currency=analysis.currency),
        )
    ]
    line = timeline(c, zone=analysis.time_zone)
    if line is not None:
        drawn.append(
            _figure(
                "Day by day",
                "One row a day, cells of five minutes. Triangles: switch-offs that probably left somebody in the dark.",
                raster_figure(raster(line), LIGHT),
            )
        )
        drawn.append(
            _figure(
                "Length of the pauses", "Pauses longer than the hold-off switch the light off.", gap_figure(c, LIGHT)
            )
        )
    if c.light.target_curve:
        drawn.append(
            _figure(
                "What each target brings",
                "Shares of the time that is lit with somebody there.",
                target_figure(c, LIGHT),
            )
        )
    if c.light.task_lx_lit is not None:
        drawn.append(
            _figure(
                "Light at the task", "Daylight and lamps together while lit with somebody there.", task_figure(c, LIGHT)
            )
        )
    return "".join([*drawn, *_light_figures(c)])


def _light_figures(c: ChannelResult) -> list[str]:
    """What the light did over a day, and what other months would bring."""
    drawn = []
    if c.light.typical_day is not None:
        drawn.append(
            _figure(
                "Daylight and lamps over a day",
                "Mean of the days on which the light burnt. Bars: where the daylight of eight days in ten lay.",
                light_day_figure(c, LIGHT),
            )
        )
    if c.light.months is not None:
        drawn.append(
            _figure(
                "Over a year",
                "Under the target that keeps the task lit; other months estimated from the sun and the daylight that the log shows.",
                season_figure(c, LIGHT),
            )
        )
    return drawn


def _figure(title: str, caption: str, figure: Figure) -> str:
    figure.update_layout(width=WIDTH_PX, height=round(PRINT_HEIGHT * figure.height))
    # "</" inside a script element would end it.
    data = figure.to_json().replace("</", "<\\/")
    return (
        f"<figure><figcaption>{title}<span>{caption}</span></figcaption><div class='plot'></div>"
        f"<script type='application/json' class='figure'>{data}</script></figure>"
    )


def _findings(c: ChannelResult, analysis: Analysis) -> str:
    if not c.findings:
        return ""
    return "<h3>Findings</h3>" + "".join(_finding(f, analysis.time_zone) for f in c.findings)


def _mode(c: ChannelResult, analysis: Analysis) -> str:
    """What manual-on would save and cost, and why it is or is not recommended."""
    if c.control == "relay":
        return ""
    rows = "".join(
        f"<tr><td>{escape(k)}</td><td class='n'>{escape(v)}</td></tr>" for k, v in mode_words.mode_rows(c, analysis)
    )
    table = f"<p class='soft'>{escape(mode_words.CAPTION)}</p><table><tbody>{rows}</tbody></table>" if rows else ""
    return f"<h3>{mode_words.TITLE}</h3><p>{escape(mode_words.mode_verdict(c))}</p>{table}"


def _sensitivity(c: ChannelResult, analysis: Analysis) -> str:
    moved = words.sensitivities(c, analysis)
    if not moved:
        return ""
    chosen = words.hold(c.recommended.hold_off_s)
    tables = "".join(_moved(m, chosen) for m in moved)
    told = "".join(f"<p>{escape(s)}</p>" for s in words.sensitivity_sentences(c, analysis))
    return f"<h3>If the assumptions were others</h3>{tables}{told}"


def _moved(m: words.Moved, chosen: str) -> str:
    values = "".join(
        f"<th class='n'>{escape(v)}{' (used)' if i == m.base else ''}</th>" for i, v in enumerate(m.values)
    )
    best = "".join(f"<td class='n'>{escape(h) if h == chosen else f'<b>{escape(h)}</b>'}</td>" for h in m.cheapest)
    return (
        f"<table><thead><tr><th>{escape(m.assumption)}</th>{values}</tr></thead>"
        f"<tbody><tr><td>cheapest hold-off</td>{best}</tr></tbody></table>"
    )


def _method() -> str:
    items = "".join(f"<li>{escape(text)}</li>" for text in words.METHOD)
    return f"<section class='channel'><h2>Method and limits</h2><ul>{items}</ul></section>"


__all__ = ["html_report"]

"""What ``holdoff check`` shows on a terminal. No analysis."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from zoneinfo import ZoneInfo

import numpy as np
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from tuning.check import ChannelCheck, Check
from tuning.console import SEVERITY
from tuning.quality.series import SeriesCheck
from tuning.results import Finding
from tuning.wording import duration

STRIP = 28
"""Columns of the strip of days; longer logs share columns."""
BARS = "▁▂▃▄▅▆▇█"
MOST_DAYS = 6
"""So many days left out are told one by one; the JSON has all."""
RANK = {"blocking": 0, "warning": 1, "info": 2}


def print_check(console: Console, check: Check) -> None:
    """Print what every series covers, what counts of every channel, and what is wrong."""
    console.print(series_table(check))
    if check.outages:
        hours = sum(o.hours for o in check.outages)
        console.print(f"[yellow]Nothing at all was logged[/] in {len(check.outages)} stretches, {hours:.1f} h in all.")
    console.print()
    console.print(channel_table(check))
    for c in check.channels:
        _print_channel(console, c, ZoneInfo(check.analysis.time_zone))
    if check.analysis.findings:
        console.print("\n[bold]The logs[/]")
        for f in check.analysis.findings:
            _print_finding(console, f, ZoneInfo(check.analysis.time_zone))


def series_table(check: Check) -> Table:
    """Lay out every series with the days it covers."""
    span = f"{check.days[0]} to {check.days[-1]}" if check.days else "nothing"
    table = Table(title=f"{escape(check.analysis.site)}: series, {span}", title_justify="left", header_style="bold")
    for title, justify in (
        ("series", "left"),
        ("rows", "right"),
        ("sampling", "left"),
        ("covers", "right"),
        ("gaps", "right"),
        ("values", "right"),
        ("days: covered, or rows", "left"),
        ("wrong", "left"),
    ):
        table.add_column(title, justify=justify, no_wrap=title.startswith("days"))  # type: ignore[arg-type]
    for i, s in enumerate(check.series):
        table.add_row(*_series_row(check, i, s))
    return table


def _series_row(check: Check, number: int, s: SeriesCheck) -> tuple[str, ...]:
    covered, whole = check.covered_h[number], check.day_h
    name = " ".join(part for part in (s.room, s.channel, s.detector) if part)
    gaps = f"{s.gaps}, longest {s.longest_gap_h:.1f} h" if s.gaps else "" if s.wait_s is None else "0"
    values = f"{s.lowest:g}…{s.highest:g}" if s.quantity in ("illuminance", "output", "power", "override") else ""
    how = s.sampling if s.wait_s is None else f"{s.sampling}, {duration(round(s.wait_s))}"
    return (
        f"{escape(name)} [dim]{s.quantity}[/]",
        f"{s.rows:,}",
        how,
        "" if s.wait_s is None else f"{covered.sum() / max(whole.sum(), 1e-9):.1%}",
        gaps,
        values,
        strip(covered, whole) if s.wait_s is not None else _busy(check.rows[number]),
        f"[yellow]{escape('; '.join(s.faults))}[/]" if s.faults else "",
    )


def _busy(rows: np.ndarray) -> str:
    """Days as bars by their rows, the busiest day in full."""
    busiest = float(np.sort(rows)[-max(len(rows) // 10, 1)]) if len(rows) else 1.0
    return strip(np.minimum(rows, busiest).astype(float), np.full(len(rows), max(busiest, 1.0)))


def strip(covered_h: np.ndarray, whole_h: np.ndarray) -> str:
    """Days as bars, a dot where nothing is covered.

    Examples
    --------
    >>> strip(np.array([24.0, 0.0, 12.0]), np.array([24.0, 24.0, 24.0]))
    '█·▄'
    """
    parts = np.array_split(np.arange(len(whole_h)), min(STRIP, max(len(whole_h), 1)))
    shares = [covered_h[p].sum() / max(whole_h[p].sum(), 1e-9) for p in parts if len(p)]
    return "".join("·" if x <= 0.005 else BARS[min(int(x * len(BARS) - 1e-9), len(BARS) - 1)] for x in shares)


def channel_table(check: Check) -> Table:
    """Lay out what counts of every channel."""
    table = Table(title="What counts", title_justify="left", header_style="bold")
    for title, justify in (
        ("room", "left"),
        ("channel", "left"),
        ("usable days", "right"),
        ("left out", "left"),
        ("hold-off in site.toml", "right"),
        ("seen in the log", "right"),
        ("what is wrong", "left"),
    ):
        table.add_column(title, justify=justify)  # type: ignore[arg-type]
    for c in check.channels:
        r = c.result
        table.add_row(
            escape(r.room_name),
            escape(r.channel),
            f"{r.usable_days:.1f} of {check.day_h.sum() / 24:.1f}" if c.usable else "[bold red]none[/]",
            escape(_left_out(c)),
            "–" if c.documented_s is None else duration(c.documented_s),
            "–" if r.observed_hold_off_s is None else duration(round(r.observed_hold_off_s)),
            _codes(r.findings),
        )
    return table


def _left_out(c: ChannelCheck) -> str:
    if not c.left_out:
        return ""
    hours: Counter[str] = Counter()
    for d in c.left_out:
        hours[d.why] += d.hours  # type: ignore[assignment]
    return "; ".join(f"{h:.1f} h: {why}" for why, h in hours.most_common())


def _codes(findings: tuple[Finding, ...]) -> str:
    told = sorted((f for f in findings if f.severity != "info"), key=lambda f: RANK[f.severity])
    return ", ".join(f"[{SEVERITY[f.severity]}]{f.code}[/]" for f in told)


def _print_channel(console: Console, c: ChannelCheck, zone: ZoneInfo) -> None:
    findings = sorted(c.result.findings, key=lambda f: RANK[f.severity])
    if not findings and not c.left_out:
        return
    console.print(f"\n[bold]{escape(c.result.room_name)} · {escape(c.result.channel)}[/]")
    if c.left_out:
        days = [f"{d.day} {d.hours:.1f} h ({d.why})" for d in c.left_out[:MOST_DAYS]]
        more = f", and {len(c.left_out) - MOST_DAYS} more days" if len(c.left_out) > MOST_DAYS else ""
        console.print(f"  left out: {escape(', '.join(days))}{more}", highlight=False)
    for f in findings:
        _print_finding(console, f, zone)


def _print_finding(console: Console, f: Finding, zone: ZoneInfo) -> None:
    console.print(f"  [{SEVERITY[f.severity]}]{f.severity}[/] [bold]{f.code}[/]: {escape(f.message)}", highlight=False)
    times = f.evidence.get("times")
    if isinstance(times, list) and times:
        shown = [dt.datetime.fromisoformat(str(t)).astimezone(zone).strftime("%a %Y-%m-%d %H:%M:%S") for t in times[:3]]
        console.print(f"    [dim]look at {escape('; '.join(shown))}[/]", highlight=False)

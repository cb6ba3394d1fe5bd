"""What the terminal shows: the settings table, the findings, progress. No analysis."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from tuning.owner import OwnerReport
from tuning.pipeline import Progress as Say
from tuning.pipeline import worth_ranking
from tuning.results import Analysis, ChannelResult, Finding
from tuning.starting import Expected, StartingSettings
from tuning.wording import duration, often

MARK = {"change": "→", "trial": "⇢", "keep": "=", "more-data": "?", "fix-first": "!"}
STYLE = {"change": "bold green", "trial": "bold cyan", "keep": "dim", "more-data": "yellow", "fix-first": "bold red"}
SEVERITY = {"info": "dim", "warning": "yellow", "blocking": "bold red"}

CAUTIONS = (
    "Settings only by authorised people. Wiring only by licensed electricians, dead and proven dead. "
    "Emergency and escape lighting is never governed by these settings. Local codes prevail."
)


@contextmanager
def progress(console: Console) -> Iterator[Say | None]:
    """Show a progress bar on a terminal, nothing in a pipe."""
    if not console.is_terminal:
        yield None
        return
    with Progress(
        TextColumn("[progress.description]{task.description}"),
        BarColumn(),
        TimeElapsedColumn(),
        console=console,
        transient=True,
    ) as bar:
        task = bar.add_task("reading", total=1.0)
        yield lambda share, what: bar.update(task, completed=share, description=escape(what))


def _hold(value: float | None) -> str:
    return "none" if value is None else duration(value)


def _arrow(now: str, new: str) -> str:
    return now if now == new else f"{now} → [bold]{new}[/]"


def _lux(value: float | None) -> str:
    return "–" if value is None else f"{value:.0f} lx"


def _row(c: ChannelResult) -> tuple[str, ...]:
    now, new = c.current_rates, c.recommended_rates
    style = STYLE[c.decision]
    false = often(new.false_offs) if new else "–"
    wasted = f"{new.wasted_on_h:.1f}" if new else "–"
    if now and new and c.decision in ("change", "trial"):
        false = f"{often(now.false_offs)} → {often(new.false_offs)}"
        wasted = f"{now.wasted_on_h:.1f} → {new.wasted_on_h:.1f}"
    worth = f"{c.worth_per_week:+.2f}" if c.decision in ("change", "trial") and now else ""
    return (
        escape(c.room_name),
        escape(c.channel),
        f"[{style}]{MARK[c.decision]} {c.decision}[/]",
        _arrow(_hold(c.current.hold_off_s), _hold(c.recommended.hold_off_s)),
        "" if c.control == "relay" else _arrow(_lux(c.current.target_lx), _lux(c.recommended.target_lx)),
        false,
        wasted,
        worth,
    )


def settings_table(analysis: Analysis) -> Table:
    """Lay out the settings, what tuning is worth most first."""
    table = Table(
        title=f"{escape(analysis.site)}: recommended settings", title_justify="left", header_style="bold", expand=False
    )
    for title, justify in (
        ("room", "left"),
        ("channel", "left"),
        ("decision", "left"),
        ("hold-off", "left"),
        ("target", "left"),
        ("false-offs a week", "right"),
        ("wasted h a week", "right"),
        (f"saves {analysis.currency} a week", "right"),
    ):
        table.add_column(title, justify=justify)  # type: ignore[arg-type]
    for c in worth_ranking(analysis):
        table.add_row(*_row(c))
    return table


def print_analysis(console: Console, analysis: Analysis) -> None:
    """Print table, reasons and findings."""
    console.print(settings_table(analysis))
    for c in worth_ranking(analysis):
        if c.decision == "keep" and not any(f.severity != "info" for f in c.findings):
            continue
        console.print(f"\n[bold]{escape(c.room_name)} · {escape(c.channel)}[/]  [{STYLE[c.decision]}]{c.decision}[/]")
        for sentence in c.reasons:
            console.print(f"  {escape(sentence)}")
        for f in c.findings:
            print_finding(console, f)
    if analysis.findings:
        console.print("\n[bold]The logs[/]")
        for f in analysis.findings:
            print_finding(console, f)
    console.print(f"\n[dim]{CAUTIONS}[/]")


def print_finding(console: Console, f: Finding) -> None:
    """Print one finding."""
    console.print(f"  [{SEVERITY[f.severity]}]{f.severity}[/] [bold]{f.code}[/]: {escape(f.message)}")


def print_starting(console: Console, starts: tuple[StartingSettings, ...]) -> None:
    """Print where to start in rooms without a log; nothing where there are none."""
    if not starts:
        return

    def expect(e: Expected | None) -> str:
        return "–" if e is None else f"{often(e.middle)} ({often(e.low)}–{often(e.high)})"

    table = Table(header_style="bold")
    for title in (
        "room",
        "channel",
        "use",
        "hold-off",
        "target",
        "false-offs a week",
        "wasted h",
        "kWh",
        "days of log",
    ):
        table.add_column(
            title, justify="left" if title in ("room", "channel", "use", "hold-off", "target") else "right"
        )
    for s in starts:
        table.add_row(
            escape(s.room_name),
            escape(s.channel),
            escape(s.use),
            _arrow(_hold(s.now.hold_off_s) if s.now.hold_off_s else "?", _hold(s.settings.hold_off_s)),
            "" if s.control == "relay" else _arrow(_lux(s.now.target_lx), _lux(s.settings.target_lx)),
            expect(s.false_offs),
            expect(s.wasted_on_h),
            expect(s.energy_kwh),
            str(s.days_needed),
        )
    console.print(
        "\n[bold]Rooms without a log: where to start[/] (in brackets what nine of ten such rooms bring a week)"
    )
    console.print(table)
    for s in starts:
        console.print(f"\n[bold]{escape(s.room_name)} · {escape(s.channel)}[/]  starting settings")
        for sentence in s.reasons:
            console.print(f"  {escape(sentence)}")
        console.print(f"  [dim]{escape(s.source)}.[/]")
    console.print(f"\n[dim]{CAUTIONS}[/]")


def print_owner_report(console: Console, report: OwnerReport) -> None:
    """Print the owner's report: the building, its largest rooms, what is missing."""

    def pair(now: float | None, then: float | None, digits: int = 0) -> str:
        a, b = ("–" if v is None else f"{v:,.{digits}f}" for v in (now, then))
        return _arrow(a, b)

    now, then = report.now, report.then
    rows = [
        ("electricity \\[kWh]", pair(now.energy_kwh, then.energy_kwh)),
        (f"cost of electricity \\[{escape(report.currency)}]", pair(report.cost(now), report.cost(then))),
        ("emissions \\[kg CO2e]", pair(report.co2e_kg(now), report.co2e_kg(then))),
        ("light for nobody \\[h]", pair(now.wasted_on_h, then.wasted_on_h)),
        ("times that light went off over somebody", pair(now.false_offs, then.false_offs)),
        ("hours in the dark after that \\[h]", pair(now.dark_h, then.dark_h, 1)),
        ("LENI \\[kWh/m²]", pair(report.leni_now, report.leni_then, 1)),
    ]
    table = Table(show_header=False)
    for row in rows:
        table.add_row(*row)
    console.print(f"[italic]{escape(report.site)}: a year of light, now → {report.advised}[/]")
    console.print(table)
    rooms = Table(title="Rooms that take most", title_justify="left", header_style="bold")
    for head in ("room", "kWh a year", "LENI", "by EN 15193", "absent F_A", "held on F_O", "by EN 15193"):
        rooms.add_column(head, justify="left" if head == "room" else "right")
    for r in report.rooms[:10]:
        seen = r.occupancy
        rooms.add_row(
            escape(r.name),
            pair(r.now.energy_kwh, r.then.energy_kwh),
            pair(r.leni_now, r.leni_then, 1),
            pair(r.leni_table, r.leni_table, 1),
            pair(seen.absence if seen else None, seen.absence if seen else None, 2),
            pair(seen.factor if seen else None, r.occupancy_then, 2),
            pair(r.occupancy_table, r.occupancy_table, 2),
        )
    console.print(rooms)
    for m in report.missing:
        console.print(f"[yellow]{escape(m.what)}[/]: {escape(', '.join(m.rooms))}. {escape(m.follows)}")

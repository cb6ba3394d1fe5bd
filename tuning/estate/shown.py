"""What the terminal shows of an estate."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from tuning.console import CAUTIONS
from tuning.estate.run import EstateRun
from tuning.wording import duration

SHOWN = 15
"""Rows of a table; the files hold all."""


def print_estate(console: Console, run: EstateRun) -> None:
    """Print the ranking of buildings and channels, the failures, and what the run took."""
    _print_buildings(console, run.ranking)
    _print_channels(console, run.ranking)
    for b in run.failed:
        console.print(f"[bold red]![/] [bold]{escape(b['building'])}[/]: {escape(b['error'])}")
    held = run.manifest["buildings"]
    now = sum(b["in_this_run"] for b in held)
    console.print(
        f"\n{len(held)} buildings, {sum(b['channels'] for b in held):,} channels, {sum(b['readings'] for b in held):,} readings; "
        f"{now} analysed now, {len(held) - now} unchanged, {len(run.failed)} failed; {run.manifest['seconds']:.1f} s by {run.manifest['by']}."
    )
    if run.beliefs["uses"]:
        told = ", ".join(f"{use} ({u['channels']})" for use, u in run.beliefs["uses"].items())
        console.print(f"Beliefs for rooms without a log pooled from channels by use: {escape(told)}.")
    console.print(f"\n[dim]{CAUTIONS}[/]")


def _table(title: str, heads: tuple[tuple[str, bool], ...]) -> Table:
    table = Table(title=title, title_justify="left", header_style="bold", expand=False)
    for head, number in heads:
        table.add_column(head, justify="right" if number else "left")
    return table


def _print_buildings(console: Console, ranked: dict[str, Any]) -> None:
    buildings = ranked["buildings"]
    table = _table(
        "Buildings by what tuning is worth" + _part(len(buildings)),
        (
            ("", True),
            ("building", False),
            ("channels", True),
            ("saves a week", True),
            ("kWh a week", True),
            ("false-offs fewer", True),
            ("change", True),
            ("trial", True),
            ("fix first", True),
        ),
    )
    for b in buildings[:SHOWN]:
        table.add_row(
            str(b["rank"]),
            escape(b["building"]),
            str(b["channels"]),
            f"{b['worth_per_week']:+,.2f} {escape(b['currency'])}",
            f"{b['energy_saved_kwh_per_week']:+,.1f}",
            f"{b['false_offs_saved_per_week']:+,.1f}",
            *(str(b[name]) for name in ("to_change", "to_try", "to_mend_first")),
        )
    if len(buildings) > 1:
        table.add_section()
        for c in ranked["currencies"]:
            table.add_row(
                "",
                "all",
                str(c["channels"]),
                f"{c['worth_per_week']:+,.2f} {escape(c['currency'])}",
                f"{c['energy_saved_kwh_per_week']:+,.1f}",
                f"{c['false_offs_saved_per_week']:+,.1f}",
                *(str(c[name]) for name in ("to_change", "to_try", "to_mend_first")),
            )
    if buildings:
        console.print(table)
    if len(ranked["currencies"]) > 1:
        console.print("Money of different currencies is not compared; each currency has ranks of its own.")


def _print_channels(console: Console, ranked: dict[str, Any]) -> None:
    worth = [c for c in ranked["channels"] if c["worth_per_week"] > 0]
    table = _table(
        "Channels to go to first" + _part(len(worth)),
        (
            ("", True),
            ("building", False),
            ("room", False),
            ("channel", False),
            ("decision", False),
            ("hold-off", False),
            ("saves a week", True),
        ),
    )
    for c in worth[:SHOWN]:
        table.add_row(
            str(c["rank"]),
            escape(c["building"]),
            escape(c["room_name"]),
            escape(c["channel"]),
            c["decision"],
            f"{_hold(c['current_hold_off_s'])} → {_hold(c['recommended_hold_off_s'])}",
            f"{c['worth_per_week']:+,.2f} {escape(c['currency'])}",
        )
    if worth:
        console.print(table)


def _part(count: int) -> str:
    return f" (the first {SHOWN} of {count:,}; ranking.csv has all)" if count > SHOWN else ""


def _hold(seconds: float | None) -> str:
    return "?" if seconds is None else duration(seconds)

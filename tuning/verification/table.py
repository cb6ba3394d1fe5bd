"""How a terminal shows a verification."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from tuning.console import CAUTIONS
from tuning.results import Settings
from tuning.verification.method import METHOD
from tuning.verification.results import Compared, Verification, Verified, cannot_tell
from tuning.wording import duration, often

WORDS = {
    "as-predicted": "as predicted",
    "better": "better",
    "worse": "worse",
    "too-early": "too early",
    "not-set": "not set",
}
STYLE = {
    "as-predicted": "bold green",
    "better": "bold green",
    "worse": "bold red",
    "too-early": "yellow",
    "not-set": "bold red",
}
MARK = {"as-predicted": "=", "better": "+", "worse": "!", "too-early": "?", "not-set": "✗"}


def settings_words(was: Settings, said: Settings) -> str:
    """Say what was changed: "5 min → 10 min, 500 lx → 450 lx"."""
    parts = []
    if was.hold_off_s != said.hold_off_s:
        parts.append(f"{_hold(was.hold_off_s)} → {_hold(said.hold_off_s)}")
    if was.target_lx != said.target_lx:
        parts.append(f"{_lux(was.target_lx)} → {_lux(said.target_lx)}")
    if was.mode != said.mode:
        parts.append(f"{was.mode} → {said.mode}")
    return ", ".join(parts) or "nothing"


def _hold(value: float | None) -> str:
    return "?" if value is None else duration(value)


def _lux(value: float | None) -> str:
    return "?" if value is None else f"{value:.0f} lx"


def _move(c: Compared | None, digits: int | None = None) -> str:
    if c is None:
        return "–"
    say = often if digits is None else (lambda x: f"{x:.{digits}f}")
    return f"{say(max(c.before.value, 0.0))} → {say(max(c.after.value, 0.0))}"


def _cost(c: Compared | None) -> str:
    return "–" if c is None else f"{c.change.value:+.2f} ({c.change.low:+.2f} to {c.change.high:+.2f})"


def changes_table(v: Verification) -> Table:
    """Lay out the changes, what needs attention first."""
    zone = ZoneInfo(v.time_zone)
    table = Table(
        title=f"{escape(v.site)}: what was set, and what came of it", title_justify="left", header_style="bold"
    )
    for title, justify in (
        ("room", "left"),
        ("channel", "left"),
        ("set", "left"),
        ("from", "left"),
        ("verdict", "left"),
        ("false-offs a week", "right"),
        ("wasted h a week", "right"),
        (f"{v.currency} a week (90 %)", "right"),
    ):
        table.add_column(title, justify=justify)  # type: ignore[arg-type]
    for c in v.changes:
        q = c.quantities
        more = f", {c.more_days} days more" if c.more_days else ""
        table.add_row(
            escape(c.room_name),
            escape(c.channel),
            settings_words(c.was, c.said),
            f"{c.set_at.astimezone(zone):%Y-%m-%d}",
            f"[{STYLE[c.verdict]}]{MARK[c.verdict]} {WORDS[c.verdict]}[/]{more}",
            _move(q.get("false_offs")),
            _move(q.get("wasted_on_h"), 1),
            _cost(q.get("cost")),
        )
    return table


def print_verification(console: Console, v: Verification) -> None:
    """Print table, reasons, what was not set, and the method."""
    if not v.changes:
        console.print(
            "Nothing to verify: no channel in site.toml has a settings_history inside the log. "
            "Write what was set and when, and log on past that date."
        )
        return
    console.print(changes_table(v))
    for c in v.changes:
        console.print(
            f"\n[bold]{escape(c.room_name)} · {escape(c.channel)}[/]  [{STYLE[c.verdict]}]{WORDS[c.verdict]}[/]"
        )
        for sentence in _sentences(c, v.currency):
            console.print(f"  {escape(sentence)}")
    missed = [c for c in v.changes if c.really_set is False]
    console.print("\n[bold]Not set as said[/]" if missed else "\nNo room was found set to anything else than said.")
    for c in missed:
        console.print(f"  {escape(c.room_name)} · {escape(c.channel)}: {escape(c.set_check.message)}")
    unknown = cannot_tell(v.changes)
    if unknown:
        console.print("\n[bold]Cannot be told from this log[/]")
    for c in unknown:
        console.print(f"  {escape(c.room_name)} · {escape(c.channel)}: {escape(' '.join(_unknown(c)))}")
    console.print("\n[bold]Method[/]")
    for text in METHOD:
        console.print(f"  [dim]{escape(text)}[/]")
    console.print(f"\n[dim]{CAUTIONS}[/]")


def _unknown(c: Verified) -> list[str]:
    return [text for text in (c.set_check.message, c.set_check.to_do) if text]


def _sentences(c: Verified, currency: str) -> list[str]:
    told = [text for text in _unknown(c) if text not in c.reasons]
    told += c.reasons
    told += [f"Target {c.set_check.target}."] if c.set_check.target else []
    told += [f"Mode {c.set_check.mode}."] if c.set_check.mode else []
    cost = c.quantities.get("cost")
    if cost is not None and cost.by_controls is not None:
        e = cost.by_controls
        told.append(
            f"Against {len(c.controls)} channels left alone: {e.value:+.2f} {currency} a week ({e.low:+.2f} to {e.high:+.2f})."
        )
    elif c.no_controls:
        told.append(c.no_controls)
    return told

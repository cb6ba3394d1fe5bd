"""What was seen of drift, for a terminal and for other programs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich.console import Console
from rich.markup import escape

from tuning import __version__
from tuning.results import ChannelResult
from tuning.site import Site
from tuning.watching.look import Looked
from tuning.wording import duration


def advice_of(looked: Looked, currency: str) -> list[str]:
    """What another look would bring, a sentence for each channel."""
    return in_sentences(looked.again, currency)


def in_sentences(again: Sequence[ChannelResult], currency: str) -> list[str]:
    """As :func:`advice_of`, of the channels alone."""
    told = []
    for c in again:
        now, new = c.current.hold_off_s, c.recommended.hold_off_s
        parts = [] if now == new or new is None else [f"hold-off {duration(now) if now else 'none'} → {duration(new)}"]
        if c.current.target_lx != c.recommended.target_lx and c.recommended.target_lx:
            parts.append(f"target {c.recommended.target_lx:.0f} lx")
        if c.current.mode != c.recommended.mode:
            parts.append(c.recommended.mode)
        told.append(f"{c.channel}: {', '.join(parts)} ({c.decision}), worth {c.worth_per_week:.2f} {currency} a week.")
    return told


def print_watch(console: Console, site: Site, looked: Sequence[Looked]) -> None:
    """Print rooms worth another look first, then what else has drifted, then what is watched."""
    for one in sorted(looked, key=lambda x: (not x.again, not x.watched.drifts)):
        w = one.watched
        if not w.drifts:
            continue
        worth = "  [bold green]worth another look[/]" if one.again else ""
        console.print(f"[bold]{escape(one.room_name)}[/]{worth}")
        for d in w.drifts:
            console.print(f"  {escape(d.message)}")
        for sentence in advice_of(one, site.site.currency):
            console.print(f"  [green]{escape(sentence)}[/]")
        if any(d.lasting for d in w.drifts) and not one.again:
            console.print("  [dim]No other setting is worth a visit by the log since then; kept as information.[/]")
    quiet = [one for one in looked if not one.watched.drifts]
    if looked:
        spans = {(one.watched.reference_from, one.watched.reference_to) for one in looked}
        (first, to), *others = sorted(spans, key=str)
        told = (
            "six weeks after each room was last set, else of its log" if others else f"{first} to the day before {to}"
        )
        console.print(
            f"\n{len(quiet)} of {len(looked)} rooms have not drifted. Reference: {told}. At most "
            f"{looked[0].watched.false_alarms:g} false alarm a room and year is to be expected, over all that is watched in it."
        )
    for one in looked:
        if one.watched.blind:
            console.print(f"[dim]{escape(one.room_name)}, not watched: {escape('; '.join(one.watched.blind))}.[/]")


def document(site: Site, looked: Sequence[Looked]) -> dict[str, Any]:
    """Return all of it as plain JSON values."""
    return {
        "site": site.site.name,
        "version": __version__,
        "rooms": [
            {
                "room": one.watched.room,
                "reference": {"from": _day(one.watched.reference_from), "to": _day(one.watched.reference_to)},
                "until": _day(one.watched.until),
                "false_alarms_per_year": one.watched.false_alarms,
                "watched": list(one.watched.statistics),
                "not_watched": list(one.watched.blind),
                "drifts": [
                    {k: _day(v) if hasattr(v, "isoformat") else v for k, v in vars(d).items()}
                    for d in one.watched.drifts
                ],
                "worth_another_look": bool(one.again),
                "advice": advice_of(one, site.site.currency),
            }
            for one in looked
        ],
    }


def _day(value: Any) -> str | None:
    return None if value is None else value.isoformat()

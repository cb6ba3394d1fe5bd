"""Channels and buildings of an estate by what tuning is worth."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import polars as pl

from tuning.export import safe_in_spreadsheets
from tuning.results import Analysis, ChannelResult, PerWeek

Row = dict[str, Any]
TEXTS = (
    "building",
    "site",
    "room",
    "room_name",
    "channel",
    "use",
    "decision",
    "currency",
    "current_mode",
    "recommended_mode",
    "findings",
)


def ranked_rows(building: str, analysis: Analysis) -> list[Row]:
    """One row a channel: where it is, what to set, and what that is worth a week."""
    return [_row(building, analysis, c) for c in analysis.channels]


def _row(building: str, analysis: Analysis, c: ChannelResult) -> Row:
    def rate(rates: PerWeek | None, name: str) -> float | None:
        return None if rates is None else round(getattr(rates, name), 3)

    now, then = c.current_rates, c.recommended_rates
    return {
        "building": building,
        "site": analysis.site,
        "room": c.room,
        "room_name": c.room_name,
        "channel": c.channel,
        "use": c.use,
        "decision": c.decision,
        "currency": analysis.currency,
        "worth_per_week": round(c.worth_per_week, 4),
        "current_hold_off_s": c.current.hold_off_s,
        "recommended_hold_off_s": c.recommended.hold_off_s,
        "current_target_lx": c.current.target_lx,
        "recommended_target_lx": c.recommended.target_lx,
        "current_mode": c.current.mode,
        "recommended_mode": c.recommended.mode,
        "false_offs_per_week_current": rate(now, "false_offs"),
        "false_offs_per_week_recommended": rate(then, "false_offs"),
        "wasted_on_h_per_week_current": rate(now, "wasted_on_h"),
        "wasted_on_h_per_week_recommended": rate(then, "wasted_on_h"),
        "energy_kwh_per_week_current": rate(now, "energy_kwh"),
        "energy_kwh_per_week_recommended": rate(then, "energy_kwh"),
        "findings": " ".join(f.code for f in c.findings if f.severity != "info"),
    }


def ranking(rows: Iterable[Row]) -> dict[str, list[Row]]:
    """Rank channels and buildings by what tuning is worth a week, the most first.

    Money of two currencies is not compared: the currency with most channels comes first, and ranks start anew with the next.

    Returns
    -------
    ``currencies``, ``buildings`` and ``channels``.
    """
    held = list(rows)
    by_currency: dict[str, list[Row]] = defaultdict(list)
    for row in held:
        by_currency[row["currency"]].append(row)
    order = sorted(by_currency, key=lambda c: (-len(by_currency[c]), c))
    currencies, buildings, channels = [], [], []
    for currency in order:
        mine = by_currency[currency]
        currencies.append({"currency": currency} | _sums(mine))
        best = sorted(mine, key=lambda r: (-r["worth_per_week"], r["building"], r["room"], r["channel"]))
        channels += [{"rank": i, **row} for i, row in enumerate(best, 1)]
        groups: dict[str, list[Row]] = defaultdict(list)
        for row in mine:
            groups[row["building"]].append(row)
        summed = [{"building": b, "site": g[0]["site"], "currency": currency} | _sums(g) for b, g in groups.items()]
        summed.sort(key=lambda s: (-s["worth_per_week"], s["building"]))
        buildings += [{"rank": i, **row} for i, row in enumerate(summed, 1)]
    return {"currencies": currencies, "buildings": buildings, "channels": channels}


def _sums(rows: list[Row]) -> Row:
    def total(name: str) -> float:
        """Over channels that have both figures, so that a difference means something."""
        pairs = [(r[f"{name}_current"], r[f"{name}_recommended"]) for r in rows]
        return round(sum(now - then for now, then in pairs if now is not None and then is not None), 3)

    decisions = [r["decision"] for r in rows]
    return {
        "channels": len(rows),
        "worth_per_week": round(sum(r["worth_per_week"] for r in rows), 4),
        "energy_saved_kwh_per_week": total("energy_kwh_per_week"),
        "false_offs_saved_per_week": total("false_offs_per_week"),
        "wasted_on_h_saved_per_week": total("wasted_on_h_per_week"),
        "to_change": decisions.count("change"),
        "to_try": decisions.count("trial"),
        "to_mend_first": decisions.count("fix-first"),
        "too_little_log": decisions.count("more-data"),
    }


def write_csv(channels: list[Row], path: Path) -> None:
    """Write the channels in order of their rank; texts that a spreadsheet would run get an apostrophe."""
    if not channels:
        path.unlink(missing_ok=True)
        return
    schema = {name: pl.String if name in TEXTS else pl.Int64 if name == "rank" else pl.Float64 for name in channels[0]}
    part = path.with_name(f".{path.name}.part")
    safe_in_spreadsheets(pl.DataFrame(channels, schema=schema, strict=False)).write_csv(part)
    part.replace(path)

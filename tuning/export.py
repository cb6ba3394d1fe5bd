"""Analysis → files that other programs read: JSON and CSV as the contract says, Parquet for events."""

from __future__ import annotations

import datetime as dt
import json
import math
from pathlib import Path
from typing import Any

import polars as pl

from tuning.logs.own import MARK
from tuning.results import Analysis, ChannelResult, LightResult, ModeAdvice, PerWeek, Settings
from tuning.schemas import EPISODES, SWITCH_OFFS


def _number(value: float | None, digits: int = 3) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits)


def _time(when: dt.datetime | None) -> str | None:
    return None if when is None else when.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")


def _settings(s: Settings) -> dict[str, Any]:
    hold = _number(s.hold_off_s)
    whole = int(hold) if hold is not None and hold == int(hold) else hold
    return {"hold_off_s": whole, "target_lx": _number(s.target_lx), "mode": s.mode}


def _rates(r: PerWeek | None) -> dict[str, Any] | None:
    if r is None:
        return None
    return {
        "false_offs": _number(r.false_offs),
        "wasted_on_h": _number(r.wasted_on_h),
        "energy_kwh": _number(r.energy_kwh),
        "cost": _number(r.cost),
    }


def _mode(m: ModeAdvice | None) -> dict[str, Any] | None:
    if m is None:
        return None
    return {
        "recommended": m.recommended,
        "fits": m.fits,
        "allowed": m.allowed,
        "switch_ons": _number(m.switch_ons, 2),
        "unneeded": _number(m.unneeded, 2),
        "passers": _number(m.passers, 2),
        "moments": _number(m.moments, 2),
        "bright": _number(m.bright, 2),
        "presses": _number(m.presses, 2),
        "presses_interval": [_number(x, 2) for x in m.presses_interval],
        "presses_cost": _number(m.presses_cost, 4),
        "saved_kwh": _number(m.saved_kwh, 4),
        "saved_kwh_interval": [_number(x, 4) for x in m.saved_kwh_interval],
        "worth": _number(m.worth, 4),
        "worth_interval": [_number(x, 4) for x in m.worth_interval],
    }


def channel_document(c: ChannelResult) -> dict[str, Any]:
    """Return one channel as the contract's JSON object."""
    return {
        "room": c.room,
        "channel": c.channel,
        "span": {
            "start": _time(c.start),
            "end": _time(c.end),
            "days": _number(c.days, 2),
            "usable_days": _number(c.usable_days, 2),
        },
        "current": _settings(c.current),
        "observed": {
            "hold_off_s": _number(c.observed_hold_off_s, 1),
            "electric_lx_at_full": _number(c.light.electric_lx_at_full, 1),
            "electric_lx_at_full_low": _number(c.light.electric_low, 1),
            "electric_lx_at_full_high": _number(c.light.electric_high, 1),
        },
        "recommended": _settings(c.recommended),
        "decision": c.decision,
        "trial_days": c.trial_days,
        "reasons": list(c.reasons),
        "per_week": {"current": _rates(c.current_rates), "recommended": _rates(c.recommended_rates)},
        "delay_curve": [
            {
                "hold_off_s": int(p.hold_off_s) if p.hold_off_s == int(p.hold_off_s) else p.hold_off_s,
                "false_offs": _number(p.false_offs, 4),
                "false_offs_low": _number(p.false_offs_low, 4),
                "false_offs_high": _number(p.false_offs_high, 4),
                "switch_offs": _number(p.switch_offs),
                "wasted_on_h": _number(p.wasted_on_h, 4),
                "wasted_on_h_low": _number(p.wasted_on_h_low, 4),
                "wasted_on_h_high": _number(p.wasted_on_h_high, 4),
                "energy_kwh": _number(p.energy_kwh, 4),
                "cost": _number(p.cost, 4),
                "cost_low": _number(p.cost_low, 4),
                "cost_high": _number(p.cost_high, 4),
                "basis": p.basis,
                "allowed": p.allowed,
            }
            for p in c.delay_curve
        ],
        "target_curve": [
            {
                "target_lx": _number(t.target_lx, 1),
                "energy_kwh": _number(t.energy_kwh, 4),
                "under_lit_share": _number(t.under_lit_share, 4),
                "over_lit_share": _number(t.over_lit_share, 4),
            }
            for t in c.light.target_curve
        ],
        "mode": _mode(c.mode),
        "light": light_document(c.light),
        "sensitivity": {
            "by_false_off_cost": [{"cost": _number(x), "hold_off_s": h} for x, h in c.sensitivity.by_false_off_cost],
            "by_reaction_window": [{"window_s": _number(x), "hold_off_s": h} for x, h in c.sensitivity.by_window_s],
            "by_price": [{"price": _number(x), "hold_off_s": h} for x, h in c.sensitivity.by_price],
            "flips_at_cost": [_number(x) for x in c.sensitivity.flips_at_cost],
            "break_even_s": _number(c.sensitivity.break_even_s, 0),
        },
        "findings": [
            {"code": f.code, "severity": f.severity, "message": f.message, "evidence": f.evidence} for f in c.findings
        ],
    }


def light_document(light: LightResult) -> dict[str, Any]:
    """Return what is known of a channel's light, beside the contract's target curve."""
    wanted, months = light.wanted, light.months
    return {
        "required_lx": _number(light.required_lx, 1),
        "calibrated": light.calibrated,
        "task_per_daylight": _number(light.task_per_daylight),
        "task_per_electric": _number(light.task_per_electric),
        "enough_target_lx": _number(light.recommended_target_lx, 1),
        "enough_target_lx_low": _number(light.target_low_lx, 1),
        "enough_target_lx_high": _number(light.target_high_lx, 1),
        "from_neighbours_lx": {name: _number(lx, 1) for name, lx in light.neighbours.items()},
        "yearly_kwh": _number(light.yearly_kwh, 1),
        "months": []
        if months is None
        else [{k: _number(v, 4) if isinstance(v, float) else v for k, v in row.items()} for row in months.to_dicts()],
        "people_chose": None
        if wanted is None
        else {"ups": wanted.ups, "downs": wanted.downs, "task_lx": _number(wanted.task_lx, 1)},
    }


def document(analysis: Analysis) -> dict[str, Any]:
    """Return the whole analysis as the contract's JSON document."""
    return {
        "site": analysis.site,
        "generated": _time(analysis.generated),
        "version": analysis.version,
        "currency": analysis.currency,
        "channels": [channel_document(c) for c in analysis.channels],
        "findings": [
            {"code": f.code, "severity": f.severity, "message": f.message, "evidence": f.evidence}
            for f in analysis.findings
        ],
    }


def write_json(analysis: Analysis, path: Path) -> None:
    """Write the contract's JSON."""
    write_document(document(analysis), path)


def write_document(content: dict[str, Any], path: Path) -> None:
    """Write a JSON document."""
    path.write_text(json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8")


def settings_table(analysis: Analysis) -> pl.DataFrame:
    """One row per channel: old and new settings, decision, rates and the first reason."""
    rows = [
        {
            "room": c.room,
            "room_name": c.room_name,
            "channel": c.channel,
            "decision": c.decision,
            "current_hold_off_s": c.current.hold_off_s,
            "recommended_hold_off_s": c.recommended.hold_off_s,
            "current_target_lx": c.current.target_lx,
            "recommended_target_lx": c.recommended.target_lx,
            "current_mode": c.current.mode,
            "recommended_mode": c.recommended.mode,
            "false_offs_per_week_current": _number(c.current_rates.false_offs) if c.current_rates else None,
            "false_offs_per_week_recommended": _number(c.recommended_rates.false_offs) if c.recommended_rates else None,
            "wasted_on_h_per_week_current": _number(c.current_rates.wasted_on_h) if c.current_rates else None,
            "wasted_on_h_per_week_recommended": _number(c.recommended_rates.wasted_on_h)
            if c.recommended_rates
            else None,
            "energy_kwh_per_week_current": _number(c.current_rates.energy_kwh) if c.current_rates else None,
            "energy_kwh_per_week_recommended": _number(c.recommended_rates.energy_kwh) if c.recommended_rates else None,
            "cost_per_week_current": _number(c.current_rates.cost) if c.current_rates else None,
            "cost_per_week_recommended": _number(c.recommended_rates.cost) if c.recommended_rates else None,
            "findings": " ".join(f.code for f in c.findings),
            "reason": " ".join(c.reasons),
        }
        for c in analysis.channels
    ]
    return pl.DataFrame(rows, infer_schema_length=None)


FORMULA = r"^[\s\x00]*[=+\-@＝＋－＠]|^[\t\r\n]"
"""What spreadsheets take for a formula, also behind blanks and in full width (as OWASP lists it for CSV injection)."""
PLAIN_NUMBER = r"^[+-]?\d+([.,]\d+)?([eE][+-]?\d+)?$"


def safe_in_spreadsheets(table: pl.DataFrame) -> pl.DataFrame:
    """Put an apostrophe before every text that a spreadsheet would run as a formula; a plain number stays one."""
    texts = [name for name, kind in table.schema.items() if kind == pl.String]
    return table.with_columns(
        pl.when(pl.col(name).str.contains(FORMULA) & ~pl.col(name).str.contains(PLAIN_NUMBER))
        .then("'" + pl.col(name))
        .otherwise(pl.col(name))
        .alias(name)
        for name in texts
    )


def write_csv(analysis: Analysis, path: Path) -> None:
    """Write the settings table. A text that a spreadsheet would run as a formula gets a leading apostrophe."""
    safe_in_spreadsheets(settings_table(analysis)).write_csv(path)


def write_events(analysis: Analysis, folder: Path) -> tuple[Path, Path]:
    """Write ``episodes.parquet`` and ``switch_offs.parquet``."""
    folder.mkdir(parents=True, exist_ok=True)
    stays = [c.episodes for c in analysis.channels if c.episodes is not None]
    offs = [c.switch_offs for c in analysis.channels if c.switch_offs is not None]
    episodes_path, offs_path = folder / "episodes.parquet", folder / "switch_offs.parquet"
    (pl.concat(stays) if stays else EPISODES.to_frame()).write_parquet(episodes_path, metadata={MARK: "episodes"})
    (pl.concat(offs).sort("time") if offs else SWITCH_OFFS.to_frame()).write_parquet(
        offs_path, metadata={MARK: "switch_offs"}
    )
    return episodes_path, offs_path

"""A verification as the JSON document that other programs read; the README describes it."""

from __future__ import annotations

import datetime as dt
import math
from typing import Any

from tuning.results import Settings
from tuning.verification.compare import precision_of
from tuning.verification.method import METHOD
from tuning.verification.results import QUANTITIES, Compared, Estimate, SetCheck, Verification, Verified, cannot_tell


def _number(value: float | None, digits: int = 4) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), digits)


def _time(when: dt.datetime | None) -> str | None:
    return None if when is None else when.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")


def _settings(s: Settings) -> dict[str, Any]:
    return {"hold_off_s": _number(s.hold_off_s, 1), "target_lx": _number(s.target_lx, 1), "mode": s.mode}


def _estimate(e: Estimate | None) -> dict[str, float | None] | None:
    return None if e is None else {"value": _number(e.value), "low": _number(e.low), "high": _number(e.high)}


def _compared(c: Compared) -> dict[str, Any]:
    precision = precision_of(c.change)
    return {
        "before": _estimate(c.before),
        "after": _estimate(c.after),
        "change": _estimate(c.change),
        "predicted": _estimate(c.predicted),
        "predicted_change": _estimate(c.predicted_change),
        "prediction_held": c.held,
        "change_by_controls": _estimate(c.by_controls),
        "as_logged": {"before": _number(c.logged_before), "after": _number(c.logged_after)},
        "precision_at_90": _number(precision.at_90, 3),
        "exceeds_two_standard_errors": precision.over_two_errors,
        "uncertainty_below_half_at_68": precision.under_half_at_68,
    }


def _check(c: SetCheck) -> dict[str, Any]:
    return {
        "status": c.status,
        "other_settings": list(c.other_settings),
        "message": c.message,
        "observed_hold_off_s": _number(c.observed_s, 1),
        "since": _time(c.since),
        "until": _time(c.until),
        "switch_offs": c.switch_offs,
        "resolution_s": _number(c.resolution_s, 1),
        "agrees_from_s": _number(c.agrees_from_s, 1),
        "agrees_to_s": _number(c.agrees_to_s, 1),
        "to_do": c.to_do,
        "target": c.target,
        "mode": c.mode,
    }


def change_document(v: Verified) -> dict[str, Any]:
    """Return one change as a JSON object."""
    return {
        "room": v.room,
        "room_name": v.room_name,
        "channel": v.channel,
        "set_at": _time(v.set_at),
        "was": _settings(v.was),
        "said": _settings(v.said),
        "days": {"before": _number(v.before_days, 2), "after": _number(v.after_days, 2)},
        "really_set": {"as_said": v.really_set, **_check(v.set_check)},
        "verdict": v.verdict,
        "more_days": v.more_days,
        "reasons": list(v.reasons),
        "per_week": {name: _compared(v.quantities[name]) for name in QUANTITIES if name in v.quantities},
        "controls": {"channels": list(v.controls), "none_because": v.no_controls},
        "conditions": None
        if v.conditions is None
        else {
            "presence_h_before": _number(v.conditions.presence_before_h, 2),
            "presence_h_after": _number(v.conditions.presence_after_h, 2),
            "daylight_lx_before": _number(v.conditions.daylight_before_lx, 1),
            "daylight_lx_after": _number(v.conditions.daylight_after_lx, 1),
        },
        "replay": None
        if v.replay is None
        else {"nmbe": _number(v.replay.nmbe), "cv_rmse": _number(v.replay.cv_rmse), "days": v.replay.days},
        "ipmvp_option": v.option,
        "findings": [
            {"code": f.code, "severity": f.severity, "message": f.message, "evidence": f.evidence} for f in v.findings
        ],
    }


def document(v: Verification) -> dict[str, Any]:
    """Return the whole verification as a JSON document."""
    return {
        "site": v.site,
        "generated": _time(v.generated),
        "version": v.version,
        "currency": v.currency,
        "confidence": 0.90,
        "changes": [change_document(c) for c in v.changes],
        "not_set": [
            {"room": c.room, "channel": c.channel, "status": c.set_check.status, "message": _why(c)}
            for c in v.changes
            if c.really_set is False
        ],
        "cannot_tell": [
            {"room": c.room, "channel": c.channel, "message": c.set_check.message, "to_do": c.set_check.to_do}
            for c in cannot_tell(v.changes)
        ],
        "left_alone": list(v.untouched),
        "method": list(METHOD),
    }


def _why(c: Verified) -> str:
    parts = [] if c.set_check.status in ("as-said", "cannot-tell") else [c.set_check.message]
    parts += [f"{what} {getattr(c.set_check, what)}." for what in c.set_check.other_settings]
    return " ".join(parts)

"""Starting settings as JSON for other programs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from tuning.results import Settings
from tuning.starting.expect import Expected
from tuning.starting.settings import StartingSettings


def starting_document(starts: Iterable[StartingSettings]) -> list[dict[str, Any]]:
    """Return starting settings as plain JSON; rates are per week, ``_low`` and ``_high`` bound a 90 % range for such a room."""
    return [
        {
            "room": s.room,
            "channel": s.channel,
            "use": s.use,
            "documented": _settings(s.now),
            "starting": _settings(s.settings),
            "per_week": _rates("false_offs", s.false_offs)
            | _rates("wasted_on_h", s.wasted_on_h)
            | _rates("energy_kwh", s.energy_kwh),
            "own_channels": s.own_rooms,
            "weight_of_own_channels": round(s.weight, 3),
            "days_of_log_needed": s.days_needed,
            "source": s.source,
            "reasons": list(s.reasons),
        }
        for s in starts
    ]


def _settings(s: Settings) -> dict[str, Any]:
    return {"hold_off_s": s.hold_off_s, "target_lx": s.target_lx, "mode": s.mode}


def _rates(name: str, e: Expected | None) -> dict[str, float | None]:
    parts = (None, None, None) if e is None else (e.middle, e.low, e.high)
    return {
        f"{name}{end}": None if v is None else round(v, 3) for end, v in zip(("", "_low", "_high"), parts, strict=True)
    }

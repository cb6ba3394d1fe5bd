"""Results → the plain data that the browser draws the list of rooms from. It sorts, filters and sums there, at once and without asking."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from dashboard import ids, words
from dashboard.components.marks import SCALE_S
from dashboard.pages.building.ranking import RoomRow, answered, rooms
from dashboard.reader import language, said
from dashboard.workspace.acknowledging import RoomStanding
from tuning.results import Analysis, ChannelResult

Decided = Mapping[tuple[str, str], dict[str, Any]]
"""Of a channel ``revision``, and ``stand``: ``kind``, ``text`` and ``title``; see :mod:`dashboard.pages.building.decisions`."""

DECIDED_WORD = {
    "": "Undecided",
    "accept": "Accepted",
    "adjust": "Adjusted",
    "reject": "Rejected",
    "starting": "Starting",
}

DRIFT_WORD = {"look": "Changed: look again", "site": "Changed: look on site", "note": "Changed"}


def table_data(
    analysis: Analysis,
    building: str,
    decided: Decided | None = None,
    *,
    can_decide: bool = False,
    drifted: Mapping[str, RoomStanding] | None = None,
) -> dict[str, Any]:
    """Return all rooms with their channels, worth most first.

    Parameters
    ----------
    analysis
        Of the building.
    building
        As the address names it.
    decided
        What stands for each channel.
    can_decide
        Whether selected rooms may be decided about.
    drifted
        What has drifted, by room; ``None`` where nothing is watched.

    Returns
    -------
    Plain JSON values; numbers as numbers, names as they are (the browser sets them as text, never as markup).
    """
    stands = decided or {}
    return {
        "language": language(),
        "currency": analysis.currency,
        "scale": list(SCALE_S),
        "decisions": [[key, word, words.DECISION_MEANING[key]] for key, word in words.DECISION_WORD.items()],
        "decided": [list(pair) for pair in DECIDED_WORD.items()],
        "canDecide": can_decide,
        "watched": drifted is not None,
        "rooms": [_room(row, building, stands, (drifted or {}).get(row.room)) for row in rooms(analysis)],
    }


def _room(row: RoomRow, building: str, stands: Decided, drift: RoomStanding | None) -> dict[str, Any]:
    return {
        "room": row.room,
        "name": row.name,
        "use": row.use,
        "drift": _drift(drift),
        "channels": [_channel(c, building, stands.get((c.room, c.channel))) for c in row.channels],
    }


def _drift(drift: RoomStanding | None) -> dict[str, str] | None:
    """What the list shows of a room that has changed: kind, word, and the whole as a title."""
    if drift is None or not drift.counting:
        return None
    title = " ".join([*(d.message for d in drift.counting), *drift.found.advice])
    return {"level": drift.level, "text": DRIFT_WORD[drift.level], "title": title}


def _channel(c: ChannelResult, building: str, stands: dict[str, Any] | None) -> dict[str, Any]:
    now, new = c.current_rates, c.recommended_rates
    counts = now is not None and new is not None and c.decision in ("change", "trial")
    point = next((p for p in c.delay_curve if p.hold_off_s == c.recommended.hold_off_s), None)
    return {
        "channel": c.channel,
        "href": ids.room_href(c.room, c.channel, building=building),
        "control": c.control,
        "decision": c.decision,
        "hold": [c.current.hold_off_s, c.recommended.hold_off_s],
        "target": None if c.control == "relay" else [c.current.target_lx, c.recommended.target_lx],
        "mode": [c.current.mode, c.recommended.mode],
        **{
            key: [_short(getattr(r, field)) if r is not None else None for r in (now, new)]
            for key, field in (("false", "false_offs"), ("waste", "wasted_on_h"), ("kwh", "energy_kwh"))
        },
        "worth": _short(c.worth_per_week) if counts else None,
        "range": None if c.sure is None or not counts else _range(c),
        "sure": None if c.sure is None or not counts else round(c.sure.p_better, 3),
        "beyond": point is not None and point.basis != "observed",
        "days": round(c.usable_days, 1),
        "findings": [[words.code(f), f.severity, said(f.message)] for f in c.findings if f.severity != "info"],
        "attention": any(f.severity != "info" and not answered(c, f) for f in c.findings),
        "decided": stands["stand"] if stands else None,
        "revision": stands["revision"] if stands else 0,
    }


def _range(c: ChannelResult) -> list[float | None]:
    """90 % interval of what the recommendation saves; the target's part is taken as sure."""
    assert c.sure is not None
    return [_short(v + c.target_saving) for v in (c.sure.saving_low, c.sure.saving_high)]


def _short(value: float) -> float | None:
    """Four significant digits: the list shows no more, and every room is sent."""
    return float(f"{value:.4g}") if math.isfinite(value) else None

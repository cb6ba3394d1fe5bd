"""What was set on site, as ``settings_history`` of the building's facts."""

from __future__ import annotations

import copy
from typing import Any

from dashboard.workspace import documents

KEYS = ("hold_off_s", "target_lx", "mode")


def with_visits(document: documents.Document, visits: list[dict[str, Any]]) -> documents.Document:
    """Return the facts with what was set on site in ``settings_history``.

    The channel's own keys say what was in force before the first visit, as it was when that was decided: somebody may have put the new settings
    there since. Channels that are no more are left out.
    """
    if not visits:
        return document
    made = copy.deepcopy(document)
    begun: set[tuple[str, str]] = set()
    for visit in sorted(visits, key=lambda v: v["set_at"]):
        place = (visit["room"], visit["channel"])
        channel = documents.get(made, ("rooms", place[0], "channels", place[1]))
        if not isinstance(channel, dict):
            continue
        if place not in begun:
            begun.add(place)
            channel.update({k: visit["was"][k] for k in KEYS if visit["was"].get(k) is not None})
        new = {k: visit["settings"][k] for k in KEYS if visit["settings"].get(k) is not None}
        channel.setdefault("settings_history", []).append({"from": visit["set_at"], **new})
    return made

"""What has drifted in each room since it was last set, kept with each analysis."""

from __future__ import annotations

import functools
import json
from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dashboard.workspace import documents, saved
from dashboard.workspace.history import with_visits
from dashboard.workspace.inputs import Inputs
from tuning.logs import Logs
from tuning.pipeline import daily_of_room
from tuning.quality import Outage
from tuning.results import Analysis
from tuning.watching import Watched, watch_room
from tuning.watching.look import look_again
from tuning.watching.reference import ReferenceDays, reference_days
from tuning.watching.shown import in_sentences

FILE = "watching.json"


@dataclass(frozen=True)
class RoomDrift:
    """What is watched in a room and what has drifted.

    Attributes
    ----------
    days
        What it is held against.
    advice
        A sentence for each channel for which another setting pays for a visit, by the log since the change alone; empty where none does.
    worth_per_week
        What these are worth together, in the site's currency.
    """

    watched: Watched
    days: ReferenceDays
    advice: tuple[str, ...]
    worth_per_week: float


Found = dict[str, RoomDrift]
"""By room; only rooms of which there is a log."""


def made(
    inputs: Inputs,
    logs: Logs,
    outages: tuple[Outage, ...],
    analysis: Analysis,
    *,
    last: Path | None,
    unchanged: Collection[str],
    progress: Callable[[float, str], None],
) -> Found:
    """Look for drift in every room.

    Parameters
    ----------
    analysis
        Of the same inputs; the days of channels that were analysed just now are taken from it.
    last
        Folder of the analysis before.
    unchanged
        Rooms that were taken over from it: what was found in them is, too, if they are held against the same days.
    """
    site = documents.site_of(with_visits(inputs["document"], inputs.get("visits", [])))
    if logs.start is None:
        return {}
    log_from = logs.start.astimezone(site.zone).date()
    before = {} if last is None else read(last) or {}
    rooms = [name for name, room in site.rooms.items() if room.channels]
    found: Found = {}
    for number, name in enumerate(rooms):
        progress(number / len(rooms), f"watching {site.rooms[name].name or name}")
        days = reference_days(site.rooms[name], site.zone, log_from=log_from)
        kept = before.get(name)
        if name in unchanged and kept is not None and kept.days == days:
            found[name] = kept
            continue
        mine = [c for c in analysis.channels if c.room == name]
        daily = {c.channel: c.daily for c in mine if c.daily is not None}
        if len(daily) < len(mine):
            daily = daily_of_room(site, logs, name, outages=outages)
        watched = watch_room(name, days.of(daily), reference_to=days.to)
        if watched.until is None:
            continue
        again = look_again(site, logs, watched)
        found[name] = RoomDrift(
            watched, days, tuple(in_sentences(again, site.site.currency)), sum(c.worth_per_week for c in again)
        )
    return found


def write(found: Found, folder: Path) -> None:
    """Write what was found beside the analysis it belongs to."""
    content = {room: saved.encoded(drift) for room, drift in found.items()}
    (folder / FILE).write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")


@functools.lru_cache(maxsize=64)
def read(folder: Path) -> Found | None:
    """Read what was found with an analysis; what is kept never changes. ``None`` where it is from before rooms were watched."""
    path = folder / FILE
    if not path.is_file():
        return None
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return {room: saved.decoded(entry, RoomDrift) for room, entry in content.items()}

"""A building folder → what has drifted in each room, and which rooms are worth another look."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from tuning.errors import FolderError
from tuning.logs import Logs, read_logs
from tuning.pipeline import Progress, analyse_logs, daily_of_room
from tuning.quality import find_outages
from tuning.results import ChannelResult
from tuning.site import Site, read_site
from tuning.watching.reference import ReferenceDays, reference_days
from tuning.watching.room import FALSE_ALARMS, Watched, watch_room


@dataclass(frozen=True)
class Looked:
    """A room with its drift, and what the library advises by the log since then alone.

    ``again`` holds the channels for which another setting is worth a visit now; empty where none is, or where too little log has come since.
    """

    watched: Watched
    room_name: str
    again: tuple[ChannelResult, ...]


def watch_folder(
    folder: Path,
    *,
    since: dt.date | None = None,
    false_alarms: float = FALSE_ALARMS,
    progress: Progress | None = None,
) -> tuple[Site, tuple[Looked, ...]]:
    """Look for drift in all rooms of a building folder.

    Parameters
    ----------
    folder
        With ``site.toml`` and the logs, the reference days and those after.
    since
        First day that is no reference day, for all rooms; all before are. Where ``None``, each room has its own: see
        :func:`~tuning.watching.reference.reference_days`.
    false_alarms
        A room and year that are put up with.
    progress
        Called as the work goes on.

    Raises
    ------
    TuningError
        If the folder, its ``site.toml`` or a log has a problem, or no day lies on either side of ``since``.
    """
    say = progress or (lambda _share, _what: None)
    site = read_site(folder)
    logs = read_logs(folder, site, progress=lambda share, what: say(0.5 * share, what))
    if logs.start is None or logs.end is None:
        raise FolderError(folder, "the logs hold no reading", "Check the mapping in site.toml")
    first, last = (t.astimezone(site.zone).date() for t in (logs.start, logs.end))
    rooms = {name: room for name, room in site.rooms.items() if room.channels}
    of_room = {
        name: reference_days(room, site.zone, log_from=first) if since is None else ReferenceDays(first, since)
        for name, room in rooms.items()
    }
    reference_to = min((r.to for r in of_room.values()), default=first)
    if not first < reference_to <= last:
        raise FolderError(
            folder,
            f"the log runs from {first} to {last}, and the reference days end before {reference_to}",
            "Watching needs days on either side: add newer logs, or give another day with --since",
        )
    outages = find_outages(logs)
    found = []
    for number, (name, days) in enumerate(of_room.items()):
        say(0.5 + 0.5 * number / len(rooms), f"watching {site.rooms[name].name or name}")
        daily = days.of(daily_of_room(site, logs, name, outages=outages))
        watched = watch_room(name, daily, reference_to=days.to, false_alarms=false_alarms)
        found.append(Looked(watched, site.rooms[name].name or name, look_again(site, logs, watched)))
    say(1.0, "done")
    return site, tuple(found)


def look_again(site: Site, logs: Logs, watched: Watched) -> tuple[ChannelResult, ...]:
    """Channels of a drifted room for which another setting pays for the visit, by the log since the change alone.

    The library's own decision says so: likely to be better in nine of ten resampled logs, and by more than the price of a visit.
    """
    lasting = [d for d in watched.drifts if d.lasting]
    if not lasting:
        return ()
    # From the latest change on all is as it is now; its interval's end leaves no day of before in.
    from_day = max(d.since_high for d in lasting)
    new = logs.since(dt.datetime.combine(from_day, dt.time(), tzinfo=site.zone))
    if new.start is None:
        return ()
    channels = analyse_logs(site, new, rooms=[watched.room]).channels
    return tuple(c for c in channels if c.decision in ("change", "trial") and c.worth_per_week > 0)

"""What was changed and when, and the stretches of the log before and after."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from tuning.motion import US
from tuning.results import Settings
from tuning.site import Channel, Site

DAY_US = 86_400 * US


@dataclass(frozen=True)
class Change:
    """One change of a channel's settings.

    ``before_us`` and ``after_us`` are the stretches of log to compare, begin and end. Where only the date is known, that day belongs to
    neither: nobody knows at what hour the new settings came into force. [µs, UTC epoch]
    """

    room: str
    channel: str
    set_at: dt.datetime
    was: Settings
    said: Settings
    before_us: tuple[int, int]
    after_us: tuple[int, int]


def _us(when: dt.datetime) -> int:
    return round(when.timestamp()) * US


def changes_of(site: Site, span_us: tuple[int, int]) -> list[Change]:
    """Changes that ``settings_history`` documents, as far as the log reaches over them, in the order of the rooms.

    Parameters
    ----------
    site
        The building.
    span_us
        First and last time of the log. [µs, UTC epoch]
    """
    found = []
    for room_id, room in site.rooms.items():
        for name, channel in room.channels.items():
            found += _of_channel(site, room_id, name, channel, span_us)
    return found


def _of_channel(site: Site, room: str, name: str, channel: Channel, span_us: tuple[int, int]) -> list[Change]:
    history = sorted(channel.settings_history, key=lambda c: site.local_to_utc(c.from_))
    now = Settings(channel.hold_off_s, channel.target_lx, channel.mode)
    steps: list[tuple[int, int, dt.datetime, Settings, Settings]] = []
    for entry in history:
        set_at = site.local_to_utc(entry.from_)
        new = Settings(
            entry.hold_off_s if entry.hold_off_s is not None else now.hold_off_s,
            entry.target_lx if entry.target_lx is not None else now.target_lx,
            entry.mode or now.mode,
        )
        whole_day = not isinstance(entry.from_, dt.datetime)
        after = site.local_to_utc(entry.from_ + dt.timedelta(days=1)) if whole_day else set_at
        if new != now:
            steps.append((_us(set_at), _us(after), set_at, now, new))
        now = new
    found = []
    for i, (until, since, set_at, was, said) in enumerate(steps):
        begin = steps[i - 1][1] if i else span_us[0]
        end = steps[i + 1][0] if i + 1 < len(steps) else span_us[1]
        if until >= span_us[1] or since <= span_us[0]:
            # Beyond the log: nothing to compare yet, or nothing to compare with.
            continue
        before, after_us = (max(begin, span_us[0]), until), (min(since, span_us[1]), min(end, span_us[1]))
        found.append(Change(room, name, set_at, was, said, before, after_us))
    return found

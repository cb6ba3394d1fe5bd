"""Rooms without a log → the settings to start with, what to expect of them, and when to come back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from tuning.decision import allowed_candidates
from tuning.motion import Floats
from tuning.results import ChannelResult, Settings
from tuning.site import Channel, Room, Site
from tuning.starting.beliefs import EstateBeliefs, Taught
from tuning.starting.expect import LEAST, Expected, absences_a_week, believed
from tuning.starting.field import study_of
from tuning.starting.pool import ENOUGH_ROOMS, Pooled, own_room, pool, telling
from tuning.wording import duration, often

LONGEST_S = 1200.0
"""Where the building gives no code limit, nothing longer is started with: IECC C405.2.1.1 asks for off within 20 min of all people leaving (code
text seen, transcribed); other codes allow 30 min. [s]"""
ABSENCES_NEEDED = 30
"""Absences that a log should hold, so that leaving is told from keeping still. Chosen by us."""
LEAST_DAYS, MOST_DAYS = 14, 42
"""Two of each weekday at least; more than six weeks are not waited for. Chosen by us."""
Z = 1.6449


@dataclass(frozen=True)
class StartingSettings:
    """Where to start with one channel.

    Attributes
    ----------
    settings, now
        What to set, and what ``site.toml`` documents.
    false_offs, wasted_on_h, energy_kwh
        What to expect a week; the energy only where the load is known.
    own_rooms, weight
        How many own channels of the use stand behind it, and how much they weigh in the false-offs against the belief, 0…1.
    days_needed
        How many days of log there should be before somebody comes back.
    source
        Field data and beliefs that it rests on, and how sure they are.
    reasons
        All of it in sentences.
    """

    room: str
    channel: str
    room_name: str
    use: str
    control: str
    settings: Settings
    now: Settings
    false_offs: Expected
    wasted_on_h: Expected
    energy_kwh: Expected | None
    own_rooms: int
    weight: float
    days_needed: int
    source: str
    reasons: tuple[str, ...]


def starting_settings(
    site: Site,
    analysed: Iterable[ChannelResult],
    *,
    own: Iterable[ChannelResult] = (),
    beliefs: EstateBeliefs | None = None,
) -> tuple[StartingSettings, ...]:
    """Advise where to start with every channel that has no log of movement.

    Parameters
    ----------
    site
        The building.
    analysed
        Its channels as analysed; those with a log need no starting point, and teach.
    own
        Analysed channels of other buildings, which teach as well.
    beliefs
        What an estate has taught, in place of the program's beliefs. Where this building was part of that estate, its own channels are in
        there and do not count twice.
    """
    here = list(analysed)
    logged = {(c.room, c.channel) for c in here if c.start is not None}
    teachers = [c for c in [*here, *own] if c.start is not None]
    return tuple(
        _start(site, name, channel, teachers, beliefs)
        for name, room in site.rooms.items()
        for channel in room.channels
        if (name, channel) not in logged
    )


def _start(
    site: Site, name: str, channel_name: str, teachers: list[ChannelResult], beliefs: EstateBeliefs | None
) -> StartingSettings:
    room = site.rooms[name]
    channel = room.channels[channel_name]
    hold = np.array(sorted(channel.allowed_hold_off_s), dtype=float)
    dimmed = channel.control == "dimmed"
    taught = beliefs.of(room.use, hold, dimmed=dimmed) if beliefs else None
    counted_before = taught is not None and beliefs is not None and site.site.name in beliefs.sites
    mine = [] if counted_before else telling(teachers, room.use)
    known = [own_room(c, hold) for c in mine]
    if taught is None:
        belief = believed(room.use, hold, dimmed=dimmed)
        pooled = {q: pool(belief[q], known, q) for q in belief}
    else:
        pooled = {q: _after(taught, pool(mean, known, q, taught.spread[q]), q) for q, mean in taught.mean.items()}
    index = _cheapest(site, room, channel, hold, pooled)
    now = Settings(channel.hold_off_s, channel.target_lx, channel.mode)
    new = now if index is None else Settings(float(hold[index]), _target(room, channel), channel.mode)
    at = len(hold) - 1 if index is None else index
    false_offs, wasted = (_expected(pooled[q], at, q) for q in ("false_offs", "wasted_on_h"))
    energy = _energy(channel, _expected(pooled["full_load_h"], at, "full_load_h"))
    days = _days(room.use)
    counted = (len(mine) if len(mine) >= ENOUGH_ROOMS else 0) + (taught.channels if taught else 0)
    weight = float(pooled["false_offs"].weight[at])
    return StartingSettings(
        room=name,
        channel=channel_name,
        room_name=room.name or name,
        use=room.use,
        control=channel.control,
        settings=new,
        now=now,
        false_offs=false_offs,
        wasted_on_h=wasted,
        energy_kwh=energy,
        own_rooms=counted,
        weight=weight,
        days_needed=days,
        source=study_of(room.use).source,
        reasons=tuple(_reasons(site, room, channel, new, index, false_offs, wasted, energy, (counted, weight), days)),
    )


def _after(taught: Taught, pooled: Pooled, name: str) -> Pooled:
    """Add the weight of the estate's channels in a belief to that of the building's own."""
    return replace(pooled, weight=1 - (1 - pooled.weight) * (1 - taught.weight[name]))


def limit_s(site: Site) -> float:
    """Longest hold-off to start with: the building's code limit, else :data:`LONGEST_S`. [s]."""
    return site.site.max_hold_off_s or LONGEST_S


def _cheapest(site: Site, room: Room, channel: Channel, hold: Floats, pooled: dict[str, Pooled]) -> int | None:
    """Index of the hold-off with the least expected cost; ``None`` where floor and limit leave none."""
    allowed = allowed_candidates(hold, hold, floor_s=room.beliefs.minimum_hold_off_s, code_limit_s=limit_s(site))
    if not allowed.any():
        return None
    # More hold-off never leaves more people in the dark, and never wastes less.
    false_offs = np.minimum.accumulate(_mean(pooled["false_offs"], "false_offs"))
    wasted = np.maximum.accumulate(_mean(pooled["wasted_on_h"], "wasted_on_h"))
    price = site.site.cost_per_false_off if channel.cost_per_false_off is None else channel.cost_per_false_off
    cost = false_offs * price + wasted * channel.power_w / 1000 * site.site.electricity_price
    ceiling = site.site.max_false_offs_per_week
    if ceiling is not None:
        under = allowed & (false_offs <= ceiling)
        allowed = under if under.any() else allowed & (hold == hold[allowed].max())
    choices = np.flatnonzero(allowed)
    return int(choices[np.argmin(cost[choices])])


def _mean(p: Pooled, name: str) -> Floats:
    """Expectation for another room of the use."""
    return np.maximum(np.exp(p.mean + p.sd**2 / 2) - LEAST[name], 0.0)


def _expected(p: Pooled, index: int, name: str) -> Expected:
    values = np.exp(p.mean[index] + np.array([0.0, -Z, Z]) * p.sd[index]) - LEAST[name]
    middle, low, high = (float(v) for v in np.maximum(values, 0.0))
    # Less than one in the longest log that is waited for cannot be told from never.
    seldom = name == "false_offs" and low * MOST_DAYS / 7 < 1
    return Expected(middle, 0.0 if seldom else low, high)


def _energy(channel: Channel, hours: Expected) -> Expected | None:
    if channel.load_w is None:
        return None
    rest = channel.standby_w / 1000 * max(168 - hours.middle, 0.0)
    kw = channel.load_w / 1000
    return Expected(*(min(h, 168.0) * kw + rest for h in (hours.middle, hours.low, hours.high)))


def _target(room: Room, channel: Channel) -> float | None:
    """Target in the detector's reading: from hand readings after dark where ``site.toml`` has some, else as documented. [lx]."""
    ratio = task_per_detector(channel)
    if channel.control != "dimmed" or ratio is None or room.required_lx is None:
        return channel.target_lx
    need = max(room.required_lx, room.beliefs.minimum_target_lx) / ratio
    enough = [t for t in channel.allowed_target_lx or () if t >= need]
    return min(enough) if enough else float(np.ceil(need / 10) * 10)


def task_per_detector(channel: Channel) -> float | None:
    """Task illuminance per lx at the detector, lamps alone, from readings by hand; ``None`` where there are none."""
    lamps = [s for s in channel.spot_readings if s.output_pct > 0 and s.detector_lx and s.task_lx > 0]
    return sum(s.task_lx for s in lamps) / sum(s.detector_lx or 0.0 for s in lamps) if lamps else None


def _days(use: str) -> int:
    weeks = np.ceil(ABSENCES_NEEDED / absences_a_week(use))
    return int(np.clip(7 * weeks, LEAST_DAYS, MOST_DAYS))


def _reasons(
    site: Site,
    room: Room,
    channel: Channel,
    new: Settings,
    index: int | None,
    false_offs: Expected,
    wasted: Expected,
    energy: Expected | None,
    own: tuple[int, float],
    days: int,
) -> list[str]:
    floor_s = room.beliefs.minimum_hold_off_s
    told = ["A starting point, not a measurement: this channel has no log of movement yet."]
    if index is None:
        told.append(
            f"No setting of allowed_hold_off_s lies between the safety floor of the use ({duration(floor_s)}) and the limit of "
            f"{duration(limit_s(site))}, so nothing can be advised. Widen the list in site.toml."
        )
    study = study_of(room.use)
    told.append(
        f"Light for nobody after field data on {study.kind}s, false-offs after our belief about how long people keep still in such a room: no "
        "publication tabulates them by delay."
    )
    count, weight = own
    if count:
        told.append(
            f"{count} own channels of the use {room.use!r} weigh {weight:.0%} in it, the belief {1 - weight:.0%}.".replace(
                "%", " %"
            )
        )
    else:
        told.append(
            f"Own rooms of the use {room.use!r} count from {ENOUGH_ROOMS} channels with a week of log on; there are fewer."
        )
    told.append(
        f"Expect about {_range(false_offs)} false-offs and {_range(wasted)} h of light for nobody a week"
        + ("; load_w is not given, so no energy." if energy is None else f", and {_range(energy)} kWh.")
        + " In brackets the range that nine of ten such rooms lie in."
    )
    if new.hold_off_s is not None and index is not None:
        told.append(
            f"While {duration(new.hold_off_s)} is in force, the log shows what every shorter hold-off would have done. Come back when there "
            f"are {days} days of log."
        )
        if site.site.max_hold_off_s is None and new.hold_off_s >= LONGEST_S:
            told.append(
                "Nothing longer than 20 min is started with, because codes ask for off within 20 min of people leaving; say max_hold_off_s "
                "where yours differs."
            )
    if channel.control == "dimmed" and new.target_lx == channel.target_lx:
        told.append(
            "Target: after dark, with the lamps alone, set it so that a luxmeter at the task shows "
            f"{room.required_lx or room.beliefs.minimum_target_lx:.0f} lx, and note both readings."
        )
    return told


def _range(e: Expected) -> str:
    """Write middle and range without false digits."""
    return f"{often(e.middle)} ({often(e.low)} to {often(e.high)})"

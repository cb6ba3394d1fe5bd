"""An analysis and what ``site.toml`` says → the report for the owner: a year as now and a year as advised, room by room and in sum."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tuning.en15193 import leni, operating_hours, table_occupancy_factor
from tuning.gaps import Bools
from tuning.owner.occupancy import Occupancy, hours_in_use, measured, together
from tuning.owner.under import Week, same, week_now, week_under, worth_of
from tuning.owner.year import WEEKS_A_YEAR, YearFigures, season_factor, total, year_of
from tuning.results import Analysis, ChannelResult, Settings
from tuning.site import Room, Site

Advised = Literal["recommended", "accepted"]
Place = tuple[str, str]


@dataclass(frozen=True)
class RoomReport:
    """A room's year.

    Attributes
    ----------
    now, then
        As the log shows it, and under the settings advised.
    leni_now, leni_then
        Light per floor area [kWh/(m²·a)]; ``None`` without area or load.
    leni_table
        What EN 15193 gives from its tables: F_O by use, its hours of operation, F_D = F_C = 1, no parasitic energy.
    occupancy
        As measured; ``None`` without a log.
    occupancy_then
        Measured F_O under the settings advised: times the held hours then over those now.
    occupancy_table
        F_O from the standard's tables; ``None`` where they have no value for the use that we know.
    seasons
        How many of its channels were scaled with the season.
    changed
        Whether any setting changes.
    """

    room: str
    name: str
    use: str
    area_m2: float | None
    load_w: float | None
    channels: int
    usable_days: float
    now: YearFigures
    then: YearFigures
    leni_now: float | None
    leni_then: float | None
    leni_table: float | None
    occupancy: Occupancy | None
    occupancy_then: float | None
    occupancy_table: float | None
    seasons: int
    changed: bool


@dataclass(frozen=True)
class Missing:
    """What is not known, of which rooms, and what follows from that."""

    what: str
    rooms: tuple[str, ...]
    follows: str


@dataclass(frozen=True)
class OwnerReport:
    """A building's year. Money in ``currency``, emissions in kg CO₂e; ``None`` where no factor is given.

    ``area_m2``, ``leni_now`` and ``leni_then`` are of the rooms whose area and load are known; ``leni_table`` and, measured, ``leni_tabled_now``
    of those among them whose use the standard's tables know. ``worth`` is what the settings advised are worth a year,
    nuisance and waste and targets together, with a 90 % range that takes the channels' doubts as independent.
    """

    site: str
    currency: str
    time_zone: str
    made: dt.datetime
    version: str
    start: dt.datetime | None
    end: dt.datetime | None
    advised: Advised
    electricity_price: float
    cost_per_false_off: float
    emission_factor_kg: float | None
    rooms: tuple[RoomReport, ...]
    now: YearFigures
    then: YearFigures
    area_m2: float
    leni_now: float | None
    leni_then: float | None
    leni_table: float | None
    leni_tabled_now: float | None
    operating_h: float
    occupancy: Occupancy | None
    worth: float
    worth_range: tuple[float, float] | None
    channels: int
    seasons: int
    metered: int
    missing: tuple[Missing, ...]

    def cost(self, year: YearFigures) -> float:
        """What a year's energy costs."""
        return year.energy_kwh * self.electricity_price

    def co2e_kg(self, year: YearFigures) -> float | None:
        """What a year's energy emits. [kg]."""
        return None if self.emission_factor_kg is None else year.energy_kwh * self.emission_factor_kg


@dataclass(frozen=True)
class _Channel:
    """One channel's year, and what it rests on."""

    result: ChannelResult
    now: YearFigures
    then: YearFigures
    held_share: float
    energy_known: bool
    told: bool
    """Whether the analysis could tell the week under the settings advised."""
    changed: bool
    worth: tuple[float, float | None]


def owner_report(site: Site, analysis: Analysis, *, settings: Mapping[Place, Settings] | None = None) -> OwnerReport:
    """Work out a building's year.

    Parameters
    ----------
    site
        For areas, loads, prices.
    analysis
        Channels with their weeks (``time_use.week``); other frames are not needed.
    settings
        What was accepted, by room and channel; who is not named keeps the settings in force. Without it, what is recommended counts.
    """
    channels = [c for c in analysis.channels if c.room in site.rooms and c.channel in site.rooms[c.room].channels]
    in_use = hours_in_use(channels)
    dark = [c.time_use.dark_s for c in channels if c.time_use is not None and c.time_use.dark_s is not None]
    usual_dark_s = float(np.median(dark)) if dark else None
    rooms, done = [], []
    for name, room in site.rooms.items():
        mine = [
            _channel(
                c,
                site,
                c.recommended if settings is None else settings.get((c.room, c.channel), c.current),
                usual_dark_s,
            )
            for c in channels
            if c.room == name and c.time_use is not None
        ]
        done += mine
        if mine:
            rooms.append(_room(name, room, mine, in_use))
    starts, ends = (
        [t for t in times if t is not None] for times in ((c.start for c in channels), (c.end for c in channels))
    )
    measurable = [r for r in rooms if r.leni_now is not None and r.area_m2 is not None]
    area = sum(r.area_m2 or 0.0 for r in measurable)
    tabled = [r for r in measurable if r.leni_table is not None]
    worth, worth_range = _worth([c.worth for c in done])
    return OwnerReport(
        site=analysis.site,
        currency=site.site.currency,
        time_zone=analysis.time_zone,
        made=analysis.generated,
        version=analysis.version,
        start=min(starts, default=None),
        end=max(ends, default=None),
        advised="recommended" if settings is None else "accepted",
        electricity_price=site.site.electricity_price,
        cost_per_false_off=site.site.cost_per_false_off,
        emission_factor_kg=site.site.emission_factor_kg,
        rooms=tuple(sorted(rooms, key=lambda r: (-r.now.energy_kwh, r.name))),
        now=total(c.now for c in done),
        then=total(c.then for c in done),
        area_m2=area,
        leni_now=_mean(measurable, "leni_now"),
        leni_then=_mean(measurable, "leni_then"),
        leni_table=_mean(tabled, "leni_table"),
        leni_tabled_now=_mean(tabled, "leni_now"),
        operating_h=float(in_use.sum()),
        occupancy=together([(r.occupancy, r.load_w or 1.0) for r in rooms if r.occupancy is not None]),
        worth=worth,
        worth_range=worth_range,
        channels=len(done),
        seasons=sum(r.seasons for r in rooms),
        metered=sum(c.result.time_use is not None and c.result.time_use.energy_basis == "metered" for c in done),
        missing=_missing(site, done, rooms),
    )


def _channel(c: ChannelResult, site: Site, settings: Settings, usual_dark_s: float | None) -> _Channel:
    use, facts = c.time_use, site.rooms[c.room].channels[c.channel]
    assert use is not None
    now, then = week_now(c), week_under(c, settings)
    assert now is not None
    known = facts.load_w is not None or use.energy_basis == "metered"
    own_dark_s = use.dark_s if use.dark_s is not None else usual_dark_s
    season = season_factor(c)

    def year(week: Week) -> YearFigures:
        return year_of(
            week,
            season=season,
            lights=facts.control != "relay",
            energy_known=known,
            dark_s=own_dark_s,
        )

    return _Channel(
        c,
        year(now),
        year(then or now),
        then.held_share if then else 1.0,
        known,
        then is not None,
        not same(settings, c.current),
        worth_of(c, settings, price=site.site.electricity_price),
    )


def _room(name: str, room: Room, channels: list[_Channel], in_use: Bools) -> RoomReport:
    lights = [c for c in channels if c.result.control != "relay"]
    now, then = total(c.now for c in channels), total(c.then for c in channels)
    known = bool(lights) and all(c.energy_known for c in lights) and len(lights) == _light_channels(room)
    area = room.area_m2 if known else None
    parts = [(o, c) for c in lights if (o := measured(c.result, in_use)) is not None]
    occupancy = together([(o, c.result.load_w) for o, c in parts])
    after = together([(replace(o, factor=min(o.factor * c.held_share, 1.0)), c.result.load_w) for o, c in parts])
    table = _table(room, lights)
    return RoomReport(
        room=name,
        name=room.name or name,
        use=room.use,
        area_m2=room.area_m2,
        load_w=sum(c.result.load_w for c in lights) if known else None,
        channels=len(channels),
        usable_days=max(c.result.usable_days for c in channels),
        now=now,
        then=then,
        leni_now=now.light_kwh / area if area else None,
        leni_then=then.light_kwh / area if area else None,
        leni_table=_table_leni(room, lights, table, area),
        occupancy=occupancy,
        occupancy_then=None if after is None else after.factor,
        occupancy_table=table,
        seasons=sum(season_factor(c.result) is not None for c in channels),
        changed=any(c.changed for c in channels),
    )


def _light_channels(room: Room) -> int:
    return sum(c.control != "relay" for c in room.channels.values())


def _table(room: Room, lights: list[_Channel]) -> float | None:
    if not lights:
        return None
    group = None if room.area_m2 is None else room.area_m2 / _light_channels(room)
    manual = all(c.result.current.mode == "manual-on" for c in lights)
    return table_occupancy_factor(room.use.strip().lower(), manual_on=manual, group_m2=group)


def _table_leni(room: Room, lights: list[_Channel], factor: float | None, area: float | None) -> float | None:
    if factor is None or not area:
        return None
    daylight_h, night_h = operating_hours(room.use.strip().lower())
    power = sum(c.result.load_w for c in lights)
    return leni(power, area, daylight_h=daylight_h, night_h=night_h, occupancy=factor)


def _mean(rooms: list[RoomReport], field: str) -> float | None:
    """Mean LENI over the area of rooms that have one."""
    area = sum(r.area_m2 or 0.0 for r in rooms)
    return sum(getattr(r, field) * (r.area_m2 or 0.0) for r in rooms) / area if area else None


def _worth(worths: list[tuple[float, float | None]]) -> tuple[float, tuple[float, float] | None]:
    """What all changes are worth a year, and its range where that of every one is known."""
    value = sum(v for v, _ in worths)
    halves = [h for _, h in worths]
    if not value or any(h is None for h in halves):
        return value * WEEKS_A_YEAR, None
    half = float(np.sqrt(sum((h or 0.0) ** 2 for h in halves)))
    return value * WEEKS_A_YEAR, ((value - half) * WEEKS_A_YEAR, (value + half) * WEEKS_A_YEAR)


def _missing(site: Site, channels: list[_Channel], rooms: list[RoomReport]) -> tuple[Missing, ...]:
    seen = {r.room for r in rooms}

    def named(keys: list[str]) -> tuple[str, ...]:
        return tuple(site.rooms[k].name or k for k in dict.fromkeys(keys))

    told = (
        (
            "no log of movement",
            [n for n, r in site.rooms.items() if r.channels and n not in seen],
            "They are not in this report.",
        ),
        (
            "no installed power (load_w) and no meter",
            [c.result.room for c in channels if not c.energy_known],
            "The energy of these channels is not counted, and their rooms have no LENI.",
        ),
        (
            "no floor area (area_m2)",
            [r.room for r in rooms if r.area_m2 is None],
            "Their energy is counted, but they have no LENI and are not in the building's.",
        ),
        (
            "settings whose effect the analysis cannot tell",
            [c.result.room for c in channels if not c.told],
            "They count as they are now.",
        ),
    )
    return tuple(Missing(what, named(keys), follows) for what, keys, follows in told if keys)

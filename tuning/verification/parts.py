"""The log of a channel before and after a change, each examined by itself but seen in the same light."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from tuning.channel.analyse import ChannelInput, Evidence, Examined, examine, pairs_of, rates_of
from tuning.joint import Surface
from tuning.motion import Floats
from tuning.quality.mending import Mended
from tuning.rates import Rates, day_index
from tuning.readings import RoomReadings
from tuning.results import Settings
from tuning.site import Site
from tuning.verification.own_false_offs import own_false_offs

Span = tuple[int, int]


@dataclass(frozen=True)
class RoomLog:
    """One room with its readings, mended."""

    site: Site
    room: str
    mended: Mended
    span_us: Span
    verdicts: pl.DataFrame | None

    @property
    def lead(self) -> str | None:
        """The first channel that governs light: people react to light, not to a relay."""
        channels = self.site.rooms[self.room].channels
        return next((name for name, c in channels.items() if c.control != "relay"), None)


@dataclass(frozen=True)
class Part:
    """A stretch of a channel's log under settings of its own.

    ``rates`` (``doubted`` with the doubt about who was there) are those under the hold-offs before and after, in the order of ``hold_off_s``;
    ``presence_h`` and ``minding_h`` are hours a week in every draw, shape (draws,): somebody there, and somebody there in the light who would
    mind the dark.
    """

    given: ChannelInput
    found: Examined
    rates: Rates
    doubted: Rates
    pairs: Surface | None
    presence_h: Floats
    minding_h: Floats

    @property
    def weeks(self) -> float:
        """Length of the log. [weeks]."""
        return float(self.rates.days.weeks[0, 0])

    @property
    def days(self) -> float:
        """Usable log. [d]."""
        return self.found.motion.usable_days


def channel_input(
    log: RoomLog, name: str, span_us: Span, settings: Settings | None, lead: Evidence | None
) -> ChannelInput:
    """Return a channel's input over a stretch of the log, under settings that hold throughout where they are given."""
    readings = log.mended.readings
    if span_us != log.span_us:
        start, end = (pl.lit(t).cast(pl.Datetime("us", "UTC")) for t in span_us)
        readings = RoomReadings(readings.frame.filter((pl.col("time") >= start) & (pl.col("time") < end)))
    site = log.site if settings is None else _under(log.site, log.room, name, settings)
    seed = zlib.crc32(f"{log.room}/{name}/{span_us[0]}".encode())
    said = log.verdicts
    if said is not None:
        said = said.filter((pl.col("room") == log.room) & (pl.col("channel") == name))
        said = None if said.is_empty() else said
    return ChannelInput(site, log.room, name, readings, span_us, seed, said, lead)


def _under(site: Site, room: str, name: str, settings: Settings) -> Site:
    was = site.rooms[room]
    values = {
        "hold_off_s": settings.hold_off_s,
        "target_lx": settings.target_lx,
        "mode": settings.mode,
        "settings_history": (),
    }
    channel = was.channels[name].model_copy(update=values)
    here = was.model_copy(update={"channels": {**was.channels, name: channel}})
    return site.model_copy(update={"rooms": {**site.rooms, room: here}})


def examine_whole(log: RoomLog) -> dict[str, Examined]:
    """Examine all channels of a room over the whole log; those without motion are missing."""
    channels = log.site.rooms[log.room].channels
    found: dict[str, Examined] = {}
    lead = None
    for name in sorted(channels, key=lambda c: channels[c].control == "relay"):
        seen = examine(channel_input(log, name, log.span_us, None, lead))
        if seen is not None:
            found[name] = seen
            lead = lead or seen.evidence
    return found


def part_of(
    log: RoomLog, name: str, span_us: Span, settings: Settings, whole: dict[str, Examined], hold_off_s: Floats, own: int
) -> Part | None:
    """Examine a stretch of a channel's log.

    Parameters
    ----------
    log, name, span_us, settings
        Room, channel, stretch and the settings said to be in force in it.
    whole
        The room's channels over the whole log, for the light.
    hold_off_s
        Hold-offs to have the rates under. [s]
    own
        Which of them was in force in the stretch.

    Returns
    -------
    ``None`` where the stretch holds no motion.
    """
    if name not in whole or span_us[1] <= span_us[0]:
        return None
    lead = None
    leader = log.lead
    if log.site.rooms[log.room].channels[name].control == "relay" and leader is not None and leader in whole:
        led = examine(channel_input(log, leader, span_us, None, None), light_from=whole[leader])
        lead = None if led is None else led.evidence
    given = channel_input(log, name, span_us, settings, lead)
    found = examine(given, light_from=whole[name])
    if found is None or not len(found.gaps):
        return None
    rates = rates_of(given, found, hold_off_s=hold_off_s)
    presence, minding = _hours(found, rates)
    pairs = pairs_of(given, found, rates)
    doubted = rates.doubted()
    # Where nothing switched off there is no hold-off to have been outlasted, and the replay of the log counts.
    if np.isfinite(found.in_force.latest_s):
        false_offs = doubted.false_offs.copy()
        false_offs[:, own] = own_false_offs(given, found, rates, own)
        doubted = replace(doubted, false_offs=false_offs)
    return Part(given, found, rates, doubted, pairs, presence, minding)


def _hours(found: Examined, rates: Rates) -> tuple[Floats, Floats]:
    """Hours a week with somebody there, and in the light and minding, in every draw."""
    days, around, g = rates.days, found.around, found.gaps.gap_s
    there = found.seen.p_still * g
    motion = found.motion
    size = days.weights.shape[1]
    by_day = np.bincount(days.day, weights=there, minlength=size)
    if motion.resolution_s > 0 or (motion.end_us > motion.start_us).any():
        first = int(motion.covered_us[0, 0])
        day = np.clip(day_index(motion.start_us, found.facts.offset_us, first), 0, size - 1)
        by_day = by_day + np.bincount(day, weights=(motion.end_us - motion.start_us) / 1e6, minlength=size)
    minding = np.bincount(days.day, weights=there * around.minds * around.lit, minlength=size)
    weeks = days.weeks[:, 0] * 3600.0
    return days.weights @ by_day / weeks, days.weights @ minding / weeks

"""What the analysis of a channel starts from, and its own series: movement, reading, outputs, presses."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

from tuning.gaps import Gaps
from tuning.hold_off import HoldOffInForce
from tuning.light.circumstances import output_of
from tuning.motion import US, Ints, MotionLog, held_motions, motions, times_us
from tuning.power import with_measured_power
from tuning.presence.beside import Companion
from tuning.presence.other_evidence import Passages
from tuning.presence.stillness import Classified
from tuning.readings import RoomReadings
from tuning.results import Finding
from tuning.site import Building, Channel, Room, Site


@dataclass(frozen=True)
class ChannelInput:
    """What the analysis of a channel starts from."""

    site: Site
    room_id: str
    name: str
    readings: RoomReadings
    span_us: tuple[int, int]
    seed: int
    verdicts: pl.DataFrame | None
    lead: Evidence | None
    room_findings: tuple[Finding, ...] = ()
    """Findings about the room as a whole that concern this channel."""
    beside: tuple[Companion, ...] = ()
    """Other lights of the room."""
    outside: Mapping[str, Passages] = field(default_factory=dict)
    """Movement in other rooms of the building that people walk through, by room."""
    pictures: bool = True
    """Whether the frames that only pictures need are made."""

    @property
    def room(self) -> Room:
        """The room's entry in site.toml."""
        return self.site.rooms[self.room_id]

    @property
    def channel(self) -> Channel:
        """The channel's entry in site.toml."""
        return self.room.channels[self.name]

    @property
    def prices(self) -> Building:
        """The building's table with the channel's own price of a false-off, where it has one."""
        own = self.channel.cost_per_false_off
        return self.site.site if own is None else self.site.site.model_copy(update={"cost_per_false_off": own})

    @property
    def load_w(self) -> float:
        """Installed power. [W]."""
        return self.channel.power_w

    @property
    def place(self) -> tuple[float, float] | None:
        """Latitude and longitude where site.toml gives both. [deg]."""
        building = self.site.site
        if building.latitude is None or building.longitude is None:
            return None
        return building.latitude, building.longitude

    @property
    def offset_us(self) -> int:
        """UTC offset of the building in the middle of the log. [µs]."""
        middle = dt.datetime.fromtimestamp(sum(self.span_us) / 2 / US, tz=self.site.zone)
        return round((middle.utcoffset() or dt.timedelta()).total_seconds()) * US


@dataclass(frozen=True)
class Evidence:
    """What a room's first light channel taught, for the channels that share its motions."""

    motion: MotionLog
    gaps: Gaps
    seen: Classified
    in_force: HoldOffInForce


def presses_to_off(given: ChannelInput) -> Ints:
    """Times of presses to off, UTC epoch. [µs]."""
    return times_us(given.readings.of_channel("override", given.name).filter(pl.col("value") <= 0))


def motion_of(given: ChannelInput) -> tuple[MotionLog, float | None]:
    """Movement of the channel, from motion or else from a held occupancy, and the hold-off built into the latter [s]."""
    motion = motions(given.readings, given.name, span_us=given.span_us)
    if len(motion.start_us):
        return motion, None
    return held_motions(given.readings, given.name, span_us=given.span_us, hold_off_s=given.channel.hold_off_s)


def reading_of(given: ChannelInput) -> pl.DataFrame:
    """Return the illuminance series that belongs to the channel: its own, else the room's fullest."""
    rows = given.readings.of_channel("illuminance", given.name)
    own = rows.filter(pl.col("channel") == given.name)
    series = own if not own.is_empty() else rows
    if series.is_empty():
        return series.select("time", "value")
    parts = series.partition_by("detector")
    return max(parts, key=len).select("time", "value")


def outputs_of(given: ChannelInput, output: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """Outputs of the room's light channels, those that were logged."""
    outputs = {
        name: output_of(given.readings, name, channel, channel.power_w)
        for name, channel in given.room.channels.items()
        if channel.control != "relay"
    }
    outputs[given.name] = output
    return {name: frame for name, frame in outputs.items() if not frame.is_empty()}


def metered(given: ChannelInput, output: pl.DataFrame) -> Channel:
    """Return the channel with the power curve that its meter shows, where it has one."""
    return with_measured_power(given.channel, output, given.readings.own("power", given.name))

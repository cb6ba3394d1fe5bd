"""The light of a channel: its reading taken apart, its targets, and what the light was doing in each gap."""

from __future__ import annotations

import numpy as np
import polars as pl

from tuning.channel.input import ChannelInput, metered, outputs_of, reading_of
from tuning.gaps import Gaps
from tuning.hold_off import HoldOffInForce
from tuning.joint import Surface, response_of, surface
from tuning.light.borrowed import borrowed_split
from tuning.light.circumstances import Circumstances, circumstances, output_of
from tuning.light.lit_time import neighbours_at, presence_of
from tuning.light.other_daylight import OtherDaylight, other_daylight
from tuning.light.split import LightSplit, find_swapped, split_light
from tuning.motion import MotionLog
from tuning.presence.episodes import episodes
from tuning.presence.stillness import Classified
from tuning.rates import Rates
from tuning.readings import RoomReadings
from tuning.results import Finding, LightResult
from tuning.site import Room
from tuning.target.result import light_result

LEAST_READINGS = 10
"""Fewer lux readings tell nothing about the light. Chosen by us."""
TASK_PER_DETECTOR = (0.5, 3.0)
"""Least and most task illuminance per lux at the detector that a target in force is believed to tell. Chosen by us."""
UNCALIBRATED_SPREAD = 0.35
"""Log-spread of that ratio for daylight. Chosen by us: windows and lamps light task and detector differently, and a target tells of lamps. At 0.15
people whom it left in the dark were taken for content, in rooms of two simulators."""


def swapped_channels(room: Room, readings: RoomReadings) -> list[Finding]:
    """Find channels of a room whose outputs move each other's readings; only those with a reading of their own can be told.

    Parameters
    ----------
    room
        The room's entry in site.toml.
    readings
        Its readings.
    """
    if len(room.channels) < 2:
        return []
    lux, outputs = {}, {}
    for name, channel in room.channels.items():
        own = readings.own("illuminance", name)
        output = output_of(readings, name, channel, channel.power_w)
        if channel.control != "relay" and len(own) >= LEAST_READINGS and not output.is_empty():
            lux[name], outputs[name] = own, output
    return find_swapped(lux, outputs)


def split_of(given: ChannelInput, reading: pl.DataFrame, output: pl.DataFrame) -> LightSplit | None:
    """Split the channel's reading, or that of another channel's detector where it has none; ``None`` where neither can be."""
    return _own_split(given, reading, output) or _borrowed(given, reading, output)


def _own_split(given: ChannelInput, reading: pl.DataFrame, output: pl.DataFrame) -> LightSplit | None:
    if given.channel.control == "relay" or len(reading) < LEAST_READINGS:
        return None
    latitude, longitude = given.place or (None, None)
    return split_light(
        reading, outputs_of(given, output), own_channel=given.name, latitude=latitude, longitude=longitude
    )


def _borrowed(given: ChannelInput, reading: pl.DataFrame, output: pl.DataFrame) -> LightSplit | None:
    """Split another channel's reading where this one logs none."""
    if given.channel.control == "relay" or not reading.is_empty() or output.is_empty():
        return None
    lux = given.readings.of("illuminance").filter(pl.col("channel").is_not_null())
    others = {
        str(part["channel"][0]): part.select("time", "value")
        for part in lux.partition_by("channel", "detector")
        if len(part) >= LEAST_READINGS
    }
    latitude, longitude = given.place or (None, None)
    return borrowed_split(others, outputs_of(given, output), channel=given.name, latitude=latitude, longitude=longitude)


def light_of(
    given: ChannelInput,
    split: LightSplit | None,
    output: pl.DataFrame,
    gaps: Gaps,
    motion: MotionLog,
    in_force: HoldOffInForce,
) -> LightResult:
    """Lamps, daylight and targets of the channel; empty where they cannot be told."""
    if split is None or output.is_empty():
        return LightResult()
    stays = episodes(gaps, motion, in_force.at(gaps.start_us))
    return light_result(
        split,
        channel=given.name,
        room=given.room,
        output=output,
        occupied=stays.select("start", "end"),
        usable_days=motion.usable_days,
        zone=given.site.zone,
        seed=given.seed,
        power=given.readings.own("power", given.name),
        overrides=given.readings.own("override", given.name),
        place=given.place,
        there=presence_of(gaps, motion, even_s=given.room.beliefs.even_gap_s, slope=given.room.beliefs.gap_slope),
    )


def tells_daylight(split: LightSplit | None, name: str) -> bool:
    """Whether the daylight of a split may say who minds the dark.

    Where people react within seconds the log may never see the dark; the lamps then stay in what is taken for daylight.
    """
    if (
        split is None
        or split.borrowed_from
        or name not in split.lamps
        or any(f.code == "lamp-not-seen" for f in split.findings)
    ):
        return False
    own = split.lamps[name]
    if own.separable:
        return own.at_full_lx > 0 and own.high_lx - own.low_lx <= own.at_full_lx
    # Lamps that always burn together need no telling apart for what is left of the reading; their sum does.
    together = sum(lamp.at_full_lx for lamp in split.lamps.values() if not lamp.separable)
    return together > 0 and 0 <= own.high_lx - together <= together / 2


def around_gaps(
    given: ChannelInput,
    gaps: Gaps,
    in_force: HoldOffInForce,
    output: pl.DataFrame,
    split: LightSplit | None,
    light: LightResult,
) -> Circumstances:
    """Light, daylight, who minds and power in each gap."""
    # another detector's daylight is this channel's only where hand readings tie it to its task
    borrowed = split is not None and split.borrowed_from is not None and light.calibrated
    tells = borrowed or tells_daylight(split, given.name)
    task_per_daylight, task_spread = _task_per_daylight(given, light)
    return circumstances(
        gaps,
        hold_off_s=in_force.at(gaps.start_us),
        output=output,
        split=split if tells else None,
        elsewhere=None if tells else _elsewhere(given, output),
        channel=metered(given, output),
        load_w=given.load_w,
        task_per_daylight=task_per_daylight,
        task_spread=task_spread,
        required_lx=None if given.channel.control == "relay" else given.room.required_lx,
    )


def _task_per_daylight(given: ChannelInput, light: LightResult) -> tuple[float, float]:
    """Task illuminance per lx of daylight at the detector, and its log-spread: by hand readings, else by what the target in force says.

    Whoever set a target other than what the task needs did so with a luxmeter at the task: the one over the other is how many lux the task gets
    for each at the detector.
    """
    target, required = given.channel.target_lx, given.room.required_lx
    if given.channel.spot_readings or not target or not required:
        return light.task_per_daylight, 0.0
    return float(np.clip(required / target, *TASK_PER_DETECTOR)), UNCALIBRATED_SPREAD


def _elsewhere(given: ChannelInput, output: pl.DataFrame) -> OtherDaylight | None:
    """Daylight of a channel that logs no reading, from that of another channel of the room."""
    lux = given.readings.of("illuminance")
    if given.channel.control == "relay" or output.is_empty() or not reading_of(given).is_empty():
        return None
    latitude, longitude = given.place or (None, None)
    outputs = outputs_of(given, output)
    for part in lux.filter(pl.col("channel").is_in(list(outputs))).partition_by("channel", "detector"):
        other = str(part["channel"][0])
        if len(part) < LEAST_READINGS:
            continue
        split = split_light(
            part.select("time", "value"), outputs, own_channel=other, latitude=latitude, longitude=longitude
        )
        found = other_daylight(
            split,
            names=(given.name, other),
            outputs=(output, outputs[other]),
            dimmed=given.channel.control == "dimmed",
            target_lx=given.channel.target_lx,
            spots=tuple(given.channel.spot_readings),
        )
        if found is not None and tells_daylight(split, other):
            return found
    return None


def response_pairs(
    given: ChannelInput,
    gaps: Gaps,
    seen: Classified,
    around: Circumstances,
    rates: Rates,
    split: LightSplit | None,
    light: LightResult,
    output: pl.DataFrame,
) -> Surface | None:
    """Every pair of hold-off and target, where daylight and lamps are known well enough."""
    response = response_of(light, metered(given, output))
    if split is None or response is None or not around.in_own_reading or not np.isfinite(around.daylight_lx).any():
        return None
    others = around.daylight_lx + neighbours_at(split, output, response.k, gaps.start_us)
    return surface(gaps, seen, around, rates, response=response, others_lx=others)

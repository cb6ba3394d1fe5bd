"""``site.toml`` of the demo building, with comments for people who read it as an example."""

from __future__ import annotations

import datetime as dt

import numpy as np

from demo_logs.light import Sky, daylight
from demo_logs.model import (
    COST_PER_FALSE_OFF,
    CURRENCY,
    ELECTRICITY_PRICE,
    EMISSION_FACTOR_KG,
    LATITUDE_DEG,
    LONGITUDE_DEG,
    NAME,
    TIME_ZONE,
    Channel,
    Room,
    Spot,
)

HEAD = f"""\
# The demo building. Everything in it is invented: no such town, building or people exist.
# Written by demo_logs/generate.py; what is planted stands in truth.json.

[site]
name = "{NAME}"
time_zone = "{TIME_ZONE}"        # store.csv has local times without an offset; they are read in this zone
latitude = {LATITUDE_DEG}
longitude = {LONGITUDE_DEG}
currency = "{CURRENCY}"
electricity_price = {ELECTRICITY_PRICE:.2f}               # per kWh
emission_factor_kg = {EMISSION_FACTOR_KG:.2f}              # kg CO2e per kWh
cost_per_false_off = {COST_PER_FALSE_OFF:.2f}              # what one nuisance switch-off costs the people in the room
"""


def _spot(channel: Channel, spot: Spot, sky: Sky, rng: np.random.Generator) -> list[str]:
    lamps = channel.lamp_lx * spot.output_pct / 100
    level = _daylight_at(channel, spot.when, sky) if spot.when else spot.daylight_lx
    exact = channel.task_per_lamp * lamps + channel.task_per_daylight * level
    lines = [f"output_pct = {spot.output_pct:g}", f"task_lx = {round(exact * rng.normal(1, 0.015))}"]
    if spot.when:
        return [
            *lines,
            f"time = {spot.when.replace(tzinfo=None).isoformat()}  # what the detector read then stands in the log",
        ]
    return [*lines, f"detector_lx = {round((lamps + level) * rng.normal(1, 0.01))}"]


def _daylight_at(channel: Channel, when: dt.datetime, sky: Sky) -> float:
    return float(np.interp(when.timestamp(), sky.t, daylight(channel, sky)))


def _channel(room: Room, channel: Channel, sky: Sky, rng: np.random.Generator) -> list[str]:
    path = f"rooms.{room.key}.channels.{channel.name}"
    lines = [f"[{path}]", f"load_w = {channel.load_w:g}"]
    if channel.standby_w:
        lines.append(f"standby_w = {channel.standby_w:g}")
    lines.append(f"hold_off_s = {channel.hold_off_s or room.documented_s or room.hold_off_s}")
    if channel.target_lx is not None:
        lines.append(f"target_lx = {channel.target_lx:g}")
    if channel.control != "relay":
        lines.append('mode = "auto-on"')
    lines.append(f'control = "{channel.control}"')
    if channel.allowed_target_lx:
        lines.append(f"allowed_target_lx = {list(channel.allowed_target_lx)}")
    if channel.note:
        lines.append(f'note = "{channel.note}"')
    for spot in channel.spots:
        what = "lamps alone, after dark" if spot.output_pct else "daylight alone"
        lines += ["", f"[[{path}.spot_readings]]  # {what}", *_spot(channel, spot, sky, rng)]
    return [*lines, ""]


def site_text(rooms: tuple[Room, ...], sky: Sky, rng: np.random.Generator) -> str:
    """Text of ``site.toml``: what was documented, and spot readings with the error of a hand-held meter."""
    lines = [HEAD]
    for room in rooms:
        lines += [
            f"# {room.about}",
            f"[rooms.{room.key}]",
            f'name = "{room.name}"',
            f'use = "{room.use}"',
            f"area_m2 = {room.area_m2:g}",
            f"required_illuminance_lx = {room.required_lx:g}",
            "",
        ]
        for channel in room.channels:
            lines += _channel(room, channel, sky, rng)
    return "\n".join(lines).rstrip() + "\n"

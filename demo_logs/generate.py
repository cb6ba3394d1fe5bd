"""Writes the demo building: an invented library with a music school, six weeks of logs, and the stated truth.

Run from the project's root: ``python -m demo_logs.generate``. The same seed gives the same files. People, rooms and readings are
invented; the simulator under ``tests/simulation`` moves the people, this script says what the building is and plants five conditions.
"""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from tests.simulation import SimulatedRoom, simulate
from tests.simulation.building import _toml
from tests.simulation.days import PLACES

HERE = Path(__file__).parent
SEED = 20260302
WEEKS = 6
FIRST_MONDAY = dt.date(2026, 3, 2)  # six weeks over the change of clock on 29 March
SITE = {
    "name": "Millbrook Library and Music School",
    "time_zone": "Europe/Copenhagen",
    "latitude": 55.7,
    "longitude": 12.6,
    "currency": "EUR",
    "electricity_price": 0.30,
    "emission_factor_kg": 0.20,
    "cost_per_false_off": 0.35,
}
DESK: dict[str, Any] = {
    "own_detectors": True,
    "motion_form": "events",
    "stamp_s": 0.1,
    "stray_per_day": 0.0,
    "heartbeat_s": 0.0,
    "band_share": 0.08,
    "band_lx": 12.0,
    "flicker": 0.03,
    "output_step": 0.05,
    "sample_s": 300.0,
    "leave_off_p": 0.0,
    "dims_p": 0.0,
    "hidden_share": 0.0,
}


@dataclass(frozen=True)
class DemoRoom:
    """One room of the demo building and what is planted in it."""

    key: str
    name: str
    use: str
    seed: int
    hold_off_s: int
    area_m2: float
    planted: str = ""
    documented_s: int | None = None
    channel: dict[str, Any] = field(default_factory=dict)
    settings: dict[str, Any] = field(default_factory=dict)
    required_lx: float | None = None


ROOMS = (
    DemoRoom("reading_room", "Reading room", "reading room", 3, 900, 140, settings={"windows": True}),
    DemoRoom(
        "office_north",
        "Office north",
        "office",
        12,
        180,
        18,
        planted="hold-off far too short: somebody who reads is left in the dark many times a day",
        settings={"windows": True, "daylight_factor": 0.006, "documented": True},
    ),
    DemoRoom("office_south", "Office south", "office", 5, 900, 22, settings={"windows": True}),
    DemoRoom(
        "seminar_room",
        "Seminar room",
        "classroom",
        8,
        900,
        64,
        planted="over-lit: the target holds far more light at the task than the use requires",
        settings={"windows": True},
    ),
    DemoRoom(
        "corridor",
        "Corridor ground floor",
        "corridor",
        2,
        600,
        55,
        planted="documented hold-off (300 s) is not the one in force (600 s)",
        documented_s=300,
    ),
    DemoRoom("stairs", "Stairs", "stairs", 4, 180, 30),
    DemoRoom("toilets", "Toilets", "toilet", 6, 600, 16),
    DemoRoom(
        "store",
        "Instrument store",
        "store room",
        9,
        1800,
        28,
        planted="hold-off far too long: 30 minutes of light after visits of a minute or two",
    ),
    DemoRoom(
        "workshop",
        "Instrument workshop",
        "copy room",
        7,
        900,
        36,
        planted="a frost-protection heater triggers the detector at night",
        required_lx=500,
    ),
)


def _simulated(room: DemoRoom) -> SimulatedRoom:
    overrides: dict[str, Any] = DESK | {
        "room": room.key,
        "place": PLACES[0],
        "first_monday": FIRST_MONDAY,
        "documented": True,
        "mode": "auto-on",
        "area_m2": room.area_m2,
        "electricity_price": SITE["electricity_price"],
        "cost_per_false_off": SITE["cost_per_false_off"],
        "spot_readings": True,
        "allowed_target_lx": tuple(range(100, 1001, 50)),
    }
    return simulate(SEED + room.seed, room.use, weeks=WEEKS, hold_off_s=room.hold_off_s, **(overrides | room.settings))


def _over_lit(room: SimulatedRoom, seed: int) -> SimulatedRoom:
    """Set every dimmed target so that the task gets about 1.7 times what it needs."""
    wanted = {c["name"]: 1.7 * room.parameters["required_lx"] / c["task_per_lamp"] for c in room.parameters["channels"]}
    target = round(min(wanted.values()) / 10) * 10
    overrides: dict[str, Any] = DESK | {
        "room": room.room,
        "place": PLACES[0],
        "first_monday": FIRST_MONDAY,
        "documented": True,
        "mode": "auto-on",
        "area_m2": 64.0,
        "electricity_price": SITE["electricity_price"],
        "cost_per_false_off": SITE["cost_per_false_off"],
        "spot_readings": True,
        "allowed_target_lx": tuple(range(100, 1001, 50)),
        "windows": True,
        "control": "dimmed",
        "target_lx": float(target),
        "lamp_lx": 1.25 * target,
    }
    return simulate(SEED + seed, room.use, weeks=WEEKS, hold_off_s=900, **overrides)


def _heater(log: pl.DataFrame, room: str, channel: str, hold_off_s: float, lamp_lx: float) -> pl.DataFrame:
    """Add a heater that swings a warm draught past the detector every half an hour, from 22:30 to 04:30."""
    rng = np.random.default_rng(SEED)
    zone = SITE["time_zone"]
    rows: list[tuple[dt.datetime, str, str, str, float]] = []
    for day in range(WEEKS * 7 - 1):
        evening = dt.datetime.combine(FIRST_MONDAY + dt.timedelta(days=day), dt.time(22, 30))
        t = evening + dt.timedelta(minutes=float(rng.uniform(0, 20)))
        while t < evening + dt.timedelta(hours=6):
            utc = (
                pl.Series([t])
                .dt.replace_time_zone(zone, ambiguous="earliest", non_existent="null")
                .dt.convert_time_zone("UTC")[0]
            )
            if utc is not None:
                off = utc + dt.timedelta(seconds=hold_off_s)
                rows += [
                    (utc, room, "", "motion", 1.0),
                    (utc, room, channel, "output", 100.0),
                    (off, room, channel, "output", 0.0),
                ]
            t += dt.timedelta(minutes=float(rng.normal(31, 2)))
    extra = pl.DataFrame(rows, schema=log.schema, orient="row")
    joined = pl.concat([log, extra]).sort("time", maintain_order=True)
    # The sampled reading follows the lamp that the heater switches on.
    lit = extra.filter(pl.col("quantity") == "output").select("time", level=pl.col("value") / 100)
    joined = joined.join_asof(lit, on="time", strategy="backward")
    reading = pl.col("quantity") == "illuminance"
    night = pl.col("time").dt.convert_time_zone(zone).dt.hour().is_in([22, 23, 0, 1, 2, 3, 4])
    value = (
        pl.when(reading & night)
        .then(pl.col("value") + (pl.col("level").fill_null(0.0) * lamp_lx).round(0))
        .otherwise(pl.col("value"))
    )
    return joined.with_columns(value=value).drop("level")


def _relay(log: pl.DataFrame, room: str, hold_off_s: float) -> pl.DataFrame:
    """Output of a presence-only contact (ventilation) that runs on for its own hold-off after the last motion."""
    motion = log.filter(pl.col("quantity") == "motion")["time"].dt.epoch("us").to_numpy()
    run_on = round(hold_off_s * 1e6)
    opens = np.append(True, np.diff(motion) > run_on)
    start, end = motion[opens], motion[np.append(opens[1:], True)] + run_on
    rows = pl.DataFrame({"t": np.concatenate([start, end]), "value": np.repeat([100.0, 0.0], [len(start), len(end)])})
    named = rows.select(
        pl.col("t").cast(pl.Datetime("us", "UTC")).alias("time"),
        room=pl.lit(room),
        channel=pl.lit("ventilation"),
        quantity=pl.lit("output"),
        value=pl.col("value"),
    )
    return pl.concat([log, named]).sort("time", maintain_order=True)


def _truth(room: DemoRoom, simulated: SimulatedRoom) -> dict[str, Any]:
    curve = simulated.truth_curve.select("channel", "hold_off_s", "false_offs", "wasted_on_h", "cost")
    return {
        "planted": room.planted,
        "hold_off_in_force_s": room.hold_off_s,
        "false_offs_in_the_log": int(simulated.switch_offs.select((pl.col("present") & pl.col("minds")).sum()).item()),
        "switch_offs_in_the_log": len(simulated.switch_offs),
        "light": simulated.parameters["light_truth"],
        "long_run_per_week": curve.with_columns(pl.selectors.float().round(3)).to_dicts(),
    }


def build() -> tuple[list[pl.DataFrame], dict[str, Any], dict[str, Any]]:
    """Simulate the building: the log of each room, the room tables of site.toml, and the truth."""
    logs, tables, truth = [], {}, {}
    for room in ROOMS:
        simulated = _simulated(room)
        if room.key == "seminar_room":
            simulated = _over_lit(simulated, room.seed)
        table: dict[str, Any] = {"name": room.name, "use": room.use, "area_m2": room.area_m2}
        table["required_illuminance_lx"] = float(simulated.spec["required_illuminance_lx"])
        table["channels"] = simulated.spec["channels"]
        log = simulated.log
        if room.documented_s:
            for channel in table["channels"].values():
                channel["hold_off_s"] = room.documented_s
        if room.key == "workshop":
            table["use"] = "workshop"
            name = next(iter(table["channels"]))
            log = _heater(log, room.key, name, room.hold_off_s, simulated.parameters["light_truth"][name]["lamp_lx"])
        if room.key == "toilets":
            log = _relay(log, room.key, 1200)
            table["channels"]["ventilation"] = {
                "load_w": 90,
                "hold_off_s": 1200,
                "control": "relay",
                "note": "Extract fan, presence-only contact",
            }
        logs.append(log)
        tables[room.key] = table
        truth[room.key] = _truth(room, simulated)
    return logs, tables, truth


HEADER = """# The demo building. Everything in it is invented: no such library, rooms or people exist.
# Written by demo_logs/generate.py; what is planted stands in truth.json.
"""


def main() -> None:
    """Write the demo building into this folder."""
    logs, tables, truth = build()
    lines = _toml("site", SITE)
    for key, table in tables.items():
        lines += _toml(f"rooms.{key}", table)
    (HERE / "site.toml").write_text(HEADER + "\n".join(lines) + "\n", encoding="utf-8")
    whole = pl.concat(logs)
    # One room comes from another export: CSV, to show that formats may be mixed.
    whole.filter(pl.col("room") != "store").sort("room", "channel", "quantity", "time").with_columns(
        pl.col("value").cast(pl.Float32), pl.col("room", "channel", "quantity").cast(pl.Categorical)
    ).write_parquet(HERE / "library.parquet", compression="zstd", compression_level=19)
    whole.filter(pl.col("room") == "store").sort("time").with_columns(
        pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    ).write_csv(HERE / "store.csv")
    (HERE / "truth.json").write_text(json.dumps(truth, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()

"""A simulated room as a building folder: what a product may read (``site.toml``, ``log.parquet``), and the truth beside it."""

import json
from dataclasses import fields, is_dataclass
from datetime import UTC, date
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from tests.second_simulation.lights import CONTROLS, RELAY
from tests.second_simulation.room import Room, Simulated
from tests.second_simulation.stillness import FAMILIES

KEY = "r1"


def write(simulated: Simulated, folder: Path, name: str) -> None:
    """Write ``site.toml`` and ``log.parquet``; below ``truth`` what each hold-off brings, the switch-offs, who was there, and what was drawn."""
    room, run = simulated.room, simulated.run
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    log = simulated.log.with_columns(_time(room, "t").alias("time"), pl.lit(KEY).alias("room"))
    log.select("time", "room", "channel", "quantity", "value").write_parquet(folder / "log.parquet")
    simulated.truth_curve.write_parquet(folder / "truth" / "truth_curve.parquet")
    pl.DataFrame(
        {
            "t": run.off_s,
            "channel": pl.Series([room.channels[c] for c in run.off_channel], dtype=pl.String),
            "present": run.off_present.astype(bool),
            "minds": run.off_minds.astype(bool),
        }
    ).select(_time(room, "t").alias("time"), "channel", "present", "minds").write_parquet(
        folder / "truth" / "switch_offs.parquet"
    )
    pl.DataFrame(simulated.presence_s, schema={"start": pl.Float64, "end": pl.Float64}, orient="row").select(
        _time(room, "start"), _time(room, "end")
    ).write_parquet(folder / "truth" / "presence.parquet")
    (folder / "site.toml").write_text(_site(simulated, name), encoding="utf-8")
    drawn = {"family": FAMILIES[room.manners.stillness.family]} | _plain(room)
    (folder / "truth" / "room.json").write_text(json.dumps(drawn, indent=1), encoding="utf-8")


def _time(room: Room, column: str) -> pl.Expr:
    """Seconds of the log as moments."""
    return (pl.lit(room.start.astimezone(UTC)) + pl.duration(microseconds=(pl.col(column) * 1e6).cast(pl.Int64))).alias(
        column
    )


def _plain(value: Any) -> Any:
    if is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if hasattr(value, "_asdict"):
        return {name: _plain(v) for name, v in value._asdict().items()}
    if isinstance(value, date):
        return value.isoformat()
    return value.tolist() if isinstance(value, (np.ndarray, np.generic)) else value


def _site(simulated: Simulated, name: str) -> str:
    room, lights = simulated.room, simulated.room.lights
    lines = [
        "[site]",
        f'name = "{name}"',
        f'time_zone = "{room.place.time_zone}"',
        'currency = "EUR"',
        f"electricity_price = {room.electricity_price}",
        f"cost_per_false_off = {room.cost_per_false_off}",
        "",
        f"[rooms.{KEY}]",
        f'use = "{room.use}"',
        f"required_illuminance_lx = {lights.required_lx[0]:g}",
    ]
    for c, channel in enumerate(room.channels):
        lines += [
            "",
            f"[rooms.{KEY}.channels.{channel}]",
            f"load_w = {lights.load_w[c]:g}",
            f"standby_w = {lights.standby_w[c]:g}",
            f"hold_off_s = {room.hold_off_s}",
            *([f"target_lx = {lights.target_lx[c]:g}"] if lights.control[c] != RELAY else []),
            'mode = "auto-on"',
            f'control = "{CONTROLS[lights.control[c]]}"',
        ]
        for reading in simulated.readings:
            if reading.channel == channel:
                lines += [
                    "",
                    f"[[rooms.{KEY}.channels.{channel}.spot_readings]]",
                    f"output_pct = {reading.output_pct}",
                    f"task_lx = {reading.task_lx:.0f}",
                    f"detector_lx = {reading.detector_lx:.0f}",
                ]
    return "\n".join(lines) + "\n"

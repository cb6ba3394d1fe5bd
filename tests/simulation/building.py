"""Building folders: site.toml, the log, and the truth in a folder of its own."""

import json
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from tests.simulation.parameters import Channel, RoomParameters

if TYPE_CHECKING:
    from tests.simulation.room import SimulatedRoom


def site_table(room: RoomParameters) -> dict[str, Any]:
    """The ``[site]`` table of a room's building."""
    return {
        "name": f"Simulated building with {room.room}",
        "time_zone": room.place.time_zone,
        "currency": "EUR",
        "electricity_price": room.electricity_price,
        "cost_per_false_off": room.cost_per_false_off,
    }


def _channel_table(room: RoomParameters, channel: Channel, readings: list[dict[str, float]]) -> dict[str, Any]:
    table: dict[str, Any] = {"load_w": channel.load_w, "standby_w": channel.standby_w}
    if room.documented:
        table["hold_off_s"] = room.hold_off_s
        said = room.hold_off_changes if room.said_changes is None else room.said_changes
        history = [{"from": room.first_monday + timedelta(days=d), "hold_off_s": h} for d, h in said]
        table |= {"settings_history": history} if history else {}
    table |= {"target_lx": channel.target_lx, "mode": room.mode, "control": channel.control}
    if channel.allowed_target_lx:
        table["allowed_target_lx"] = list(channel.allowed_target_lx)
    if readings:
        table["spot_readings"] = readings
    return table


def room_table(room: RoomParameters, readings: dict[str, list[dict[str, float]]]) -> dict[str, Any]:
    """The table of a room in ``site.toml``, with its channels and their luxmeter readings."""
    channels = {c.name: _channel_table(room, c, readings[c.name]) for c in room.channels}
    table = {"name": f"{room.use} {room.room}", "use": room.use, "area_m2": room.area_m2}
    return table | {"required_illuminance_lx": room.required_lx, "channels": channels}


def _toml_value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml_value(v) for v in value) + "]"
    if isinstance(value, date):
        return value.isoformat()
    return repr(round(value, 4)) if isinstance(value, float) else repr(value)


def _toml(path: str, table: dict[str, Any]) -> list[str]:
    """A table and all below it as lines of TOML."""
    inner = {k: v for k, v in table.items() if isinstance(v, dict)}
    lists = {k: v for k, v in table.items() if isinstance(v, list) and v and isinstance(v[0], dict)}
    plain = {k: v for k, v in table.items() if k not in inner and k not in lists}
    lines = [f"[{path}]", *(f"{k} = {_toml_value(v)}" for k, v in plain.items()), ""]
    for k, rows in lists.items():
        for row in rows:
            lines += [f"[[{path}.{k}]]", *(f"{n} = {_toml_value(v)}" for n, v in row.items()), ""]
    for k, below in inner.items():
        lines += _toml(f"{path}.{k}", below)
    return lines


def write_building(rooms: "SimulatedRoom | Sequence[SimulatedRoom]", folder: str | Path) -> None:
    """Write rooms as one building folder of the contract, with the truth in ``truth/``.

    Raises
    ------
    ValueError
        If rooms share a key, or differ in what ``[site]`` holds (time zone, price, cost per false-off).
    """
    rooms = [rooms] if not isinstance(rooms, Sequence) else list(rooms)
    site = dict(rooms[0].site)
    if len({r.room for r in rooms}) < len(rooms):
        raise ValueError("rooms of one building need different keys: pass room=... to simulate")
    for r in rooms:
        if {k: v for k, v in r.site.items() if k != "name"} != {k: v for k, v in site.items() if k != "name"}:
            raise ValueError("rooms of one building need the same place, electricity_price and cost_per_false_off")
    if len(rooms) > 1:
        site["name"] = f"Simulated building with {len(rooms)} rooms"
    folder = Path(folder)
    (folder / "truth").mkdir(parents=True, exist_ok=True)
    lines = _toml("site", site)
    for r in rooms:
        lines += _toml(f"rooms.{r.room}", r.spec)
    (folder / "site.toml").write_text("\n".join(lines), encoding="utf-8")
    pl.concat([r.log for r in rooms]).sort("time", maintain_order=True).write_parquet(folder / "log.parquet")
    for name in ("truth_curve", "switch_offs", "presence"):
        frames = [getattr(r, name).select(pl.lit(r.room).alias("room"), pl.all()) for r in rooms]
        # A room without a truth has no columns.
        pl.concat(frames, how="diagonal_relaxed").write_parquet(folder / "truth" / f"{name}.parquet")
    text = json.dumps({r.room: r.parameters for r in rooms}, indent=1, default=_plain)
    (folder / "truth" / "parameters.json").write_text(text, encoding="utf-8")


def write_site_and_log(room: "SimulatedRoom", folder: str | Path) -> None:
    """Write a room as a building folder, without a truth."""
    lines = _toml("site", dict(room.site)) + _toml(f"rooms.{room.room}", room.spec)
    (Path(folder) / "site.toml").write_text("\n".join(lines), encoding="utf-8")
    room.log.write_parquet(Path(folder) / "log.parquet")


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value.item()

"""Project Haystack: records with tags, as JSON, Zinc or CSV, that say what points are.

Tag names are those of the published Haystack definitions, written from memory; a record without one of these tags tells nothing.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tuning.errors import LogError
from tuning.mapping.models import Point, bare
from tuning.mapping.names import plain
from tuning.mapping.rooms import OCCUPANCY, room_id
from tuning.site import Quantity

Record = dict[str, Any]
MARKER = object()
MARKS = {"m:", "✓", "m", "true", "marker", "x"}
MOST_BYTES = 64 << 20
ROOM_REFS = ("spaceRef", "roomRef", "zoneRef")
NAMES = ("id", "dis", "navName", "hisId", "name")


def reader_of(path: Path) -> Callable[[Path], dict[str, Point]] | None:
    """Return the reader of a file of tags; None where the file is none."""
    suffix = path.suffix.lower()
    try:
        with path.open("rb") as stream:
            head = stream.read(4096).decode("utf-8-sig", errors="replace")
    except OSError:
        return None
    if suffix in (".zinc", ".zn") or head.lstrip().startswith('ver:"'):
        return read
    if (suffix == ".json" and '"rows"' in head) or (
        suffix == ".json" and re.search(r'"(?:point|siteRef|equipRef)"', head)
    ):
        return read
    if suffix == ".csv":
        names = [name.strip().strip('"') for name in head.split("\n", 1)[0].split(",")]
        return read if "id" in names and {"point", "equipRef", "siteRef"} & set(names) else None
    return None


def read(path: Path) -> dict[str, Point]:
    """Read the points of a file of tags, by each of their names.

    Raises
    ------
    LogError
        If it is not what its beginning says.
    """
    if path.stat().st_size > MOST_BYTES:
        raise LogError(
            path, "", "the tags take more than 64 MiB", "They name points, they hold no logs", "Leave the data out"
        )
    try:
        text = path.read_bytes().decode("utf-8-sig")
        if text.lstrip().startswith('ver:"'):
            records = _zinc(text)
        elif path.suffix.lower() == ".json":
            records = _json(json.loads(text))
        else:
            records = [
                _flat({k: _cell(v) for k, v in row.items() if k and v}) for row in csv.DictReader(text.splitlines())
            ]
    except (ValueError, RecursionError, csv.Error, TypeError, AttributeError) as error:
        found = (str(error) or type(error).__name__).splitlines()[0][:100]
        raise LogError(
            path, "", f"no list of tags ({found})", "Tags are a grid in JSON, Zinc or CSV", "Export it again"
        ) from error
    return _points(records)


def _points(records: list[Record]) -> dict[str, Point]:
    by_id = {str(r["id"]): r for r in records if "id" in r}
    found = [(r, _quantity(r), *_place(r, by_id)) for r in records if "point" in r or _quantity(r)]
    lit: dict[str, set[str]] = {}
    for _, quantity, room, equipment in found:
        if quantity == "output" and room and equipment:
            lit.setdefault(room, set()).add(equipment)
    result: dict[str, Point] = {}
    for record, quantity, room, equipment in found:
        if quantity is None and "sp" not in record:
            continue
        several = len(lit.get(room or "", ())) > 1
        channel = (
            None
            if quantity in OCCUPANCY
            else (equipment if several and equipment in lit[room or ""] else None if several else "main")
        )
        told = ", ".join(sorted(k for k, v in record.items() if v is MARKER and k != "point"))
        point = Point(
            quantity,
            room,
            channel,
            f"its Haystack tags say {told or quantity or 'nothing of ours'}" + (f", in {room}" if room else ""),
        )
        for name in NAMES:
            if isinstance(record.get(name), str):
                result[bare(record[name])] = point
        result |= {bare(str(record["id.dis"])): point} if "id.dis" in record else {}
    return result


def _quantity(record: Record) -> Quantity | None:
    tags = {k for k, v in record.items() if v is MARKER}
    unit = str(record.get("unit", "")).casefold()
    if "sp" in tags or "energy" in tags:
        return None
    if "motion" in tags:
        return "motion"
    if tags & {"occupied", "occ", "occupancy"} and "cmd" not in tags:
        return "occupied"
    light = bool(tags & {"light", "lights", "lighting", "luminaire"})
    if "illuminance" in tags or unit in ("lx", "lux") or (light and {"level", "sensor"} <= tags and unit != "%"):
        return "illuminance"
    if light and (tags & {"cmd", "run", "level", "enable", "dim"} or unit == "%"):
        return "output"
    return "power" if "power" in tags else None


def _place(record: Record, by_id: dict[str, Record]) -> tuple[str | None, str | None]:
    at, equipment = record, None
    for _ in range(5):
        for ref in ROOM_REFS:
            if ref in at:
                space = by_id.get(str(at[ref]), {})
                label = space.get("dis") or space.get("id.dis") or at.get(f"{ref}.dis") or at[ref]
                return room_id(tuple(plain(str(label)).split())), equipment
        above = str(at.get("equipRef", ""))
        if above not in by_id:
            break
        at = by_id[above]
        if equipment is None:
            equipment = room_id(tuple(plain(str(at.get("navName") or at.get("dis") or above)).split()))
    return None, equipment


# Formats ---------------------------------------------------------------------------------------------------------


def _json(data: Any) -> list[Record]:
    rows = data.get("rows", []) if isinstance(data, dict) else data
    return [_flat({k: _value(v) for k, v in row.items()}) for row in rows]


def _value(value: Any) -> Any:
    if value is True:
        return MARKER
    if isinstance(value, dict):
        if value.get("_kind") == "marker":
            return MARKER
        return (
            (str(value.get("val", "")), str(value.get("dis", ""))) if value.get("_kind") == "ref" else value.get("val")
        )
    return _cell(value) if isinstance(value, str) else value


def _cell(text: str) -> Any:
    """Read a cell: marker, reference with or without a name, or text with a type before it."""
    text = text.strip()
    if text.casefold() in MARKS:
        return MARKER
    if text.startswith(("r:", "@")):
        ref, _, dis = text.removeprefix("r:").removeprefix("@").partition(" ")
        return ref, dis.strip().strip('"')
    if re.match(r"^[snbudth]:", text):
        return text[2:]
    return text[1:-1].replace('\\"', '"') if len(text) > 1 and text[0] == text[-1] == '"' else text


def _flat(record: Record) -> Record:
    """References become their id, and their name stands beside it."""
    flat: Record = {}
    for name, value in record.items():
        if isinstance(value, tuple):
            flat[name] = value[0]
            if value[1]:
                flat[f"{name}.dis"] = value[1]
        else:
            flat[name] = value
    return flat


def _zinc(text: str) -> list[Record]:
    lines = [line for line in text.splitlines()[1:] if line.strip()]
    if not lines:
        raise ValueError("no columns")
    names = [cell.strip().split(" ")[0] for cell in _split(lines[0])]
    rows = [dict(zip(names, _split(line), strict=False)) for line in lines[1:]]
    return [_flat({k: _cell(v) for k, v in row.items() if v.strip() not in ("", "N")}) for row in rows]


def _split(line: str) -> list[str]:
    return re.findall(r'((?:"(?:[^"\\]|\\.)*"|[^,"])*)(?:,|$)', line)[: line.count(",") + 1]

"""Brick: a Turtle file that says which point is which sensor of which room.

Class and relation names are those of the published Brick schema 1.x, written from memory; a class that is not listed here tells nothing.
"""

from __future__ import annotations

from collections import deque
from pathlib import Path
from typing import Any

from tuning.errors import LogError
from tuning.mapping.models import Point, bare
from tuning.mapping.names import plain
from tuning.mapping.rooms import OCCUPANCY, room_id
from tuning.site import Quantity

CLASSES: dict[str, Quantity] = {
    "Motion_Sensor": "motion",
    "PIR_Sensor": "motion",
    "Occupancy_Sensor": "occupied",
    "Occupancy_Status": "occupied",
    "Illuminance_Sensor": "illuminance",
    "Luminance_Sensor": "illuminance",
    "Luminance_Command": "output",
    "Electric_Power_Sensor": "power",
    "Electrical_Power_Sensor": "power",
    "Active_Power_Sensor": "power",
    "Power_Sensor": "power",
}
LIT_CLASSES: dict[str, Quantity] = {
    "On_Status": "output",
    "On_Off_Status": "output",
    "On_Off_Command": "output",
    "On_Command": "output",
}
"""Output where they are of a luminaire or of lighting."""
NO_ROOMS = {"Floor", "Building", "Site", "Wing", "Storey", "Basement", "Rooftop", "Portfolio", "HVAC_Zone"}
UP = ("isPointOf", "hasLocation", "isPartOf")
DOWN = ("hasPoint", "isLocationOf", "hasPart")
NAMES = {"label", "hasTimeseriesId", "timeseriesId", "object-name", "name", "altLabel", "prefLabel"}
MOST_BYTES = 64 << 20


def read(path: Path) -> dict[str, Point]:
    """Read the points of a Turtle file, by each of their names.

    Raises
    ------
    LogError
        If rdflib is missing, or the file is no Turtle.
    """
    try:
        import rdflib  # noqa: PLC0415  an extra
    except ImportError as error:
        raise LogError(
            path,
            "",
            "a Brick model, which needs the package rdflib",
            "It comes with the extra 'brick'",
            "Install holdoff[brick]",
        ) from error
    if path.stat().st_size > MOST_BYTES:
        raise LogError(
            path, "", "the model is larger than 64 MiB", "A model names points, it holds no logs", "Leave its data out"
        )
    graph = rdflib.Graph()
    try:
        graph.parse(path, format="turtle")
    except Exception as error:
        found = (str(error).strip() or type(error).__name__).splitlines()[0][:100]
        raise LogError(
            path, "", f"not valid Turtle ({found})", "A Brick model is RDF in Turtle", "Export it again"
        ) from error
    return _points(graph, rdflib)


def _local(node: Any) -> str:
    text = str(node)
    return text[max(text.rfind("#"), text.rfind("/")) + 1 :]


def _points(graph: Any, rdflib: Any) -> dict[str, Point]:
    classes: dict[Any, set[str]] = {}
    up: dict[Any, list[Any]] = {}
    names: dict[Any, list[str]] = {}
    for subject, predicate, value in graph:
        if predicate == rdflib.RDF.type:
            classes.setdefault(subject, set()).add(_local(value))
        elif _local(predicate) in UP:
            up.setdefault(subject, []).append(value)
        elif _local(predicate) in DOWN:
            up.setdefault(value, []).append(subject)
        elif _local(predicate) in NAMES and isinstance(value, rdflib.Literal):
            names.setdefault(subject, []).append(str(value))
        elif isinstance(value, rdflib.BNode) or _local(predicate) == "hasExternalReference":
            # A reference to the series holds its id.
            names.setdefault(subject, []).extend(
                str(o)
                for _, p, o in graph.triples((value, None, None))
                if _local(p) in NAMES and isinstance(o, rdflib.Literal)
            )
    found = [(node, *_place(node, up, classes)) for node in classes if _quantity(node, up, classes)]
    lit: dict[str, set[str]] = {}
    for node, room, equipment in found:
        if room and equipment and _quantity(node, up, classes) == "output":
            lit.setdefault(room, set()).add(equipment)
    result: dict[str, Point] = {}
    for node, room, equipment in found:
        quantity = _quantity(node, up, classes)
        several = len(lit.get(room or "", ())) > 1
        channel = (
            None
            if quantity in OCCUPANCY
            else (equipment if several and equipment in lit[room or ""] else None if several else "main")
        )
        kind = next(c for c in sorted(classes[node]) if c in CLASSES or c in LIT_CLASSES)
        point = Point(quantity, room, channel, f"the Brick model says {kind}" + (f" of {room}" if room else ""))
        for name in (_local(node), *names.get(node, ())):
            result[bare(name)] = point
    return result


def _quantity(node: Any, up: dict[Any, list[Any]], classes: dict[Any, set[str]]) -> Quantity | None:
    mine = classes.get(node, set())
    told = next((CLASSES[c] for c in sorted(mine) if c in CLASSES), None)
    if told is not None:
        return told
    if any("Lumin" in c or "Light" in c for owner in up.get(node, ()) for c in classes.get(owner, ())):
        return next((LIT_CLASSES[c] for c in sorted(mine) if c in LIT_CLASSES), None)
    return None


def _place(node: Any, up: dict[Any, list[Any]], classes: dict[Any, set[str]]) -> tuple[str | None, str | None]:
    """Room, and the lighting equipment on the way to it, nearest first."""
    equipment, seen, queue = None, {node}, deque([node])
    while queue:
        at = queue.popleft()
        kinds = classes.get(at, set())
        if at != node and any("Lumin" in c or "Light" in c for c in kinds) and equipment is None:
            equipment = room_id(tuple(plain(_local(at)).split()))
        room = any(
            c.endswith(("Room", "Space", "Office", "Hallway", "Corridor", "Lobby", "Restroom", "Library", "Auditorium"))
            for c in kinds
        )
        if at != node and room and not kinds & NO_ROOMS:
            return room_id(tuple(plain(_local(at)).split())), equipment
        for above in sorted(up.get(at, ()), key=str):
            if above not in seen:
                seen.add(above)
                queue.append(above)
    return None, equipment

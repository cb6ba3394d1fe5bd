"""Models of a building that lie beside its logs and say what its points are: Brick (Turtle) and Project Haystack tags."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from tuning.errors import TuningError
from tuning.mapping.names import plain, use_of
from tuning.site import Quantity


@dataclass(frozen=True)
class Point:
    """What a model says of a point: quantity (None: no reading of ours), room id, channel, and the sentence that tells it."""

    quantity: Quantity | None
    room: str | None
    channel: str | None
    reason: str


def points_of(folder: Path) -> tuple[dict[str, Point], list[str], list[str]]:
    """Read every model in a folder.

    Returns
    -------
    Points by each of their names in small letters, names of the files that are models, and a line per model that cannot be read.
    """
    from tuning.mapping import brick, haystack  # noqa: PLC0415  brick asks for an extra

    points: dict[str, Point] = {}
    files: list[str] = []
    problems: list[str] = []
    for path in sorted(path for path in folder.iterdir() if path.is_file()):
        reader = brick.read if path.suffix.lower() == ".ttl" else haystack.reader_of(path)
        if reader is None:
            continue
        files.append(path.name)
        try:
            points |= reader(path)
        except TuningError as error:
            problems.append(str(error))
    return points, files, problems


def find(points: dict[str, Point], name: str) -> Point | None:
    """Look a column or point up, whatever its case and the blanks around it."""
    return points.get(bare(name)) if points else None


def bare(name: str) -> str:
    """Name without case and without what separates its words."""
    return re.sub(r"[\W_]+", "", name.casefold())


def use_of_room(name: str) -> str | None:
    """Room use in a room's id or name."""
    return use_of(tuple(plain(name).split()))

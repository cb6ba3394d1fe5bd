"""A building's document: its ``site.toml`` as plain JSON, one key at a time.

An address is the list of keys from the top: ``["rooms", "r101", "channels", "wall", "load_w"]``. A document may be unfinished (no room yet);
whatever is there must be what ``site.toml`` would take.
"""

from __future__ import annotations

import copy
import datetime as dt
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from dashboard.workspace.errors import WrongValueError
from tuning.site import Building, Channel, LogLayout, Room, Site

Document = dict[str, Any]
Path = tuple[str, ...]
Model = TypeVar("Model", bound=BaseModel)
MISSING: Any = object()
"""Stands for a key that is not there."""
UNSEEN_KEYS = {"name", "note", "area_m2"}
"""Keys that no estimate rests on."""


def from_toml(text: str) -> Document:
    """Read ``site.toml`` as a document; the text must have been found valid before."""
    return plain(tomllib.loads(text))


def plain(value: Any) -> Any:
    """Turn dates and tuples into what JSON holds."""
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    return value.isoformat() if isinstance(value, dt.date | dt.time) else value


def time(text: str) -> dt.datetime:
    """Read a time that :func:`plain` wrote."""
    return dt.datetime.fromisoformat(text)


def get(document: Document, path: Sequence[str]) -> Any:
    """Return what stands at an address, or ``MISSING``."""
    here: Any = document
    for key in path:
        if not isinstance(here, dict) or key not in here:
            return MISSING
        here = here[key]
    return here


def put(document: Document, path: Sequence[str], value: Any) -> Document:
    """Return a copy with another value at an address; ``MISSING`` takes the key away."""
    result = copy.deepcopy(document)
    here = result
    for key in path[:-1]:
        here = here.setdefault(key, {})
        if not isinstance(here, dict):
            raise WrongValueError(path, "it lies inside a value that holds no keys")
    if value is MISSING:
        here.pop(path[-1], None)
    else:
        here[path[-1]] = copy.deepcopy(value)
    return result


def check(document: Document) -> None:
    """Check all that is there.

    Raises
    ------
    WrongValueError
        With the first problem.
    """
    unknown = set(document) - {"site", "rooms", "logs"}
    if unknown:
        raise WrongValueError(sorted(unknown)[:1], "this key is not known")
    _fits(Building, document.get("site", {}), ("site",))
    for name, room in document.get("rooms", {}).items():
        _fits(Room, room, ("rooms", name))
    for index, layout in enumerate(document.get("logs", [])):
        _fits(LogLayout, layout, ("logs", str(index)))
    if any(room.get("channels") for room in document.get("rooms", {}).values()):
        site_of(document)


def site_of(document: Document) -> Site:
    """Return the document as the analysis reads it.

    Raises
    ------
    WrongValueError
        If something is wrong, or no channel is there yet.
    """
    return _fits(Site, document, ())


def _fits(model: type[Model], value: Any, at: Path) -> Model:
    try:
        return model.model_validate(value)
    except ValidationError as error:
        first = error.errors()[0]
        where = (*at, *(str(part) for part in first["loc"]))
        told = {"missing": "this is needed", "extra_forbidden": "this key is not known"}
        rule = told.get(first["type"], str(first["msg"]).removeprefix("Value error, "))
        raise WrongValueError(where, rule[:1].lower() + rule[1:]) from error


def differences(before: Any, after: Any, at: Path = ()) -> Iterator[tuple[Path, Any, Any]]:
    """All addresses at which two documents differ, with both values."""
    if isinstance(before, dict) and isinstance(after, dict):
        if before == after:
            return
        for key in [*before, *(k for k in after if k not in before)]:
            yield from differences(before.get(key, MISSING), after.get(key, MISSING), (*at, key))
    elif before is MISSING or after is MISSING or before != after:
        yield at, before, after


def telling(path: Path) -> bool:
    """Whether an estimate may rest on what stands at an address."""
    return not (
        len(path) in (2, 3, 5)
        and path[0] in ("site", "rooms")
        and path[-1] in UNSEEN_KEYS
        and path != ("rooms", path[-1])
    )


def defaults(path: Sequence[str]) -> Any:
    """What holds where a key is not given; ``None`` where nothing does."""
    models: dict[int, type[BaseModel]] = {1: Building} if tuple(path[:1]) == ("site",) else {2: Room, 4: Channel}
    model = models.get(len(path) - 1)
    field = model.model_fields.get(path[-1]) if model else None
    return None if field is None or field.is_required() else field.get_default(call_default_factory=True)

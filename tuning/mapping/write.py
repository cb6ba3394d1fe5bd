"""A mapping into ``site.toml``: its ``[[logs]]`` are replaced, rooms and channels that lack are added, all else stays as it is written."""

from __future__ import annotations

import os
import tempfile
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tuning.errors import FolderError, SiteError
from tuning.mapping.model import MappedRoom, Mapping
from tuning.room_uses import ROOM_USES
from tuning.site import ColumnMeaning, LogLayout, Site, parse_site
from tuning.toml_text import Section, joined, key, sections, string

CONFIRM = "# confirm"
"""Stands behind every line that was assumed, until a person takes it away."""
ASSUMED_REQUIRED_LX = 500
"""Stands in for the required illuminance of a use that the table of room uses does not know; marked to be confirmed."""


def write_mapping(folder: Path, mapping: Mapping) -> Path:
    """Write a mapping into ``site.toml`` of a folder, all at once or not at all.

    Comments, order and everything that has nothing to do with the mapping stay. Lines that were assumed end in ``# confirm``;
    :func:`to_confirm` lists them.

    Returns
    -------
    Path of ``site.toml``.

    Raises
    ------
    SiteError
        If ``site.toml`` is not valid before or after, or is laid out so that it cannot be changed line by line. Nothing is written then.
    FolderError
        If the folder is missing.
    """
    path = folder / "site.toml"
    text = _mapped_text(folder, mapping)
    parse_site(text, path)
    _replace(path, text)
    return path


def mapped_site(folder: Path, mapping: Mapping) -> Site:
    """Return ``site.toml`` as :func:`write_mapping` would leave it. Raises as that does."""
    return parse_site(_mapped_text(folder, mapping), folder / "site.toml")


def to_confirm(folder: Path) -> tuple[str, ...]:
    """Return what ``site.toml`` of a folder still marks as assumed, as ``rooms.r101.use = "office"``; empty without the file."""
    path = folder / "site.toml"
    if not path.is_file():
        return ()
    found = []
    for section in sections(path.read_text(encoding="utf-8-sig", errors="replace")):
        for line in section.text.splitlines():
            told, mark, _ = line.partition(CONFIRM)
            if mark and told.strip() and not told.strip().startswith("["):
                name = ".".join(section.path)
                found.append(f"{name}.{told.strip().removeprefix('#').strip()}")
    return tuple(found)


def _replace(path: Path, text: str) -> None:
    """Put a text in place of a file in one step, so that no reader ever sees half of it."""
    target = path.resolve()
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=".site-", suffix=".toml")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        Path(name).chmod(target.stat().st_mode & 0o777 if target.is_file() else 0o644)
        Path(name).replace(target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


@dataclass(frozen=True)
class _Old:
    path: Path
    data: dict[str, Any]
    sections: list[Section]


def _old(folder: Path) -> _Old:
    if not folder.is_dir():
        raise FolderError(folder, "no such folder", "Give the folder that holds the logs")
    path = folder / "site.toml"
    if not path.is_file():
        return _Old(path, {}, [])
    try:
        text = path.read_text(encoding="utf-8-sig")
        return _Old(path, tomllib.loads(text), sections(text))
    except UnicodeDecodeError as error:
        raise SiteError(
            path, "the file", f"byte {error.start} is not UTF-8", "TOML files are UTF-8", "save it as UTF-8"
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise SiteError(
            path, "the file", f"not valid TOML: {error}", "The file must be TOML 1.0", "mend that line"
        ) from error


def _mapped_text(folder: Path, mapping: Mapping) -> str:
    old = _old(folder)
    parts = _with_site(old, mapping)
    parts = _with_rooms(parts, old, mapping)
    if mapping.logs:
        parts = _with_logs(parts, mapping)
    text = joined(parts)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _by_hand(old.path, f"adding to it gives no valid TOML ({error})") from error
    if not _kept(old.data, data, top=True):
        raise _by_hand(old.path, "a table of it would be lost")
    if mapping.logs and [LogLayout.model_validate(entry) for entry in data["logs"]] != list(mapping.logs):
        raise _by_hand(old.path, "its logs are not written as [[logs]] tables")
    return text


def _by_hand(path: Path, found: str) -> SiteError:
    rule = "A mapping is written table by table"
    return SiteError(path, "logs", found, rule, "write rooms and logs as tables, or map by hand")


def _kept(old: Any, new: Any, *, top: bool = False) -> bool:
    """Whether all that was there is there still."""
    if isinstance(old, dict):
        return isinstance(new, dict) and all(
            name in new and _kept(value, new[name]) for name, value in old.items() if not (top and name == "logs")
        )
    return bool(old == new)


# [site] ----------------------------------------------------------------------------------------------------------


def _with_site(old: _Old, mapping: Mapping) -> list[Section]:
    site = old.data.get("site", {})
    if "time_zone" in site:
        return list(old.sections)
    if mapping.time_zone is None:
        rule = "Logs without an offset are read in the building's time zone"
        raise SiteError(
            old.path, "site.time_zone", "the key is missing", rule, "give the zone, such as Europe/Copenhagen"
        )
    zone = f"time_zone = {string(mapping.time_zone)}   {CONFIRM}\n"
    if "site" not in old.data:
        name = f"name = {string(mapping.name)}\n" if mapping.name else f'name = "Unnamed building"   {CONFIRM}\n'
        head = (
            ""
            if old.sections
            else "# Written by holdoff map. Lines that end in # confirm were assumed: correct them, or take the mark away.\n\n"
        )
        prices = "electricity_price = 0.30   # per kWh   # confirm\ncost_per_false_off = 0.35  # what one nuisance switch-off costs   # confirm\n"
        return [Section((), head), Section(("site",), f"[site]\n{name}{zone}{prices}\n"), *old.sections]
    parts = []
    for section in old.sections:
        header, newline, rest = section.text.partition("\n")
        added = section.path == ("site",)
        parts.append(Section(section.path, header + (newline or "\n") + zone + rest) if added else section)
    return parts


# [rooms] ---------------------------------------------------------------------------------------------------------


def _with_rooms(parts: list[Section], old: _Old, mapping: Mapping) -> list[Section]:
    rooms = old.data.get("rooms", {})
    for name, room in mapping.rooms.items():
        have = rooms.get(name)
        added = _room(name, room) if have is None else ""
        lack = [c for c in room.channels if c not in (have or {}).get("channels", {})]
        added += "".join(_channel(name, c, room) for c in lack)
        if added:
            parts = _after(parts, ("rooms", name) if have is not None else ("rooms",), ("rooms", name), added)
    return parts


def _room(name: str, room: MappedRoom) -> str:
    lines = [f"[rooms.{key(name)}]"]
    if room.name:
        lines.append(f"name = {string(room.name)}")
    lines.append(f"use = {string(room.use)}   {CONFIRM}")
    if room.use.strip().lower() not in ROOM_USES:
        lines.append(f"required_illuminance_lx = {ASSUMED_REQUIRED_LX}   {CONFIRM}")
    return "\n".join(lines) + "\n\n"


def _channel(name: str, channel: str, room: MappedRoom) -> str:
    lines = (
        f"[rooms.{key(name)}.channels.{key(channel)}]",
        f"control = {string(room.channels[channel])}   {CONFIRM}",
        f"# load_w = 100   # installed power at full output   {CONFIRM}",
    )
    return "\n".join(lines) + "\n\n"


def _after(parts: list[Section], near: tuple[str, ...], path: tuple[str, ...], text: str) -> list[Section]:
    """Put a section behind the last one that begins with ``near``; else before the logs, else at the end."""
    last = max((i for i, s in enumerate(parts) if s.path[: len(near)] == near), default=None)
    if last is None:
        at = next((i for i, s in enumerate(parts) if s.path[:1] == ("logs",)), len(parts))
        return [*parts[:at], Section(path, text), *parts[at:]]
    before, tail = parts[last], parts[last].tail
    if last + 1 == len(parts):
        tail = ""
    # Comments right above the next table belong to that.
    body = before.text.removesuffix(tail) if tail else before.text
    gap = "" if body.endswith("\n\n") else "\n" if body.endswith("\n") else "\n\n"
    return [*parts[:last], Section(before.path, body), Section(path, gap + text + tail), *parts[last + 1 :]]


# [[logs]] --------------------------------------------------------------------------------------------------------


def _with_logs(parts: list[Section], mapping: Mapping) -> list[Section]:
    at = next((i for i, s in enumerate(parts) if s.path[:1] == ("logs",)), None)
    written = [Section(("logs",), _logs(layout, mapping)) for layout in mapping.logs]
    kept: list[Section] = []
    for index, section in enumerate(parts):
        if index == at:
            kept += written
        if section.path[:1] != ("logs",):
            kept.append(section)
        elif index + 1 < len(parts) and parts[index + 1].path[:1] != ("logs",):
            # Comments right above the next table belong to that.
            kept.append(Section(section.path, section.tail))
    return kept + written if at is None else kept


def _logs(layout: LogLayout, mapping: Mapping) -> str:
    lines = [
        "[[logs]]",
        f"files = {string(layout.files)}",
        f"layout = {string(layout.layout)}",
        f"time = {_names(layout.time)}",
    ]
    if layout.stamp != "start":
        lines.append(f"stamp = {string(layout.stamp)}")
    if layout.time_format is not None:
        lines.append(f"time_format = {string(layout.time_format)}")
    if layout.layout == "points":
        lines += [f"point = {_names(layout.point)}", f"value = {string(layout.value)}"]
    if layout.columns:
        lines.append("[logs.columns]")
        lines += [
            f"{key(name)} = {_meaning(meaning)}" + (f"   {CONFIRM}" if name in mapping.confirm else "")
            for name, meaning in layout.columns.items()
        ]
    return "\n".join(lines) + "\n\n"


def _names(value: str | tuple[str, ...]) -> str:
    return string(value) if isinstance(value, str) else "[" + ", ".join(string(name) for name in value) + "]"


def _meaning(meaning: ColumnMeaning) -> str:
    def parts() -> Iterator[str]:
        yield f"room = {string(meaning.room)}"
        if meaning.channel is not None:
            yield f"channel = {string(meaning.channel)}"
        yield f"quantity = {string(meaning.quantity)}"
        if meaning.detector is not None:
            yield f"detector = {string(meaning.detector)}"
        if meaning.scale != 1:
            yield f"scale = {meaning.scale!r}"

    return "{ " + ", ".join(parts()) + " }"

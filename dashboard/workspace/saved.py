"""Analyses on disk: one JSON with all that lists and cards show, and a Parquet file for every frame, read when a room is looked at.

Nothing here knows the fields of :mod:`tuning.results`: they are read off its dataclasses, so that a new field is kept without a word, and an
analysis that was saved before it has the field's default.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import functools
import json
import types
import typing
from pathlib import Path
from typing import Any

import polars as pl

from tuning.results import Analysis, ChannelResult
from tuning.sentence import Sentence

FRAME = "$frame"
SENTENCE = "$sentence"
DOCUMENT = "analysis.json"
PLAIN = (float, int, bool)


def save(
    analysis: Analysis, folder: Path, name: str, kept: dict[tuple[str, str], dict[str, Any]] | None = None
) -> None:
    """Write an analysis into a folder that is not there yet.

    Parameters
    ----------
    folder
        Where to write now; it may be renamed afterwards.
    name
        What the folder will be called in the end, for the references to frames.
    kept
        Saved entries, by room and channel, of channels that are taken over from an earlier analysis instead.
    """
    folder.mkdir(parents=True)
    kept = kept or {}
    channels = []
    for number, channel in enumerate(analysis.channels):
        key = (channel.room, channel.channel)
        channels.append(kept[key] if key in kept else _encode(channel, folder, f"{name}/{number}"))
    whole = _encode(dataclasses.replace(analysis, channels=()), folder, name) | {"channels": channels}
    (folder / DOCUMENT).write_text(json.dumps(whole, ensure_ascii=False), encoding="utf-8")


def load(folder: Path) -> Analysis:
    """Read an analysis without its frames."""
    return _decode(document(folder), Analysis, None)


@functools.lru_cache(maxsize=4)
def document(folder: Path) -> dict[str, Any]:
    """Read what was saved, as plain JSON; what is saved never changes, and nor may this."""
    return json.loads((folder / DOCUMENT).read_text(encoding="utf-8"))


def load_channel(folder: Path, room: str, channel: str) -> ChannelResult | None:
    """Read one channel with its frames; ``None`` where the analysis has no such channel."""
    entry = next((c for c in document(folder)["channels"] if (c["room"], c["channel"]) == (room, channel)), None)
    return None if entry is None else _decode(entry, ChannelResult, folder.parent)


def weeks(folder: Path) -> dict[tuple[str, str], pl.DataFrame]:
    """Read the week of each channel that has one (:class:`~tuning.results.TimeUse`), and no other frame."""
    found = {}
    for entry in document(folder)["channels"]:
        kept = (entry.get("time_use") or {}).get("week")
        if kept is not None:
            found[entry["room"], entry["channel"]] = pl.read_parquet(folder.parent / kept[FRAME])
    return found


def channel(entry: dict[str, Any]) -> ChannelResult:
    """Build a channel without its frames from its saved entry."""
    return _decode(entry, ChannelResult, None)


def plain(value: Any) -> dict[str, Any]:
    """Return a frozen dataclass of plain values as JSON holds it."""
    return {f.name: getattr(value, f.name) for f in dataclasses.fields(value)}


def encoded(value: Any) -> Any:
    """Return a dataclass without frames as JSON holds it."""
    return _encode(value, Path(), "")


def decoded(value: Any, kind: type) -> Any:
    """Build a dataclass of what :func:`encoded` gave."""
    return _decode(value, kind, None)


def _encode(value: Any, folder: Path, name: str) -> Any:
    if isinstance(value, pl.DataFrame):
        # The first part of a name is the folder's own.
        path = folder.joinpath(*name.split("/")[1:-1], name.rsplit("/", maxsplit=1)[-1] + ".parquet")
        path.parent.mkdir(parents=True, exist_ok=True)
        value.write_parquet(path)
        return {FRAME: name + ".parquet"}
    if dataclasses.is_dataclass(value):
        return {f.name: _encode(getattr(value, f.name), folder, f"{name}/{f.name}") for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(k): _encode(v, folder, f"{name}/{k}") for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_encode(v, folder, f"{name}/{i}") for i, v in enumerate(value)]
    if isinstance(value, dt.date):
        # A time is a date, too.
        return value.isoformat()
    if isinstance(value, Sentence):
        return {SENTENCE: str(value), "numbers": value.numbers}
    if hasattr(value, "item"):
        # A number of numpy's.
        return value.item()
    return value


def _decode(value: Any, kind: Any, results: Path | None) -> Any:
    """Build a value of a kind; frames are left out where ``results`` is ``None``."""
    if isinstance(value, dict) and FRAME in value:
        return None if results is None else pl.read_parquet(results / value[FRAME])
    if isinstance(value, dict) and SENTENCE in value:
        return Sentence(value[SENTENCE], [(a, b) for a, b in value["numbers"]])
    if value is None or (type(value) in PLAIN and kind is not dt.datetime):
        return value
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return _decode(value, next(k for k in inner if k is not type(None)), results)
    if dataclasses.is_dataclass(kind):
        hints = _fields(kind)  # type: ignore[arg-type]
        return kind(**{k: _decode(v, hints[k], results) for k, v in value.items() if k in hints})  # type: ignore[operator]
    if origin is tuple:
        kinds = [inner[0]] * len(value) if len(inner) == 2 and inner[1] is Ellipsis else inner
        return tuple(_decode(v, k, results) for v, k in zip(value, kinds, strict=True))
    if origin is dict:
        return {k: _decode(v, inner[1], results) for k, v in value.items()}
    if origin is list:
        return [_decode(v, inner[0], results) for v in value]
    return kind.fromisoformat(value) if kind in (dt.datetime, dt.date) else value


@functools.cache
def _fields(kind: type) -> dict[str, Any]:
    """Fields of a dataclass that it can be made of, with their types."""
    hints = typing.get_type_hints(kind)
    return {f.name: hints[f.name] for f in dataclasses.fields(kind) if f.init}

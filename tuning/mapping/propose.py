"""Looks at the files of a folder and proposes what their columns are."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, get_args
from zoneinfo import available_timezones

from tuning.errors import FolderError, SiteError
from tuning.logs.own import is_own_result
from tuning.logs.sources import is_log
from tuning.mapping import models
from tuning.mapping.looks import Looks, look
from tuning.mapping.model import ColumnProposal, Proposal, RoomProposal, TableProposal
from tuning.mapping.moments import Found
from tuning.mapping.names import Named, read_name
from tuning.mapping.rooms import OCCUPANCY, Placed, Series, place_all
from tuning.mapping.shapes import Raw, raw_tables
from tuning.mapping.tables import kinds_of, patterns_of
from tuning.site import ColumnMeaning, Control, Quantity

Progress = Callable[[float, str], None]
QUANTITIES: tuple[Quantity, ...] = get_args(Quantity)
PRIORITY: tuple[Quantity, ...] = ("illuminance", "override", "power", "output", "occupied", "motion")
"""Of two quantities in one name the measured one stands for the device's: "PIR 3 lux" is illuminance. Chosen by us."""


@dataclass(frozen=True)
class _Judged:
    quantity: Quantity | None
    confidence: float
    reasons: tuple[str, ...]
    alternatives: tuple[Quantity, ...]


def propose(folder: Path, *, progress: Progress | None = None) -> Proposal:
    """Look at every log of a folder and propose what it holds.

    What ``site.toml`` maps already is proposed as it says; models of the building beside the logs (Brick, Haystack) come next; then
    names and values.

    Raises
    ------
    FolderError
        If the folder is missing or holds no log.
    SiteError
        If there is a ``site.toml`` that is no TOML.
    """
    if not folder.is_dir():
        raise FolderError(folder, "no such folder", "Give the folder that holds the logs")
    site = _site(folder)
    say = progress or (lambda _share, _what: None)
    points, model_files, problems = models.points_of(folder)
    own = [p for p in sorted(folder.iterdir()) if is_log(p) and is_own_result(p)]
    aside = {*own, *(folder / name for name in model_files)}
    kinds, found_problems = kinds_of(folder, progress=say, aside=aside)
    if not kinds and not found_problems:
        raise FolderError(folder, "no log in this folder", "Put the exports into it")
    problems += found_problems
    known = {name: room.get("name", "") for name, room in site.get("rooms", {}).items() if isinstance(room, dict)}
    tables: list[tuple[Raw, Found]] = []
    for kind in kinds:
        tables += raw_tables(kind, problems)
    channels = {name: list(room.get("channels", {})) for name, room in site.get("rooms", {}).items() if name in known}
    columns = _columns(tables, known, channels, points, _said(site))
    every = [p for p in sorted(folder.iterdir()) if p.is_file() and p not in own]
    proposed = []
    for (raw, found), mine in zip(tables, columns, strict=True):
        others = [p for p in every if p not in raw.files]
        proposed.append(
            TableProposal(
                files=tuple(p.name for p in raw.files),
                patterns=patterns_of(raw.files, others),
                layout=raw.layout,
                time=found.proposal,
                point=raw.point,
                value=raw.value,
                columns=tuple(mine),
                reasons=raw.reasons,
            )
        )
    zone, zone_known = _zone(site)
    left = tuple(f"{p.name}: a result of this program" for p in own) + tuple(
        f"{n}: a model of the building" for n in model_files
    )
    return Proposal(folder, tuple(proposed), _rooms(proposed, site), tuple(problems), left, zone, zone_known)


def _site(folder: Path) -> dict[str, Any]:
    path = folder / "site.toml"
    if not path.is_file():
        return {}
    try:
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SiteError(
            path, "the file", f"not valid TOML: {error}", "The file must be TOML 1.0", "mend that line"
        ) from error


def _said(site: dict[str, Any]) -> dict[str, ColumnMeaning]:
    found = {}
    logs = site.get("logs", [])
    for layout in logs if isinstance(logs, list) else []:
        for name, meaning in layout.get("columns", {}).items():
            try:
                found[name] = ColumnMeaning.model_validate(meaning)
            except ValueError:
                continue
    return found


def _zone(site: dict[str, Any]) -> tuple[str | None, bool]:
    said = site.get("site", {}).get("time_zone")
    if isinstance(said, str):
        return said, True
    guess = os.environ.get("TZ") or str(Path("/etc/localtime").resolve()).partition("zoneinfo/")[2]
    return (guess if guess in available_timezones() else None), False


# Columns ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Item:
    table: int
    name: str
    looks: Looks
    series: Series
    judged: _Judged


def _columns(
    tables: list[tuple[Raw, Found]],
    known: dict[str, str],
    channels: dict[str, list[str]],
    points: dict[str, models.Point],
    said: dict[str, ColumnMeaning],
) -> list[list[ColumnProposal]]:
    items = []
    for number, (raw, found) in enumerate(tables):
        for column in raw.columns:
            looks = look(
                column.values,
                found.us[column.rows] if column.rows is not None else found.us,
                utc=not found.local,
                whole=raw.whole,
            )
            named = read_name(column.text)
            context = read_name(raw.stem) if raw.stem else None
            if raw.generic and context is not None:
                named = replace(context, unit=named.unit or context.unit)
            judged = _quantity(named, looks)
            items.append(_Item(number, column.name, looks, Series(named, judged.quantity, context), judged))
    readings = [item for item in items if item.judged.quantity is not None]
    placed = dict(zip((id(i) for i in readings), place_all([i.series for i in readings], known, channels), strict=True))
    result: list[list[ColumnProposal]] = [[] for _ in tables]
    for item in items:
        result[item.table].append(_proposal(item, placed.get(id(item)), tables[item.table][0], points, said))
    return result


def _proposal(
    item: _Item, placed: Placed | None, raw: Raw, points: dict[str, models.Point], said: dict[str, ColumnMeaning]
) -> ColumnProposal:
    judged, looks = item.judged, item.looks
    base = ColumnProposal(
        name=item.name, role="other", quantity=None, room=None, channel=None, detector=None, scale=1.0,
        confidence=judged.confidence, reasons=(*judged.reasons, *looks.told), preview=looks.preview, alternatives=judged.alternatives,
    )  # fmt: skip
    if raw.layout == "long":
        room, part, quantity, detector = raw.keys[item.name]
        return replace(base, role="reading", quantity=quantity, room=room, channel=part or None, detector=detector or None,
                       confidence=1.0, reasons=("the log names it so", *looks.told), alternatives=())  # fmt: skip
    before = said.get(item.name)
    if before is not None:
        return replace(base, role="reading", quantity=before.quantity, room=before.room, channel=before.channel,
                       detector=before.detector, scale=before.scale, confidence=1.0, reasons=("site.toml says so", *looks.told),
                       alternatives=())  # fmt: skip
    scale, doubt = _scale(judged.quantity, looks)
    point = models.find(points, item.name)
    if point is not None and point.quantity is None:
        return replace(base, confidence=0.9, reasons=(point.reason, *looks.told))
    if point is not None and point.quantity is not None and looks.fits.get(point.quantity, 0.0) > -1.0:
        of = point.room or (placed.room if placed else None)
        channel = point.channel if point.room else placed.channel if placed else None
        sure = 0.97 if point.room else min(0.7, placed.confidence if placed else 0.0)
        return replace(base, role="reading", quantity=point.quantity, room=of, channel=channel,
                       scale=scale, confidence=sure, reasons=(point.reason, *looks.told))  # fmt: skip
    if judged.quantity is None or placed is None:
        return base
    confidence = min(judged.confidence, placed.confidence, doubt, 0.5 if raw.doubtful else 1.0)
    if not looks.numeric:
        confidence = min(confidence, 0.2)
    extra = (f"values stay below 1: taken times {scale:g}",) if scale != 1 else ()
    return replace(base, role="reading", quantity=judged.quantity, room=placed.room, channel=placed.channel, detector=placed.detector,
                   scale=scale, confidence=round(confidence, 2), reasons=(*judged.reasons, *looks.told, *placed.reasons, *extra))  # fmt: skip


def _scale(quantity: Quantity | None, looks: Looks) -> tuple[float, float]:
    """What to multiply values with, and how sure that is."""
    high = looks.preview.high
    if quantity not in ("output", "override") or high is None:
        return 1.0, 1.0
    if high == 1.0 and not any(v and not v[0].isdigit() for v in looks.preview.first):
        return 100.0, 0.9 if looks.preview.kinds == 2 else 0.75
    if looks.share_of_one and 0 < high < 1:
        return 100.0, 0.7
    if 200 < high <= 255:
        return round(100 / high, 6), 0.4
    return 1.0, 1.0


def _quantity(named: Named, looks: Looks) -> _Judged:
    """Judge a quantity by name and values: both must agree for it to be sure."""
    by_values = sorted((q for q in QUANTITIES if looks.fits.get(q, 0) > 0.15), key=lambda q: -looks.fits[q])
    if named.other:
        return _Judged(None, 0.9, (f"{named.other!r} in its name is none of the quantities",), ())
    if not looks.numeric and not named.quantities:
        return _Judged(None, 0.9, (), ())
    if not named.quantities:
        return _by_values(looks, by_values)
    strong = max(named.quantities.values())
    candidates = [q for q in PRIORITY if q in named.quantities and named.quantities[q] == strong]
    possible = [q for q in candidates if looks.fits.get(q, 0.0) > -0.9]
    weaker = [q for q in PRIORITY if q in named.quantities and q not in candidates and looks.fits.get(q, 0.0) > -0.9]
    # Where several are possible the values decide, if they do.
    possible.sort(key=lambda q: -(looks.fits.get(q, 0.0) > 0.35))
    chosen = (possible or weaker or candidates)[0]
    fit = looks.fits.get(chosen, 0.0)
    reasons = [f"its name says {chosen}"]
    others = tuple(q for q in (*possible, *weaker, *by_values) if q != chosen)
    if not looks.preview.kinds or not looks.numeric:
        return _Judged(chosen, 0.4, (*reasons, "no values to hold against the name"), others)
    if fit <= -0.9:
        return _Judged(chosen, 0.2, (*reasons, "its values are not of that kind"), tuple(dict.fromkeys(others)))
    confidence = 0.95 if fit >= 0.35 else 0.88 if fit >= 0.0 else 0.6
    if strong < 1.0 or named.quantities[chosen] < strong:
        confidence = min(confidence, 0.85 if fit >= 0.35 else 0.65)
    if chosen == "output" and fit < 0.35 and looks.preview.high is not None and looks.preview.high > 100.5:
        confidence = 0.3
    # A held state and a movement are told apart by their stays at 1; where these say the contrary of the name, a person must look.
    if chosen in OCCUPANCY:
        twin: Quantity = "occupied" if chosen == "motion" else "motion"
        if looks.fits[twin] > looks.fits[chosen] + 0.3:
            confidence, reasons = min(confidence, 0.6), [*reasons, f"but its values look like {twin}"]
        others = (twin, *(q for q in others if q != twin))
    if len(possible) > 1 and set(possible) - set(OCCUPANCY) and looks.fits.get(possible[1], 0) >= fit:
        confidence = min(confidence, 0.78 if {"output", "illuminance"} <= set(possible) and fit < 0.35 else confidence)
    return _Judged(chosen, confidence, tuple(reasons), tuple(dict.fromkeys(others)))


def _by_values(looks: Looks, by_values: list[Quantity]) -> _Judged:
    """Nothing in the name: values alone propose, and are never sure."""
    if not by_values or looks.fits[by_values[0]] < 0.35:
        return _Judged(None, 0.6, ("neither its name nor its values tell what it is",), tuple(by_values))
    if looks.fits[by_values[0]] >= 1.0:
        return _Judged(by_values[0], 0.75, ("its unit says so",), tuple(by_values[1:]))
    return _Judged(by_values[0], 0.4, ("only its values tell what it may be",), tuple(by_values[1:]))


# Rooms -----------------------------------------------------------------------------------------------------------


def _rooms(tables: list[TableProposal], site: dict[str, Any]) -> tuple[RoomProposal, ...]:
    have = site.get("rooms", {})
    rooms: dict[str, list[ColumnProposal]] = {}
    for column in (c for table in tables for c in table.columns if c.meaning is not None):
        rooms.setdefault(str(column.room), []).append(column)
    return tuple(_room(name, columns, have.get(name)) for name, columns in sorted(rooms.items()))


def _room(name: str, columns: list[ColumnProposal], have: dict[str, Any] | None) -> RoomProposal:
    channels: dict[str, Control] = {}
    for column in columns:
        if column.channel is not None:
            dims = column.quantity == "output" and _dims(column)
            before = channels.get(column.channel)
            channels[column.channel] = "dimmed" if dims or before == "dimmed" else "switched"
    lit = any(c.quantity in ("output", "illuminance", "power") for c in columns)
    if not channels:
        there = (have or {}).get("channels") or {}
        channels = dict.fromkeys(there, "dimmed") or {"main": "switched" if lit else "relay"}
    use = next((u for u in (models.use_of_room(name),) if u), None)
    reasons = (f"use {use!r} from its name",) if use else ("its use is assumed",)
    label = name.replace("_", " ").capitalize() if not any(c.isdigit() for c in name) else name
    return RoomProposal(
        id=name, name=(have or {}).get("name", label), use=(have or {}).get("use", use or "office"), channels=channels,
        known=have is not None, confidence=round(min(c.confidence for c in columns), 2), reasons=() if have else reasons,
    )  # fmt: skip


def _dims(column: ColumnProposal) -> bool:
    return column.preview.kinds > 2 and column.preview.high is not None

"""Which series belong to one room, to which channel and detector, from what is left of their names."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Mapping as Table
from collections.abc import Sequence
from dataclasses import dataclass, replace

from tuning.mapping.names import Named, plain, use_of
from tuning.site import Quantity

OCCUPANCY = ("motion", "occupied")


@dataclass(frozen=True)
class Placed:
    """Room, channel and detector of a series, how sure the room is, and why. ``room`` is None where nothing tells."""

    room: str | None
    label: str
    use: str | None
    channel: str | None
    detector: str | None
    confidence: float
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Series:
    """What is known of a series before its room: its words, its quantity, and the words of the file that it comes from."""

    named: Named
    quantity: Quantity | None
    context: Named | None = None


def place_all(series: Sequence[Series], known: Table[str, str], channels_of: Table[str, Sequence[str]]) -> list[Placed]:
    """Place all series of a folder at once: a word that all of them share names no room.

    Parameters
    ----------
    series
        Those that are readings.
    known
        Rooms of ``site.toml``: id → name.
    channels_of
        Channels that ``site.toml`` gives them.
    """
    full = [s.named.place or (s.context.place if s.context else ()) for s in series]
    common = set.intersection(*(set(words) for words in full)) if full else set()
    places = [tuple(w for w in words if w not in common) for words in full]
    if not any(places):
        # All are of one room: what they share names it, or the last number in it.
        numbers = [w for w in (full[0] if full else ()) if any(c.isdigit() for c in w)]
        places = [((numbers[-1],) if numbers else words[-2:]) for words in full]
    keys = [_key(s, words) for s, words in zip(series, places, strict=True)]
    keys = _apart(series, keys, places)
    keys, channels = _channels_in_names(series, keys)
    seen = Counter(key for key in keys if key)
    placed = [
        _placed(s, key, channel, seen[key], known) for s, key, channel in zip(series, keys, channels, strict=True)
    ]
    return _told_apart(series, placed, channels_of)


def _key(series: Series, words: tuple[str, ...]) -> tuple[str, ...]:
    marked = series.named.marked or (series.context.marked if series.context and not series.named.place else "")
    return (marked,) if marked else words


def _apart(
    series: Sequence[Series], keys: list[tuple[str, ...]], places: list[tuple[str, ...]]
) -> list[tuple[str, ...]]:
    """A room number that several floors or buildings have is told apart by them."""
    result = list(keys)
    by_key: dict[tuple[str, ...], list[int]] = {}
    for i, k in enumerate(keys):
        by_key.setdefault(k, []).append(i)
    for key, mine in by_key.items():
        rest = {i: tuple(w for w in places[i] if w not in key) for i in mine}
        moving = {rest[i] for i in mine if series[i].quantity in OCCUPANCY}
        if len(moving) > 1 and all(Counter(rest.values())[r] > 1 or len(mine) == len(moving) for r in moving):
            for i in mine:
                result[i] = (*rest[i], *key)
    return result


def _channels_in_names(
    series: Sequence[Series], keys: list[tuple[str, ...]]
) -> tuple[list[tuple[str, ...]], list[str]]:
    """Words behind a room's own that no motion has ("101 north") name a channel of it."""
    moving = {key for key, s in zip(keys, series, strict=True) if s.quantity in OCCUPANCY and key}
    sets = {frozenset(m): m for m in moving}
    rooms, channels = [], []
    for key, s in zip(keys, series, strict=True):
        owner = _within(key, sets) if key not in moving else None
        if owner is not None and s.quantity not in OCCUPANCY:
            rooms.append(owner)
            channels.append("_".join(w for w in key if w not in owner))
        else:
            rooms.append(key)
            channels.append("")
    return rooms, channels


def _within(key: tuple[str, ...], sets: Table[frozenset[str], tuple[str, ...]]) -> tuple[str, ...] | None:
    """Find the longest room whose words are among these."""
    words = sorted(set(key))[:6]
    parts = (frozenset(part) for size in range(len(words) - 1, 0, -1) for part in itertools.combinations(words, size))
    return next((sets[part] for part in parts if part in sets), None)


def _placed(series: Series, key: tuple[str, ...], channel: str, often: int, known: Table[str, str]) -> Placed:
    channel = channel or series.named.channel or (series.context.channel if series.context else "")
    detector = series.named.detector
    if not key:
        only = next(iter(known)) if len(known) == 1 else None
        why = "nothing in its name tells the room"
        return Placed(only, "", None, _slug(channel) or None, detector or None, 0.6 if only else 0.0, (why,))
    match = _known(key, known)
    label = " ".join(key)
    marked = series.named.marked or (series.context.marked if series.context else "")
    if match is not None:
        confidence, why = 0.97, f"site.toml has room {match}"
    elif marked and marked in key:
        confidence, why = 0.95, f"{label!r} in its name is a room number"
    elif any(any(c.isdigit() for c in w) for w in key):
        confidence, why = 0.9 if often > 1 else 0.8, f"{label!r} in its name looks like a room number"
    elif use_of(key):
        confidence, why = 0.88, f"{label!r} in its name is a kind of room"
    else:
        confidence, why = 0.82 if often > 1 else 0.6, f"{label!r} is what tells its name from others"
    return Placed(
        match or room_id(key), label, use_of(key), _slug(channel) or None, detector or None, confidence, (why,)
    )


def _known(key: tuple[str, ...], known: Table[str, str]) -> str | None:
    def bare(text: str) -> str:
        return re.sub(r"^(?:room|raum|rm|zi|r)(?=\d)", "", plain(text).replace(" ", "").replace(".", ""))

    wanted = {bare("".join(key)), *(bare(word) for word in key if any(c.isdigit() for c in word))}
    found = [r for r, name in known.items() if bare(r) in wanted or (name and bare(name) in wanted)]
    return found[0] if len(found) == 1 else None


def room_id(words: tuple[str, ...]) -> str:
    """Id of a room from the words that name it.

    Examples
    --------
    >>> room_id(("eg", "2.14")), room_id(("101",))
    ('eg_2_14', 'r101')
    """
    text = _slug("_".join(words))
    return f"r{text}" if text[:1].isdigit() else text


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "_", text).strip("_")


def _told_apart(series: Sequence[Series], placed: list[Placed], channels_of: Table[str, Sequence[str]]) -> list[Placed]:
    """Give channels to what only a channel can have, and keep detector names only where several need them."""
    result = list(placed)
    by_room: dict[str, list[int]] = {}
    for i, p in enumerate(placed):
        if p.room:
            by_room.setdefault(p.room, []).append(i)
    for room, mine in by_room.items():
        named = sorted(
            {c for i in mine if (c := placed[i].channel) is not None and series[i].quantity not in OCCUPANCY}
        )
        have = list(channels_of.get(room, ()))
        named = named or (have if len(have) > 1 else [])
        only = have[0] if len(have) == 1 else "main"
        outputs = [i for i in mine if series[i].quantity in ("output", "power") and placed[i].channel is None]
        numbered = len({placed[i].detector for i in outputs}) > 1 and len(outputs) > 1
        for i in mine:
            p, quantity = placed[i], series[i].quantity
            if quantity in OCCUPANCY or quantity is None:
                continue
            if p.channel is None and quantity in ("output", "power") and numbered:
                result[i] = replace(
                    p,
                    channel=p.detector or "1",
                    detector=None,
                    confidence=min(p.confidence, 0.75),
                    reasons=(*p.reasons, "several outputs in a room: each is taken for a channel"),
                )
            elif p.channel is None and len(named) <= 1 and not numbered:
                result[i] = replace(p, channel=named[0] if named else only)
            elif p.channel is None and quantity != "illuminance":
                result[i] = replace(
                    p,
                    confidence=min(p.confidence, 0.6),
                    reasons=(*p.reasons, f"nothing tells which of the channels {', '.join(named)} it is"),
                )
        _detectors(series, result, mine)
    return result


def _detectors(series: Sequence[Series], result: list[Placed], mine: list[int]) -> None:
    groups: dict[tuple[object, ...], list[int]] = {}
    for i in mine:
        groups.setdefault((series[i].quantity, result[i].channel), []).append(i)
    for same in groups.values():
        names = [result[i].detector for i in same]
        for position, i in enumerate(same):
            if len(same) == 1:
                result[i] = replace(result[i], detector=None)
            elif len(set(names)) < len(names):
                result[i] = replace(
                    result[i],
                    detector=str(position + 1),
                    confidence=min(result[i].confidence, 0.7),
                    reasons=(*result[i].reasons, "several of the same in a room: numbered as they come"),
                )

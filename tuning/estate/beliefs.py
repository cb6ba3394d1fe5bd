"""The second pass: what all rooms of an estate teach about a use, as beliefs for rooms that have no log yet.

The first pass notes of every telling channel what :func:`tuning.starting.pool.own_room` reads from its delay curve, at the hold-offs below. The
second pools them by use, with the pooling of :mod:`tuning.starting.pool`. No recommendation of a logged channel rests on it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

import numpy as np

from tuning import __version__
from tuning.results import ChannelResult
from tuning.site import DEFAULT_ALLOWED_HOLD_OFF_S
from tuning.starting.beliefs import KINDS
from tuning.starting.expect import believed
from tuning.starting.pool import ENOUGH_ROOMS, OwnRoom, own_room, pool, telling

HOLD_OFF_S = np.array(DEFAULT_ALLOWED_HOLD_OFF_S, dtype=float)
"""Beliefs stand at these. [s]"""
DIGITS = 5


def seen_in(channels: Iterable[ChannelResult]) -> list[dict[str, Any]]:
    """What the channels of a building teach: use, and the logarithm of each quantity and its standard error by hold-off."""
    held = list(channels)
    found = []
    for use in sorted({c.use.strip().lower() for c in held}):
        for c in telling(held, use):
            room = own_room(c, HOLD_OFF_S)
            found.append({"use": use, "value": _plain(room.value), "error": _plain(room.error)})
    return found


def pooled_beliefs(entries: Iterable[dict[str, Any]]) -> dict[str, Any]:
    """Pool what all buildings saw, by use; uses with fewer than three telling channels are left out.

    Returns
    -------
    JSON that :func:`tuning.starting.beliefs.read_beliefs` reads.
    """
    rooms: dict[str, list[OwnRoom]] = defaultdict(list)
    sites = set()
    for entry in entries:
        for seen in entry["seen"]:
            sites.add(entry["site"])
            value, error = ({q: np.array(v) for q, v in seen[part].items()} for part in ("value", "error"))
            rooms[seen["use"]].append(OwnRoom(value, error))
    return {
        "what": "Beliefs by room use: logarithm of false-offs and h of light for nobody a week, of the mean room, for holdoff start --beliefs",
        "version": __version__,
        "hold_off_s": HOLD_OFF_S.tolist(),
        "sites": sorted(sites),
        "uses": {
            use: {"channels": len(known), "kinds": {kind: _pooled(use, known, kind) for kind in KINDS}}
            for use, known in sorted(rooms.items())
            if len(known) >= ENOUGH_ROOMS
        },
    }


def _pooled(use: str, known: list[OwnRoom], kind: str) -> dict[str, dict[str, list[float]]]:
    belief = believed(use, HOLD_OFF_S, dimmed=kind == "dimmed")
    found = {}
    for quantity, mean in belief.items():
        made = pool(mean, known, quantity)
        # The spread between rooms is in sd; what the mean itself may be off by is the rest.
        off = np.sqrt(np.maximum(made.sd**2 - made.tau**2, 0.0))
        found[quantity] = _plain({"mean": made.mean, "mean_sd": off, "rooms_sd": made.tau, "weight": made.weight})
    return found


def _plain(values: dict[str, Any]) -> dict[str, list[float]]:
    return {name: [round(float(x), DIGITS) for x in v] for name, v in values.items()}

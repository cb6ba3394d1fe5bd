"""Beliefs by use that an estate's analysed rooms have taught (``holdoff estate`` writes them), in place of the program's own."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pydantic import BaseModel, ConfigDict, ValidationError

from tuning.errors import TuningError
from tuning.motion import Floats
from tuning.starting.expect import QUANTITIES, Spread

KINDS = ("dimmed", "switched")
"""Channels held at a target, and others: the first burn less than their load."""


class _Quantity(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)
    mean: list[float]
    mean_sd: list[float]
    rooms_sd: list[float]
    weight: list[float]


class _Use(BaseModel):
    channels: int
    kinds: dict[str, dict[str, _Quantity]]


class _Document(BaseModel):
    hold_off_s: list[float]
    sites: list[str]
    uses: dict[str, _Use]


@dataclass(frozen=True)
class Taught:
    """What an estate says of a use: how many ``channels`` it rests on; by quantity the log of the mean room, its spread, and the channels' weight."""

    channels: int
    mean: dict[str, Floats]
    spread: dict[str, Spread]
    weight: dict[str, Floats]


@dataclass(frozen=True)
class EstateBeliefs:
    """Beliefs of an estate, and the names of the ``sites`` that taught them."""

    sites: frozenset[str]
    _held: _Document

    def of(self, use: str, hold_off_s: Floats, *, dimmed: bool) -> Taught | None:
        """What is believed of a use at hold-offs [s], along their logarithm and beyond its ends at the end; ``None`` where too few rooms told."""
        held = self._held.uses.get(use.strip().lower())
        if held is None:
            return None
        kind, at, known = (
            held.kinds[KINDS[0] if dimmed else KINDS[1]],
            np.log(hold_off_s),
            np.log(self._held.hold_off_s),
        )

        def read(values: list[float]) -> Floats:
            return np.asarray(np.interp(at, known, values))

        return Taught(
            held.channels,
            {q: read(kind[q].mean) for q in QUANTITIES},
            {q: Spread(read(kind[q].mean_sd), read(kind[q].rooms_sd)) for q in QUANTITIES},
            {q: read(kind[q].weight) for q in QUANTITIES},
        )


def read_beliefs(path: Path) -> EstateBeliefs:
    """Read ``beliefs.json`` of an estate.

    Raises
    ------
    TuningError
        If it is not what ``holdoff estate`` writes.
    """
    try:
        held = _Document.model_validate(json.loads(path.read_text(encoding="utf-8")))
        points = len(held.hold_off_s)
        series = [(u, kind) for u in held.uses.values() for kind in KINDS]
        whole = all(len(values) == points for u, kind in series for q in QUANTITIES for _, values in u.kinds[kind][q])
    except (ValueError, KeyError, ValidationError) as error:
        raise TuningError(_no_beliefs(path, " ".join(str(error).split())[:120])) from error
    if not whole or not points:
        raise TuningError(_no_beliefs(path, "a list is not as long as hold_off_s"))
    return EstateBeliefs(frozenset(held.sites), held)


def _no_beliefs(path: Path, found: str) -> str:
    return f"{path.name}: no beliefs of an estate ({found}). It is the beliefs.json that holdoff estate writes. Give that file."

"""Facts of buildings, rooms and channels as fields: what they are called, in which unit, and how a text becomes a value."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from dashboard.workspace.documents import MISSING
from tuning.sentence import Sentence, joined, say

Kind = Literal["text", "number", "choice", "numbers", "rows"]


@dataclass(frozen=True)
class Field:
    """One fact. ``choices`` of a choice; ``columns`` of rows, which are written one a line with ``;`` between."""

    key: str
    label: str
    unit: str = ""
    kind: Kind = "text"
    choices: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()


SITE = (
    Field("name", "Name"),
    Field("time_zone", "Time zone"),
    Field("currency", "Currency"),
    Field("electricity_price", "Electricity", "per kWh", "number"),
    Field("emission_factor_kg", "Emissions", "kg CO₂e per kWh", "number"),
    Field("cost_per_false_off", "A false-off costs", "", "number"),
    Field("max_false_offs_per_week", "Most false-offs", "per week and channel", "number"),
    Field("max_hold_off_s", "Code limit of the hold-off", "s", "number"),
    Field("cost_per_visit", "Changing a setting costs", "spread over a year", "number"),
    Field("cost_per_press", "A press costs", "", "number"),
    Field("latitude", "Latitude", "°", "number"),
    Field("longitude", "Longitude", "°", "number"),
)
ROOM = (
    Field("name", "Name"),
    Field("use", "Use"),
    Field("area_m2", "Area", "m²", "number"),
    Field("required_illuminance_lx", "Required illuminance", "lx at the task", "number"),
    Field("note", "Note"),
)
CHANNEL = (
    Field("load_w", "Load at full output", "W", "number"),
    Field("standby_w", "Standby", "W", "number"),
    Field("hold_off_s", "Hold-off in force", "s", "number"),
    Field("target_lx", "Target in force", "lx at the detector", "number"),
    Field("mode", "Mode", "", "choice", ("auto-on", "manual-on")),
    Field("control", "Control", "", "choice", ("dimmed", "switched", "relay")),
    Field("allowed_hold_off_s", "Hold-offs it can be set to", "s", "numbers"),
    Field("allowed_target_lx", "Targets it can be set to", "lx", "numbers"),
    Field(
        "spot_readings", "Spot readings", "output %; task lx; detector lx; time", "rows",
        columns=("output_pct", "task_lx", "detector_lx", "time"),
    ),
    Field(
        "settings_history", "Settings changed", "from; hold-off s; target lx; mode", "rows",
        columns=("from", "hold_off_s", "target_lx", "mode"),
    ),
    Field("power_curve", "Power curve", "output %; W", "rows", columns=("", "")),
    Field("note", "Note"),
)  # fmt: skip
WORDS = {"time", "from", "mode"}
"""Columns of rows that hold texts."""


EVERY_FIELD = {
    "site": {f.key: f for f in SITE},
    "room": {f.key: f for f in ROOM},
    "channel": {f.key: f for f in CHANNEL},
}


def field_of(path: Sequence[str]) -> Field | None:
    """Return the field at an address; ``None`` where there is none of its own."""
    kind = "site" if path[0] == "site" else {3: "room", 5: "channel"}.get(len(path), "")
    return EVERY_FIELD.get(kind, {}).get(path[-1])


def written(field: Field, value: Any, between: str = ", ") -> Sentence:
    """Write a value as its field shows it; empty where it is not given. ``between`` stands between the numbers of a list."""
    if value is MISSING or value is None:
        return Sentence("")
    if field.kind == "numbers":
        return joined((_cell(v) for v in value), between)
    if field.kind == "rows":
        return joined((_row_written(field, row) for row in value), "\n")
    return _cell(value) if field.kind == "number" else Sentence(str(value))


def _row_written(field: Field, row: Any) -> Sentence:
    cells = _cells(field, row)
    while cells and cells[-1] is None:
        cells.pop()
    return joined((_cell(c) for c in cells), "; ")


def _cells(field: Field, row: Any) -> list[Any]:
    return [row.get(c) for c in field.columns] if isinstance(row, dict) else list(row)


def _cell(value: Any) -> Sentence:
    return say("{n:.10g}", n=value) if isinstance(value, int | float) else Sentence("" if value is None else str(value))


def read(field: Field, text: Any) -> Any:
    """Read what somebody wrote; ``MISSING`` where nothing stands there.

    Raises
    ------
    ValueError
        If it is no number where one is needed.
    """
    text = "" if text is None else str(text).strip()
    if not text:
        return MISSING
    if field.kind == "number":
        return _seconds(text) if field.unit == "s" else _number(text)
    if field.kind == "numbers":
        # Between semicolons a comma is a decimal sign.
        parts = re.split(r"[;\s]+" if ";" in text else r"\s+|,\s+|,(?=\d{2,})", text)
        return [_number(part) for part in parts if part]
    if field.kind == "rows":
        return [_row(field, line) for line in text.splitlines() if line.strip()]
    return text


def _row(field: Field, line: str) -> Any:
    cells = [c.strip() for c in line.split(";")]
    if len(cells) > len(field.columns):
        raise ValueError(f"{line!r} has more than {len(field.columns)} values")
    if not field.columns[0]:
        return [_number(c) for c in cells]
    named = zip(field.columns, cells, strict=False)
    return {name: c if name in WORDS else _number(c) for name, c in named if c}


def _seconds(text: str) -> float | int:
    """Read a length of time [s]; with ``min`` or ``h`` behind it, in those.

    Raises
    ------
    ValueError
        If it is none.
    """
    found = re.fullmatch(r"(.*?)\s*(s|min|h)\.?", text.strip(), re.IGNORECASE)
    value = _number(found[1] if found else text)
    factor = {"s": 1, "min": 60, "h": 3600}[found[2].lower()] if found else 1
    return value * factor


def _number(text: str) -> float | int:
    """Read a number with a decimal point or comma.

    Raises
    ------
    ValueError
        If it is none.
    """
    plain = text.replace("\u00a0", "").replace("\u202f", "").replace("−", "-")
    if re.fullmatch(r"[-+]?\d*[.,]?\d+(e[-+]?\d+)?", plain, re.IGNORECASE) is None:
        raise ValueError(f"{text!r} is not a number")
    value = float(plain.replace(",", "."))
    return int(value) if value == int(value) and "." not in plain and "," not in plain else value

"""Figures as plotly.js reads them: plain data, put together without plotly's objects.

Those check every property each time a page is drawn, which took forty times as long as all the rest (a delay curve: 78 ms of processor
time against 2 ms). Here nothing is checked; tests build plotly's objects from the same data (``tests/dashboard/plotted.py``), which refuse what
plotly.js does not know.
"""

from __future__ import annotations

import base64
import datetime as dt
import json
from collections.abc import Sequence
from typing import Any, Literal

import numpy as np

Trace = dict[str, Any]
Row = int | Literal["all"] | None


def scatter(**given: Any) -> Trace:
    """Return points or lines."""
    return {"type": "scatter", **given}


def bar(**given: Any) -> Trace:
    """Return bars."""
    return {"type": "bar", **given}


def heatmap(**given: Any) -> Trace:
    """Return a grid of coloured cells."""
    return {"type": "heatmap", **given}


class Figure:
    """Traces and layout; panels lie one under the other on one x axis.

    Keywords are plotly's; ``title_text`` means ``{"title": {"text": …}}`` as there, and what is given later goes before what was given earlier.

    Parameters
    ----------
    heights
        Of the panels, from the top; relative.
    spacing
        Between two panels, as a share of the figure.
    """

    def __init__(self, heights: Sequence[float] = (1,), *, spacing: float = 0.0) -> None:
        self.data: list[Trace] = []
        self.layout: dict[str, Any] = {}
        self._rows = len(heights)
        free, top = 1 - spacing * (self._rows - 1), 1.0
        for row, height in enumerate(heights, start=1):
            share = free * height / sum(heights)
            below = max(top - share, 0.0)
            if self._rows > 1:
                self.layout[f"xaxis{_number(row)}"] = {"anchor": f"y{_number(row)}", "domain": [0.0, 1.0]}
                self.layout[f"yaxis{_number(row)}"] = {"anchor": f"x{_number(row)}", "domain": [below, top]}
            else:
                self.layout |= {"xaxis": {}, "yaxis": {}}
            top = below - spacing

    @property
    def height(self) -> float:
        """In CSS pixels."""
        return float(self.layout["height"])

    def add(self, *traces: Trace, row: int = 1) -> None:
        """Draw traces into a panel."""
        on = {} if self._rows == 1 else {"xaxis": f"x{_number(row)}", "yaxis": f"y{_number(row)}"}
        self.data += [trace | on for trace in traces]

    def update_layout(self, **given: Any) -> None:
        """Set what the whole figure has."""
        _merge(self.layout, given)

    def update_xaxes(self, *, row: Row = "all", **given: Any) -> None:
        """Set what the time or value axis of a panel, or of all, has."""
        for number in self._numbers(row):
            _merge(self.layout[f"xaxis{number}"], _nested(given))

    def update_yaxes(self, *, row: Row = "all", **given: Any) -> None:
        """As :meth:`update_xaxes`, for the upright axes."""
        for number in self._numbers(row):
            _merge(self.layout[f"yaxis{number}"], _nested(given))

    def add_annotation(self, **given: Any) -> None:
        """Write into the figure."""
        self.layout.setdefault("annotations", []).append(given)

    def add_vline(self, *, x: Any, row: Row = "all", **given: Any) -> None:
        """Draw an upright line across a panel, or across all that hold something."""
        self._across({"type": "line", "x0": x, "x1": x, **_nested(given)}, "y", row)

    def add_vrect(self, *, x0: Any, x1: Any, row: Row = "all", **given: Any) -> None:
        """Shade a panel, or all that hold something, between two values."""
        self._across({"type": "rect", "x0": x0, "x1": x1, **_nested(given)}, "y", row)

    def add_hline(self, *, y: float, text: dict[str, Any], at: str, row: Row = "all", **given: Any) -> None:
        """Draw a level line across a panel, with a text at ``top left``, ``top right`` or ``bottom right`` of it."""
        self._across({"type": "line", "y0": y, "y1": y, **_nested(given)}, "x", row)
        upright, side = at.split()
        for number in self._numbers(row):
            place = {"x": 0 if side == "left" else 1, "xanchor": side, "xref": f"x{number} domain", "y": y}
            place |= {"yanchor": "bottom" if upright == "top" else "top", "yref": f"y{number}"}
            self.add_annotation(showarrow=False, **place, **text)

    def _across(self, shape: dict[str, Any], along: Literal["x", "y"], row: Row) -> None:
        """Add a shape that runs through whole panels along one axis."""
        other = "x" if along == "y" else "y"
        for number in self._numbers(row):
            if row != "all" or self._rows == 1 or any(t["xaxis"] == f"x{number}" for t in self.data):
                ends = {
                    f"{along}0": 0,
                    f"{along}1": 1,
                    f"{along}ref": f"{along}{number} domain",
                    f"{other}ref": f"{other}{number}",
                }
                self.layout.setdefault("shapes", []).append(shape | ends)

    def _numbers(self, row: Row) -> list[str]:
        return [_number(r) for r in range(1, self._rows + 1)] if row in ("all", None) else [_number(int(row or 1))]

    def raw(self) -> dict[str, Any]:
        """Return what was put together, series as they are."""
        return {"data": self.data, "layout": self.layout}

    def to_plotly_json(self) -> dict[str, Any]:
        """Return plain JSON values; plotly's and Dash's encoders ask for them under this name."""
        return {"data": _plain(self.data), "layout": _plain(self.layout)}

    def to_json(self) -> str:
        """Write it."""
        return json.dumps(self.to_plotly_json())


def _number(row: int) -> str:
    return "" if row == 1 else str(row)


def _nested(given: dict[str, Any]) -> dict[str, Any]:
    """Unfold ``title_text`` and its like."""
    found: dict[str, Any] = {}
    for key, value in given.items():
        outer, _, inner = key.partition("_")
        _merge(found, {outer: {inner: value}} if inner else {key: value})
    return found


def _merge(into: dict[str, Any], given: dict[str, Any]) -> None:
    for key, value in given.items():
        if isinstance(value, dict):
            inner = into.get(key)
            into[key] = dict(inner) if isinstance(inner, dict) else {}
            _merge(into[key], value)
        elif value is None:
            into.pop(key, None)
        else:
            into[key] = value


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items() if inner is not None}
    if isinstance(value, list | tuple):
        # Series are long, and all of one kind.
        first = value[0] if value else None
        if isinstance(first, dt.date):
            return [v.isoformat() for v in value]
        if isinstance(first, float) and not isinstance(first, np.generic):
            return [None if v is None or v != v else v for v in value]  # noqa: PLR0124  not a number
        return value if isinstance(first, str | int) and not isinstance(first, bool) else [_plain(v) for v in value]
    if isinstance(value, np.ndarray):
        return _packed(value)
    if isinstance(value, dt.date):
        # A time is a date, too.
        return value.isoformat()
    return value.item() if isinstance(value, np.generic) else value


def _packed(values: np.ndarray[Any, Any]) -> dict[str, str]:
    """Write numbers as plotly.js reads them fastest: their bytes."""
    if values.dtype.kind in "iu" and values.itemsize > 4:
        values = values.astype(np.int32)
    packed = {"dtype": values.dtype.str[1:], "bdata": base64.b64encode(values.tobytes()).decode("ascii")}
    return packed | ({"shape": ", ".join(map(str, values.shape))} if values.ndim > 1 else {})

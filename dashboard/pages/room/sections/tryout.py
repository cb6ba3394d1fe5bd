"""Other settings and other prices, tried in the browser at once on the resampled rates that the analysis kept."""

from __future__ import annotations

import math
from typing import Any

import dash
import numpy as np
from dash import ClientsideFunction, Input, Output, dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.pages.room.context import PLACE, VERSION, Here, Place, evidence, find
from dashboard.reader import language
from dashboard.store import Stores
from tuning.results import ChannelResult, DelayPoint

DRAWS_SENT = 250
"""Resamples sent to the browser: the ends of a 90 % interval move by less than its own width over 20. Chosen by us."""


def section() -> Component:
    """Lay the section out."""
    inner = evidence(
        "Try other settings and prices",
        "Everything below follows at once; nothing is saved. Ranges are 90 % intervals of the long run.",
        dcc.Store(id=ids.TRY_DATA),
        dcc.Store(id=ids.TRY_DRAWN),
        dcc.Store(id=ids.TRIED),
        html.Div(id=ids.TRY, className="tryout"),
    )
    return html.Div(inner, id=ids.TRY_BOX, hidden=True)


def register(app: dash.Dash, stores: Stores) -> None:
    """Tie the section to the stores."""

    @app.callback(Output(ids.TRY_DATA, "data"), Output(ids.TRY_BOX, "hidden"), PLACE, VERSION)
    def data(place: Place, _version: int | None) -> tuple[dict[str, Any] | None, bool]:
        given = try_data(find(stores, place))
        return given, given is None

    app.clientside_callback(
        ClientsideFunction("tryout", "show"), Output(ids.TRY_DRAWN, "data"), Input(ids.TRY_DATA, "data")
    )


def try_data(here: Here) -> dict[str, Any] | None:
    """Return what the browser computes from: candidates with means, intervals and draws; targets; prices; what is set and recommended.

    ``None`` where there is no delay curve or no draws were kept.
    """
    c, analysis = here.channel, here.analysis
    if not c.delay_curve or c.draws is None:
        return None
    return {
        "language": language(),
        "currency": analysis.currency,
        "relay": c.control == "relay",
        "perFalseOff": analysis.cost_per_false_off,
        "price": analysis.electricity_price,
        "points": _points(c),
        "now": _index(c.delay_curve, c.current.hold_off_s),
        "new": _index(c.delay_curve, c.recommended.hold_off_s),
        "targets": _targets(c),
        "nowLx": c.current.target_lx,
        "newLx": c.recommended.target_lx,
    }


def _points(c: ChannelResult) -> list[dict[str, Any]]:
    assert c.draws is not None
    kept = {row["hold_off_s"]: row for row in c.draws.iter_rows(named=True)}
    found = []
    for p in c.delay_curve:
        row = kept[p.hold_off_s]
        found.append(
            {
                "s": p.hold_off_s,
                "allowed": p.allowed,
                "beyond": p.basis != "observed",
                "false": [_four(v) for v in (p.false_offs, p.false_offs_low, p.false_offs_high)],
                "waste": [_four(v) for v in (p.wasted_on_h, p.wasted_on_h_low, p.wasted_on_h_high)],
                "kwh": _four(p.energy_kwh),
                # The mean decides, so it is sent in full; draws only make intervals.
                "meanFalse": float(np.mean(row["false_offs"])),
                "meanKwh": float(np.mean(row["wasted_kwh"])),
                "drawsFalse": [_four(v) for v in row["false_offs_wide"][1 : DRAWS_SENT + 1]],
                "drawsKwh": [_four(v) for v in row["wasted_kwh_wide"][1 : DRAWS_SENT + 1]],
            }
        )
    return found


def _targets(c: ChannelResult) -> list[dict[str, float]]:
    curve = sorted(c.light.target_curve, key=lambda t: t.target_lx)
    return [{"lx": t.target_lx, "kwh": _four(t.energy_kwh), "under": _four(t.under_lit_share)} for t in curve]


def _index(points: tuple[DelayPoint, ...], hold_off_s: float | None) -> int | None:
    return next((i for i, p in enumerate(points) if p.hold_off_s == hold_off_s), None)


def _four(value: float) -> float:
    """Four significant digits."""
    return float(f"{value:.4g}") if math.isfinite(value) else 0.0

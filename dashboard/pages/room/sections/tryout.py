"""Other settings and other prices, tried in the browser at once on the resampled rates that the analysis kept."""

from __future__ import annotations

import math
from typing import Any

import dash
import numpy as np
import polars as pl
from dash import ClientsideFunction, Input, Output, dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.pages.room.context import PLACE, VERSION, Here, Place, evidence, find
from dashboard.reader import language
from dashboard.store import Stores
from tuning.decision import (
    ALONG,
    BEYOND,
    DISAGREE,
    FAR_BEYOND,
    MIN_DAYS,
    MIN_DAYS_UNCUT,
    MIN_MOTIONS,
    SURE,
    TIE,
    WEEKS_A_YEAR,
    within_ceiling,
    within_reach,
)
from tuning.results import ChannelResult, DelayPoint, TargetPoint, Terms

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
    """Return what the browser computes from: candidates with means, intervals and draws; targets; prices and terms; what is set and recommended.

    ``None`` where there is no delay curve or no draws were kept.
    """
    c, analysis = here.channel, here.analysis
    if not c.delay_curve or c.draws is None:
        return None
    own = c.cost_per_false_off
    return {
        "language": language(),
        "currency": analysis.currency,
        "relay": c.control == "relay",
        "perFalseOff": analysis.cost_per_false_off if own is None else own,
        "price": analysis.electricity_price,
        "points": _points(c),
        "now": _index(c.delay_curve, c.current.hold_off_s),
        "new": _index(c.delay_curve, c.recommended.hold_off_s),
        "targets": _targets(c),
        "nowLx": c.current.target_lx,
        "newLx": c.recommended.target_lx,
        "terms": _terms(c),
    }


def _terms(c: ChannelResult) -> dict[str, Any]:
    """What binds the choice beside the prices, for ``assets/decide.js``."""
    # an analysis that was saved before terms were kept
    t = c.terms or Terms(
        in_force_s=c.current.hold_off_s, ceiling=None, visit_cost=0.0, motions=MIN_MOTIONS, blocked=False
    )
    return {
        "ceiling": t.ceiling,
        "visitPerWeek": t.visit_cost / WEEKS_A_YEAR,
        "due": t.due,
        "along": ALONG,
        "inForce": t.in_force_s,
        "enough": c.usable_days >= MIN_DAYS and t.motions >= MIN_MOTIONS,
        "enoughUncut": c.usable_days >= MIN_DAYS_UNCUT and t.motions >= MIN_MOTIONS,
        "blocked": t.blocked,
        "sure": SURE,
        "beyond": BEYOND,
        "farBeyond": FAR_BEYOND,
        "disagree": DISAGREE,
        "tie": TIE,
    }


def _points(c: ChannelResult) -> list[dict[str, Any]]:
    assert c.draws is not None
    curve = c.delay_curve
    kept = {row["hold_off_s"]: row for row in c.draws.iter_rows(named=True)}
    rows = [kept[p.hold_off_s] for p in curve]
    mean = np.array([np.mean(row["false_offs"]) for row in rows])
    hold_off_s = np.array([p.hold_off_s for p in curve])
    reach = None if c.terms is None else c.terms.reach_s
    allowed = np.array([p.allowed for p in curve])
    usable = within_ceiling(
        within_reach(allowed, hold_off_s, np.inf if reach is None else reach),
        mean,
        hold_off_s,
        ceiling=None if c.terms is None else c.terms.ceiling,
    )
    return [
        {
            "s": p.hold_off_s,
            "allowed": p.allowed,
            "usable": bool(usable[i]),
            "beyond": p.basis != "observed",
            "false": [_four(v) for v in (p.false_offs, p.false_offs_low, p.false_offs_high)],
            "waste": [_four(v) for v in (p.wasted_on_h, p.wasted_on_h_low, p.wasted_on_h_high)],
            "kwh": _four(p.energy_kwh),
            # The mean decides, so it is sent in full; narrow draws say how sure that is, wide ones only make intervals.
            "meanFalse": float(mean[i]),
            "meanKwh": float(np.mean(row["wasted_kwh"])),
            "chosenFalse": _all_digits(row["false_offs"], 7),
            "chosenKwh": _all_digits(row["wasted_kwh"], 7),
            "drawsFalse": _all_digits(row["false_offs_wide"][1 : DRAWS_SENT + 1], 4),
            "drawsKwh": _all_digits(row["wasted_kwh_wide"][1 : DRAWS_SENT + 1], 4),
        }
        for i, (p, row) in enumerate(zip(curve, rows, strict=True))
    ]


def _targets(c: ChannelResult) -> list[dict[str, Any]]:
    """Every target with its rates by candidate, which run as the points do."""
    curve = sorted(c.light.target_curve, key=lambda t: t.target_lx)
    return [{"lx": t.target_lx, "under": _four(t.under_lit_share), **_rates_at(c, t)} for t in curve]


def _rates_at(c: ChannelResult, target: TargetPoint) -> dict[str, list[float]]:
    holds = [p.hold_off_s for p in c.delay_curve]
    if c.pairs is not None:
        at = c.pairs.filter(pl.col("target_lx") == target.target_lx).sort("hold_off_s")
        if at["hold_off_s"].to_list() == holds:
            columns = (at[name].to_list() for name in ("false_offs", "wasted_on_h", "wasted_kwh", "energy_kwh"))
            found = dict(zip(("false", "waste", "wastedKwh", "kwh"), columns, strict=True))
            return {name: [_digits(v, 7) for v in column] for name, column in found.items()}
    # what another target changes while nobody is there is not known: only the energy while somebody is
    assert c.draws is not None
    wasted = {row["hold_off_s"]: float(np.mean(row["wasted_kwh"])) for row in c.draws.iter_rows(named=True)}
    now = next((t.energy_kwh for t in c.light.target_curve if t.target_lx == c.current.target_lx), target.energy_kwh)
    return {
        "false": [_digits(p.false_offs, 7) for p in c.delay_curve],
        "waste": [_digits(p.wasted_on_h, 7) for p in c.delay_curve],
        "wastedKwh": [wasted[h] for h in holds],
        "kwh": [max(_digits(p.energy_kwh - now + target.energy_kwh, 7), 0.0) for p in c.delay_curve],
    }


def _index(points: tuple[DelayPoint, ...], hold_off_s: float | None) -> int | None:
    return next((i for i, p in enumerate(points) if p.hold_off_s == hold_off_s), None)


def _four(value: float) -> float:
    """Four significant digits."""
    return _digits(value, 4)


def _all_digits(values: list[float], digits: int) -> list[float]:
    """As :func:`_digits`, of thousands of values at once: one by one they took a third of what a room's page costs the server."""
    x = np.asarray(values, dtype=np.float64)
    x = np.where(np.isfinite(x), x, 0.0)
    place = digits - 1 - np.floor(np.log10(np.abs(x), where=x != 0, out=np.zeros_like(x)))
    # A division of whole numbers comes to the nearest double, which is written with these digits and no more.
    more, less = 10.0 ** np.maximum(place, 0), 10.0 ** np.maximum(-place, 0)
    return (np.rint(x / less * more) / more * less).tolist()


def _digits(value: float, digits: int) -> float:
    return float(f"{value:.{digits}g}") if math.isfinite(value) else 0.0

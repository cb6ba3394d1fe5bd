"""What each target illuminance brings: energy against an under-lit task."""

from __future__ import annotations

import numpy as np

from dashboard.figures.drawing import Figure, scatter
from dashboard.figures.theme import Palette, dress, in_force_mark, panels, recommended_mark, sentence
from tuning.results import ChannelResult

UNDER_LIT_LIMIT_PCT = 5.0
"""The task may be under-lit in this share of lit occupied time (method: smallest target that keeps 95 %)."""


def target_figure(result: ChannelResult, colours: Palette) -> Figure:
    """Draw energy and the under-lit share over the target, one under the other; targets in the detector's own reading."""
    curve = sorted(result.light.target_curve, key=lambda p: p.target_lx)
    if not curve:
        return sentence(colours, "No target curve: the log does not let lamps and daylight be told apart.")
    x = [p.target_lx for p in curve]
    figure = panels([1, 1], spacing=0.06)
    rows = (
        (1, "under-lit<br>[% of time]", [100 * p.under_lit_share for p in curve], "%"),
        (2, "energy<br>[kWh per week]", [p.energy_kwh for p in curve], "kWh"),
    )
    for row, title, y, unit in rows:
        figure.add(
            scatter(
                x=x,
                y=y,
                mode="lines+markers",
                line={"color": colours.present, "width": 2},
                marker={"size": 5},
                showlegend=False,
                name=title.split("<br>")[0],
                hovertemplate=f"%{{x:.0f}} lx: %{{y:.1f}} {unit}<extra></extra>",
            ),
            row=row,
        )
        _marks(figure, result, x, y, colours, row)
        figure.update_yaxes(title_text=title, rangemode="tozero", row=row)
    figure.add_hline(
        y=UNDER_LIT_LIMIT_PCT,
        line={"color": colours.left, "width": 1, "dash": "dot"},
        text={"text": "limit 5 %", "font": {"color": colours.left, "size": 11}},
        at="top right",
        row=1,
    )
    dress(figure, colours, height=360)
    figure.update_xaxes(title_text="target illuminance [lx at the detector]", row=2)
    return figure


def _marks(figure: Figure, result: ChannelResult, x: list[float], y: list[float], colours: Palette, row: int) -> None:
    marks = (
        (result.current.target_lx, "in force", in_force_mark(colours)),
        (result.recommended.target_lx, "recommended", recommended_mark(colours)),
    )
    for target, name, marker in marks:
        if target is None or not x[0] <= target <= x[-1]:
            continue
        figure.add(
            scatter(
                x=[target],
                y=[float(np.interp(target, x, y))],
                mode="markers",
                marker=marker,
                name=f"{name} {target:.0f} lx",
                legendgroup=name,
                showlegend=row == 1,
                cliponaxis=False,
                hovertemplate=f"{name}: %{{y:.1f}}<extra></extra>",
            ),
            row=row,
        )

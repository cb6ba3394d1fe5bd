"""What each hold-off brings: false-offs, light with nobody there, and cost, one under the other on one axis."""

from __future__ import annotations

import math

from dashboard.figures.drawing import Figure, Trace, scatter
from dashboard.figures.theme import (
    Palette,
    dress,
    hold_off_ticks,
    in_force_mark,
    panels,
    recommended_mark,
    rgba,
    sentence,
)
from dashboard.reader import said
from tuning.results import ChannelResult, DelayPoint
from tuning.sampled_pauses import TOO_COARSE
from tuning.wording import duration

PANELS = (
    ("false_offs", "false-offs<br>[per week]", ".3~g"),
    ("wasted_on_h", "{on}, nobody there<br>[h per week]", ".2~f"),
    ("cost", "cost<br>[{currency} per week]", ".2~f"),
)


def delay_figure(result: ChannelResult, colours: Palette, *, currency: str) -> Figure:
    """Draw the delay curve with its 90 % band.

    What the log shows is a full line; beyond the hold-off in force the line is broken and the ground shaded. The setting in force is
    a hollow circle, the recommended one a full diamond.
    """
    points = result.delay_curve
    if not points:
        coarse = any(f.code == TOO_COARSE for f in result.findings)
        lacks = "movement is sampled too coarsely" if coarse else "the log holds too little motion"
        return sentence(colours, f"No delay curve: {lacks}.")
    figure = panels([1, 1, 1], spacing=0.045)
    now, new = _point(points, result.current.hold_off_s), _point(points, result.recommended.hold_off_s)
    for row, (field, title, digits) in enumerate(PANELS, start=1):
        _panel(figure, points, field, colours, row, digits)
        _marks(figure, now, new, field, colours, row)
        name = title.format(currency=currency, on="running" if result.control == "relay" else "lit")
        figure.update_yaxes(title_text=name, row=row, range=_reach(points, now, new, field))
    dress(figure, colours, height=560)
    values = [p.hold_off_s for p in points]
    ticks, names = hold_off_ticks(values)
    low, high = values[0] * 0.88, values[-1] * 1.13
    figure.update_xaxes(
        type="log", tickvals=ticks, ticktext=names, tickangle=0, range=[math.log10(low), math.log10(high)]
    )
    figure.update_xaxes(title_text="hold-off [min, logarithmic]", row=3)
    _beyond(figure, points, high, colours)
    figure.update_layout(hovermode="x unified")
    return figure


def _point(points: tuple[DelayPoint, ...], hold_off_s: float | None) -> DelayPoint | None:
    return next((p for p in points if p.hold_off_s == hold_off_s), None)


def _reach(points: tuple[DelayPoint, ...], now: DelayPoint | None, new: DelayPoint | None, field: str) -> list[float]:
    """Range that shows the settings in question; steeper parts run off the top (a double click shows all)."""
    marked = [p for p in (now, new) if p is not None] or list(points)
    shortest = min(p.hold_off_s for p in marked)
    shown = [p for p in points if p.hold_off_s >= shortest]
    top = max(getattr(p, f"{field}_high") for p in shown)
    # One more point to the left if it fits into twice the height, so that the slope is seen.
    before = [getattr(p, field) for p in points if p.hold_off_s < shortest and getattr(p, field) <= 2 * top]
    top = max([top, *before])
    return [0, 1.12 * top if top > 0 else 1.0]


def _runs(points: tuple[DelayPoint, ...]) -> list[tuple[str, list[DelayPoint]]]:
    """The observed and the extrapolated stretch; the latter begins where the former ends."""
    seen = [p for p in points if p.basis == "observed"]
    beyond = [p for p in points if p.basis != "observed"]
    return [
        (name, run) for name, run in (("observed", seen), ("extrapolated", seen[-1:] + beyond if beyond else [])) if run
    ]


def _panel(figure: Figure, points: tuple[DelayPoint, ...], field: str, colours: Palette, row: int, digits: str) -> None:
    for name, run in _runs(points):
        x = [p.hold_off_s for p in run]
        low, high = [getattr(p, f"{field}_low") for p in run], [getattr(p, f"{field}_high") for p in run]
        band = scatter(
            x=x + x[::-1],
            y=high + low[::-1],
            fill="toself",
            fillcolor=rgba(colours.present, 0.30 if name == "observed" else 0.16),
            line={"width": 0},
            mode="lines",
            hoverinfo="skip",
            name="90 % band",
            legendgroup="band",
            showlegend=row == 1 and name == "observed",
        )
        curve = scatter(
            x=x,
            y=[getattr(p, field) for p in run],
            mode="lines",
            line={"color": colours.present, "width": 2, "dash": "solid" if name == "observed" else "dash"},
            name=name,
            legendgroup=name,
            showlegend=row == 1,
            customdata=[[getattr(p, f"{field}_low"), getattr(p, f"{field}_high")] for p in run],
            hovertemplate=f"%{{y:{digits}}} (%{{customdata[0]:{digits}}} to %{{customdata[1]:{digits}}})<extra>{name}</extra>",
        )
        figure.add(band, curve, row=row)
    figure.add(_candidates(points, field, colours), row=row)


def _candidates(points: tuple[DelayPoint, ...], field: str, colours: Palette) -> Trace:
    """A dot for each hold-off that may be set, a cross for one that may not."""
    return scatter(
        x=[p.hold_off_s for p in points],
        y=[getattr(p, field) for p in points],
        mode="markers",
        marker={
            "size": [5 if p.allowed else 7 for p in points],
            "symbol": ["circle" if p.allowed else "x-thin" for p in points],
            "color": colours.present,
            "line": {"width": 1.5, "color": colours.present},
        },
        name="candidates",
        showlegend=False,
        hoverinfo="skip",
    )


def _marks(
    figure: Figure, now: DelayPoint | None, new: DelayPoint | None, field: str, colours: Palette, row: int
) -> None:
    for point, name, marker in (
        (now, "in force", in_force_mark(colours)),
        (new, "recommended", recommended_mark(colours)),
    ):
        if point is None:
            continue
        figure.add(
            scatter(
                x=[point.hold_off_s],
                y=[getattr(point, field)],
                mode="markers",
                marker=marker,
                name=f"{name} {said(duration(point.hold_off_s))}",
                legendgroup=name,
                showlegend=row == 1,
                cliponaxis=False,
                hoverinfo="skip",
            ),
            row=row,
        )


def _beyond(figure: Figure, points: tuple[DelayPoint, ...], high: float, colours: Palette) -> None:
    runs = dict(_runs(points))
    if "extrapolated" not in runs:
        return
    edge = runs["extrapolated"][0].hold_off_s if "observed" in runs else points[0].hold_off_s * 0.88
    for row in (1, 2, 3):
        figure.add_vrect(x0=edge, x1=high, fillcolor=colours.sunken, opacity=0.75, line_width=0, layer="below", row=row)
    figure.add_annotation(
        x=1,
        y=1,
        xref="paper",
        yref="paper",
        xanchor="right",
        yanchor="top",
        showarrow=False,
        text="beyond the hold-off in force:<br>not in the log, extrapolated",
        align="right",
        font={"size": 11, "color": colours.soft},
    )

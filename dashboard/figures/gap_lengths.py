"""How long the pauses between movements were, and whether somebody was still there."""

from __future__ import annotations

import math

import numpy as np
import plotly.graph_objects as go

from dashboard.figures.theme import Palette, dress, rgba, sentence
from tuning.results import ChannelResult
from tuning.wording import duration

PER_DECADE = 14
TICKS_S = (1, 10, 60, 300, 900, 3600, 4 * 3600, 24 * 3600)


def gap_histogram(gap_s: np.ndarray, p_still: np.ndarray, *, weeks: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Sum stillness and absence per cell of the logarithmic length.

    Parameters
    ----------
    gap_s
        Gaps that ended with a motion. [s]
    p_still
        Probability of each that somebody was there.
    weeks
        Usable time of the log.

    Returns
    -------
    Edges ``(n + 1,)`` [s], expected stillnesses a week ``(n,)``, expected absences a week ``(n,)``.
    """
    low = math.floor(math.log10(max(gap_s.min(), 0.5)) * PER_DECADE)
    high = math.ceil(math.log10(gap_s.max() * 1.001) * PER_DECADE)
    edges = 10 ** (np.arange(low, max(high, low + 1) + 1) / PER_DECADE)
    still = np.histogram(gap_s, edges, weights=p_still)[0] / weeks
    absent = np.histogram(gap_s, edges, weights=1 - p_still)[0] / weeks
    return edges, still, absent


def gap_figure(result: ChannelResult, colours: Palette) -> go.Figure:
    """Draw the gap lengths on logarithmic axes, stillness against absence, with the hold-off in force and the recommended one."""
    gaps = result.gaps
    if gaps is None or gaps.is_empty():
        return sentence(colours, "No pauses between movements in the log.")
    ended = gaps.filter(gaps["end_kind"] == "motion")
    if ended.is_empty():
        return sentence(colours, "No pause in the log ended with a movement.")
    edges, still, absent = gap_histogram(
        np.maximum(ended["gap_s"].to_numpy(), 0.5),
        ended["p_still"].fill_null(0).to_numpy(),
        weeks=max(result.usable_days / 7, 1e-6),
    )
    figure = go.Figure()
    styles = (
        ("somebody still there", still, colours.present, "solid", 0.32),
        ("nobody there", absent, colours.empty, "dot", 0.28),
    )
    floor = 0.3 / max(result.usable_days / 7, 1e-6)
    for name, height, colour, dash, alpha in styles:
        figure.add_trace(
            go.Scatter(
                x=edges,
                y=np.append(np.maximum(height, floor * 0.5), floor * 0.5),
                mode="lines",
                line={"shape": "hv", "color": colour, "width": 2, "dash": dash},
                fill="tozeroy",
                fillcolor=rgba(colour, alpha),
                name=name,
                customdata=[duration(e) for e in edges],
                hovertemplate=f"{name}: %{{y:.2~g}} a week, %{{customdata}} and longer<extra></extra>",
            )
        )
    dress(figure, colours, height=300)
    ticks = [t for t in TICKS_S if edges[0] * 0.8 <= t <= edges[-1] * 1.2]
    figure.update_xaxes(
        type="log",
        tickvals=ticks,
        ticktext=[_length(t) for t in ticks],
        title_text="length of the pause [s, min, h; logarithmic]",
    )
    top = float(max(still.max(), absent.max(), floor * 10))
    figure.update_yaxes(
        type="log", range=[math.log10(floor), math.log10(top * 2.2)], title_text="pauses [per week]", dtick=1
    )
    _setting(figure, result.current.hold_off_s, "in force", colours.now, "solid", 1.0, colours)
    if result.recommended.hold_off_s != result.current.hold_off_s:
        _setting(figure, result.recommended.hold_off_s, "recommended", colours.accent, "dash", 0.9, colours)
    return figure


def _length(seconds: float) -> str:
    return f"{seconds / 3600:g} h" if seconds >= 3600 else duration(seconds)


def _setting(
    figure: go.Figure, hold_off_s: float | None, name: str, colour: str, dash: str, y: float, colours: Palette
) -> None:
    if hold_off_s is None:
        return
    figure.add_vline(x=hold_off_s, line={"color": colour, "width": 2, "dash": dash})
    figure.add_annotation(
        x=math.log10(hold_off_s),
        y=y,
        yref="paper",
        yanchor="top",
        xanchor="left",
        xshift=4,
        showarrow=False,
        text=f"{name} {duration(hold_off_s)}",
        font={"color": colour, "size": 12},
        bgcolor=rgba(colours.surface, 0.8),
    )

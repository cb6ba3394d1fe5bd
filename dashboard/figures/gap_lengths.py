"""How long the pauses between movements were, and whether somebody was still there."""

from __future__ import annotations

import math

import numpy as np

from dashboard.figures.drawing import Figure, scatter
from dashboard.figures.theme import Palette, dress, rgba, sentence
from dashboard.reader import said, write
from tuning.results import ChannelResult
from tuning.wording import duration

PER_DECADE = 14
TICKS_S = (1, 10, 60, 600, 3600, 36000, 360000)


def length_edges(gap_s: np.ndarray, *, at_s: float | None) -> np.ndarray:
    """Cells of the logarithmic length: even, but never finer than the log can tell lengths apart.

    Parameters
    ----------
    gap_s
        Gaps. [s]
    at_s
        A length that must be an edge, so that what lies beyond it is not mixed with what does not. [s]

    Returns
    -------
    Edges, increasing. [s]
    """
    short = np.unique(np.round(gap_s[gap_s < 600], 3))
    resolution = min(float(np.median(np.diff(short))) if len(short) > 1 else 1.0, float(gap_s.min()))
    low, high = math.floor(math.log10(gap_s.min()) * PER_DECADE), math.ceil(math.log10(gap_s.max()) * PER_DECADE) + 1
    even = 10 ** (np.arange(low, high + 1) / PER_DECADE)
    # Half-way between what can be told apart, one step at least from edge to edge.
    steps = np.unique(np.round(even / resolution)) * resolution - resolution / 2
    edges = np.where(even > 20 * resolution, even, np.nan)
    joined = np.union1d(steps[steps <= 20 * resolution], edges[np.isfinite(edges)])
    joined = joined[joined > 0]
    if at_s is not None and joined[0] < at_s < joined[-1]:
        joined = joined.copy()
        joined[np.argmin(np.abs(np.log(joined / at_s)))] = at_s
    return np.asarray(joined)


def gap_density(
    gap_s: np.ndarray, p_still: np.ndarray, edges_s: np.ndarray, *, weeks: float
) -> tuple[np.ndarray, np.ndarray]:
    """Expected stillnesses and absences a week and doubling of length, ``(n,)`` each.

    Parameters
    ----------
    gap_s, p_still
        Gaps that ended with a motion [s], and the probability of each that somebody was there.
    edges_s
        ``(n + 1,)``. [s]
    weeks
        Usable time of the log.
    """
    width = np.diff(np.log2(edges_s)) * weeks
    still = np.histogram(gap_s, edges_s, weights=p_still)[0] / width
    absent = np.histogram(gap_s, edges_s, weights=1 - p_still)[0] / width
    return still, absent


def gap_figure(result: ChannelResult, colours: Palette) -> Figure:
    """Draw the gap lengths on logarithmic axes, stillness against absence, with the hold-off in force and the recommended one."""
    gaps = result.gaps
    if gaps is None or gaps.is_empty():
        return sentence(colours, "No pauses between movements in the log.")
    ended = gaps.filter(gaps["end_kind"] == "motion")
    if ended.is_empty():
        return sentence(colours, "No pause in the log ended with a movement.")
    gap_s, weeks = np.maximum(ended["gap_s"].to_numpy(), 0.5), max(result.usable_days / 7, 1e-6)
    edges = length_edges(gap_s, at_s=result.current.hold_off_s)
    still, absent = gap_density(gap_s, ended["p_still"].fill_null(0).to_numpy(), edges, weeks=weeks)
    figure = Figure()
    styles = (
        ("somebody still there", still, colours.present, "solid", 0.32),
        ("nobody there", absent, colours.empty, "dot", 0.28),
    )
    # A third of what a single pause is worth in an even cell.
    floor = PER_DECADE * math.log10(2) / 3 / weeks
    for name, height, colour, dash, alpha in styles:
        figure.add(
            scatter(
                x=edges,
                y=np.append(np.maximum(height, floor * 0.5), floor * 0.5),
                mode="lines",
                line={"shape": "hv", "color": colour, "width": 2, "dash": dash},
                fill="tozeroy",
                fillcolor=rgba(colour, alpha),
                name=name,
                customdata=[said(duration(e)) for e in edges],
                hovertemplate=f"{name}: %{{y:.2~g}} a week and doubling, %{{customdata}} and longer<extra></extra>",
            )
        )
    dress(figure, colours, height=300)
    ticks = [t for t in TICKS_S if edges[0] * 0.8 <= t <= edges[-1] * 1.2]
    figure.update_xaxes(
        type="log",
        tickvals=ticks,
        ticktext=[_length(t) for t in ticks],
        tickangle=0,
        title_text="length of the pause [s, min, h; logarithmic]",
    )
    top = float(max(still.max(), absent.max(), floor * 10))
    figure.update_yaxes(
        type="log",
        range=[math.log10(floor), math.log10(top * 2.2)],
        title_text="pauses [per week<br>and doubling of length]",
        dtick=1,
    )
    _setting(figure, result.current.hold_off_s, "in force", colours.now, "solid", 1.0, colours)
    if result.recommended.hold_off_s != result.current.hold_off_s:
        _setting(figure, result.recommended.hold_off_s, "recommended", colours.accent, "dash", 0.9, colours)
    return figure


def _length(seconds: float) -> str:
    return write(f"{seconds / 3600:g} h") if seconds >= 3600 else said(duration(seconds))


def _setting(
    figure: Figure, hold_off_s: float | None, name: str, colour: str, dash: str, y: float, colours: Palette
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
        text=f"{name} {said(duration(hold_off_s))}",
        font={"color": colour, "size": 12},
        bgcolor=rgba(colours.surface, 0.8),
    )

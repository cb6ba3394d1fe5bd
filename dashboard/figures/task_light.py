"""How much light the task had while the channel was lit and somebody was there."""

from __future__ import annotations

import numpy as np

from dashboard.figures.drawing import Figure, bar
from dashboard.figures.theme import Palette, dress, rgba, sentence
from tuning.results import ChannelResult

CELLS = 40
LEAST_SHARE = 0.05
"""The task is judged by what it has in all but this share of the time (method: 95 % of lit occupied time)."""


def task_figure(result: ChannelResult, colours: Palette) -> Figure:
    """Draw the distribution of the illuminance at the task, with the level that it keeps in 95 % of the time."""
    frame = result.light.task_lx_lit
    lit = None if frame is None else frame.filter("lit")["task_lx"].drop_nulls().to_numpy()
    if lit is None or len(lit) == 0:
        return sentence(colours, "The log does not tell how much light the task had.")
    edges = np.linspace(0, float(np.quantile(lit, 0.995)) * 1.05 + 1, CELLS + 1)
    # What lies beyond the axis is sunshine; it is counted in the last cell.
    share = 100 * np.histogram(np.minimum(lit, edges[-1]), edges)[0] / len(lit)
    figure = Figure()
    figure.add(
        bar(
            x=(edges[:-1] + edges[1:]) / 2,
            y=share,
            width=np.diff(edges),
            marker={"color": rgba(colours.present, 0.55), "line": {"color": colours.present, "width": 1}},
            name="task illuminance",
            hovertemplate="around %{x:.0f} lx: %{y:.1f} % of the time<extra></extra>",
        )
    )
    dress(figure, colours, height=260, legend=False)
    _levels(figure, result, float(np.quantile(lit, LEAST_SHARE)), colours)
    name = "illuminance at the task [lx]" if result.light.calibrated else "illuminance at the task [lx, uncalibrated]"
    figure.update_xaxes(title_text=name, rangemode="tozero")
    figure.update_yaxes(title_text="share of lit<br>occupied time [%]")
    return figure


def _levels(figure: Figure, result: ChannelResult, kept_lx: float, colours: Palette) -> None:
    """Mark what the task keeps, what it needs, and what people chose when they asked for another level."""
    figure.update_layout(margin={"t": 62})
    needed, wanted = result.light.required_lx, result.light.wanted
    marks = [(kept_lx, f"at least {kept_lx:.0f} lx in 95 % of the time", colours.now, "dot", 2)]
    if needed is not None:
        marks.append((needed, f"required {needed:.0f} lx", colours.left, "solid", 20))
    if wanted is not None:
        figure.add_vrect(
            x0=wanted.task_low_lx, x1=wanted.task_high_lx, fillcolor=rgba(colours.daylight, 0.18), line_width=0
        )
        text = f"people chose about {wanted.task_lx:.0f} lx"
        marks.append((wanted.task_lx, text, colours.daylight, "dash", 38))
    for lx, text, colour, dash, up in marks:
        figure.add_vline(x=lx, line={"color": colour, "width": 2, "dash": dash})
        figure.add_annotation(
            x=lx,
            y=1,
            yref="paper",
            yanchor="bottom",
            yshift=up,
            text=text,
            showarrow=False,
            font={"color": colour, "size": 12},
        )

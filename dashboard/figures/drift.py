"""What each day says of a room, in a small picture for each figure that is watched, with what has changed marked."""

from __future__ import annotations

import polars as pl

from dashboard.figures.drawing import Figure, scatter
from dashboard.figures.theme import Palette, dress, panels, rgba, sentence
from tuning.watching import Watched
from tuning.watching.statistics import STATISTICS, by_day


def drift_figure(daily: pl.DataFrame | None, watched: Watched | None, colours: Palette) -> Figure:
    """Draw the daily values, the reference days shaded and the day of each change marked by a line.

    Parameters
    ----------
    daily
        DAILY of the channel.
    watched
        What was found; ``None`` where the log ends before the reference days do.
    """
    if daily is None or daily.is_empty():
        return sentence(colours, "This analysis is from before rooms were watched; analyse again.")
    if watched is None:
        return sentence(colours, "Watching begins when more than six weeks of log have come.")
    told = {s: by_day(s, daily, watched.reference_to) for s in STATISTICS}
    shown = [s for s in STATISTICS if len(told[s])]
    drifts = {d.statistic: d for d in watched.drifts}
    begin = watched.reference_from or daily["day"].min()
    figure = panels([1] * len(shown), spacing=0.04)
    for row, s in enumerate(shown, start=1):
        days = told[s]
        drift = drifts.get(s.name)
        figure.add(
            scatter(
                x=days["day"].to_list(),
                y=days["value"].to_list(),
                mode="markers",
                marker={"size": 4, "color": colours.present, "symbol": "circle"},
                hovertemplate=f"%{{x|%Y-%m-%d}}: %{{y:.1f}} {s.unit}<extra></extra>",
                name=s.label,
            ),
            row=row,
        )
        figure.update_yaxes(title_text=f"{AXES[s.name]}<br>[{s.unit}]", rangemode="tozero", row=row)
        figure.add_vrect(
            x0=begin,
            x1=watched.reference_to,
            fillcolor=rgba(colours.present, 0.08),
            line_width=0,
            row=row,
        )
        if drift is not None:
            figure.add_vline(x=drift.since, line={"color": colours.left, "width": 2, "dash": "dash"}, row=row)
    dress(figure, colours, height=90 * len(shown) + 90, legend=False)
    figure.update_xaxes(title_text="local day", row=len(shown))
    return figure


AXES = {
    "presence_h": "people",
    "visits": "visits",
    "stillness_s": "pause",
    "pauses_by_length": "stillness",
    "lamp_lx": "lamps",
    "night_triggers": "night",
    "lone_triggers": "lone",
}
"""Short names for the axes, by statistic."""

"""Every day as a row, the time of day from left to right: when somebody was there, and what the light did."""

from __future__ import annotations

import datetime as dt

from dashboard.figures.drawing import Figure, Trace, heatmap, scatter
from dashboard.figures.theme import Palette, dress
from dashboard.figures.timeline import (
    CELL_S,
    DARK,
    EMPTY_LIT,
    PRESENT_LIT,
    PRESENT_UNLIT,
    UNKNOWN,
    Raster,
)

LEAST_ROW_PX, MOST_ROW_PX, RASTER_PX = 4, 14, 420
"""Rows are as high as fits; a raster of a few weeks is about so high. A year runs to 1,500 px."""


CLOCK = dt.datetime(2000, 1, 1)  # noqa: DTZ001  a time of day; the date means nothing


def state_colours(colours: Palette) -> dict[int, str]:
    """Colour of each state of a cell."""
    return {
        UNKNOWN: colours.unknown,
        DARK: colours.dark,
        PRESENT_UNLIT: colours.present_unlit,
        PRESENT_LIT: colours.present,
        EMPTY_LIT: colours.empty,
    }


def raster_figure(raster: Raster, colours: Palette, *, chosen: dt.date | None = None, legend: bool = True) -> Figure:
    """Draw the raster.

    Parameters
    ----------
    raster
        What each cell of five minutes holds.
    colours
        The scheme.
    chosen
        The day that is shown in detail; marked at the edge.
    legend
        Whether the figure names its own colours.

    Returns
    -------
    Figure with one heatmap (int8), one marker trace of those left in the dark, and a key of squares.
    """
    by_state = state_colours(colours)
    row_px = min(max(RASTER_PX // max(len(raster.days), 1), LEAST_ROW_PX), MOST_ROW_PX)
    figure = Figure()
    scale = [[edge, by_state[s]] for s in range(5) for edge in (s / 5, (s + 1) / 5)]
    names = [d.isoformat() for d in raster.days]
    figure.add(
        heatmap(
            z=raster.state,
            x0=(CLOCK + dt.timedelta(seconds=CELL_S / 2)).isoformat(),
            dx=CELL_S * 1000,
            y=names,
            zmin=-0.5,
            zmax=4.5,
            colorscale=scale,
            showscale=False,
            ygap=1,
            hovertemplate="%{y}, around %{x|%H:%M}<extra></extra>",
            name="states",
        )
    )
    for state in (PRESENT_LIT, EMPTY_LIT, PRESENT_UNLIT, DARK, UNKNOWN):
        if (raster.state == state).any():
            figure.add(_key(raster.state_names[state], by_state[state], colours))
    left = raster.left
    figure.add(
        scatter(
            x=[CLOCK + dt.timedelta(hours=h) for h in left["hour"]],
            y=[d.isoformat() for d in left["day"]],
            mode="markers",
            name=raster.left_name,
            marker={
                "symbol": "triangle-down",
                "size": min(max(row_px * 0.7, 4.5), 8),
                "color": colours.left,
                "line": {"color": colours.surface, "width": 0.5},
            },
            customdata=left["p_false"].to_list(),
            hovertemplate="%{y}: " + raster.left_name + "<br>probability %{customdata:.0%}<extra></extra>",
        )
    )
    dress(figure, colours, height=(110 if legend else 76) + max(len(raster.days), 7) * row_px, legend=legend)
    figure.update_xaxes(
        type="date",
        range=[CLOCK, CLOCK + dt.timedelta(days=1)],
        tickvals=[CLOCK + dt.timedelta(hours=h) for h in range(0, 25, 3)],
        ticktext=[f"{h:02d}" for h in range(0, 25, 3)],
        title_text="time of day [h, local]",
        showgrid=False,
    )
    tickvals, ticktext = day_ticks(raster.days)
    figure.update_yaxes(
        type="category",
        range=[len(raster.days) - 0.5, -0.5],
        tickvals=tickvals,
        ticktext=ticktext,
        title_text="day (Mondays named)",
        showgrid=False,
    )
    if chosen is not None and chosen in raster.days:
        figure.add_annotation(
            x=0,
            y=chosen.isoformat(),
            xref="paper",
            yref="y",
            text="▸",
            showarrow=False,
            xanchor="right",
            font={"color": colours.ink, "size": 13},
        )
    return figure


def day_ticks(days: list[dt.date], *, most: int = 14) -> tuple[list[str], list[str]]:
    """Name Mondays, thinned to what fits; all days where the log is shorter than a week."""
    named = [d for d in days if d.weekday() == 0] if len(days) > 7 else list(days)
    step = -(-len(named) // most) if named else 1
    named = named[::step]
    return [d.isoformat() for d in named], [f"{d:%d %b}".lstrip("0") for d in named]


def _key(name: str, colour: str, colours: Palette) -> Trace:
    """A square in the key; heatmaps have none of their own."""
    return scatter(
        x=[None],
        y=[None],
        mode="markers",
        name=name,
        marker={"symbol": "square", "size": 11, "color": colour, "line": {"color": colours.line, "width": 1}},
        hoverinfo="skip",
    )

"""One day from midnight to midnight: movement and light as lanes, illuminance and daylight, output."""

from __future__ import annotations

import datetime as dt

import numpy as np
import plotly.graph_objects as go
import polars as pl

from dashboard.figures.day_raster import state_colours
from dashboard.figures.theme import Palette, dress, panels, rgba
from dashboard.figures.timeline import UNKNOWN, Timeline, day_frame, day_spans
from tuning.results import ChannelResult
from tuning.wording import duration

MOST_POINTS = 3000
"""More change points a day than this are thinned to the least and the greatest of each minute."""

HOURS = [
    {"dtickrange": [3_600_000, None], "value": "%H"},
    {"dtickrange": [60_000, 3_600_000], "value": "%H:%M"},
    {"dtickrange": [None, 60_000], "value": "%H:%M:%S"},
]
"""How times are written, by the distance of two ticks [ms]: hours, and more only where one has zoomed in."""


def day_figure(
    result: ChannelResult, line: Timeline, day: dt.date, colours: Palette, *, legend: bool = True
) -> go.Figure:
    """Draw one day of one channel; axes in the building's wall-clock time."""
    light, output = _light_rows(result, line, day), _output_rows(result, line, day)
    rows = [True, light is not None, output is not None]
    weights = [w for w, there in zip((0.26, 0.46, 0.28), rows, strict=True) if there]
    figure = panels(weights, spacing=0.06)
    _lanes(figure, line, day, colours)
    row = 1
    if light is not None:
        row += 1
        _illuminance(figure, light, result, colours, row)
    if output is not None:
        row += 1
        _output(figure, output, colours, row)
    dress(figure, colours, height=170 + 150 * (len(weights) - 1), legend=legend)
    first = dt.datetime.combine(day, dt.time())
    # Bars are lengths of time, so the type is not guessed right; and axes of unlike types cannot move together.
    figure.update_xaxes(
        type="date", range=[first, first + dt.timedelta(days=1)], nticks=9, tickangle=0, tickformatstops=HOURS
    )
    figure.update_xaxes(title_text=f"time of day [h, local], {day:%a} {day.day} {day:%b %Y}", row=row, col=1)
    figure.update_yaxes(
        row=1,
        col=1,
        tickvals=[1, 0],
        ticktext=["movement", "load" if line.relay else "light"],
        range=[-0.55, 1.75],
        title_text="",
        showgrid=False,
    )
    figure.update_layout(barmode="overlay", bargap=0.35, hovermode="closest")
    return figure


def _lanes(figure: go.Figure, line: Timeline, day: dt.date, colours: Palette) -> None:
    spans, by_state = day_spans(line, day), state_colours(colours)
    start = np.array(spans.start, dtype="datetime64[ms]")
    for state in np.unique(spans.state).tolist():
        if state == UNKNOWN:
            continue
        mine = spans.state == state
        figure.add_trace(
            go.Bar(
                base=start[mine].tolist(),
                x=spans.length_s[mine] * 1000,
                y=np.zeros(int(mine.sum())),
                orientation="h",
                width=0.7,
                name=line.state_names[state],
                marker={"color": by_state[state], "line": {"width": 0}},
                customdata=[duration(s) for s in spans.length_s[mine]],
                hovertemplate=f"{line.state_names[state]}<br>from %{{base|%H:%M:%S}} for %{{customdata}}<extra></extra>",
            ),
            row=1,
            col=1,
        )
    moves = day_frame(line.motions, line, day, column="start", before=False)
    at = moves["start"].to_list()
    figure.add_trace(
        go.Scatter(
            x=at,
            y=[1] * len(at),
            mode="markers",
            name="movement",
            marker={"symbol": "line-ns", "size": 14, "line": {"color": rgba(colours.ink, 0.55), "width": 1}},
            hovertemplate="movement at %{x|%H:%M:%S}<extra></extra>",
        ),
        row=1,
        col=1,
    )
    left = day_frame(line.switch_offs.filter(pl.col("p_false") >= 0.5), line, day, before=False)
    figure.add_trace(
        go.Scatter(
            x=left["time"].to_list(),
            y=[0.5] * len(left),
            mode="markers",
            name=line.left_name,
            marker={
                "symbol": "triangle-down",
                "size": 10,
                "color": colours.left,
                "line": {"color": colours.surface, "width": 1},
            },
            customdata=left["p_false"].to_list(),
            hovertemplate="switched off at %{x|%H:%M:%S}<br>somebody there: %{customdata:.0%}<extra></extra>",
        ),
        row=1,
        col=1,
    )


def _light_rows(result: ChannelResult, line: Timeline, day: dt.date) -> pl.DataFrame | None:
    frame = result.light.daylight
    if frame is None or frame.is_empty():
        return None
    rows = day_frame(frame, line, day)
    return None if rows.is_empty() else _thin(rows, "reading_lx")


def _output_rows(result: ChannelResult, line: Timeline, day: dt.date) -> pl.DataFrame | None:
    frame = result.output
    if frame is None or frame.is_empty():
        return None
    rows = day_frame(frame, line, day)
    return None if rows.is_empty() else _thin(rows, "output_pct")


def _thin(rows: pl.DataFrame, value: str) -> pl.DataFrame:
    """Keep the least and the greatest value of each minute; short dips stay visible."""
    if len(rows) <= MOST_POINTS:
        return rows
    minute = pl.col("time").dt.truncate("1m")
    low = rows.sort(value).group_by(minute.alias("minute")).first()
    high = rows.sort(value).group_by(minute.alias("minute")).last()
    return pl.concat([low, high]).drop("minute").unique().sort("time")


def _illuminance(figure: go.Figure, rows: pl.DataFrame, result: ChannelResult, colours: Palette, row: int) -> None:
    at = rows["time"].to_list()
    lines = (
        ("reading_lx", "reading at the detector", {"color": colours.present, "width": 1.4}),
        ("daylight_lx", "daylight in it", {"color": colours.daylight, "width": 1.6, "dash": "dot"}),
    )
    for column, name, style in lines:
        if column not in rows.columns:
            continue
        figure.add_trace(
            go.Scatter(
                x=at,
                y=rows[column].to_list(),
                mode="lines",
                line={"shape": "hv", **style},
                name=name,
                hovertemplate=f"{name}: %{{y:.0f}} lx at %{{x|%H:%M}}<extra></extra>",
            ),
            row=row,
            col=1,
        )
    _targets(figure, result, colours, row)
    figure.update_yaxes(title_text="illuminance [lx]", rangemode="tozero", row=row, col=1)


def _targets(figure: go.Figure, result: ChannelResult, colours: Palette, row: int) -> None:
    now, new = result.current.target_lx, result.recommended.target_lx
    if now is not None:
        figure.add_hline(
            y=now,
            line={"color": colours.now, "width": 1, "dash": "dash"},
            annotation={"text": f"target now {now:.0f} lx", "font": {"color": colours.now, "size": 11}},
            annotation_position="top left",
            row=row,
            col=1,
        )
    if new is not None and now != new:
        figure.add_hline(
            y=new,
            line={"color": colours.accent, "width": 1.5},
            annotation={"text": f"recommended {new:.0f} lx", "font": {"color": colours.accent, "size": 11}},
            annotation_position="bottom right",
            row=row,
            col=1,
        )


def _output(figure: go.Figure, rows: pl.DataFrame, colours: Palette, row: int) -> None:
    figure.add_trace(
        go.Scatter(
            x=rows["time"].to_list(),
            y=rows["output_pct"].to_list(),
            mode="lines",
            line={"shape": "hv", "color": colours.ink, "width": 1.2},
            fill="tozeroy",
            fillcolor=colours.dark,
            name="output",
            showlegend=False,
            hovertemplate="output %{y:.0f} % at %{x|%H:%M:%S}<extra></extra>",
        ),
        row=row,
        col=1,
    )
    figure.update_yaxes(title_text="output [%]", range=[0, 105], row=row, col=1)

"""Weeks, a day or seconds of a channel: movement and light as lanes, illuminance and daylight, output."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from dashboard import reader
from dashboard.figures.day_raster import state_colours
from dashboard.figures.drawing import Figure, bar, scatter
from dashboard.figures.theme import Palette, dress, panels, rgba
from dashboard.figures.timeline import EMPTY_LIT, PRESENT_LIT, PRESENT_UNLIT, UNKNOWN, US, Timeline, local_times
from dashboard.figures.window import EXACT, LANE_S, Course, Window, counted, course, inside, shares, spans
from tuning.results import ChannelResult
from tuning.wording import duration

HOURS = [
    {"dtickrange": [None, 60_000], "value": "%H:%M:%S"},
    {"dtickrange": [60_000, 3_600_000], "value": "%H:%M"},
    {"dtickrange": [3_600_000, 43_200_000], "value": "%H"},
    {"dtickrange": [43_200_000, None], "value": "%-d %b"},
]
"""How times are written, by the distance of two ticks [ms]: days, hours, and more only where one has zoomed in."""
MARKS = 300
"""Switch-offs are marked one by one up to so many, else the likeliest of each bin. Chosen by us."""
LANE = 0.35
"""Half the height of the lane of the light."""


def time_figure(
    result: ChannelResult,
    line: Timeline,
    window: Window,
    colours: Palette,
    *,
    chosen: dt.datetime | None = None,
) -> Figure:
    """Draw a window of one channel; axes in the building's wall-clock time.

    Parameters
    ----------
    result, line, window
        The channel, laid out along time, and what of it to show.
    colours
        The scheme.
    chosen
        A switch-off to point at. [UTC]
    """
    daylight = result.light.daylight
    lux = None if daylight is None else course(daylight, window, line.zone, column="reading_lx")
    output = None if result.output is None else course(result.output, window, line.zone, column="output_pct")
    rows = [True, lux is not None, output is not None]
    weights = [w for w, there in zip((0.28, 0.45, 0.27), rows, strict=True) if there]
    figure = panels(weights, spacing=0.06)
    _lanes(figure, line, window, colours)
    _movement(figure, line, window, colours)
    _switch_offs(figure, line, window, colours)
    row = 1
    if lux is not None and daylight is not None:
        row += 1
        of_day = (
            course(daylight, window, line.zone, column="daylight_lx") if "daylight_lx" in daylight.columns else None
        )
        _illuminance(figure, lux, of_day, result, colours, row)
    if output is not None:
        row += 1
        _output(figure, output, colours, row)
    dress(figure, colours, height=180 + 150 * (len(weights) - 1), legend=False)
    _axes(figure, line, window, row)
    if chosen is not None:
        figure.add_vline(
            x=local_times(np.array([round(chosen.timestamp() * US)]), line.zone)[0],
            line={"color": colours.left, "width": 1.5, "dash": "dot"},
        )
    figure.update_layout(barmode="overlay", bargap=0, hovermode="closest", dragmode="zoom")
    return figure


def _axes(figure: Figure, line: Timeline, window: Window, row: int) -> None:
    first, last = local_times(np.array([window.first_us, window.last_us]), line.zone)
    # Bars are lengths of time, so the type is not guessed right; and axes of unlike types cannot move together.
    figure.update_xaxes(type="date", range=[first, last], nticks=9, tickangle=0, tickformatstops=HOURS)
    figure.update_xaxes(title_text=window_title(line, window), row=row)
    figure.update_yaxes(
        row=1,
        tickvals=[1, 0],
        ticktext=["movement", "load" if line.relay else "light"],
        range=[-0.55, 1.75],
        title_text="",
        showgrid=False,
        fixedrange=True,
    )
    figure.update_yaxes(fixedrange=True)


def window_title(line: Timeline, window: Window) -> str:
    """Say which time the axis shows."""
    zone = ZoneInfo(line.zone)
    first, last = (dt.datetime.fromtimestamp(t / US, tz=zone) for t in (window.first_us, window.last_us - 1))
    if first.date() == last.date():
        return f"time of day [h, local], {first:%a} {first.day} {first:%b %Y}"
    return f"local time, {first:%a} {first.day} {first:%b} to {last:%a} {last.day} {last:%b %Y}"


def _lanes(figure: Figure, line: Timeline, window: Window, colours: Palette) -> None:
    exact, by_state = spans(line, window), state_colours(colours)
    if exact is None:
        _share_bars(figure, line, window, by_state)
        return
    start = np.array(exact.start, dtype="datetime64[ms]")
    for state in np.unique(exact.state).tolist():
        if state == UNKNOWN:
            continue
        mine = exact.state == state
        figure.add(
            bar(
                base=start[mine].tolist(),
                x=exact.length_s[mine] * 1000,
                y=np.zeros(int(mine.sum())),
                orientation="h",
                width=2 * LANE,
                name=line.state_names[state],
                marker={"color": by_state[state], "line": {"width": 0}},
                customdata=[reader.said(duration(s)) for s in exact.length_s[mine]],
                hovertemplate=f"{line.state_names[state]}<br>from %{{base|%H:%M:%S}} for %{{customdata}}<extra></extra>",
            ),
            row=1,
        )


def _share_bars(figure: Figure, line: Timeline, window: Window, by_state: dict[int, str]) -> None:
    """Where stretches are too many, how much of each bin they fill."""
    edges = window.edges_us(line.zone)
    share = shares(line, edges)
    middle, width_ms = local_times((edges[:-1] + edges[1:]) // 2, line.zone), np.diff(edges) / 1000
    below = np.full(len(middle), -LANE)
    for state in (PRESENT_LIT, EMPTY_LIT, PRESENT_UNLIT):
        height = 2 * LANE * share[:, state]
        if not (share[:, state] > 0.001).any():
            continue
        figure.add(
            bar(
                x=middle,
                y=height,
                base=below,
                width=width_ms,
                name=line.state_names[state],
                marker={"color": by_state[state], "line": {"width": 0}},
                customdata=100 * share[:, state],
                hovertemplate=f"{line.state_names[state]}: %{{customdata:.0f}} % of %{{x|%a %-d %b, %H:%M}} ± "
                f"{reader.said(duration(float(width_ms[0]) / 2000))}<extra></extra>",
            ),
            row=1,
        )
        below = below + height


def _movement(figure: Figure, line: Timeline, window: Window, colours: Palette) -> None:
    moves = inside(line.motions, window, column="start")
    if len(moves) <= 2 * EXACT and window.length_s <= LANE_S:
        at = local_times(moves["start"].dt.epoch("us").to_numpy(), line.zone)
        figure.add(
            scatter(
                x=at,
                y=[1] * len(at),
                mode="markers",
                name="movement",
                marker={"symbol": "line-ns", "size": 14, "line": {"color": rgba(colours.ink, 0.55), "width": 1}},
                hovertemplate="movement at %{x|%H:%M:%S}<extra></extra>",
            ),
            row=1,
        )
        return
    edges = window.edges_us(line.zone)
    count = counted(line.motions, edges, column="start")
    figure.add(
        bar(
            x=local_times((edges[:-1] + edges[1:]) // 2, line.zone),
            y=0.7 * count / max(int(count.max()), 1),
            base=0.75,
            width=np.diff(edges) / 1000,
            name="movement",
            marker={"color": rgba(colours.ink, 0.6), "line": {"width": 0}},
            customdata=count,
            hovertemplate="%{customdata} movements around %{x|%a %-d %b, %H:%M}<extra></extra>",
        ),
        row=1,
    )


def marked(line: Timeline, window: Window) -> pl.DataFrame:
    """Switch-offs to mark: all of them where they are few, else of each bin the likeliest to have left somebody in the dark."""
    offs = inside(line.switch_offs, window)
    if len(offs) <= MARKS:
        return offs
    edges = window.edges_us(line.zone)
    index = pl.Series("bin", np.searchsorted(edges, offs["time"].dt.epoch("us").to_numpy(), side="right"))
    likely = offs.with_columns(index).filter(pl.col("p_false") >= 0.5)
    return (
        likely.sort("p_false", descending=True)
        .unique("bin", keep="first", maintain_order=True)
        .drop("bin")
        .sort("time")
    )


def _switch_offs(figure: Figure, line: Timeline, window: Window, colours: Palette) -> None:
    offs = marked(line, window)
    for name, rows, symbol, colour in (
        (line.left_name, offs.filter(pl.col("p_false") >= 0.5), "triangle-down", colours.left),
        ("switched off, nobody there", offs.filter(pl.col("p_false") < 0.5), "triangle-down-open", colours.soft),
    ):
        time = rows["time"].dt.epoch("us").to_numpy()
        said = [t.isoformat() for t in rows["time"].to_list()]
        figure.add(
            scatter(
                x=local_times(time, line.zone),
                y=[0.5] * len(rows),
                mode="markers",
                name=name,
                marker={
                    "symbol": symbol,
                    "size": 10,
                    "color": colour,
                    "line": {"color": colours.surface if symbol == "triangle-down" else colour, "width": 1},
                },
                customdata=[[p, t] for p, t in zip(rows["p_false"].to_list(), said, strict=True)],
                hovertemplate="switched off at %{x|%H:%M:%S}<br>somebody there: %{customdata[0]:.0%}<extra></extra>",
            ),
            row=1,
        )


def _illuminance(
    figure: Figure, reading: Course, daylight: Course | None, result: ChannelResult, colours: Palette, row: int
) -> None:
    _course(figure, reading, "reading at the detector", "lx", {"color": colours.present, "width": 1.4}, row)
    if daylight is not None:
        style = {"color": colours.daylight, "width": 1.6, "dash": "dot"}
        _course(figure, daylight, "daylight in it", "lx", style, row)
    _targets(figure, result, colours, row)
    figure.update_yaxes(title_text="illuminance [lx]", rangemode="tozero", row=row)


def _course(figure: Figure, c: Course, name: str, unit: str, style: dict[str, object], row: int, **more: str) -> None:
    """A step line; binned, a line of means in a band from the least to the greatest."""
    if c.low is not None and c.high is not None:
        figure.add(
            scatter(
                x=[*c.at, *c.at[::-1]],
                y=np.concatenate([c.high, c.low[::-1]]),
                fill="toself",
                fillcolor=rgba(str(style["color"]), 0.22),
                line={"width": 0},
                mode="lines",
                hoverinfo="skip",
                name=f"{name}, least to greatest",
            ),
            row=row,
        )
    text = "mean " if c.low is not None else ""
    figure.add(
        scatter(
            x=c.at,
            y=c.value,
            mode="lines",
            line={**style, "shape": "linear" if c.low is not None else "hv"},
            name=name,
            hovertemplate=f"{name}: {text}%{{y:.0f}} {unit} at %{{x|%H:%M:%S}}<extra></extra>",
            **more,
        ),
        row=row,
    )


def _targets(figure: Figure, result: ChannelResult, colours: Palette, row: int) -> None:
    now, new = result.current.target_lx, result.recommended.target_lx
    if now is not None:
        figure.add_hline(
            y=now,
            line={"color": colours.now, "width": 1, "dash": "dash"},
            text={"text": f"target now {now:.0f} lx", "font": {"color": colours.now, "size": 11}},
            at="top left",
            row=row,
        )
    if new is not None and now != new:
        figure.add_hline(
            y=new,
            line={"color": colours.accent, "width": 1.5},
            text={"text": f"recommended {new:.0f} lx", "font": {"color": colours.accent, "size": 11}},
            at="bottom right",
            row=row,
        )


def _output(figure: Figure, c: Course, colours: Palette, row: int) -> None:
    _course(figure, c, "output", "%", {"color": colours.ink, "width": 1.2}, row, fill="tozeroy", fillcolor=colours.dark)
    figure.update_yaxes(title_text="output [%]", range=[0, 105], row=row)

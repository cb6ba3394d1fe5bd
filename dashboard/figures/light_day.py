"""The detector's reading over a typical day, taken apart into daylight and lamps."""

from __future__ import annotations

from dashboard.figures.drawing import Figure, scatter
from dashboard.figures.theme import Palette, dress, rgba, sentence
from tuning.results import ChannelResult


def light_day_figure(result: ChannelResult, colours: Palette) -> Figure:
    """Draw mean daylight and, on top of it, mean lamps by the time of day, with the targets."""
    frame = result.light.typical_day
    if frame is None or frame.is_empty():
        return sentence(colours, "The log does not let lamps and daylight be told apart.")
    hour = (frame["minute"] / 60).to_list()
    daylight, lamps = frame["daylight_lx"].to_list(), frame["lamps_lx"].to_list()
    figure = Figure()
    layers = (
        ("daylight", daylight, colours.daylight, "dot", 0.25),
        ("lamps on top of it", lamps, colours.present, "solid", 0.35),
    )
    for name, lx, colour, dash, wash in layers:
        figure.add(
            scatter(
                x=hour,
                y=lx,
                mode="lines",
                stackgroup="reading",
                name=name,
                line={"color": colour, "width": 1.6, "dash": dash},
                fillcolor=rgba(colour, wash),
                hovertemplate=f"{name}: %{{y:.0f}} lx at %{{x:.1f}} h<extra></extra>",
            )
        )
    bounds = frame["daylight_low_lx"].to_list(), frame["daylight_high_lx"].to_list()
    figure.add(
        scatter(
            x=hour,
            y=daylight,
            mode="markers",
            name="daylight of eight days in ten",
            marker={"size": 1, "color": colours.daylight},
            error_y={
                "type": "data",
                "symmetric": False,
                "array": [max(h - m, 0.0) for h, m in zip(bounds[1], daylight, strict=True)],
                "arrayminus": [max(m - low, 0.0) for low, m in zip(bounds[0], daylight, strict=True)],
                "color": colours.daylight,
                "thickness": 1,
                "width": 3,
            },
            hoverinfo="skip",
        )
    )
    dress(figure, colours, height=260)
    _targets(figure, result, colours)
    figure.update_xaxes(title_text="time of day [h, local]", range=[0, 24], dtick=3)
    figure.update_yaxes(title_text="reading at the<br>detector [lx]", rangemode="tozero")
    return figure


def _targets(figure: Figure, result: ChannelResult, colours: Palette) -> None:
    now, new = result.current.target_lx, result.recommended.target_lx
    marks = (
        (now, "target in force", colours.now, "dash", "top left"),
        (None if new == now else new, "recommended", colours.accent, "solid", "bottom right"),
    )
    for lx, name, colour, dash, where in marks:
        if lx is not None:
            figure.add_hline(
                y=lx,
                line={"color": colour, "width": 1.2, "dash": dash},
                text={"text": f"{name} {lx:.0f} lx", "font": {"color": colour, "size": 11}},
                at=where,
            )

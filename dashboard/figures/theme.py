"""Colours, type and axes in one place: the figures, the pages and the report all read them from here.

The data colours are told apart by people with any of the common colour-vision deficiencies: blue against amber differ in hue *and* in
lightness, and what matters most (left in the dark, recommended, in force) has a shape or a line pattern of its own as well.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any, Literal

from dashboard.figures.drawing import Figure
from dashboard.reader import write

Scheme = Literal["light", "dark"]
FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Noto Sans', Ubuntu, Cantarell, sans-serif"


@dataclass(frozen=True)
class Palette:
    """Colours of one scheme, as ``#rrggbb``.

    ``accent`` is kept for what is recommended, ``now`` for what is in force; no other thing wears them.
    ``edge`` outlines what can be worked with, at three to one against its ground; ``line`` only divides.
    """

    page: str
    surface: str
    sunken: str
    ink: str
    soft: str
    line: str
    edge: str
    grid: str
    accent: str
    on_accent: str
    accent_wash: str
    now: str
    present: str
    present_unlit: str
    empty: str
    dark: str
    unknown: str
    left: str
    daylight: str
    warning: str
    blocking: str


LIGHT = Palette(
    page="#fbfcfc",
    surface="#ffffff",
    sunken="#edf0f2",
    ink="#15202a",
    soft="#51606d",
    line="#d3dae0",
    edge="#7d8b97",
    grid="#e8ecef",
    accent="#00705f",
    on_accent="#ffffff",
    accent_wash="#e0f1ee",
    now="#15202a",
    present="#3f78a8",
    present_unlit="#a9c6de",
    empty="#eda41b",
    dark="#e7ecef",
    unknown="#c3ccd3",
    left="#a80f4f",
    daylight="#8a6a00",
    warning="#8a5a00",
    blocking="#a80f4f",
)
DARK = Palette(
    page="#0f151a",
    surface="#172027",
    sunken="#111920",
    ink="#e6ecf0",
    soft="#9fb0bd",
    line="#31404b",
    edge="#73848f",
    grid="#24313a",
    accent="#45cdb6",
    on_accent="#06221d",
    accent_wash="#123a35",
    now="#e6ecf0",
    present="#5b9bd0",
    present_unlit="#31536d",
    empty="#f0b13c",
    dark="#1f2b34",
    unknown="#46545f",
    left="#ff7fae",
    daylight="#e2c457",
    warning="#f0b13c",
    blocking="#ff7fae",
)


def palette(scheme: str | None) -> Palette:
    """Return the palette of a scheme; the light one for anything that is not ``dark``."""
    return DARK if scheme == "dark" else LIGHT


def css_variables(colours: Palette) -> str:
    """Write the palette as CSS custom properties, so that pages and figures cannot drift apart."""
    return "".join(f"--{name.replace('_', '-')}:{value};" for name, value in asdict(colours).items())


def rgba(colour: str, alpha: float) -> str:
    """Give a colour an opacity.

    Examples
    --------
    >>> rgba("#ff8000", 0.5)
    'rgba(255,128,0,0.5)'
    """
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{alpha:g})"


def dress(figure: Figure, colours: Palette, *, height: int, legend: bool = True) -> Figure:
    """Give a figure its type, margins and colours.

    Parameters
    ----------
    figure
        Changed in place, and returned.
    colours
        The scheme.
    height
        In CSS pixels; the width follows the page.
    legend
        Whether the traces are named above the plot.
    """
    figure.update_layout(
        height=height,
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"family": FONT, "size": 12, "color": colours.soft},
        margin={"l": 58, "r": 14, "t": 30 if legend else 12, "b": 44},
        showlegend=legend,
        legend={
            "orientation": "h",
            "x": 0,
            "xanchor": "left",
            "y": 1.0,
            "yanchor": "bottom",
            "font": {"color": colours.ink, "size": 12},
            "bgcolor": "rgba(0,0,0,0)",
        },
        hoverlabel={
            "bgcolor": colours.surface,
            "bordercolor": colours.line,
            "font": {"family": FONT, "size": 12, "color": colours.ink},
        },
        dragmode=False,
    )
    style = axis(colours)
    figure.update_xaxes(**style)
    figure.update_yaxes(**style)
    return figure


def panels(heights: list[float], *, spacing: float) -> Figure:
    """Return a figure of panels one under the other on one x axis, only the last of them labelled; ``heights`` and ``spacing`` as of `Figure`."""
    figure = Figure(heights, spacing=spacing)
    for row in range(2, len(heights) + 1):
        figure.update_xaxes(matches="x", row=row)
    for row in range(1, len(heights)):
        figure.update_xaxes(showticklabels=False, row=row)
    return figure


def axis(colours: Palette) -> dict[str, Any]:
    """Return what all axes share."""
    return {
        "gridcolor": colours.grid,
        "linecolor": colours.line,
        "tickcolor": colours.line,
        "ticks": "outside",
        "ticklen": 4,
        "zeroline": False,
        "title_font": {"size": 12, "color": colours.soft},
        "title_standoff": 8,
        "automargin": True,
    }


def hold_off_ticks(values_s: list[float], *, room: float = 0.11) -> tuple[list[float], list[str]]:
    """Pick tick marks among hold-offs for a log axis so that no two labels touch. Labels are in minutes.

    Parameters
    ----------
    values_s
        Candidate hold-offs, increasing. [s]
    room
        Least distance of two labels, as a share of the axis.

    Examples
    --------
    >>> hold_off_ticks([45, 120, 1500, 1800])
    ([45, 120, 1800], ['0.75', '2', '30'])
    """
    if not values_s:
        return [], []
    span = max(math.log(values_s[-1] / values_s[0]), 1e-9)
    chosen = [values_s[-1]]
    # From the right, where candidates stand closest on a log axis; the first and the last are always named.
    for value in reversed(values_s[1:-1]):
        left = math.log(value / values_s[0]) / span
        if math.log(chosen[-1] / value) / span >= room and left >= room:
            chosen.append(value)
    if values_s[0] != values_s[-1]:
        chosen.append(values_s[0])
    ticks = sorted(chosen)
    return ticks, [write(f"{v / 60:.3g}") for v in ticks]


def in_force_mark(colours: Palette) -> dict[str, Any]:
    """Return the marker of what is in force: a ring, wide enough that the recommended mark fits into it."""
    return {"symbol": "circle-open", "size": 16, "color": colours.now, "line": {"width": 2.5, "color": colours.now}}


def recommended_mark(colours: Palette) -> dict[str, Any]:
    """Return the marker of what is recommended: a full diamond."""
    return {"symbol": "diamond", "size": 11, "color": colours.accent, "line": {"width": 1, "color": colours.surface}}


def sentence(colours: Palette, text: str, *, height: int = 160) -> Figure:
    """Return an empty figure that says why it is empty."""
    figure = Figure()
    dress(figure, colours, height=height, legend=False)
    figure.update_xaxes(visible=False)
    figure.update_yaxes(visible=False)
    figure.add_annotation(
        text=text, x=0.5, y=0.5, xref="paper", yref="paper", showarrow=False, font={"size": 13, "color": colours.soft}
    )
    return figure

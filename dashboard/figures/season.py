"""What a year makes of a target: energy and an under-lit task by month."""

from __future__ import annotations

from dashboard.figures.drawing import Figure, bar
from dashboard.figures.target_curve import UNDER_LIT_LIMIT_PCT
from dashboard.figures.theme import Palette, dress, panels, rgba, sentence
from tuning.results import ChannelResult

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def season_figure(result: ChannelResult, colours: Palette) -> Figure:
    """Draw the share of the time in which the task lacks light, the energy and the daylight of each month, one under the other."""
    months = result.light.months
    if months is None or months.is_empty():
        return sentence(colours, "The log shows too little daylight to say what other months would bring.")
    x = [MONTHS[m - 1] for m in months["month"].to_list()]
    figure = panels([1, 1, 1], spacing=0.07)
    rows = (
        ("under-lit<br>[%]", "under-lit", (100 * months["under_lit_share"]).to_list(), "%", colours.left),
        ("energy<br>[kWh]", "energy", months["energy_kwh"].to_list(), "kWh", colours.present),
        ("daylight<br>[lx]", "daylight", months["daylight_lx"].to_list(), "lx", colours.daylight),
    )
    for row, (title, name, y, unit, colour) in enumerate(rows, start=1):
        figure.add(
            bar(
                x=x,
                y=y,
                name=name,
                marker={"color": rgba(colour, 0.55), "line": {"color": colour, "width": 1}},
                hovertemplate=f"%{{x}}: %{{y:.1f}} {unit}<extra></extra>",
            ),
            row=row,
        )
        figure.update_yaxes(title_text=title, rangemode="tozero", row=row)
    dress(figure, colours, height=400, legend=False)
    figure.add_hline(
        y=UNDER_LIT_LIMIT_PCT,
        line={"color": colours.left, "width": 1, "dash": "dot"},
        text={"text": "limit 5 %", "font": {"color": colours.left, "size": 11}},
        at="top right",
        row=1,
    )
    figure.update_xaxes(
        title_text="month (energy of each; daylight at the detector; under-lit share of the time)", row=3
    )
    return figure

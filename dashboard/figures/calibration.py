"""Predicted against realised changes: a point a channel, with ranges both ways, beside the line on which both agree."""

from __future__ import annotations

from collections.abc import Sequence

from dashboard.figures.drawing import Figure, scatter
from dashboard.figures.theme import Palette, dress
from tuning.verification import Compared, Estimate


def calibration_figure(both: Sequence[Compared], labels: Sequence[str], colours: Palette, *, unit: str) -> Figure:
    """Draw the changes of one quantity; predictions that held are full circles, others hollow squares."""
    figure = Figure()
    ends = [v for q in both for e in (q.change, q.predicted_change) for v in (e.low, e.high)]
    low, high = min([0.0, *ends]), max([0.0, *ends])
    figure.add(
        scatter(
            x=[low, high],
            y=[low, high],
            mode="lines",
            name="as predicted",
            line={"color": colours.soft, "dash": "dash"},
            hoverinfo="skip",
        )
    )
    for held, name, symbol, colour in (
        (True, "held", "circle", colours.present),
        (False, "did not hold", "square-open", colours.left),
    ):
        rows = [i for i, q in enumerate(both) if q.held == held]
        p, r = [both[i].predicted_change for i in rows], [both[i].change for i in rows]
        figure.add(
            scatter(
                x=[e.value for e in p],
                y=[e.value for e in r],
                mode="markers",
                name=name,
                text=[labels[i] for i in rows],
                marker={"symbol": symbol, "size": 9, "color": colour},
                error_x=_range(p, colour),
                error_y=_range(r, colour),
                hovertemplate=f"%{{text}}<br>predicted %{{x:.2f}}, happened %{{y:.2f}} {unit}<extra></extra>",
            )
        )
    dress(figure, colours, height=380)
    figure.update_xaxes(title_text=f"predicted change [{unit}]")
    figure.update_yaxes(title_text=f"realised change [{unit}]")
    return figure


def _range(estimates: Sequence[Estimate], colour: str) -> dict[str, object]:
    return {
        "type": "data",
        "symmetric": False,
        "array": [e.high - e.value for e in estimates],
        "arrayminus": [e.value - e.low for e in estimates],
        "color": colour,
        "thickness": 1,
        "width": 0,
    }

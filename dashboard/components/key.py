"""The key to a figure, as elements: it wraps on a narrow page and is read out, which a key inside a figure is not."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from dashboard.figures.timeline import DARK, EMPTY_LIT, PRESENT_LIT, PRESENT_UNLIT, UNKNOWN, Raster
from tuning.results import ChannelResult

SWATCHES = {
    PRESENT_LIT: "present",
    EMPTY_LIT: "empty",
    PRESENT_UNLIT: "present-unlit",
    DARK: "dark",
    UNKNOWN: "unknown",
}


def _entry(sign: str, text: str) -> Component:
    return html.Li([html.I(className=f"sign {sign}", **{"aria-hidden": "true"}), text])


def raster_key(raster: Raster) -> Component:
    """Name the states that occur, and the mark of a wrong switch-off."""
    there = [s for s in SWATCHES if bool((raster.state == s).any())]
    entries = [_entry(f"swatch {SWATCHES[s]}", raster.state_names[s]) for s in there]
    return html.Ul([*entries, _entry("triangle", raster.left_name)], className="key")


def day_key(c: ChannelResult) -> Component | None:
    """Name the lines of the illuminance; ``None`` where there are none."""
    frame = c.light.daylight
    if frame is None or frame.is_empty():
        return None
    entries = [_entry("line reading", "reading at the detector"), _entry("line daylight", "daylight in it")]
    if c.current.target_lx is not None:
        entries.append(_entry("line target-now", "target in force"))
    if c.recommended.target_lx is not None and c.recommended.target_lx != c.current.target_lx:
        entries.append(_entry("line target-new", "target recommended"))
    return html.Ul(entries, className="key")

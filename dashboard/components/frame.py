"""The frame around every page: head line, loading and failure, scheme."""

from __future__ import annotations

import dash
import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.store import Load

POLL_MS = 500

SCHEME_JS = """
function(_n, stamp, chosen) {
  const asked = dash_clientside.callback_context.triggered.some(t => t.prop_id === 'scheme-button.n_clicks');
  const system = window.matchMedia('(prefers-color-scheme: dark)').matches ? 'dark' : 'light';
  let scheme = (chosen === 'dark' || chosen === 'light') ? chosen : system;
  let keep = dash_clientside.no_update;
  if (asked) { scheme = scheme === 'dark' ? 'light' : 'dark'; keep = scheme; }
  document.documentElement.dataset.scheme = scheme;
  return [scheme, keep, scheme, scheme === 'dark' ? 'Light' : 'Dark', scheme === 'dark' ? 'Switch to light colours' : 'Switch to dark colours'];
}
"""


def frame() -> Component:
    """Lay out what all pages share."""
    return dmc.MantineProvider(
        id=ids.MANTINE,
        forceColorScheme="light",
        theme={"fontFamily": "inherit", "primaryColor": "teal", "defaultRadius": 4, "cursorType": "pointer"},
        children=[
            dcc.Store(id=ids.VERSION),
            dcc.Store(id=ids.BOOK, data=0),
            dcc.Store(id=ids.SCHEME),
            dcc.Store(id=ids.SCHEME_CHOICE, storage_type="local"),
            dcc.Interval(id=ids.POLL, interval=POLL_MS),
            html.A("Skip to the content", href="#content", className="skip"),
            html.Header(
                [
                    dcc.Link("holdoff", href="/", className="product"),
                    html.Span(id=ids.SITE_NAME, className="site-name"),
                    html.Div(
                        [
                            html.Label("Your name", htmlFor=ids.WHO),
                            dcc.Input(
                                id=ids.WHO,
                                type="text",
                                value="",
                                debounce=False,
                                maxLength=80,
                                autoComplete="name",
                                placeholder="Your name",
                                persistence=True,
                                persistence_type="local",
                            ),
                        ],
                        id=ids.WHO_BOX,
                        className="who-box",
                        hidden=True,
                    ),
                    html.Button("Dark", id=ids.SCHEME_BUTTON, className="quiet", n_clicks=0),
                ],
                className="top",
            ),
            html.Div(id=ids.STATUS, role="status"),
            html.Main(dash.page_container, id="content"),
        ],
    )


def status(load: Load) -> Component | None:
    """Show how far the analysis has come, or why there is none."""
    if load.state == "ready":
        return None
    if load.state == "empty":
        return html.Div(
            [html.H1("Nothing analysed yet"), html.P("Add the building's logs, then start the analysis.")],
            className="state",
        )
    if load.state == "failed":
        return html.Div(
            [
                html.H1("These logs cannot be analysed yet"),
                html.P(load.what),
                html.P(
                    "The terminal shows where." if load.defect else "Mend it in the folder, then start holdoff again."
                ),
            ],
            className="state failed",
            role="alert",
        )
    return html.Div(
        [
            html.H1("Reading the building"),
            html.Progress(value=f"{load.share:.3f}", max="1", **{"aria-label": "Progress of the analysis"}),
            html.P(f"{load.share:.0%}, {load.what}"),
        ],
        className="state",
    )

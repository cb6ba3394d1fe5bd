"""The frame around every page: head line, loading and failure, scheme."""

from __future__ import annotations

import dash
import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.access.forms import ACCOUNT, LOGOUT
from dashboard.access.people import ACCOUNTS
from dashboard.reader import said
from dashboard.store import Load
from dashboard.workspace.sessions import Known

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


def frame(*, workspace: bool = False, known: Known | None = None) -> Component:
    """Lay out what all pages share; ``workspace``: people decide here, and say who they are; ``known``: who is logged in."""
    return dmc.MantineProvider(
        id=ids.MANTINE,
        forceColorScheme="light",
        theme={"fontFamily": "inherit", "primaryColor": "teal", "defaultRadius": 4, "cursorType": "pointer"},
        children=[
            dcc.Store(id=ids.VERSION),
            dcc.Store(id=ids.CHANGED),
            dcc.Store(id=ids.FRAME_SHOWN),
            dcc.Store(id=ids.BOOK, data=0),
            dcc.Store(id=ids.SCHEME),
            dcc.Store(id=ids.SCHEME_CHOICE, storage_type="local"),
            dcc.Store(id=ids.POLL, data=0),
            html.A("Skip to the content", href="#content", className="skip"),
            html.Header(
                [
                    dcc.Link("holdoff", href="/", className="product"),
                    html.Span(id=ids.SITE_NAME, className="site-name"),
                    html.Nav(id=ids.NAV, className="nav", **{"aria-label": "Pages of this building"}),
                    who_box(workspace=workspace, known=known),
                    html.Button("Dark", id=ids.SCHEME_BUTTON, className="quiet", n_clicks=0),
                ],
                className="top",
            ),
            html.Div(id=ids.NEWS, role="status", className="news"),
            html.Div(id=ids.STATUS, role="status"),
            html.Main(dash.page_container, id="content"),
        ],
    )


def who_box(*, workspace: bool, known: Known | None) -> Component:
    """Lay out who is at the keyboard: the account that is logged in, else a field for one's name."""
    if known is None:
        field = dcc.Input(
            id=ids.WHO,
            type="text",
            value="",
            debounce=False,
            maxLength=80,
            autoComplete="name",
            placeholder="Your name",
            persistence=True,
            persistence_type="local",
        )
        inner: list[Component] = [html.Label("Your name", htmlFor=ids.WHO), field]
        return html.Div(inner, id=ids.WHO_BOX, className="who-box", hidden=not workspace)
    # The name that goes with what is done is the account's, whatever a browser sends; scripts look for it here.
    name = dcc.Input(id=ids.WHO, type="hidden", value=known.actor.name, persistence=False)
    return html.Div(
        [
            html.Span([name], id=ids.WHO_BOX, hidden=True),
            *([html.A("Accounts", href=ACCOUNTS)] if known.actor.may("administer", None) else []),
            html.A(known.actor.name, href=ACCOUNT, title="Your account: password, roles"),
            html.Form(
                [
                    dcc.Input(type="hidden", name="proof", value=known.proof),
                    html.Button("Log out", type="submit", className="quiet"),
                ],
                action=LOGOUT,
                method="POST",
            ),
        ],
        className="who-box",
    )


def status(load: Load, building: str = "") -> Component | None:
    """Show how far the analysis has come, or why there is none."""
    logs = dcc.Link("Go to the logs", href=ids.logs_href(building)) if building else None
    if load.state == "ready":
        return None
    if load.state == "empty":
        return html.Div(
            [
                html.H1("Nothing analysed yet"),
                html.P("Bring in the logs of this building, say what is in them, then analyse."),
                html.P(logs),
                *_without_logs(building),
            ],
            className="state",
        )
    if load.state == "failed":
        mend = "Mend it in the folder, then start holdoff again." if logs is None else logs
        return html.Div(
            [
                html.H1("These logs cannot be analysed yet"),
                html.P(load.what),
                html.P("The terminal shows where." if load.defect else mend),
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


def _without_logs(building: str) -> list[Component]:
    """Offer the settings to start with before there is a log."""
    if not building:
        return []
    again = {"kind": ids.AGAIN, "building": building}
    return [
        html.P(
            [
                "No log yet? Say the rooms and their uses in ",
                dcc.Link("Facts", href=ids.facts_href(building)),
                ", and get settings to start with.",
            ]
        ),
        html.Button("Settings to start with", id=again, className="quiet", n_clicks=0),
    ]


NEWS_SHOWN = 3


def news(load: Load, building: str) -> list[Component]:
    """Say in a line above the page that its analysis is outdated, or that a newer one is on its way or has failed."""
    if load.state != "ready":
        return []
    if load.again:
        share, what = load.again
        return [
            html.Progress(value=f"{share:.3f}", max="1", **{"aria-label": "Progress of the new analysis"}),
            html.Span(f"Analysing again: {share:.0%}, {what}. Until then you see the last analysis."),
        ]
    told: list[Component] = []
    if load.trouble:
        told.append(html.Span([html.Strong("The last analysis failed. "), load.trouble], className="trouble"))
    if load.outdated:
        rest = len(load.outdated) - NEWS_SHOWN
        changes = "; ".join(said(c) for c in load.outdated[:NEWS_SHOWN]) + (f"; and {rest} more" if rest > 0 else "")
        told.append(html.Span([html.Strong("This analysis is outdated. "), f"Since then: {changes}."]))
    if told:
        told.append(
            html.Button("Analyse again", id={"kind": ids.AGAIN, "building": building}, className="quiet", n_clicks=0)
        )
    return told


NAV = (
    ("Rooms", ids.building_href),
    ("Settings sheet", ids.sheet_href),
    ("Verification", ids.verification_href),
    ("Year", ids.report_href),
    ("Logs", ids.logs_href),
    ("Facts", ids.facts_href),
)
"""Pages of a building."""


def nav(building: str, path: str) -> list[Component]:
    """Links between the pages of a building."""
    if not building:
        return []
    every = dcc.Link("Buildings", href="/", className="up")
    here = next((word for word, href in reversed(NAV) if path.startswith(href(building))), "")
    return [
        every,
        *(
            dcc.Link(word, href=href(building), className="here" if word == here else "", **_current(word == here))
            for word, href in NAV
        ),
    ]


def _current(here: bool) -> dict[str, str]:  # noqa: FBT001  said by its name
    return {"title": "This page"} if here else {}

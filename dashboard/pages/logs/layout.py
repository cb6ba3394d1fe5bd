"""The way in, in three steps; callbacks fill them, and ``assets/upload.js`` brings the files."""

from __future__ import annotations

from urllib.parse import unquote

from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.pages.logs import folder, old, site_file


def layout(building: str = "", **_other: str) -> Component:
    """Lay out the page.

    Parameters
    ----------
    building
        As the address names it.
    """
    return html.Div(
        [
            dcc.Store(id=ids.LOGS, data=unquote(building)),
            dcc.Store(id=ids.LOGS_CHANGED, data=0),
            html.Div(
                [
                    html.H1("Logs"),
                    html.P("Bring in the files, say what is in them, and have them analysed.", className="soft"),
                ],
                className="page-head",
            ),
            _step(
                "1",
                "Files",
                "CSV, Parquet, Excel, or gzip and zip of these; any layout. They are kept as they are. A site.toml may come along.",
                *_files(),
            ),
            _step(
                "2",
                "What is in them",
                "Which column is which room, channel and quantity. Correct what is not so.",
                *_mapping(),
            ),
            _step("3", "Analyse", "In a process of its own: close the page, come back, it goes on.", *_analyse()),
            folder.section(),
            old.section(),
        ],
        className="page logs",
    )


def _step(number: str, title: str, caption: str, *content: Component) -> Component:
    head = html.H2([html.Span(number, className="step-number"), title])
    return html.Section([head, html.P(caption, className="caption"), *content], className="step")


def _files() -> list[Component]:
    return [
        # The browser's own file chooser is put in here, and nothing else of ours.
        html.Div(id=ids.DROP, className="drop"),
        html.Div(id=ids.LOGS_FILES),
        html.P(id=ids.FILES_TOLD, className="told", role="alert"),
        site_file.section(),
    ]


def _mapping() -> list[Component]:
    return [
        dcc.Store(id=ids.MAPPING),
        dcc.Store(id=ids.DRAFT),
        dcc.Loading(html.Div(id=ids.MAPPING_TABLES), delay_show=300, type="dot"),
        html.Div(id=ids.MAPPING_ROOMS),
        html.Div(id=ids.MAPPING_CHECK, className="check", role="status"),
        html.Button("Use this mapping", id=ids.MAPPING_SAVE, className="primary", n_clicks=0, hidden=True),
        html.P(id=ids.MAPPING_TOLD, className="told", role="alert"),
    ]


def _analyse() -> list[Component]:
    return [
        html.Div(id=ids.JOB, role="status", className="job"),
        html.Div(
            [
                html.Button("Analyse", id=ids.JOB_START, className="primary", n_clicks=0),
                html.Button("Stop", id=ids.JOB_STOP, className="quiet", n_clicks=0, hidden=True),
            ],
            className="buttons",
        ),
        html.P(id=ids.JOB_TOLD, className="told", role="alert"),
    ]

"""Facts of a building; callbacks fill the fields."""

from __future__ import annotations

from urllib.parse import unquote

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids


def layout(building: str = "", room: str = "", **_other: str) -> Component:
    """Lay out the page.

    Parameters
    ----------
    building, room
        As the address names them; no room: the building itself.
    """
    return html.Div(
        [
            dcc.Store(id=ids.FACTS, data=unquote(building)),
            dcc.Store(id=ids.FACTS_REVISION),
            html.Div(
                [
                    html.H1("Facts"),
                    html.P(
                        "What the estimates rest on besides the logs. Every change is kept, with who made it.",
                        className="soft",
                    ),
                ],
                className="page-head",
            ),
            html.Div(
                [
                    html.Section(
                        [
                            html.Div(
                                dmc.Select(
                                    id=ids.FACTS_ROOM,
                                    label="Facts of",
                                    data=[],
                                    value=unquote(room),
                                    searchable=True,
                                    allowDeselect=False,
                                ),
                                className="facts-of",
                            ),
                            html.Div(id=ids.FACTS_FORM),
                            html.Div(
                                [
                                    html.Button("Save changes", id=ids.FACTS_SAVE, className="primary", n_clicks=0),
                                    html.Button("Discard changes", id=ids.FACTS_DISCARD, className="quiet", n_clicks=0),
                                    html.P(id=ids.FACTS_TOLD, className="told", role="status"),
                                ],
                                className="buttons save-bar",
                            ),
                            html.Details(
                                [
                                    html.Summary("Add a room or a channel"),
                                    html.Div(
                                        [
                                            dmc.TextInput(
                                                id=ids.FACTS_NEW, label="Short name, as the logs have it", debounce=True
                                            ),
                                            html.Button(
                                                "Add room", id=ids.FACTS_ADD_ROOM, className="quiet", n_clicks=0
                                            ),
                                            html.Button(
                                                "Add channel to this room",
                                                id=ids.FACTS_ADD_CHANNEL,
                                                className="quiet",
                                                n_clicks=0,
                                            ),
                                        ],
                                        className="form",
                                    ),
                                ]
                            ),
                        ]
                    ),
                    html.Section([html.H2("What was changed"), html.Div(id=ids.FACTS_HISTORY)], className="changes"),
                ],
                className="facts-body",
            ),
        ],
        className="page known-facts",
    )

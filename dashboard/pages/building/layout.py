"""The building page's skeleton; callbacks fill it."""

from __future__ import annotations

from urllib.parse import unquote

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids
from dashboard.components.marks import cautions
from dashboard.pages.building.ranking import SORTS
from dashboard.words import DECISION_WORD


def layout(building: str = "", q: str = "", show: str = "", sort: str = "worth", **_other: str) -> Component:
    """Lay out the page.

    Parameters
    ----------
    building
        As the address names it; empty where the server has one only.
    q, show, sort
        Search text, decisions (comma-separated) and order, from the address.
    """
    chosen = [d for d in show.split(",") if d in DECISION_WORD]
    chips = [dmc.Chip(word, value=key, size="sm", radius=4, variant="outline") for key, word in DECISION_WORD.items()]
    return html.Div(
        [
            dcc.Store(id=ids.BUILDING, data=unquote(building)),
            dcc.Store(id=ids.BUILDING_URL),
            html.Div(id=ids.BUILDING_HEAD, className="page-head"),
            html.Div(
                [html.Section(id=ids.BUILDING_BALANCE), html.Section(id=ids.BUILDING_ATTENTION)],
                className="overview",
            ),
            html.Section(
                [
                    html.Div(
                        [
                            html.H2("Rooms"),
                            html.Span(id=ids.BUILDING_COUNT, className="soft", role="status"),
                            dmc.TextInput(
                                id=ids.SEARCH,
                                value=q,
                                placeholder="Room, channel, use or finding",
                                debounce=200,
                                className="search",
                                **{"aria-label": "Search rooms"},
                            ),
                            html.Div(
                                dmc.ChipGroup(chips, id=ids.SHOW, multiple=True, value=chosen),
                                className="chips",
                                role="group",
                                **{"aria-label": "Show decisions"},
                            ),
                            dmc.Select(
                                id=ids.SORT,
                                data=[{"value": k, "label": s.label} for k, s in SORTS.items()],
                                value=sort if sort in SORTS else "worth",
                                allowDeselect=False,
                                className="sort",
                                **{"aria-label": "Order of the rooms"},
                            ),
                        ],
                        className="toolbar",
                    ),
                    html.Div(id=ids.BUILDING_ROWS),
                    html.Button(
                        "Show more rooms", id=ids.BUILDING_MORE, className="quiet more", n_clicks=0, hidden=True
                    ),
                ],
                className="rooms",
            ),
            html.Section(id=ids.BUILDING_LOGS),
            cautions(),
        ],
        className="page building",
    )

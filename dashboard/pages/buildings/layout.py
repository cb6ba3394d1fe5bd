"""The list of buildings, filled when the page is asked for."""

from __future__ import annotations

import functools
import os
import zoneinfo
from pathlib import Path

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from dashboard import ids


def layout(**_other: str) -> Component:
    """Lay out the page."""
    return html.Div(
        [
            dcc.Location(id=ids.NEW_GO, refresh="callback-nav"),
            dcc.Store(id=ids.BUILDINGS_SEEN),
            html.Div(
                [
                    html.H1("Buildings"),
                    html.P(
                        "What tuning is worth, and what is left to do; those worth most first.",
                        className="soft",
                    ),
                ],
                className="page-head",
            ),
            dmc.TextInput(
                id=ids.BUILDINGS_SEARCH,
                value="",
                debounce=150,
                placeholder="Name of a building",
                className="search",
                **{"aria-label": "Search buildings"},
            ),
            html.Section(id=ids.BUILDINGS, **{"aria-label": "Buildings"}),
            html.P(id=ids.BUILDINGS_TOLD, className="told", role="alert"),
            html.Section(
                [
                    html.H2("New building"),
                    html.P("Logs without an offset are read in its time zone.", className="caption"),
                    html.Div(
                        [
                            dmc.TextInput(id=ids.NEW_NAME, label="Name", placeholder="Harbour House", debounce=True),
                            dmc.Select(
                                id=ids.NEW_ZONE,
                                label="Time zone",
                                data=list(_zones()),
                                value=own_zone(),
                                searchable=True,
                                allowDeselect=False,
                                limit=60,
                            ),
                            html.Button("Create building", id=ids.NEW_MAKE, className="primary", n_clicks=0),
                        ],
                        className="form",
                    ),
                    html.P(id=ids.NEW_TOLD, className="told", role="alert"),
                ],
                className="new-building",
            ),
        ],
        className="page buildings",
    )


@functools.cache
def _zones() -> tuple[str, ...]:
    """Names of all time zones. To find them is to open six hundred files, twice each time that the page was laid out."""
    return tuple(sorted(zoneinfo.available_timezones()))


def own_zone() -> str:
    """Time zone of this machine, as far as it says; else UTC."""
    named = os.environ.get("TZ", "").lstrip(":")
    link = Path("/etc/localtime")
    parts = str(link.resolve()).split("zoneinfo/") if link.is_symlink() else []
    found = named or (parts[1] if len(parts) == 2 else "")
    return found if found in _zones() else "UTC"

"""Whether there is news: ``GET /api/news/BUILDING``, which every page asks all the time (``assets/news.js``).

The answer is a stamp, and how soon to ask again [ms]; only with another stamp does the page ask what the news is. A callback for each of these
questions was most of what the server did. What a stamp rests on is read when something was written to the database, once for all pages of a
building.
"""

from __future__ import annotations

import hashlib
from typing import Any, Final

from flask import Flask, Response, g, jsonify, request

from dashboard.store import Load, Stores
from dashboard.workspace import Workspace, analyses
from dashboard.workspace.errors import NotThereError

WAY: Final = "/api/news"
SOON_MS, IDLE_MS = 500, 2000
"""How soon to ask again while an analysis goes on, and else. Chosen by us: progress is to be seen to go on, a colleague can wait a moment."""


def register(server: Flask, stores: Stores) -> None:
    """Add the route to a server. Of a building it needs the role ``look`` there, as all routes do (`dashboard.access.guard`)."""

    @server.get(WAY)
    @server.get(f"{WAY}/<building>")
    def news(building: str = "") -> Response:
        # Pages of logs show what no analysis knows of yet: they hear of whatever is written.
        stamp, soon = _of(stores, building, all_of_it="all" in request.args)
        return jsonify(stamp=stamp, ms=soon)


def _of(stores: Stores, building: str, *, all_of_it: bool) -> tuple[str, int | None]:
    ws = stores.workspace
    if ws is None:
        store = stores.of(building)
        load = None if store is None else store.load()
        # An analysis that has ended is looked at, and nothing more will happen.
        return _sum(load), SOON_MS if load is not None and load.state == "loading" else None
    mark: str = g.mark
    if not building:
        return _sum(mark), IDLE_MS
    shown, soon = ws.marks.kept(mark, ("news", building), lambda: _shown(stores, ws, building))
    return (_sum((mark, shown)) if all_of_it else shown), soon


def _shown(stores: Stores, ws: Workspace, building: str) -> tuple[str, int]:
    store = stores.of(building)
    if store is None:
        return _sum(None), IDLE_MS
    try:
        load, name = store.load(), analyses.shown(ws, building).site
    except NotThereError:
        # Taken away between two looks.
        return _sum(None), IDLE_MS
    return _sum((load, name)), SOON_MS if _goes_on(load) else IDLE_MS


def _goes_on(load: Load) -> bool:
    return load.state == "loading" or load.again is not None


def _sum(shown: Any) -> str:
    return hashlib.sha256(repr(shown).encode()).hexdigest()[:20]

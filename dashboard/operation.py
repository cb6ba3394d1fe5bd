"""For whoever runs the server: whether it is well, its figures, and one line of JSON for each request."""

from __future__ import annotations

import re
import time
from http import HTTPStatus
from typing import Any, Final

from flask import Flask, g, jsonify, request
from prometheus_client import CollectorRegistry, Histogram, start_http_server
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector
from sqlalchemy import func, select
from sqlalchemy.exc import DatabaseError
from werkzeug.wrappers import Response

from dashboard.access.headers import STARTING
from dashboard.workspace import Workspace, lines
from dashboard.workspace.actors import acting
from dashboard.workspace.database import revision
from dashboard.workspace.tables import JobRow
from tuning import __version__

HEALTH: Final = "/health"
BOUNDS = (0.01, 0.03, 0.1, 0.3, 0.5, 1.0, 3.0, 10.0)
"""Of the histogram of answering times [s]; 0.5 s is what a page callback may take. Chosen by us."""


class _Jobs(Collector):
    """Counts jobs when it is asked."""

    def __init__(self, ws: Workspace) -> None:
        self._ws = ws

    def collect(self) -> Any:
        """Count them by state."""
        found = GaugeMetricFamily("holdoff_jobs", "Jobs by state.", labels=["state"])
        with acting(None), self._ws.reading() as session:
            for state, count in session.execute(select(JobRow.state, func.count()).group_by(JobRow.state)):
                found.add_metric([state], count)
        yield found


def register(server: Flask, ws: Workspace) -> CollectorRegistry:
    """Have a server tell how it is; returns its figures."""
    figures = CollectorRegistry()
    figures.register(_Jobs(ws))
    took = Histogram(
        "holdoff_request_seconds", "Time to answer.", ["route", "method", "status"], buckets=BOUNDS, registry=figures
    )
    server.extensions[HEALTH] = figures

    @server.get(HEALTH)
    def health() -> Response | tuple[Response, HTTPStatus]:
        try:
            with acting(None), ws.reading() as session:
                schema = revision(session.connection())
        except DatabaseError:
            return jsonify(status="no database"), HTTPStatus.SERVICE_UNAVAILABLE
        # Where there are accounts, the guard has looked who asks; which version runs is nobody's business who is not logged in.
        shown = "known" not in g or g.known is not None
        told = {"version": __version__, "schema": schema} if shown else {}
        return jsonify(status="ok", **told)

    @server.before_request
    def begin() -> None:
        g.begun, g.worked = time.perf_counter(), time.thread_time()

    @server.after_request
    def end(answer: Response) -> Response:
        if request.environ.get(STARTING):
            return answer
        # The rule and not the address: what people look for and tokens stand in addresses.
        route = request.url_rule.rule if request.url_rule else "none"
        seconds = time.perf_counter() - g.get("begun", time.perf_counter())
        took.labels(route, request.method, answer.status_code).observe(seconds)
        known = g.get("known")
        lines.say(
            lines.REQUESTS,
            "request",
            route=route,
            method=request.method,
            status=answer.status_code,
            ms=round(seconds * 1000, 1),
            # Of the thread that answers: what remains of it on a machine that is busy with other things.
            cpu_ms=round(1000 * (time.thread_time() - g.worked), 1) if "worked" in g else None,
            account=known.actor.account if known else None,
            callback=_callback(),
        )
        return answer

    return figures


def _callback() -> str | None:
    """What a page's callback fills first: the name of an element of ours, which holds nothing of anybody's."""
    if not request.path.endswith("_dash-update-component") or not lines.written():
        return None
    body = request.get_json(silent=True)
    output = str(body.get("output", "")) if isinstance(body, dict) else ""
    name = re.match(r"[\w-]+", output.lstrip("."))
    return name[0] if name else "pattern"


def tell(server: Flask, *, port: int) -> Any:
    """Give the figures in the Prometheus text format to this machine only, on a port of their own; returns the function that ends it."""
    listening, thread = start_http_server(port, addr="127.0.0.1", registry=server.extensions[HEALTH])

    def end() -> None:
        listening.shutdown()
        listening.server_close()
        thread.join()

    return end

"""What every answer tells the browser about safety.

Dash forces one thing: styles may stand inline (``style-src 'unsafe-inline'``), because its components, the table and plotly write style
attributes and style elements. Scripts may not: the few that Dash itself puts into the page are named by their SHA-256.
"""

from __future__ import annotations

import functools
from http import HTTPStatus
from typing import Any, Final

import dash
from flask import g, request
from werkzeug.wrappers import Response

STARTING: Final = "holdoff.starting"
"""Mark of the request that the program makes to itself; no client can set it."""
ASSETS: Final = "_dash_assets.static"
YEAR_S: Final = 365 * 24 * 3600


def policy(scripts: list[str]) -> str:
    """Write the content security policy; ``scripts``: sums of scripts that may stand inline."""
    parts = {
        "default-src": "'none'",
        "script-src": " ".join(["'self'", *scripts]),
        "style-src": "'self' 'unsafe-inline'",
        "img-src": "'self' data: blob:",
        "font-src": "'self' data:",
        "connect-src": "'self'",
        "manifest-src": "'self'",
        "form-action": "'self'",
        "base-uri": "'none'",
        "frame-ancestors": "'none'",
        "object-src": "'none'",
    }
    return "; ".join(f"{name} {value}" for name, value in parts.items())


def set_headers(app: dash.Dash) -> None:
    """Have an application send them."""

    @functools.cache
    def with_scripts() -> str:
        # Which scripts Dash puts in is known once it has answered.
        return policy(sorted(set(app.csp_hashes())))

    common = {
        "X-Content-Type-Options": "nosniff",
        # Not "no-referrer": with it, browsers would call the origin of our own forms unknown.
        "Referrer-Policy": "same-origin",
        "X-Frame-Options": "DENY",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    }

    def add(answer: Response) -> Any:
        if request.environ.get(STARTING):
            return answer
        answer.headers.setdefault("Content-Security-Policy", with_scripts())
        for name, value in common.items():
            answer.headers.setdefault(name, value)
        if request.is_secure:
            answer.headers.setdefault("Strict-Transport-Security", f"max-age={YEAR_S}")
        if request.endpoint == ASSETS and "m" in request.args and answer.status_code == HTTPStatus.OK:
            # Its address changes with the file, and there is nothing of anybody in it.
            answer.headers["Cache-Control"] = f"public, max-age={YEAR_S}, immutable"
        if g.get("known") is not None:
            # What somebody saw is not left to the next person at the same browser.
            answer.headers.setdefault("Cache-Control", "no-store")
        return answer

    app.server.after_request(add)

"""The guard at the door: every request passes it, whatever page, route or callback it is for.

Refused are, in this order: a change that another site's page asks for; everybody from another machine while there are no accounts; who is
not logged in (401); a change without the proof that it comes from our own page; and what the account has no role for (403).
"""

from __future__ import annotations

import dataclasses
import ipaddress
import json
from collections.abc import Iterator
from http import HTTPStatus
from typing import Any, Final
from urllib.parse import urlsplit

import dash
from flask import Flask, Response, current_app, g, has_request_context, jsonify, request
from werkzeug.wrappers import Response as BaseResponse

from dashboard import ids
from dashboard.access import forms, people, provider
from dashboard.access.headers import STARTING, set_headers
from dashboard.needs import declared
from dashboard.operation import HEALTH
from dashboard.workspace import Workspace, accounts, sessions
from dashboard.workspace.actors import Actor, ForbiddenError, Role, act_from_here, need, refusal
from dashboard.workspace.limits import Limits
from dashboard.workspace.sessions import Known

SAFE = ("GET", "HEAD", "OPTIONS")
OPEN: Final = frozenset(
    {forms.LOGIN, "/assets/holdoff.css", "/assets/scheme.js", "/_favicon.ico", HEALTH, provider.WAY, provider.BACK}
)
"""All that is answered to somebody who is not logged in: the page to log in, what it is drawn with, and that the server is well."""
OWN: Final = frozenset({forms.ACCOUNT, forms.LOGOUT})
"""Open to whoever is logged in, with or without a role."""
PROOF_HEADER, PROOF_FIELD = "X-CSRFToken", "proof"
CLICKS = (".n_clicks", ".n_submit")
PLACE = "-place"
"""Ids of stores that hold the building that a page is about end so."""

Answer = BaseResponse | tuple[Response, int] | None


def protect(app: dash.Dash, ws: Workspace | None) -> None:
    """Set the guard before an application; ``ws``: where the accounts are, if there can be any."""
    server = app.server
    server.before_request(lambda: _check(app, ws))
    server.teardown_request(lambda _error: act_from_here(None))
    set_headers(app)
    server.config["MAX_CONTENT_LENGTH"] = (Limits() if ws is None else ws.limits).uploads.request
    server.register_error_handler(ForbiddenError, lambda error: refused(str(error)))
    if ws is not None:
        forms.register(server, ws)
        provider.register(server, ws)
        people.register(server, ws)


def known() -> Known | None:
    """Who is logged in, in the present request."""
    return g.get("known") if has_request_context() else None


def _check(app: dash.Dash, ws: Workspace | None) -> Answer:
    # A thread answers one request after another.
    act_from_here(None)
    if request.environ.get(STARTING):
        return None
    changes = request.method not in SAFE
    if changes and not _same_site():
        return refused("Only holdoff's own pages may do this.")
    # Every page asks every other second whether there is news: who asks is read anew only when something was written.
    g.mark = mark = None if ws is None else ws.marks.now()
    if ws is None or mark is None or not ws.marks.kept(mark, "accounts exist", lambda: accounts.exist(ws)):
        if not _is_this_machine(request.remote_addr):
            return refused("Only this machine is served until accounts exist: holdoff user add.")
        return None
    g.known = who = sessions.find_again(ws, mark, request.cookies.get(forms.cookie()), reads_only=not changes)
    if request.path in OPEN or request.path.startswith(people.LINK):
        return None
    if who is None:
        return _not_logged_in()
    if changes and not who.is_own(request.headers.get(PROOF_HEADER) or _field()):
        return refused("This page is out of date. Load it again, then do it once more.")
    act_from_here(who.actor)
    if request.path in OWN:
        return None
    _may(app, who.actor)
    return None


def _same_site() -> bool:
    """Whether a change was asked for by a page of ours, or by no page at all."""
    origin = request.headers.get("Origin")
    if origin is not None and urlsplit(origin).netloc != request.host:
        return False
    return request.headers.get("Sec-Fetch-Site", "same-origin") in ("same-origin", "none")


def _is_this_machine(address: str | None) -> bool:
    if address is None:
        # Called from within the program; a server always says where a request comes from.
        return True
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def _field() -> str | None:
    """The proof as a form without scripts sends it; only our own forms are read here, a log on its way is not."""
    return request.form.get(PROOF_FIELD) if request.path in OWN or request.path.startswith(people.ACCOUNTS) else None


def _may(app: dash.Dash, who: Actor) -> None:
    """Refuse what the account has no role for.

    Raises
    ------
    ForbiddenError
        With one line for people.
    """
    if request.path == f"{app.config.requests_pathname_prefix}_dash-update-component":
        body = request.get_json(silent=True)
        body = body if isinstance(body, dict) else {}
        role, buildings = callback_needs(app, body), named_buildings(body)
        if role == "look" and _clicks(body):
            # Drawn, it says, and not clicked: then there is nothing to write.
            act_from_here(dataclasses.replace(who, reads_only=True))
    else:
        role, buildings = route_needs(app.server), {str((request.view_args or {}).get("building") or "")} - {""}
        buildings |= {ids.building_of(request.path)} - {""}
    for building in buildings:
        need(role, building)
    if not buildings:
        if role == "administer":
            need(role, None)
        elif not who.anywhere(role):
            raise ForbiddenError(refusal(role) if role != "look" else NO_ROLE)


NO_ROLE = "Your account has no access to any building yet. Ask an administrator for it."


def route_needs(server: Flask) -> Role:
    """Role that the route of the present request needs; of an address that is none, too."""
    said = declared(server.view_functions.get(request.endpoint or ""))
    return said or ("look" if request.method in SAFE else "decide")


def callback_needs(app: dash.Dash, body: dict[str, Any]) -> Role:
    """Role that a callback needs, from what the browser sends; one that is not known is taken for the gravest."""
    entry = app.callback_map.get(str(body.get("output", "")))
    if entry is None or "callback" not in entry:
        return "administer"
    return declared(entry["callback"]) or ("decide" if any(value for _, value in _clicks(body)) else "look")


def _clicks(body: dict[str, Any]) -> list[tuple[str, Any]]:
    """What set a callback off as a click does, and how often that was clicked; never, where it was only drawn."""
    changed = {str(name) for name in body.get("changedPropIds") or ()}
    counted = {}
    for part in _parts(body.get("inputs")):
        name = part.get("id")
        shown = name if isinstance(name, str) else json.dumps(name, sort_keys=True, separators=(",", ":"))
        counted[f"{shown}.{part.get('property')}"] = part.get("value")
    # A click that stands in none of the inputs is taken for one.
    return [(name, counted.get(name, 1)) for name in changed if name.endswith(CLICKS)]


def named_buildings(body: dict[str, Any]) -> set[str]:
    """All buildings that a callback's request speaks of: in ids, in the places that pages are about, in the address."""
    found: set[str] = set()
    for part in _parts([body.get("inputs"), body.get("state"), body.get("outputs")]):
        name, value = part.get("id"), part.get("value")
        if isinstance(name, dict) and isinstance(name.get("building"), str):
            found.add(name["building"])
        if isinstance(value, dict) and isinstance(value.get("building"), str):
            found.add(value["building"])
        if isinstance(name, str) and name.endswith(PLACE) and isinstance(value, str):
            found.add(value)
        if part.get("property") == "pathname" and isinstance(value, str):
            found.add(ids.building_of(value))
    return found - {""}


def _parts(given: Any) -> Iterator[dict[str, Any]]:
    if isinstance(given, dict):
        yield given
    elif isinstance(given, list):
        for each in given:
            yield from _parts(each)


def wants_page() -> bool:
    """Whether a person looks at the answer, and no script."""
    return request.method in SAFE and "text/html" in request.headers.get("Accept", "")


def _not_logged_in() -> Answer:
    if wants_page():
        # At the very address that was asked for, so that nothing of it is lost.
        return forms.login_page(current_app, then=request.full_path.rstrip("?"), status=HTTPStatus.UNAUTHORIZED)
    return jsonify(error="Log in first."), HTTPStatus.UNAUTHORIZED


def refused(why: str) -> Any:
    """Answer that something may not be done, and why."""
    if wants_page():
        return forms.refused_page(why, known=known())
    return jsonify(error=why), HTTPStatus.FORBIDDEN

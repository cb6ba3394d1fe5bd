"""The pages that work without the application: log in, log out, one's own account. Plain HTML, no script needed."""

from __future__ import annotations

from html import escape
from http import HTTPStatus
from typing import Final
from urllib.parse import quote, urlsplit

from flask import Flask, Response, g, redirect, request
from werkzeug.wrappers import Response as Answer

from dashboard.figures.theme import DARK, FONT, LIGHT, css_variables
from dashboard.workspace import Workspace, accounts, sessions
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.sessions import Known, Opened, WaitError

LOGIN: Final = "/login"
LOGOUT: Final = "/logout"
ACCOUNT: Final = "/account"
PROOF_COOKIE: Final = "_csrf_token"
"""The name that Dash reads; its scripts send it back as a header."""
WRONG = "Name and password do not go together. Look at capitals, or ask an administrator."

STYLE: Final = (
    f"<style>:root{{{css_variables(LIGHT)}--font:{FONT};color-scheme:light}}"
    f"@media(prefers-color-scheme:dark){{:root{{{css_variables(DARK)}color-scheme:dark}}}}"
    f":root[data-scheme=light]{{{css_variables(LIGHT)}color-scheme:light}}"
    f":root[data-scheme=dark]{{{css_variables(DARK)}color-scheme:dark}}</style>"
)


def cookie() -> str:
    """Name of the session's cookie; behind TLS the browser itself holds it to this host and to TLS."""
    return "__Host-holdoff" if request.is_secure else "holdoff"


def register(server: Flask, ws: Workspace) -> None:
    """Add the pages to a server. Without accounts there are none."""

    @server.get(LOGIN)
    def login() -> Answer:
        if not accounts.exist(ws):
            return redirect("/")
        if g.get("known") is not None:
            return redirect("/")
        return login_page(server, then=request.args.get("then", "/"))

    @server.post(LOGIN)
    def log_in() -> Answer:
        name, then = request.form.get("name", ""), own_address(request.form.get("then", "/"))
        try:
            made = sessions.log_in(
                ws,
                name,
                request.form.get("password", ""),
                address=request.remote_addr or "",
                before=request.cookies.get(cookie()),
            )
        except WaitError as error:
            page = login_page(server, then=then, name=name, trouble=str(error), status=HTTPStatus.TOO_MANY_REQUESTS)
            page.headers["Retry-After"] = str(error.seconds)
            return page
        except RefusedError as error:
            return login_page(server, then=then, trouble=str(error), status=HTTPStatus.BAD_REQUEST)
        if made is None:
            return login_page(server, then=then, name=name, trouble=WRONG, status=HTTPStatus.UNAUTHORIZED)
        return with_session(ws, redirect(then, HTTPStatus.SEE_OTHER), made)

    @server.post(LOGOUT)
    def log_out() -> Answer:
        sessions.log_out(ws, request.cookies.get(cookie()))
        answer = redirect(LOGIN, HTTPStatus.SEE_OTHER)
        for name in (cookie(), PROOF_COOKIE):
            answer.delete_cookie(name, path="/", secure=request.is_secure, samesite="Lax")
        return answer

    @server.get(ACCOUNT)
    def account() -> Answer:
        known: Known | None = g.get("known")
        return redirect("/") if known is None else account_page(known)

    @server.post(ACCOUNT)
    def change() -> Answer:
        known: Known | None = g.get("known")
        if known is None:
            return redirect("/")
        old, new, again = (request.form.get(k, "") for k in ("old", "new", "again"))
        if new != again:
            return account_page(known, trouble="The new password was not written the same twice.")
        try:
            made = sessions.change_password(ws, known.actor, old, new, address=request.remote_addr or "")
        except (RefusedError, WaitError) as error:
            return account_page(known, trouble=str(error))
        if made is None:
            return account_page(known, trouble="The present password is not right.")
        renewed = Known(known.actor, sessions.proof_of(made.token), made.expires_at)
        done = "The password is changed, and every other session of yours has ended."
        return with_session(ws, account_page(renewed, done=done), made)


def with_session(ws: Workspace, answer: Answer, made: Opened) -> Answer:
    """Give the browser a session."""
    common = {"path": "/", "secure": request.is_secure, "samesite": "Lax", "max_age": ws.limits.log_in.lasts}
    answer.set_cookie(cookie(), made.token, httponly=True, **common)  # type: ignore[arg-type]
    answer.set_cookie(PROOF_COOKIE, sessions.proof_of(made.token), **common)  # type: ignore[arg-type]
    return answer


def own_address(then: str) -> str:
    """Where to go after logging in: a page of ours, never somebody else's.

    Examples
    --------
    >>> own_address("/building/a?show=keep"), own_address("//elsewhere.example"), own_address("https://elsewhere.example/")
    ('/building/a?show=keep', '/', '/')
    """
    parts = urlsplit(then)
    plain = then.startswith("/") and not then.startswith(("//", "/\\")) and then.isprintable()
    return then if plain and not parts.scheme and not parts.netloc and parts.path not in (LOGIN, LOGOUT) else "/"


def login_page(
    server: Flask,
    *,
    then: str = "/",
    name: str = "",
    trouble: str = "",
    done: str = "",
    status: HTTPStatus = HTTPStatus.OK,
) -> Answer:
    """Lay out the page to log in."""
    told = f"<p class='notice refused' role='alert' id='trouble'>{escape(trouble)}</p>" if trouble else ""
    told += f"<p class='notice done' role='status'>{escape(done)}</p>" if done else ""
    wrong = " aria-invalid='true' aria-describedby='trouble'" if trouble else ""
    other = server.extensions.get(PROVIDER)
    way = (
        f"<p class='or'><a class='button' href='{escape(other[1])}?then={quote(own_address(then))}'>Log in with {escape(other[0])}</a></p>"
        if other
        else ""
    )
    first, second = ("", " autofocus") if name else (" autofocus", "")
    return page(
        "Log in",
        f"<h1>Log in</h1>{told}<form method='post' action='{LOGIN}'>"
        f"<input type='hidden' name='then' value='{escape(own_address(then))}'>"
        f"<label for='name'>Name</label><input type='text' id='name' name='name' value='{escape(name)}' autocomplete='username' "
        f"autocapitalize='none' spellcheck='false' required maxlength='80'{wrong}{first}>"
        "<label for='password'>Password</label><input type='password' id='password' name='password' "
        f"autocomplete='current-password' required maxlength='{accounts.LONGEST}'{wrong}{second}>"
        f"<button class='primary'>Log in</button></form>{way}"
        "<p class='soft'>Accounts, and new passwords, come from whoever administers holdoff here.</p>",
        status,
    )


PROVIDER: Final = "holdoff-provider"
"""Under this name an OpenID provider stands with the server: its name, and the address that leads to it."""


def account_page(known: Known, *, trouble: str = "", done: str = "") -> Answer:
    """Lay out one's own account: roles, another password, log out."""
    told = f"<p class='notice refused' role='alert' id='trouble'>{escape(trouble)}</p>" if trouble else ""
    told += f"<p class='notice done' role='status'>{escape(done)}</p>" if done else ""
    held = sorted(known.actor.roles.items(), key=lambda r: r[0] or "")
    roles = "".join(f"<li>{escape(b or 'every building')}: {escape(r)}</li>" for b, r in held) or "<li>none yet</li>"
    others = " / <a href='/accounts'>Accounts</a>" if known.actor.may("administer", None) else ""
    fields = "".join(
        f"<label for='{key}'>{label}</label><input type='password' id='{key}' name='{key}' autocomplete='{kind}-password' "
        f"required maxlength='{accounts.LONGEST}'{hint}>"
        for key, label, kind, hint in (
            ("old", "Present password", "current", ""),
            ("new", "New password", "new", f" minlength='{accounts.SHORTEST}' aria-describedby='rule'"),
            ("again", "New password again", "new", ""),
        )
    )
    return page(
        "Your account",
        f"<p class='crumbs'><a href='/'>Buildings</a>{others}</p><h1>{escape(known.actor.name)}</h1><ul>{roles}</ul>{told}"
        f"<h2>Another password</h2><p class='soft' id='rule'>{accounts.SHORTEST} to {accounts.LONGEST} characters, "
        "such as four words that have nothing to do with each other.</p>"
        f"<form method='post' action='{ACCOUNT}'>{proof(known)}{fields}<button class='primary'>Change password</button></form>"
        f"<h2>Leave</h2>{logout_form(known)}",
        HTTPStatus.BAD_REQUEST if trouble else HTTPStatus.OK,
    )


def refused_page(why: str, *, known: Known | None) -> Answer:
    """Say on a page of its own what may not be seen, and why."""
    way = "<p><a href='/'>Buildings</a></p>" if known and known.actor.roles else ""
    return page(
        "Not allowed",
        f"<h1>Not allowed</h1><p role='alert'>{escape(why)}</p>{way}{logout_form(known) if known else ''}",
        HTTPStatus.FORBIDDEN,
    )


def logout_form(known: Known) -> str:
    """Lay out the button to log out."""
    return f"<form method='post' action='{LOGOUT}'>{proof(known)}<button class='quiet'>Log out</button></form>"


def proof(known: Known) -> str:
    """Write the field of a form that proves that it is ours."""
    return f"<input type='hidden' name='proof' value='{escape(known.proof)}'>"


def page(title: str, inner: str, status: HTTPStatus, *, known: Known | None = None) -> Answer:
    """Lay out a page that works without scripts; ``known``: who is logged in, where it is one to work at."""
    body = f"<main class='door'><p class='product'>holdoff</p>{inner}</main>"
    if known is not None:
        body = (
            "<a class='skip' href='#content'>Skip to the content</a><header class='top'><a class='product' href='/'>holdoff</a>"
            f"<div class='who-box'><a href='{ACCOUNT}'>{escape(known.actor.name)}</a>{logout_form(known)}</div></header>"
            f"<main id='content' class='people'>{inner}</main>"
        )
    return Response(
        "<!DOCTYPE html><html lang='en'><head><meta charset='utf-8'>"
        f"<meta name='viewport' content='width=device-width, initial-scale=1'><title>holdoff: {escape(title.lower())}</title>{STYLE}"
        "<link rel='stylesheet' href='/assets/holdoff.css'><script src='/assets/scheme.js'></script></head>"
        f"<body>{body}</body></html>",
        status,
        mimetype="text/html",
    )

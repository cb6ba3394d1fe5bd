"""The pages on which accounts are administered: who there is, roles per building, ways to log in. Plain HTML, no script needed.

Whoever administers everything comes here; the guard at the door and the rows themselves let nobody else (`guard`, `guarded`).
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from http import HTTPStatus
from typing import Final

from flask import Flask, g, redirect, request
from werkzeug.wrappers import Response as Answer

from dashboard.access import forms
from dashboard.needs import needs
from dashboard.workspace import Workspace, accounts, buildings
from dashboard.workspace.accounts import Account
from dashboard.workspace.actors import ROLES, Role
from dashboard.workspace.errors import NotThereError, RefusedError, WorkspaceError
from dashboard.workspace.sessions import Known

ACCOUNTS: Final = "/accounts"
LINK: Final = "/password/"
"""Begin of the addresses with which people choose a password."""
EVERYWHERE = "Every building"
SHORT: Final[dict[Role, str]] = {
    "look": "look",
    "decide": "decide, facts and logs, too",
    "administer": "administer, too",
}
"""Each role as it is chosen from."""
GONE = "This link does not hold, or no longer: it was used, is too old, or another one was made after it. Ask an administrator for a new one."


def register(server: Flask, ws: Workspace) -> None:
    """Add the pages to a server."""

    @server.get(ACCOUNTS)
    @needs("administer")
    def list_accounts() -> Answer:
        known: Known | None = g.get("known")
        return redirect("/") if known is None else list_page(ws, known)

    @server.post(ACCOUNTS)
    @needs("administer")
    def add_account() -> Answer:
        known: Known | None = g.get("known")
        if known is None:
            return redirect("/")
        said = {k: request.form.get(k, "").strip() for k in ("name", "role", "building", "subject")}
        password = request.form.get("password", "") or None
        try:
            accounts.add(
                ws, said["name"], password, role=_role(said["role"]) or "look",
                buildings=[said["building"]] if said["building"] else [], subject=said["subject"] or None, invited=True,
                by=known.actor.name,
            )  # fmt: skip
            invited = password is None and not said["subject"]
            token = accounts.link(ws, said["name"], by=known.actor.name) if invited else None
        except WorkspaceError as error:
            return list_page(ws, known, said=said, trouble=str(error))
        done = f"There is an account {said['name']} now."
        return list_page(ws, known, done=done, link=(said["name"], token) if token else None)

    @server.get(f"{ACCOUNTS}/<int:number>")
    @needs("administer")
    def show_account(number: int) -> Answer:
        known: Known | None = g.get("known")
        return redirect("/") if known is None else one_page(ws, known, number)

    @server.post(f"{ACCOUNTS}/<int:number>")
    @needs("administer")
    def change_account(number: int) -> Answer:
        known: Known | None = g.get("known")
        if known is None:
            return redirect("/")
        try:
            done, token = _change(ws, _there(ws, number), request.form.get("do", ""), by=known.actor.name)
        except WorkspaceError as error:
            return one_page(ws, known, number, trouble=str(error))
        return one_page(ws, known, number, done=done, token=token)

    @server.get(f"{LINK}<token>")
    def show_link(token: str) -> Answer:
        name = accounts.of_link(ws, token)
        return _gone() if name is None else password_page(name)

    @server.post(f"{LINK}<token>")
    def take_link(token: str) -> Answer:
        name = accounts.of_link(ws, token)
        if name is None:
            return _gone()
        new, again = request.form.get("new", ""), request.form.get("again", "")
        try:
            if new != again:
                raise RefusedError("The password was not written the same twice.")
            if accounts.choose(ws, token, new) is None:
                return _gone()
        except RefusedError as error:
            return password_page(name, trouble=str(error))
        return forms.login_page(server, name=name, done="The password is chosen. Log in with it.")


def _change(ws: Workspace, account: Account, do: str, *, by: str) -> tuple[str, str | None]:
    """Do what a form of an account's page asks for; returns what to say, and the token of a link if one was made."""
    name, building = account.name, request.form.get("building", "")
    where = [building] if building else []
    if do == "role":
        role = _role(request.form.get("role", ""))
        accounts.set_role(ws, name, role, buildings=where, by=by)
        return f"{name} now has {f'the role “{role}”' if role else 'no role'} on {_place(ws, building)}.", None
    if do == "link":
        return "", accounts.link(ws, name, by=by)
    if do == "password":
        accounts.set_password(ws, name, request.form.get("password", ""), by=by)
        return f"{name} has another password, and every session has ended.", None
    if do == "subject":
        accounts.set_subject(ws, name, request.form.get("subject", ""), by=by)
        return "The provider's name for the person is kept.", None
    if do == "disable":
        accounts.disable(ws, name, by=by)
        return f"{name} is let in no more, and every session has ended. What was done keeps the name.", None
    if do == "enable":
        accounts.enable(ws, name, by=by)
        return f"{name} is let in again.", None
    raise RefusedError("This page is out of date. Load it again, then do it once more.")


def _role(given: str) -> Role | None:
    return next((r for r in ROLES if r == given), None)


def _place(ws: Workspace, building: str) -> str:
    return next((b.name for b in buildings.all_of(ws) if b.id == building), building) if building else "every building"


def _there(ws: Workspace, number: int) -> Account:
    found = next((a for a in accounts.all_of(ws) if a.id == number), None)
    if found is None:
        raise NotThereError("account", number)
    return found


# Pages -----------------------------------------------------------------------------------------------------------


def list_page(
    ws: Workspace,
    known: Known,
    *,
    said: dict[str, str] | None = None,
    trouble: str = "",
    done: str = "",
    link: tuple[str, str] | None = None,
) -> Answer:
    """Lay out the list of accounts, and the form for a new one."""
    names = {b.id: b.name for b in buildings.all_of(ws)}
    said = said or {}
    rows = "".join(_row(a, names) for a in accounts.all_of(ws))
    told = link_box(*link) if link else ""
    provider = (
        _field(
            "subject",
            "Provider's name for the person (sub), who then needs no password",
            said.get("subject", ""),
            needed=False,
        )
        if ws.limits.provider
        else ""
    )
    return forms.page(
        "Accounts",
        f"<p class='crumbs'><a href='/'>Buildings</a> / Accounts</p><h1>Accounts</h1>"
        "<p class='soft'>Everything that is done is signed with an account's name, so that none is ever deleted.</p>"
        f"{_told(trouble, done)}{told}"
        "<table class='plain people-table'><thead><tr><th>Name</th><th>Roles</th><th>Logs in with</th><th>State</th></tr></thead>"
        f"<tbody>{rows}</tbody></table>"
        f"<section class='step-aside'><h2>New account</h2><form method='post' action='{ACCOUNTS}'>{forms.proof(known)}"
        f"<div class='fields'>{_field('name', 'Name, as it will stand under decisions', said.get('name', ''), most=80)}"
        f"{_choice('role', 'Role', SHORT.items(), said.get('role', 'decide'))}"
        f"{_choice('building', 'On', _places(names), said.get('building', ''))}"
        f"{_field('password', 'Password; leave it empty for a link to choose one', '', kind='password', needed=False, rule='rule')}{provider}</div>"
        f"<p class='soft' id='rule'>{_rule()}</p><button class='primary'>Add account</button></form></section>",
        HTTPStatus.BAD_REQUEST if trouble else HTTPStatus.OK,
        known=known,
    )


def _row(a: Account, names: dict[str, str]) -> str:
    roles = "".join(f"<li>{escape(names.get(b, b) if b else EVERYWHERE)}: {escape(r)}</li>" for b, r in _sorted(a))
    state = f"disabled since <time>{a.disabled_at:%Y-%m-%d}</time>" if a.disabled_at else "active"
    return (
        f"<tr{' class=off-duty' if a.disabled_at else ''}><th scope='row'><a href='{ACCOUNTS}/{a.id}'>{escape(a.name)}</a></th>"
        f"<td data-label='Roles'>{f'<ul>{roles}</ul>' if roles else 'none'}</td>"
        f"<td data-label='Logs in with'>{escape(_ways(a))}</td><td data-label='State'><span>{state}</span></td></tr>"
    )


def _sorted(a: Account) -> list[tuple[str, Role]]:
    return sorted(a.roles.items())


def _ways(a: Account) -> str:
    ways = (["a password"] if a.has_password else []) + (["the provider"] if a.subject else [])
    return " or ".join(ways) or "nothing yet"


def one_page(
    ws: Workspace, known: Known, number: int, *, trouble: str = "", done: str = "", token: str | None = None
) -> Answer:
    """Lay out one account: its roles, its ways to log in, whether it is let in."""
    try:
        a = _there(ws, number)
    except NotThereError as error:
        return forms.page(
            "Accounts",
            f"<p class='crumbs'><a href='/'>Buildings</a> / <a href='{ACCOUNTS}'>Accounts</a></p><h1>Not here</h1><p>{escape(str(error))}</p>",
            HTTPStatus.NOT_FOUND,
            known=known,
        )
    names = {b.id: b.name for b in buildings.all_of(ws)}

    def form(do: str, inner: str, button: str, *, kind: str = "quiet", also: str = "") -> str:
        return (
            f"<form method='post' action='{ACCOUNTS}/{a.id}'>{forms.proof(known)}<input type='hidden' name='do' value='{do}'>{also}"
            f"{inner}<button class='{kind}'>{button}</button></form>"
        )

    held = "".join(
        f"<li><span>{escape(names.get(b, b) if b else EVERYWHERE)}: {escape(r)}</span>"
        + form(
            "role", "", f"Take away<span class='unseen'> “{escape(r)}” on {escape(names.get(b, b) if b else EVERYWHERE)}</span>",
            also=f"<input type='hidden' name='building' value='{escape(b)}'>",
        )
        + "</li>"
        for b, r in _sorted(a)
    )  # fmt: skip
    since = f"Disabled since {a.disabled_at:%Y-%m-%d}" if a.disabled_at else "Active"
    provider = (
        "<h3>Provider</h3>"
        + _issuer(ws, a)
        + form(
            "subject",
            f"<div class='fields'>{_field('subject', 'The provider’s name for the person (sub)', a.subject or '', needed=False)}</div>",
            "Save",
        )
        if ws.limits.provider or a.subject
        else ""
    )
    change = (
        form("enable", "", "Let in again", kind="primary")
        if a.disabled_at
        else "<p class='soft'>Nobody is let in on a disabled account, and its sessions end at once. It can be let in again.</p>"
        + form("disable", "", "Disable")
    )
    return forms.page(
        a.name,
        f"<p class='crumbs'><a href='/'>Buildings</a> / <a href='{ACCOUNTS}'>Accounts</a> / {escape(a.name)}</p><h1>{escape(a.name)}</h1>"
        f"<p class='soft'>{since}; made {a.created_at:%Y-%m-%d}; logs in with {escape(_ways(a))}.</p>"
        f"{_told(trouble, done)}{link_box(a.name, token) if token else ''}"
        f"<section class='step-aside'><h2>Roles</h2>{f'<ul class=roles>{held}</ul>' if held else '<p>None: there is nothing to see yet.</p>'}"
        + form(
            "role",
            f"<div class='fields'>{_choice('role', 'Role', SHORT.items(), 'decide')}"
            f"{_choice('building', 'On', _places(names), '')}</div>",
            "Give role",
            kind="primary",
        )
        + "</section><section class='step-aside'><h2>Logging in</h2><h3>Link</h3>"
        f"<p class='soft'>With it the person chooses a password, once, within {_hours(ws)}. The password until then goes on holding.</p>"
        + form("link", "", "Make a link")
        + f"<h3>Password</h3><p class='soft' id='rule'>{_rule()} Every session of the account ends.</p>"
        + form(
            "password",
            f"<div class='fields'>{_field('password', 'Another password', '', kind='password', rule='rule')}</div>",
            "Set password",
        )
        + f"{provider}</section><section class='step-aside'><h2>{'Let in again' if a.disabled_at else 'Disable'}</h2>{change}</section>",
        HTTPStatus.BAD_REQUEST if trouble else HTTPStatus.OK,
        known=known,
    )


def _issuer(ws: Workspace, a: Account) -> str:
    """Say which provider an account is tied to, and what saving does about it."""
    if a.subject is None:
        return ""
    now = ws.limits.provider.issuer if ws.limits.provider else None
    if a.issuer is None:
        told = "Which provider (issuer) that is, the next log-in tells."
    elif now in (None, a.issuer):
        told = f"The provider is {a.issuer}."
    else:
        told = f"The provider is {a.issuer}, which people no longer log in with. Saving ties the account to {now}."
    return f"<p class='soft'>{escape(told)}</p>"


def _hours(ws: Workspace) -> str:
    hours = ws.limits.log_in.link.total_seconds() / 3600
    return f"{hours:g} hours"


def link_box(name: str, token: str) -> str:
    """Show a link that was just made; it is never shown again."""
    url = f"{request.url_root.rstrip('/')}{LINK}{token}"
    return (
        f"<div class='notice done' role='status'><p><label for='link'>Send this to {escape(name)}, and nobody else. It holds once and is not shown "
        f"again:</label></p><input type='text' id='link' class='link' readonly value='{escape(url)}'></div>"
    )


def password_page(name: str, *, trouble: str = "") -> Answer:
    """Lay out the page on which a person chooses a password with a link."""
    told = f"<p class='notice refused' role='alert' id='trouble'>{escape(trouble)}</p>" if trouble else ""
    return forms.page(
        "Choose a password",
        f"<h1>Choose a password</h1><p>{escape(name)}</p>{told}<form method='post'>"
        f"<input type='hidden' name='username' autocomplete='username' value='{escape(name)}'>"
        f"<p class='soft' id='rule'>{_rule()}</p>"
        + "".join(
            f"<label for='{key}'>{label}</label><input type='password' id='{key}' name='{key}' autocomplete='new-password' required "
            f"minlength='{accounts.SHORTEST}' maxlength='{accounts.LONGEST}' aria-describedby='rule'>"
            for key, label in (("new", "Password"), ("again", "Password again"))
        )
        + "<button class='primary'>Choose password</button></form>",
        HTTPStatus.BAD_REQUEST if trouble else HTTPStatus.OK,
    )


def _gone() -> Answer:
    return forms.page(
        "Link",
        f"<h1>Link</h1><p role='alert'>{GONE}</p><p><a href='{forms.LOGIN}'>Log in</a></p>",
        HTTPStatus.UNAUTHORIZED,
    )


def _rule() -> str:
    return f"{accounts.SHORTEST} to {accounts.LONGEST} characters, such as four words that have nothing to do with each other."


def _told(trouble: str, done: str) -> str:
    told = f"<p class='notice refused' role='alert'>{escape(trouble)}</p>" if trouble else ""
    return told + (f"<p class='notice done' role='status'>{escape(done)}</p>" if done else "")


def _places(names: dict[str, str]) -> list[tuple[str, str]]:
    return [("", EVERYWHERE), *names.items()]


def _field(
    name: str, label: str, value: str, *, kind: str = "text", needed: bool = True, most: int = 255, rule: str = ""
) -> str:
    most, auto = (accounts.LONGEST, "new-password") if kind == "password" else (most, "off")
    return (
        f"<div><label for='{name}'>{label}</label><input type='{kind}' id='{name}' name='{name}' value='{escape(value)}' "
        f"autocomplete='{auto}' maxlength='{most}'{' required' if needed else ''}{f' aria-describedby={rule}' if rule else ''}></div>"
    )


def _choice(name: str, label: str, options: Iterable[tuple[str, str]], value: str) -> str:
    listed = "".join(
        f"<option value='{escape(key)}'{' selected' if key == value else ''}>{escape(text)}</option>"
        for key, text in options
    )
    return f"<div><label for='{name}'>{label}</label><select id='{name}' name='{name}'>{listed}</select></div>"

"""Logging in with an OpenID provider: authorization code, PKCE, state and nonce (OpenID Connect Core 1.0, section 3.1; RFC 7636).

The provider says who somebody is; what they may do is the account's that an administrator has tied to them (``holdoff user subject``). Tokens of
the provider are looked at once and kept nowhere. The library is Authlib, of the extra ``oidc``.
"""

from __future__ import annotations

import datetime as dt
import secrets
import threading
import time
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, Final

from flask import Flask, redirect, request
from werkzeug.wrappers import Response as Answer

from dashboard.access import forms
from dashboard.workspace import Workspace, accounts, audit, one_time, sessions
from dashboard.workspace.actors import acting
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.limits import ConfigError, Provider
from dashboard.workspace.sessions import Opened
from dashboard.workspace.texts import UNKEPT

WAY: Final = "/login/provider"
BACK: Final = "/login/provider/back"
LASTS: Final = dt.timedelta(minutes=10)
"""Somebody who went to the provider comes back within. Chosen by us."""
LEEWAY_S = 60
"""Clocks may differ by so much. Chosen by us."""
TIMEOUT_S = 10.0
AGAIN_S = 10.0
"""Nor are its keys asked for oftener, for a signature by a key that is not known. Chosen by us."""
KEPT_S = 3600.0
"""What the provider says of itself, and its keys, are asked for again after. Chosen by us."""
ALGORITHMS: Final = ["RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512", "EdDSA"]
"""Signatures by a key that only the provider has; never ``none``, nor a secret that we have, too."""
OF_ANOTHER = "the account with this subject is tied to another issuer"
FAILED = "Logging in with the provider did not succeed. Begin again; if it happens twice, tell an administrator."


class ProviderError(Exception):
    """The provider, or who says to come from it, is not to be believed. The text is for the log: it holds no token and no secret."""


@dataclass(frozen=True)
class Said:
    """What the provider says of a person: subject and issuer together say who it is (OpenID Connect Core 1.0, section 5.7)."""

    subject: str
    issuer: str
    name: str


class Client:
    """Talks to one provider."""

    def __init__(self, provider: Provider) -> None:
        try:
            # An extra: who logs in with passwords needs none of it.
            import authlib.integrations.requests_client  # noqa: F401, PLC0415
        except ImportError:
            raise ConfigError(
                "provider is set, and the library that talks to it is not installed. It is the extra oidc: pip install 'holdoff[oidc]'."
            ) from None
        self.provider, self._secret = provider, provider.secret()
        self._lock = threading.Lock()
        self._kept: dict[str, tuple[float, Any]] = {}

    def address(self, *, back: str, state: str, nonce: str, verifier: str) -> str:
        """Return the address that somebody is sent to."""
        with self._session(back) as session:
            url, _ = session.create_authorization_url(
                self._said("authorization_endpoint"), state=state, nonce=nonce, code_verifier=verifier
            )
        return str(url)

    def who(self, code: str, *, back: str, nonce: str, verifier: str) -> Said:
        """Change a code for an ID token and check it.

        Raises
        ------
        ProviderError
            If the provider refuses the code, or the token is not one for us, now, and in answer to what we asked.
        """
        from authlib.integrations.requests_client import OAuthError  # noqa: PLC0415
        from requests import RequestException  # noqa: PLC0415

        try:
            with self._session(back) as session:
                token = session.fetch_token(
                    self._said("token_endpoint"), code=code, code_verifier=verifier, grant_type="authorization_code",
                    allow_redirects=False,
                )  # fmt: skip
        except OAuthError as error:
            raise ProviderError(f"the code was refused: {error.error}") from None
        except (RequestException, ValueError) as error:
            raise ProviderError(f"the token endpoint does not answer as it should ({type(error).__name__})") from None
        return self._checked(str(token.get("id_token") or ""), nonce=nonce, access_token=token.get("access_token"))

    def _checked(self, id_token: str, *, nonce: str, access_token: Any) -> Said:
        from authlib.oidc.core import CodeIDToken  # noqa: PLC0415
        from joserfc import jwt  # noqa: PLC0415
        from joserfc.errors import JoseError  # noqa: PLC0415

        try:
            try:
                read = jwt.decode(id_token, self._keys(), algorithms=ALGORITHMS)
            except (JoseError, ValueError):
                # Perhaps signed with a key that came after ours were asked for.
                read = jwt.decode(id_token, self._keys(again=True), algorithms=ALGORITHMS)
            claims = CodeIDToken(
                read.claims,
                read.header,
                options={
                    "iss": {"essential": True, "value": self.provider.issuer},
                    "aud": {"essential": True, "value": self.provider.client_id},
                    "nonce": {"essential": True, "value": nonce},
                },
                params={"nonce": nonce, "client_id": self.provider.client_id, "access_token": access_token},
            )
            claims.validate(now=int(time.time()), leeway=LEEWAY_S)
        except (JoseError, ValueError, TypeError, KeyError) as error:
            raise ProviderError(
                f"the ID token does not hold ({getattr(error, 'error', type(error).__name__)})"
            ) from None
        subject = claims["sub"]
        if not isinstance(subject, str) or not 0 < len(subject) <= 255 or UNKEPT.search(subject):
            raise ProviderError("the ID token names nobody")
        told = [v for k in ("name", "preferred_username", "email") if isinstance(v := claims.get(k), str)]
        shown = next((v for v in told if v and not UNKEPT.search(v)), subject)
        return Said(subject, claims["iss"], shown)

    def _session(self, back: str) -> Any:
        from authlib.integrations.requests_client import OAuth2Session  # noqa: PLC0415

        methods = self._document().get("token_endpoint_auth_methods_supported", ["client_secret_basic"])
        way = (
            "none"
            if self._secret is None
            else "client_secret_basic"
            if "client_secret_basic" in methods
            else "client_secret_post"
        )
        return OAuth2Session(
            self.provider.client_id, self._secret, token_endpoint_auth_method=way, scope="openid profile email",
            redirect_uri=back, code_challenge_method="S256", default_timeout=TIMEOUT_S,
        )  # fmt: skip

    def _said(self, name: str) -> str:
        found = self._document().get(name)
        if not isinstance(found, str):
            raise ProviderError(f"the discovery document names no {name}")
        return found

    def _document(self) -> dict[str, Any]:
        found = self._asked(self.provider.issuer.rstrip("/") + "/.well-known/openid-configuration")
        if found.get("issuer") != self.provider.issuer:
            raise ProviderError("the discovery document is of another issuer than the one in holdoff.toml")
        return found

    def _keys(self, *, again: bool = False) -> Any:
        from joserfc.jwk import KeySet  # noqa: PLC0415

        return KeySet.import_key_set(self._asked(self._said("jwks_uri"), again=again))  # type: ignore[arg-type]

    def _asked(self, url: str, *, again: bool = False) -> dict[str, Any]:
        import requests  # noqa: PLC0415

        with self._lock:
            at, found = self._kept.get(url, (0.0, None))
            age = time.monotonic() - at
            # Asked again for a key that is not known, but not as often as somebody sends a made-up one.
            if found is None or age > KEPT_S or (again and age > AGAIN_S):
                try:
                    answer = requests.get(url, timeout=TIMEOUT_S, allow_redirects=False)
                    answer.raise_for_status()
                    found = answer.json()
                except (requests.RequestException, ValueError) as error:
                    raise ProviderError(f"{url} does not answer as it should ({type(error).__name__})") from None
                if not isinstance(found, dict):
                    raise ProviderError(f"{url} gives no object")
                self._kept[url] = (time.monotonic(), found)
            return found


def register(server: Flask, ws: Workspace) -> None:
    """Add the way to the provider and back, and the button that leads there; nothing where none is configured."""
    if ws.limits.provider is None:
        return
    client = Client(ws.limits.provider)
    server.extensions[forms.PROVIDER] = (client.provider.name, WAY)

    @server.get(WAY)
    def go() -> Answer:
        if not accounts.exist(ws):
            return redirect("/")
        nonce, verifier, browser = (secrets.token_urlsafe(n) for n in (32, 48, 32))
        with acting(None), ws.writing() as session:
            held = {
                "nonce": nonce,
                "verifier": verifier,
                # Only the browser that went may come back.
                "browser": one_time.sum_of(browser),
                "then": forms.own_address(request.args.get("then", "/")),
            }
            state = one_time.make(session, "provider", lasts=LASTS, data=held)
        try:
            answer = redirect(client.address(back=_back(), state=state, nonce=nonce, verifier=verifier))
        except ProviderError as error:
            return _failed(server, str(error))
        answer.set_cookie(_cookie(), browser, max_age=LASTS, path=BACK if not request.is_secure else "/", **_held())
        return answer

    @server.get(BACK)
    def back() -> Answer:
        with acting(None), ws.writing() as session:
            held = one_time.take(session, "provider", request.args.get("state", ""))
        browser = one_time.sum_of(request.cookies.get(_cookie(), ""))
        if held is None or not secrets.compare_digest(held.data["browser"], browser):
            return _failed(server, "the state is not one of ours, was used, is too old, or of another browser")
        if "code" not in request.args:
            return _failed(server, f"the provider says no: {request.args.get('error', '')[:40]!r}")
        try:
            said = client.who(
                request.args["code"], back=_back(), nonce=held.data["nonce"], verifier=held.data["verifier"]
            )  # fmt: skip
        except ProviderError as error:
            return _failed(server, str(error))
        with acting(None):
            made = _let_in(ws, client.provider, said)
        if isinstance(made, str):
            text = f"{made}, and tell them the provider's name for you: {said.subject}"
            return forms.login_page(server, trouble=text, status=HTTPStatus.FORBIDDEN)
        answer = forms.with_session(ws, redirect(held.data["then"], HTTPStatus.SEE_OTHER), made)
        answer.delete_cookie(_cookie(), path=BACK if not request.is_secure else "/", **_held())
        return answer


def _let_in(ws: Workspace, provider: Provider, said: Said) -> Opened | str:
    """Log somebody in whom the provider vouches for; else says why not, and whom to ask."""
    if provider.create is not None:
        with ws.reading() as session:
            there = accounts.vouched_for(session, said.subject, said.issuer) != (None, False)
        if not there:
            _create(ws, provider, said)
    with ws.writing("provider") as session:
        row, of_another = accounts.vouched_for(session, said.subject, said.issuer)
        if row is not None:
            made = sessions.open_for(
                session, row.id, lasts=ws.limits.log_in.lasts, address=request.remote_addr or "",
                before=request.cookies.get(forms.cookie()),
            )  # fmt: skip
            if made is not None:
                # Tied before issuers were kept: from now on no other provider may vouch for it. The row notes it in the audit log.
                row.issuer = said.issuer
                return made
        audit.note(
            session, action="log-in refused", kind="account", key="" if row is None else str(row.id),
            details={"address": request.remote_addr, "subject": said.subject, "issuer": said.issuer}
            | ({"why": OF_ANOTHER} if of_another else {}),
        )  # fmt: skip
    if of_another:
        return (
            "The provider knows you, and the account here of that name is tied to another provider (issuer), so that it may be somebody "
            "else's. Ask an administrator to move it if it is yours"
        )
    return "The provider knows you, and no account here is tied to you. Ask an administrator for one"


def _create(ws: Workspace, provider: Provider, said: Said) -> None:
    assert provider.create is not None
    for name in (said.name, f"{said.name} ({said.subject})"[:80]):
        try:
            accounts.add(ws, name, None, role=provider.create, subject=said.subject, issuer=said.issuer, by="provider")
        except RefusedError:
            # Somebody else of that name; an account is never taken over by a name.
            continue
        return


def _back() -> str:
    return request.url_root.rstrip("/") + BACK


def _cookie() -> str:
    return "__Host-holdoff-provider" if request.is_secure else "holdoff-provider"


def _held() -> dict[str, Any]:
    return {"secure": request.is_secure, "httponly": True, "samesite": "Lax"}


def _failed(server: Flask, why: str) -> Answer:
    server.logger.warning("log-in with the provider: %s", why)
    return forms.login_page(server, trouble=FAILED, status=HTTPStatus.UNAUTHORIZED)

"""Logging in with an OpenID provider: a small one on this machine, written here, with keys of its own, that can be told to lie."""

import base64
import datetime as dt
import hashlib
import hmac
import json
import logging
import sys
import time
from contextlib import closing
from urllib.parse import parse_qs, urlsplit

import flask
import pytest
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import padding, rsa
from sqlalchemy.exc import IntegrityError
from typer.testing import CliRunner

from dashboard.access import forms, provider
from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.workspace import Workspace, accounts, audit, sessions
from dashboard.workspace.access_tables import AccountRow, OneTimeRow, SessionRow
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.limits import ConfigError, Limits, Provider
from tests.dashboard.conftest import answering
from tuning.cli import app as command

pytestmark = pytest.mark.usefixtures("database")

PASSWORD, SECRET = "violet anchor biscuit rain", "the secret of the client"
ADA = "subject 17"


def b64(data):
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def number(n):
    return b64(n.to_bytes((n.bit_length() + 7) // 8))


class Fake:
    """A provider: ``lies`` are claims that it gets wrong, ``header`` what it writes over the token."""

    def __init__(self):
        self.key, self.kid = rsa.generate_private_key(65537, 2048), "one"
        self.lies, self.header, self.codes, self.tokens, self.signer, self.asked = {}, {}, {}, [], None, 0
        self.app = flask.Flask("provider")
        self.app.get("/.well-known/openid-configuration")(self.document)
        self.app.get("/keys")(self.keys)
        self.app.post("/token")(self.token)

    def document(self):
        ends = {f"{n}_endpoint": f"{self.issuer}/{n}" for n in ("authorization", "token")}
        return {"issuer": self.issuer, "jwks_uri": f"{self.issuer}/keys", **ends}

    def keys(self):
        self.asked += 1
        public = self.key.public_key().public_numbers()
        one = {"kty": "RSA", "use": "sig", "kid": self.kid, "n": number(public.n), "e": number(public.e)}
        return {"keys": [one]}

    def visit(self, address, subject=ADA):
        """What a person does there: says who they are; gives the address that the browser is sent back to."""
        asked = {k: v[0] for k, v in parse_qs(urlsplit(address).query).items()}
        assert address.startswith(f"{self.issuer}/authorization?")
        assert asked["response_type"] == "code"
        assert asked["code_challenge_method"] == "S256"
        assert "openid" in asked["scope"].split()
        code = f"code {len(self.codes)}"
        self.codes[code] = asked | {"sub": subject}
        return f"{urlsplit(asked['redirect_uri']).path}?code={code}&state={asked['state']}"

    def token(self):
        form = flask.request.form
        basic = base64.b64decode(flask.request.headers["Authorization"].removeprefix("Basic ")).decode()
        assert basic == f"holdoff-client:{SECRET}"
        asked = self.codes.pop(form["code"], None)
        proven = b64(hashlib.sha256(form["code_verifier"].encode()).digest())
        if asked is None or proven != asked["code_challenge"] or form["redirect_uri"] != asked["redirect_uri"]:
            return {"error": "invalid_grant"}, 400
        now = int(time.time())
        claims = {
            "iss": self.issuer, "sub": asked["sub"], "aud": "holdoff-client", "exp": now + 300, "iat": now,
            "nonce": asked["nonce"], "name": "Ada Berg", "at_hash": b64(hashlib.sha256(b"access").digest()[:16]),
        } | self.lies  # fmt: skip
        claims = {k: v for k, v in claims.items() if v is not None}
        head = {"alg": "RS256", "typ": "JWT", "kid": self.kid} | self.header
        signed = f"{b64(json.dumps(head).encode())}.{b64(json.dumps(claims).encode())}"
        signature = (self.signer or self.signature)(signed.encode())
        self.tokens.append(f"{signed}.{b64(signature)}")
        return {"access_token": "access", "token_type": "Bearer", "id_token": self.tokens[-1]}

    def signature(self, data):
        return self.key.sign(data, padding.PKCS1v15(), hashes.SHA256())


@pytest.fixture(scope="module")
def fake():
    made = Fake()
    with answering(made.app) as made.issuer:
        yield made


@pytest.fixture
def honest(fake):
    fake.lies, fake.header, fake.signer = {}, {}, None
    return fake


@pytest.fixture
def ws(tmp_path, honest, monkeypatch):
    monkeypatch.setenv("OUR_SECRET", SECRET)
    told = Provider(issuer=honest.issuer, client_id="holdoff-client", name="The Firm", secret_variable="OUR_SECRET")
    with closing(Workspace(tmp_path / "w", limits=Limits(provider=told))) as opened:
        accounts.add(opened, "Root", PASSWORD, role="administer")
        accounts.add(opened, "Ada", None, role="decide", subject=ADA)
        yield opened


@pytest.fixture
def client(ws):
    return create_app(WorkspaceStores(ws)).server.test_client()


def begun(client, then="/"):
    answer = client.get("/login/provider", query_string={"then": then})
    assert answer.status_code == 302
    return answer.headers["Location"]


def who(ws, client):
    cookie = client.get_cookie("holdoff")
    known = sessions.find(ws, cookie.value if cookie else None, reads_only=True)
    return None if known is None else known.actor.name


def test_the_provider_lets_in_whom_an_administrator_tied_to_an_account(ws, client, honest):
    shown = client.get("/building/a?show=keep", headers={"Accept": "text/html"}).text
    assert "Log in with The Firm" in shown
    assert "href='/login/provider?then=/building/a%3Fshow%3Dkeep'" in shown

    answer = client.get(honest.visit(begun(client, "/building/a?show=keep")))

    assert (answer.status_code, answer.headers["Location"]) == (303, "/building/a?show=keep")
    assert who(ws, client) == "Ada"
    assert {"HttpOnly", "SameSite=Lax"} <= set(answer.headers.getlist("Set-Cookie")[0].split("; "))
    with ws.reading() as session:
        assert session.query(OneTimeRow).count() == 0


def by_somebody_else(data):
    return rsa.generate_private_key(65537, 2048).sign(data, padding.PKCS1v15(), hashes.SHA256())


def by_our_secret(data):
    return hmac.digest(SECRET.encode(), data, "sha256")


NOW = int(time.time())
LIES = {
    "wrong nonce": ({"nonce": "another"}, {}, None),
    "no nonce": ({"nonce": None}, {}, None),
    "wrong audience": ({"aud": "somebody-elses-client"}, {}, None),
    "several audiences, another party": ({"aud": ["holdoff-client", "b"], "azp": "b"}, {}, None),
    "wrong issuer": ({"iss": "https://elsewhere.example"}, {}, None),
    "expired": ({"exp": NOW - 3600, "iat": NOW - 7200}, {}, None),
    "no end": ({"exp": None}, {}, None),
    "of the future": ({"iat": NOW + 7200, "exp": NOW + 9000}, {}, None),
    "not yet": ({"nbf": NOW + 7200}, {}, None),
    "nobody": ({"sub": None}, {}, None),
    "nobody who could be kept": ({"sub": "subject\x0017"}, {}, None),
    "of another access token": ({"at_hash": b64(b"x" * 16)}, {}, None),
    "signed by somebody else": ({}, {}, by_somebody_else),
    "not signed": ({}, {"alg": "none"}, lambda data: b""),
    "signed with what is no secret of the provider": ({}, {"alg": "HS256"}, by_our_secret),
}


def test_a_token_that_is_not_for_us_here_and_now_lets_nobody_in(ws, client, honest, caplog):
    caplog.set_level(logging.DEBUG)
    for lie, (honest.lies, honest.header, honest.signer) in LIES.items():
        before = caplog.text.count("log-in with the provider: the ID token")

        answer = client.get(honest.visit(begun(client)))

        assert answer.status_code == 401, lie
        assert provider.FAILED in answer.text
        assert caplog.text.count("log-in with the provider: the ID token") == before + 1, lie
        assert who(ws, client) is None
    with ws.reading() as session:
        assert session.query(SessionRow).count() == 0
    told = caplog.text + answer.text + "".join(audit.as_json(audit.entries(ws)))
    for secret in (SECRET, base64.b64encode(f"holdoff-client:{SECRET}".encode()).decode(), *honest.tokens):
        assert secret not in told


def test_a_state_holds_once_for_one_browser_and_not_for_long(ws, client, honest):
    first = begun(client)
    assert client.get(honest.visit(first)).status_code == 303
    client.delete_cookie("holdoff")
    assert client.get(honest.visit(first)).status_code == 401

    other = create_app(WorkspaceStores(ws)).server.test_client()
    assert other.get(honest.visit(begun(client))).status_code == 401

    old = begun(client)
    with ws.writing() as session:
        for row in session.query(OneTimeRow):
            row.expires_at -= dt.timedelta(minutes=11)
    assert client.get(honest.visit(old)).status_code == 401
    assert client.get("/login/provider/back?code=x&state=made+up").status_code == 401
    assert client.get("/login/provider/back").status_code == 401
    assert who(ws, client) is None


def test_a_code_without_what_it_was_asked_for_with_is_refused(ws, client, honest):
    way = begun(client)
    with ws.writing() as session:
        row = session.query(OneTimeRow).one()
        row.data = row.data | {"verifier": "x" * 64}
    assert client.get(honest.visit(way)).status_code == 401
    no = parse_qs(urlsplit(begun(client)).query)["state"][0]
    assert client.get(f"/login/provider/back?error=access_denied&state={no}").status_code == 401


def test_whom_nobody_tied_to_an_account_gets_none(ws, client, honest):
    before = accounts.all_of(ws)
    answer = client.get(honest.visit(begun(client), "subject &lt;b&gt; <b>"))
    assert answer.status_code == 403
    assert "subject &amp;lt;b&amp;gt; &lt;b&gt;" in answer.text
    assert accounts.all_of(ws) == before
    accounts.disable(ws, "Ada")
    assert client.get(honest.visit(begun(client))).status_code == 403
    assert who(ws, client) is None
    refused = [e for e in audit.entries(ws) if e.action == "log-in refused"]
    assert len(refused) == 2


def test_where_it_is_said_so_an_account_is_made_and_no_other_is_taken_over(ws, honest):
    ws.limits = ws.limits.model_copy(update={"provider": ws.limits.provider.model_copy(update={"create": "look"})})
    client = create_app(WorkspaceStores(ws)).server.test_client()
    honest.lies = {"name": "Ro\0t", "preferred_username": "Root"}

    assert client.get(honest.visit(begun(client), "somebody new")).status_code == 303

    made = next(a for a in accounts.all_of(ws) if a.subject == "somebody new")
    assert made.name == "Root (somebody new)"
    assert made.roles == {"": "look"}
    assert not made.has_password
    assert who(ws, client) == made.name


def test_a_new_key_of_the_provider_is_asked_for(ws, client, honest, monkeypatch):
    monkeypatch.setattr(provider, "AGAIN_S", 0.0)
    assert client.get(honest.visit(begun(client))).status_code == 303
    honest.key, honest.kid, asked = rsa.generate_private_key(65537, 2048), "two", honest.asked
    assert client.get(honest.visit(begun(client))).status_code == 303
    assert honest.asked == asked + 1


def test_one_person_has_one_account(ws):
    with pytest.raises(RefusedError, match="tied to Ada"):
        accounts.set_subject(ws, "Root", ADA)
    accounts.set_subject(ws, "Ada", None)
    accounts.set_subject(ws, "Root", ADA)
    assert {a.name: (a.subject, a.issuer) for a in accounts.all_of(ws)} == {
        "Ada": (None, None),
        "Root": (ADA, ws.limits.provider.issuer),
    }


OLD, NEW = "https://id.example.org", "https://login.example.org/realm"


def tie_of(ws, name):
    return next((a.subject, a.issuer) for a in accounts.all_of(ws) if a.name == name)


def noted(ws, **wanted):
    """Entries of the audit log about accounts, with their details."""
    found = [(e, json.loads(e.details)) for e in audit.entries(ws) if e.kind == "account"]
    return [(e, d) for e, d in found if all(d.get(k) == v for k, v in wanted.items())]


@pytest.mark.parametrize("create", [None, "look"])
def test_another_issuer_s_person_of_the_same_name_is_refused_and_it_is_noted(ws, client, honest, create):
    accounts.set_subject(ws, "Ada", ADA, issuer=OLD)
    ws.limits = ws.limits.model_copy(update={"provider": ws.limits.provider.model_copy(update={"create": create})})
    client = create_app(WorkspaceStores(ws)).server.test_client()

    answer = client.get(honest.visit(begun(client)))

    assert answer.status_code == 403
    assert "tied to another provider (issuer)" in answer.text
    assert ADA in answer.text
    assert OLD not in answer.text
    assert who(ws, client) is None
    assert [a.name for a in accounts.all_of(ws)] == ["Ada", "Root"]
    assert tie_of(ws, "Ada") == (ADA, OLD)
    ((entry, _),) = noted(ws, subject=ADA, issuer=honest.issuer, why=provider.OF_ANOTHER)
    assert entry.action == "log-in refused"
    assert not any(e.action == "logged in" for e in audit.entries(ws))


def test_two_issuers_may_call_two_people_the_same(ws, client, honest):
    accounts.set_subject(ws, "Root", ADA, issuer=OLD)

    assert client.get(honest.visit(begun(client))).status_code == 303

    assert who(ws, client) == "Ada"
    with pytest.raises(RefusedError, match="tied to Ada"):
        accounts.set_subject(ws, "Root", ADA)


def from_before(ws, name):
    """Have an account tied as it was before issuers were kept."""
    with ws.writing() as session:
        session.query(AccountRow).filter_by(name=name).one().issuer = None


def test_a_tie_from_before_takes_the_issuer_of_the_next_good_log_in(ws, client, honest):
    from_before(ws, "Ada")
    # Nothing is taken from one that is not good.
    honest.lies = {"nonce": "another"}
    assert client.get(honest.visit(begun(client))).status_code == 401
    honest.lies = {}
    accounts.disable(ws, "Ada")
    assert client.get(honest.visit(begun(client))).status_code == 403
    assert tie_of(ws, "Ada") == (ADA, None)
    accounts.enable(ws, "Ada")

    assert client.get(honest.visit(begun(client))).status_code == 303

    assert who(ws, client) == "Ada"
    assert tie_of(ws, "Ada") == (ADA, honest.issuer)
    (entry,) = [e for e, d in noted(ws) if d == {"issuer": [None, honest.issuer]}]
    assert (entry.action, entry.who) == ("changed", "provider")
    assert audit.verify(ws).broken is None
    # From now on it is this one's.
    with ws.reading() as session:
        assert accounts.vouched_for(session, ADA, OLD) == (None, True)


def test_a_tie_from_before_is_one_account_s(ws):
    from_before(ws, "Ada")
    for issuer in (None, OLD):
        with pytest.raises(RefusedError, match="tied to Ada"):
            accounts.set_subject(ws, "Root", ADA, issuer=issuer)
    with pytest.raises(IntegrityError), ws.writing() as session:
        session.query(AccountRow).filter_by(name="Root").one().subject = ADA


def test_ties_are_moved_to_another_issuer_and_back(ws, client, honest):
    accounts.add(ws, "Ben", None, role="look", subject="subject 18", issuer=OLD)
    assert client.get(honest.visit(begun(client))).status_code == 303

    assert accounts.move_ties(ws, NEW, before=honest.issuer, by="Root") == ["Ada"]

    assert who(ws, client) is None
    assert (tie_of(ws, "Ada"), tie_of(ws, "Ben")) == ((ADA, NEW), ("subject 18", OLD))
    ((entry, _),) = noted(ws, issuer=[honest.issuer, NEW])
    assert entry.who == "Root"
    assert client.get(honest.visit(begun(client))).status_code == 403
    assert accounts.move_ties(ws, honest.issuer, before=NEW, by="Root") == ["Ada"]
    assert client.get(honest.visit(begun(client))).status_code == 303


def test_ties_are_moved_all_or_none(ws, honest):
    accounts.add(ws, "Adam", None, role="look", subject="subject 18", issuer=honest.issuer)
    accounts.add(ws, "Ben", None, role="look", subject="subject 18", issuer=NEW)
    before = [tie_of(ws, a) for a in ("Ada", "Adam", "Ben")]

    with pytest.raises(RefusedError, match="tied to Ben"):
        accounts.move_ties(ws, NEW, before=honest.issuer)
    with pytest.raises(RefusedError, match="is no issuer"):
        accounts.move_ties(ws, "login.example.org", before=honest.issuer)

    assert [tie_of(ws, a) for a in ("Ada", "Adam", "Ben")] == before


def test_without_a_provider_saving_the_same_subject_forgets_no_issuer(ws, honest):
    ws.limits = ws.limits.model_copy(update={"provider": None})
    accounts.set_subject(ws, "Ada", ADA)
    assert tie_of(ws, "Ada") == (ADA, honest.issuer)
    accounts.set_subject(ws, "Ada", "subject 18")
    assert tie_of(ws, "Ada") == ("subject 18", None)


def test_the_commands_show_move_and_release_ties(ws, honest):
    def run(*words):
        done = CliRunner().invoke(command, ["user", words[0], str(ws.folder), *words[1:]])
        assert done.exit_code == 0, done.output
        return done.output

    from_before(ws, "Ada")
    assert f"tied to {ADA} of whichever provider vouches next" in run("list")
    assert "Tied to " + OLD + " now: Ada." in run("issuer", OLD)
    assert "now: Ada." in run("issuer", NEW, "--before", OLD)
    assert f"tied to {ADA} of {NEW}" in run("list")
    run("subject", "Ada", "subject 19", "--issuer", OLD)
    assert tie_of(ws, "Ada") == ("subject 19", OLD)
    run("subject", "Ada")
    assert tie_of(ws, "Ada") == (None, None)
    run("add", "Ben", "--role", "look", "--subject", ADA, "--issuer", NEW)
    assert tie_of(ws, "Ben") == (ADA, NEW)


def test_the_page_of_an_account_says_which_provider_and_moves_it(ws, client, honest):
    assert client.post("/login", data={"name": "Root", "password": PASSWORD}).status_code == 303
    page = f"/accounts/{next(a.id for a in accounts.all_of(ws) if a.name == 'Ada')}"
    assert f"The provider is {honest.issuer}." in client.get(page).text
    accounts.set_subject(ws, "Ada", ADA, issuer=OLD)
    assert f"Saving ties the account to {honest.issuer}" in client.get(page).text

    form = {"proof": client.get_cookie(forms.PROOF_COOKIE).value, "do": "subject", "subject": ADA}
    assert client.post(page, data=form).status_code == 200

    assert tie_of(ws, "Ada") == (ADA, honest.issuer)


def test_a_provider_of_another_name_is_not_believed(ws, honest):
    other = ws.limits.provider.model_copy(update={"issuer": honest.issuer + "/"})
    with pytest.raises(provider.ProviderError, match="another issuer"):
        provider.Client(other).address(back="http://127.0.0.1/", state="s", nonce="n", verifier="v" * 43)


def test_without_a_provider_there_is_no_button_and_no_way(tmp_path):
    with closing(Workspace(tmp_path / "w")) as ws:
        accounts.add(ws, "Root", PASSWORD, role="administer")
        client = create_app(WorkspaceStores(ws)).server.test_client()
        assert "Log in with" not in client.get("/login").text
        assert "login/provider" not in str(client.application.url_map)


def test_a_provider_without_the_library_is_told_before_anything_is_served(ws, monkeypatch):
    monkeypatch.setitem(sys.modules, "authlib.integrations.requests_client", None)
    with pytest.raises(ConfigError, match=r"pip install 'holdoff\[oidc\]'"):
        create_app(WorkspaceStores(ws))

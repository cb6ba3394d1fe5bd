"""Logging in: passwords, cookies, attempts, sessions; what every answer says of safety; the audit log; who may listen where."""

import datetime as dt
import json
import logging
import re

import pytest
from sqlalchemy.exc import DBAPIError
from typer.testing import CliRunner

from dashboard.access import forms, headers
from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.serve import Listening, serve_workspace
from dashboard.workspace import Workspace, accounts, audit, buildings, sessions
from dashboard.workspace.access_tables import AccountRow, AttemptRow, SessionRow
from dashboard.workspace.database import writer
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.limits import LogIn
from dashboard.workspace.sessions import WaitError
from dashboard.workspace.space import now
from tests.dashboard.workspaces import facts
from tuning.cli import app as command

PASSWORD = "violet anchor biscuit rain"
OTHER = "copper lantern meadow seven"


@pytest.fixture
def ws(tmp_path):
    opened = Workspace(tmp_path / "w")
    accounts.add(opened, "Ada", PASSWORD, role="administer")
    yield opened
    opened.close()


@pytest.fixture
def client(ws):
    return create_app(WorkspaceStores(ws)).server.test_client()


def log_in(client, password=PASSWORD, **more):
    return client.post("/login", data={"name": "Ada", "password": password}, **more)


def cookies(answer):
    return {c.split("=", 1)[0]: c for c in answer.headers.getlist("Set-Cookie")}


# Passwords ---------------------------------------------------------------------------------------------------------


def test_passwords_are_kept_as_argon2id_and_never_as_they_are(ws, hasher, monkeypatch):
    monkeypatch.setattr(accounts, "HASHER", hasher)
    accounts.set_password(ws, "Ada", PASSWORD)
    with ws.reading() as session:
        kept = session.query(AccountRow).one().password
    assert kept.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert accounts.matches(kept, PASSWORD)
    assert not accounts.matches(kept, OTHER)
    # Where there is no such account, the answer takes as long.
    assert accounts.NOBODY.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    stored = b"".join(p.read_bytes() for p in ws.folder.rglob("*") if p.is_file())
    assert PASSWORD.encode() not in stored


@pytest.mark.parametrize("weak", ["short", "password1234", "aaaaaaaaaaaaaaaa", "Ada Ada Ada Ada", "x" * 129])
def test_weak_passwords_are_refused_without_being_repeated(ws, weak):
    with pytest.raises(RefusedError) as refused:
        accounts.add(ws, "Ben", weak, role="look")
    assert weak not in str(refused.value)


def test_a_password_may_be_long_and_hold_any_sign(ws):
    long = "ø¤ 漢字 " + "".join(chr(97 + (i * i + 7 * i) % 26) for i in range(100))
    accounts.add(ws, "Ben", long, role="look")
    assert sessions.log_in(ws, "ben", long, address="a") is not None
    assert sessions.log_in(ws, "ben", long[:-1], address="a") is None


def test_the_first_account_administers_everything_and_the_last_such_stays(tmp_path):
    fresh = Workspace(tmp_path / "fresh")
    with pytest.raises(RefusedError, match="first account"):
        accounts.add(fresh, "Ben", PASSWORD, role="look")
    accounts.add(fresh, "Ada", PASSWORD, role="administer")
    with pytest.raises(RefusedError, match="Nobody would be left"):
        accounts.disable(fresh, "ada")
    fresh.close()


# Log-in, cookies, sessions -----------------------------------------------------------------------------------------


def test_cookies_are_held_to_the_site_and_hidden_from_scripts(client):
    made = cookies(log_in(client))
    assert {"HttpOnly", "SameSite=Lax", "Path=/"} <= set(made["holdoff"].split("; "))
    assert "Secure" not in made["holdoff"]
    # The proof is what our own scripts read and send back; it opens nothing by itself.
    assert "HttpOnly" not in made[forms.PROOF_COOKIE]


def test_behind_tls_cookies_are_secure_and_the_browser_is_held_to_it(client):
    answer = log_in(client, base_url="https://localhost")
    made = cookies(answer)
    assert {"__Host-holdoff", forms.PROOF_COOKIE} == set(made)
    assert all("; Secure" in c for c in made.values())
    assert answer.headers["Strict-Transport-Security"].startswith("max-age=31536000")


def test_wrong_name_and_wrong_password_are_told_alike(client):
    wrong = log_in(client, "no such password")
    nobody = client.post("/login", data={"name": "Nobody", "password": PASSWORD})
    assert wrong.status_code == nobody.status_code == 401
    assert forms.WRONG in wrong.text
    assert wrong.text.replace("'Ada'", "'Nobody'") == nobody.text


def test_each_log_in_has_a_token_of_its_own_and_the_one_before_ends(ws, client):
    log_in(client)
    first = client.get_cookie("holdoff").value
    client.post("/login", data={"name": "Ada", "password": PASSWORD})
    second = client.get_cookie("holdoff").value
    assert first != second
    assert len(first) >= 43
    assert sessions.find(ws, first, reads_only=True) is None
    assert sessions.find(ws, second, reads_only=True).actor.name == "Ada"
    with ws.reading() as session:
        assert first not in {r.id for r in session.query(SessionRow)}


def test_a_session_ends_after_a_day_of_work(ws):
    made = sessions.log_in(ws, "Ada", PASSWORD, address="a")
    assert sessions.find(ws, made.token, reads_only=True) is not None
    with ws.writing() as session:
        session.query(SessionRow).one().expires_at = now() - dt.timedelta(seconds=1)
    assert sessions.find(ws, made.token, reads_only=True) is None


def test_disabling_and_a_new_password_end_sessions_at_once(ws):
    accounts.add(ws, "Ben", OTHER, role="look")
    for end in (lambda: accounts.set_password(ws, "Ben", OTHER), lambda: accounts.disable(ws, "Ben")):
        made = sessions.log_in(ws, "Ben", OTHER, address="a")
        end()
        assert sessions.find(ws, made.token, reads_only=True) is None
    assert sessions.log_in(ws, "Ben", OTHER, address="a") is None


def test_changing_ones_password_asks_for_the_old_one(client, ws):
    log_in(client)
    proof = {"proof": client.get_cookie(forms.PROOF_COOKIE).value}
    new = {"new": OTHER, "again": OTHER}
    assert "not right" in client.post("/account", data=proof | new | {"old": "something else"}).text
    assert "is changed" in client.post("/account", data=proof | new | {"old": PASSWORD}).text
    assert sessions.log_in(ws, "Ada", PASSWORD, address="a") is None
    assert client.get("/account").status_code == 200


def test_after_too_many_attempts_even_the_right_password_waits(ws, client):
    assert ws.limits.log_in.by_name == 8
    ws.limits = ws.limits.model_copy(update={"log_in": LogIn(by_name=3)})
    for _ in range(ws.limits.log_in.by_name):
        assert log_in(client, "no such password").status_code == 401
    waits = log_in(client)
    assert waits.status_code == 429
    assert 0 < int(waits.headers["Retry-After"]) <= ws.limits.log_in.window.total_seconds()
    with ws.writing() as session:
        for row in session.query(AttemptRow):
            row.at -= ws.limits.log_in.window
    assert log_in(client).status_code == 303


def test_one_address_cannot_try_many_names(ws):
    # Each attempt costs what a password's hash does.
    ws.limits = ws.limits.model_copy(update={"log_in": LogIn(by_name=2, by_address=5)})
    for n in range(ws.limits.log_in.by_address):
        assert sessions.log_in(ws, f"name {n}", "whatever it is", address="192.0.2.9") is None
    with pytest.raises(WaitError):
        sessions.log_in(ws, "Ada", PASSWORD, address="192.0.2.9")
    assert sessions.log_in(ws, "Ada", PASSWORD, address="192.0.2.10") is not None


@pytest.mark.parametrize(
    "then", ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example", "javascript:x"]
)
def test_logging_in_leads_nowhere_else(client, then):
    answer = client.post("/login", data={"name": "Ada", "password": PASSWORD, "then": then})
    assert answer.headers["Location"] == "/"


def test_names_are_never_html(ws, client):
    evil = "<img src=x onerror=alert(1)>"
    accounts.add(ws, evil, OTHER, role="look")
    shown = client.post("/login", data={"name": evil, "password": "wrong"}).text
    client.post("/login", data={"name": evil, "password": OTHER})
    for text in (shown, client.get("/account").text):
        assert evil not in text
        assert "&lt;img" in text


# Headers -----------------------------------------------------------------------------------------------------------


def test_every_answer_says_what_a_page_may_load(client):
    log_in(client)
    for path in ("/", "/login", "/account", "/_dash-layout", "/assets/holdoff.css", "/api/uploads/none"):
        answer = client.get(path, buffered=True)
        policy = dict(p.split(" ", 1) for p in answer.headers["Content-Security-Policy"].split("; "))
        assert "unsafe" not in policy["script-src"], path
        assert (
            policy["default-src"] == policy["object-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
        )
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Cache-Control"] == ("no-cache" if path.startswith("/assets/") else "no-store"), path
        assert "Server" not in answer.headers
    # The address of a file changes with the file.
    named = re.search(r"/assets/holdoff\.css\?m=[\d.]+", client.get("/").text)
    assert client.get(named[0], buffered=True).headers["Cache-Control"] == "public, max-age=31536000, immutable"
    assert client.get("/assets/nothing.css?m=1", buffered=True).headers["Cache-Control"] == "no-store"
    assert "script-src 'self' 'sha256-x'" in headers.policy(["'sha256-x'"])


# The audit log -----------------------------------------------------------------------------------------------------


def test_the_audit_log_tells_who_did_what_and_holds(database, ws):
    building = buildings.create(ws, facts(), by="Ada")
    told = list(audit.entries(ws, building=building))
    assert told
    assert {e.who for e in told} == {"Ada"}
    found = audit.verify(ws)
    assert found.broken is None
    assert found.entries == len(list(audit.entries(ws)))


def test_the_database_refuses_to_change_the_audit_log(database, ws):
    whole = {"sqlite": "INSERT OR REPLACE INTO audit SELECT * FROM audit", "postgresql": "TRUNCATE audit"}
    for change in ("UPDATE audit SET who = 'x'", "DELETE FROM audit", whole[database]):
        with pytest.raises(DBAPIError, match="only added to"), writer(ws.engine).begin() as raw:
            raw.exec_driver_sql(change)


@pytest.mark.parametrize(
    "change", ["UPDATE audit SET who = 'x' WHERE number = 2", "DELETE FROM audit WHERE number = 2", "DELETE FROM audit WHERE number > 2"]
)  # fmt: skip
def test_who_gets_round_the_database_is_shown(database, ws, change):
    buildings.create(ws, facts(), by="Ada")
    before = audit.verify(ws)
    triggers = {"sqlite": ["audit_no_update", "audit_no_delete"], "postgresql": ["audit_only_added_to ON audit"]}
    with writer(ws.engine).begin() as raw:
        for name in triggers[database]:
            raw.exec_driver_sql(f"DROP TRIGGER {name}")
        raw.exec_driver_sql(change)

    assert audit.verify(ws, head=(before.entries, before.head)).broken is not None


def test_no_secret_stands_in_audit_log_or_logs(ws, client, caplog):
    caplog.set_level(logging.DEBUG)
    log_in(client, OTHER)
    log_in(client)
    token, proof = client.get_cookie("holdoff").value, client.get_cookie(forms.PROOF_COOKIE).value
    client.get("/", headers={"Accept": "text/html"})
    told = "".join(audit.as_json(audit.entries(ws))) + caplog.text
    with ws.reading() as session:
        kept = session.query(AccountRow).one().password
    for secret in (PASSWORD, OTHER, token, proof, kept):
        assert secret not in told


def test_the_audit_log_goes_into_spreadsheets_as_text(ws):
    buildings.create(ws, facts() | {"site": {"name": "=HYPERLINK(1)", "time_zone": "UTC"}}, by="=cmd()")
    lines = "".join(audit.as_csv(audit.entries(ws)))
    assert ",'=cmd()," in lines
    assert ",=cmd()" not in lines
    assert json.loads("".join(audit.as_json(audit.entries(ws))))[-1]["who"] == "=cmd()"


# Where to listen, and the commands ---------------------------------------------------------------------------------


@pytest.mark.parametrize("at", [Listening(0, "0.0.0.0"), Listening(0, "::"), Listening(0, proxy="127.0.0.1")])
def test_nothing_but_this_machine_is_served_before_accounts_exist(tmp_path, at):
    fresh = Workspace(tmp_path / "fresh")
    with pytest.raises(RefusedError, match="no accounts"):
        serve_workspace(fresh, at)
    fresh.close()


def test_the_commands_make_list_and_disable_accounts(ws):
    runner, folder = CliRunner(), str(ws.folder)
    made = runner.invoke(command, ["user", "add", folder, "Ben", "--role", "decide"], input=OTHER + "\n")
    assert made.exit_code == 0, made.output
    assert "Ben: decide on every building" in runner.invoke(command, ["user", "list", folder]).output
    assert runner.invoke(command, ["user", "disable", folder, "ben"]).exit_code == 0
    assert "disabled" in runner.invoke(command, ["user", "list", folder]).output
    checked = runner.invoke(command, ["audit", "check", folder])
    assert "The log holds" in checked.output
    assert OTHER not in made.output + checked.output

"""The pages on which accounts are administered, by requests and in the browser."""

import datetime as dt
import re
from contextlib import closing

import pytest
from playwright.sync_api import expect

from dashboard.access import forms, people
from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.workspace import Workspace, accounts, audit, buildings, sessions
from dashboard.workspace.access_tables import OneTimeRow
from tests.dashboard.conftest import serving
from tests.dashboard.test_axe import RULES, breaches
from tests.dashboard.workspaces import facts

PASSWORD, OTHER = "violet anchor biscuit rain", "copper lantern meadow seven"


@pytest.fixture(scope="module")
def ws(tmp_path_factory, database_of_all):
    with closing(Workspace(tmp_path_factory.mktemp("people") / "w")) as opened:
        accounts.add(opened, "Ada", PASSWORD, role="administer")
        opened.here = buildings.create(opened, facts(), by="Ada")
        yield opened


@pytest.fixture(scope="module")
def app(ws):
    return create_app(WorkspaceStores(ws)).server


@pytest.fixture(scope="module")
def ada(app):
    client = app.test_client()
    assert client.post("/login", data={"name": "Ada", "password": PASSWORD}).status_code == 303
    return client


def post(client, path, **form):
    proof = {"proof": client.get_cookie(forms.PROOF_COOKIE).value}
    return client.post(path, data=proof | {"role": "decide", "building": ""} | form)


def named(ws, name):
    return next(a for a in accounts.all_of(ws) if a.name == name)


def link_in(answer):
    return re.search(rf"value='http://localhost({people.LINK}[\w-]+)'", answer.text)[1]


def test_an_account_is_added_with_a_link_with_which_its_owner_chooses_a_password_once(ws, app, ada):
    answer = post(ada, "/accounts", name="Ben", building=ws.here)
    way = link_in(answer)
    assert named(ws, "Ben").roles == {ws.here: "decide"}
    assert way not in ada.get("/accounts").text
    ben = app.test_client()
    assert "Ben" in ben.get(way).text

    assert ben.post(way, data={"new": "short", "again": "short"}).status_code == 400
    assert ben.post(way, data={"new": OTHER, "again": PASSWORD}).status_code == 400
    assert ben.post(way, data={"new": OTHER, "again": OTHER}).status_code == 200

    assert ben.post("/login", data={"name": "Ben", "password": OTHER}).status_code == 303
    for answer in (ben.get(way), ben.post(way, data={"new": PASSWORD, "again": PASSWORD})):
        assert answer.status_code == 401
        assert people.GONE in answer.text
    told = "".join(audit.as_json(audit.entries(ws)))
    assert way.removeprefix(people.LINK) not in told
    assert {("Ada", "account"), ("Ben", "said")} <= {
        (e.who, e.signed) for e in audit.entries(ws) if e.kind == "account"
    }


def test_a_link_ends_with_the_next_one_with_time_and_with_the_account(ws, app, ada):
    post(ada, "/accounts", name="Cleo", password=OTHER)
    page = f"/accounts/{named(ws, 'Cleo').id}"
    first = link_in(post(ada, page, do="link"))
    second = link_in(post(ada, page, do="link"))
    nobody = app.test_client()
    assert [nobody.get(w).status_code for w in (first, second)] == [401, 200]
    with ws.writing() as session:
        for row in session.query(OneTimeRow):
            row.expires_at -= dt.timedelta(days=1)
    assert nobody.get(second).status_code == 401
    third = link_in(post(ada, page, do="link"))
    assert nobody.get(third).status_code == 200
    post(ada, page, do="disable")
    assert nobody.get(third).status_code == 401
    assert "Let the account in again first" in post(ada, page, do="link").text
    # The password from before goes on holding, once the account is let in again.
    post(ada, page, do="enable")
    assert sessions.log_in(ws, "Cleo", OTHER, address="a") is not None


def test_roles_passwords_and_states_are_changed_and_signed_with_the_administrators_account(ws, ada):
    post(ada, "/accounts", name="Dan", password=OTHER, role="look")
    page, before = f"/accounts/{named(ws, 'Dan').id}", audit.verify(ws).entries
    assert "“decide” on Harbour House" in post(ada, page, do="role", building=ws.here).text
    assert named(ws, "Dan").roles == {"": "look", ws.here: "decide"}
    post(ada, page, do="role", role="")
    assert named(ws, "Dan").roles == {ws.here: "decide"}
    post(ada, page, do="password", password=PASSWORD)
    made = sessions.log_in(ws, "Dan", PASSWORD, address="a")
    assert made is not None
    post(ada, page, do="subject", subject="17 at the provider")
    assert sessions.find(ws, made.token, reads_only=True) is None
    assert named(ws, "Dan").subject == "17 at the provider"
    noted = [
        e
        for e in audit.entries(ws)
        if e.number > before and e.kind in ("account", "account_role") and e.action != "logged in"
    ]
    assert len(noted) >= 6
    assert {(e.who, e.signed) for e in noted} == {("Ada", "account")}
    assert audit.verify(ws).broken is None


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({"name": "ada"}, "There is an account ada already"),
        ({"name": "Eva", "password": "short"}, "12 to 128 characters"),
        ({"name": "", "password": OTHER}, "name"),
        ({"name": "Eva", "building": "nowhere"}, "There is no building nowhere"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_changed(ws, ada, form, told):
    before = accounts.all_of(ws)
    answer = post(ada, "/accounts", **form)
    assert answer.status_code == 400
    assert told in answer.text
    assert accounts.all_of(ws) == before


def test_the_last_administrator_stays_and_strange_forms_do_nothing(ws, ada):
    page, before = f"/accounts/{named(ws, 'Ada').id}", accounts.all_of(ws)
    assert "Nobody would be left" in post(ada, page, do="disable").text
    assert "Nobody would be left" in post(ada, page, do="role", role="look").text
    assert post(ada, page, do="delete").status_code == 400
    assert post(ada, "/accounts/999", do="disable").status_code == 404
    assert accounts.all_of(ws) == before
    assert ada.get("/accounts").status_code == 200


def test_without_accounts_the_pages_lead_home(tmp_path):
    with closing(Workspace(tmp_path / "w")) as ws:
        client = create_app(WorkspaceStores(ws)).server.test_client()
        assert client.get("/accounts").headers["Location"] == "/"
        assert client.post("/accounts", data={"name": "Eve", "password": PASSWORD}).headers["Location"] == "/"
        assert not accounts.exist(ws)


@pytest.mark.browser
def test_an_administrator_adds_changes_and_disables_an_account_with_the_keyboard(page, ws):
    name = f"Fay <i>{page.viewport_size['width']}</i>"
    found = []

    def looked_at(what):
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            found.extend(breaches(page, f"{what}, {scheme}", RULES))
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), what

    with serving(WorkspaceStores(ws)) as url:
        page.goto(f"{url}/accounts")
        page.get_by_label("Name").fill("Ada")
        page.get_by_label("Password", exact=True).fill(PASSWORD)
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", name="Accounts")).to_be_visible()
        page.complaints.clear()  # 401 is what the page to log in comes with
        looked_at("list")

        page.get_by_label("Name, as it will").focus()
        page.keyboard.type(name)
        page.keyboard.press("Tab")
        page.keyboard.type("look")
        page.keyboard.press("Tab")
        page.keyboard.type("Harbour")
        page.keyboard.press("Tab")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        expect(page.get_by_label("Send this to")).to_have_value(re.compile(rf"^{url}/password/"))
        way = page.get_by_label("Send this to").input_value()
        looked_at("list with a link")
        page.get_by_role("link", name=name).focus()
        page.keyboard.press("Enter")
        expect(page.get_by_role("heading", level=1)).to_have_text(name)
        expect(page.locator(".roles li")).to_have_text([re.compile("Harbour House: look")])
        looked_at("account")
        page.get_by_role("button", name="Take away “look” on Harbour House").focus()
        page.keyboard.press("Enter")
        expect(page.locator(".roles li")).to_have_count(0)
        page.get_by_role("button", name="Disable").focus()
        page.keyboard.press("Enter")
        expect(page.get_by_role("button", name="Let in again")).to_be_visible()
        page.get_by_role("button", name="Let in again").click()
        expect(page.get_by_role("button", name="Disable")).to_be_visible()
        assert page.complaints == []
        page.goto(way)
        expect(page.get_by_role("heading", name="Choose a password")).to_be_visible()
        looked_at("choosing")
        page.goto(url)
        expect(page.get_by_role("link", name="Harbour House")).to_be_visible()
        looked_at("buildings")
        page.get_by_role("link", name="Accounts").click()
        expect(page.get_by_role("heading", name="Accounts")).to_be_visible()
    assert found == []
    assert page.complaints == []
    assert page.outside == []

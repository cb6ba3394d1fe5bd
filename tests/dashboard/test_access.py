"""Every route and every callback, as the application itself lists them: without log-in, with the wrong role, without proof. And what each
table and each statement lets an account do.
"""

import datetime as dt
import inspect
import json
import re
import uuid

import pytest
from sqlalchemy import inspect as mapped
from sqlalchemy import select, update

from dashboard import ids
from dashboard.access import forms, guard, people
from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.needs import declared
from dashboard.workspace import Workspace, accounts, analyses, buildings, decisions, files, jobs, sessions, uploads
from dashboard.workspace.access_tables import PRIVATE
from dashboard.workspace.actors import ROLES, Actor, ForbiddenError, acting
from dashboard.workspace.decisions import Choice
from dashboard.workspace.tables import AnalysisRow, Base, BuildingRow, JobRow
from tests.dashboard.workspaces import analysed, analysed_again, facts

PASSWORDS = {
    "Ada": "violet anchor biscuit rain",
    "Dora": "copper lantern meadow seven",
    "Luke": "winter marble ticket oats",
    "Otto": "orbit cactus velvet plumb",
    "Nina": "harvest glider pepper maze",
}
"""Administers everything; decides about the first building; looks at it; decides about the other one; has no role at all."""
OPEN_TO_ALL = {"/login", "/_favicon.ico", "/health", people.LINK + "0" * 32}
"""The last one is a link that nobody made."""
JSON = {"Accept": "application/json"}


@pytest.fixture(scope="module")
def space(tmp_path_factory, database_of_all):
    ws, building, _ = analysed(tmp_path_factory.mktemp("access") / "w")
    other = buildings.create(ws, facts() | {"site": {"name": "Mill", "time_zone": "UTC"}}, by="Ada")
    analysed_again(ws, other)
    accounts.add(ws, "Ada", PASSWORDS["Ada"], role="administer")
    accounts.add(ws, "Dora", PASSWORDS["Dora"], role="decide", buildings=[building])
    accounts.add(ws, "Luke", PASSWORDS["Luke"], role="look", buildings=[building])
    accounts.add(ws, "Otto", PASSWORDS["Otto"], role="decide", buildings=[other])
    accounts.add(ws, "Nina", PASSWORDS["Nina"], role="look", buildings=[building])
    accounts.set_role(ws, "Nina", None, buildings=[building])
    yield ws, building, other
    ws.close()


@pytest.fixture(scope="module")
def app(space):
    return create_app(WorkspaceStores(space[0]))


@pytest.fixture(scope="module")
def clients(app):
    """A logged-in client of each account, by name, with the proof that its pages send."""
    made = {}
    for name, password in PASSWORDS.items():
        client = app.server.test_client()
        answer = client.post("/login", data={"name": name, "password": password})
        assert answer.status_code == 303
        made[name] = client, {"X-CSRFToken": client.get_cookie(forms.PROOF_COOKIE).value}
    return made


def routes(app, building):
    """Every rule and method of the server, with its placeholders filled in."""
    for rule in app.server.url_map.iter_rules():
        filled = rule.rule
        for name in rule.arguments:
            value = building if name == "building" else "csv" if name == "kind" else "0" * 32
            filled = re.sub(rf"<(?:\w+:)?{name}>", value, filled)
        for method in sorted(rule.methods - {"OPTIONS", "HEAD"}):
            yield method, filled


def callbacks(app):
    """Every callback that runs on the server: its name, and what the application knows of it."""
    return [(name, entry) for name, entry in app.callback_map.items() if "callback" in entry]


def body_of(name, entry, building, *, click=True):
    """What a browser would send for a callback about a building; a click sets it off if anything of it is a click."""
    if name.startswith(".."):
        outputs = [
            dict(zip(("id", "property"), part.rsplit(".", 1), strict=True)) for part in name.strip(".").split("...")
        ]
    else:
        outputs = dict(zip(("id", "property"), name.rsplit(".", 1), strict=True))
        if name.startswith("{"):
            outputs["id"] = _filled(outputs["id"], building)
    given = {"inputs": [], "state": []}
    for kind, listed in given.items():
        for part in entry[kind]:
            listed.append(_sent(part, building))
    names = [f"{_name(p['id'], building)}.{p['property']}" for p in entry["inputs"]]
    clicks = [n for n in names if n.endswith(guard.CLICKS)] if click else []
    return {"output": name, "outputs": outputs, **given, "changedPropIds": clicks[:1] or names[:1]}


def _name(name, building):
    """The name of an element as the browser writes it."""
    return json.dumps(_filled(name, building), sort_keys=True, separators=(",", ":")) if name.startswith("{") else name


def _filled(name, building):
    return {k: v if isinstance(v, str) else building if k == "building" else "x" for k, v in json.loads(name).items()}


def _sent(part, building):
    name, prop = part["id"], part["property"]
    if name.startswith("{"):
        filled = _filled(name, building)
        one = {"id": filled, "property": prop, "value": filled if prop == "id" else 1}
        return [one] if "ALL" in name else one
    place = {"room": "r101", "channel": "wall", "building": building} if name.startswith("room-place") else building
    value = (
        place
        if name.endswith(guard.PLACE) or name.startswith("room-place")
        else f"/building/{building}"
        if prop == "pathname"
        else 1
    )
    return {"id": name, "property": prop, "value": value}


def asked(client, body, headers=None):
    return client.post("/_dash-update-component", json=body, headers=headers or {})


def test_what_is_walked_is_what_there_is(app):
    assert len(callbacks(app)) > 25
    assert {"/_dash-update-component", "/api/uploads", "/login", "/account", "/accounts", "/accounts/<int:number>"} <= {
        r.rule for r in app.server.url_map.iter_rules()
    }


def test_nobody_gets_anything_from_a_route_without_logging_in(app, space):
    client = app.server.test_client()
    for method, path in routes(app, space[1]):
        status = client.open(path, method=method, headers=JSON).status_code
        if path in OPEN_TO_ALL:
            assert status in (200, 401), (method, path)
        else:
            assert status == 401, (method, path, status)


def test_nobody_gets_anything_from_a_callback_without_logging_in(app, space):
    client = app.server.test_client()
    for name, entry in callbacks(app):
        assert asked(client, body_of(name, entry, space[1])).status_code == 401, name


def test_a_made_up_or_ended_session_is_none(app, space):
    client = app.server.test_client()
    client.set_cookie("holdoff", "made up")
    assert client.get("/", headers=JSON).status_code == 401

    client.post("/login", data={"name": "Luke", "password": PASSWORDS["Luke"]})
    token = client.get_cookie("holdoff").value
    assert client.get("/", headers=JSON).status_code == 200
    client.post("/logout", headers={"X-CSRFToken": client.get_cookie(forms.PROOF_COOKIE).value})
    client.set_cookie("holdoff", token)
    assert client.get("/", headers=JSON).status_code == 401


def test_without_the_proof_no_route_takes_a_change(app, space, clients):
    client, proof = clients["Ada"]
    for method, path in routes(app, space[1]):
        if method in guard.SAFE or path in OPEN_TO_ALL:
            continue
        for headers in (
            {},
            {"X-CSRFToken": "0" * 64},
            proof | {"Origin": "http://elsewhere.example"},
            proof | {"Sec-Fetch-Site": "cross-site"},
        ):
            assert client.open(path, method=method, headers=JSON | headers).status_code == 403, (method, path, headers)


def test_without_the_proof_no_callback_runs(app, space, clients):
    client, proof = clients["Ada"]
    other = clients["Dora"][1]
    for name, entry in callbacks(app):
        body = body_of(name, entry, space[1])
        for headers in ({}, other, proof | {"Origin": "http://elsewhere.example"}):
            assert asked(client, body, headers).status_code == 403, (name, headers)


def test_logging_in_is_not_done_for_a_page_from_elsewhere(app):
    client = app.server.test_client()
    form = {"name": "Luke", "password": PASSWORDS["Luke"]}

    strange = client.post("/login", data=form, headers={"Origin": "http://elsewhere.example"})

    assert strange.status_code == 403
    assert client.get_cookie("holdoff") is None


def test_who_has_no_role_gets_nothing(app, space, clients):
    client, proof = clients["Nina"]
    for method, path in routes(app, space[1]):
        if path in OPEN_TO_ALL | guard.OWN | guard.OPEN:
            continue
        assert client.open(path, method=method, headers=JSON | proof).status_code == 403, (method, path)
    for name, entry in callbacks(app):
        for click in (True, False):
            assert asked(client, body_of(name, entry, space[1], click=click), proof).status_code == 403, name


def test_who_may_look_changes_nothing(app, space, clients):
    client, proof = clients["Luke"]
    for method, path in routes(app, space[1]):
        if method not in guard.SAFE and path not in OPEN_TO_ALL | guard.OWN and path != "/_dash-update-component":
            assert client.open(path, method=method, headers=JSON | proof).status_code == 403, (method, path)
    changing = [n for n, e in callbacks(app) if guard.callback_needs(app, body_of(n, e, space[1])) != "look"]
    assert len(changing) >= 10
    for name in changing:
        assert asked(client, body_of(name, app.callback_map[name], space[1]), proof).status_code == 403, name


def test_who_decides_does_not_administer(app, space, clients):
    client, proof = clients["Dora"]
    administering = [n for n, e in callbacks(app) if declared(e["callback"]) == "administer"]
    assert administering
    for name in administering:
        assert asked(client, body_of(name, app.callback_map[name], space[1]), proof).status_code == 403, name


def test_accounts_are_for_who_administers_everything(app, space, clients):
    ws, building, _ = space
    accounts.set_role(ws, "Dora", "administer", buildings=[building])
    before = accounts.all_of(ws)
    for name in ("Dora", "Luke", "Otto", "Nina"):
        client, proof = clients[name]
        for path in ("/accounts", f"/accounts/{before[0].id}"):
            assert client.get(path, headers=JSON).status_code == 403, (name, path)
            form = {"do": "role", "role": "administer", "building": "", "name": "X", "proof": proof["X-CSRFToken"]}
            assert client.post(path, data=form).status_code == 403, (name, path)
    assert accounts.all_of(ws) == before
    accounts.set_role(ws, "Dora", "decide", buildings=[building])


def test_a_button_that_is_only_drawn_writes_nothing(app, space, clients):
    """Dash sends it like a click, with no count; whoever says so of a click that was one gets no further."""
    ws, building, _ = space
    client, proof = clients["Ada"]
    make = next(n for n, _ in callbacks(app) if ids.AGAIN in n)
    drawn = json.loads(json.dumps(body_of(make, app.callback_map[make], building)))
    drawn["inputs"][0]["value"] = 0
    before = jobs.last(ws, building)

    assert guard.callback_needs(app, drawn) == "look"
    assert asked(client, drawn, proof).status_code in (200, 204)
    assert jobs.last(ws, building) == before
    forged = body_of(make, app.callback_map[make], building) | {"inputs": []}
    assert guard.callback_needs(app, forged) == "decide"


def test_a_callback_that_takes_a_signature_is_never_open_to_who_only_looks(app, space):
    signing = [(n, e) for n, e in callbacks(app) if any(p["id"] == ids.WHO for p in (*e["inputs"], *e["state"]))]
    assert len(signing) >= 8
    for name, entry in signing:
        assert guard.callback_needs(app, body_of(name, entry, space[1])) != "look", name


def test_another_building_is_closed(app, space, clients):
    client, proof = clients["Otto"]
    for method, path in routes(app, space[1]):
        if f"/building/{space[1]}" in path:
            assert client.open(path, method=method, headers=JSON | proof).status_code == 403, (method, path)
    speaking = [(n, e) for n, e in callbacks(app) if guard.named_buildings(body_of(n, e, space[1]))]
    assert len(speaking) > 15
    for name, entry in speaking:
        assert asked(client, body_of(name, entry, space[1], click=False), proof).status_code == 403, name
    page = client.get(f"/building/{space[1]}", headers={"Accept": "text/html"})
    assert page.status_code == 403
    assert "no access to this building" in page.text
    given = {"building": space[1], "name": "a.csv", "size": 9, "by": "x"}
    assert client.post("/api/uploads", json=given, headers=proof).status_code == 403


def test_what_is_allowed_is_answered(app, space, clients):
    """So that the refusals above do not come of refusing everything."""
    ws, building, _ = space
    looking, seeing = clients["Luke"]
    for path in ("/", "/_dash-layout", f"/building/{building}/settings.csv", "/assets/access.js"):
        assert looking.get(path, headers=JSON, buffered=True).status_code == 200, path
    overview = next((n, e) for n, e in callbacks(app) if n.startswith(f"..{ids.BUILDING_HEAD}"))
    assert asked(looking, body_of(*overview, building), seeing).status_code == 200
    deciding, proof = clients["Dora"]
    again = next((n, e) for n, e in callbacks(app) if ids.AGAIN in n)
    assert asked(deciding, body_of(*again, building), proof).status_code == 200
    asked_for = jobs.last(ws, building)
    assert asked_for.created_by == "Dora"
    begun = deciding.post(
        "/api/uploads", json={"building": building, "name": "a.csv", "size": 9, "by": "Somebody"}, headers=proof
    )
    assert begun.status_code == 201
    assert uploads.get(ws, begun.json["id"]).by == "Dora"
    assert deciding.delete(f"/api/uploads/{begun.json['id']}", headers=proof).status_code == 204


def test_with_other_buildings_uploads_an_account_has_nothing_to_do(space, clients):
    ws, building, _ = space
    token = uploads.begin(ws, building, "b.csv", 9, by="Dora").id
    client, proof = clients["Otto"]

    answers = [
        client.open(f"/api/uploads/{token}", method=m, data=b"abc", headers=proof | {"Upload-Offset": "0"})
        for m in ("GET", "PUT", "DELETE")
    ]

    assert {a.status_code for a in answers} <= {403, 404}
    assert uploads.get(ws, token).ended is None
    uploads.stop(ws, token)


# The rows themselves -----------------------------------------------------------------------------------------------


def person(role=None, building="harbour-house", **more):
    return Actor(99, "Somebody", {building: role} if role else {}, **more)


def sample(kind, building):
    """A row of any table, with every column that needs a value filled in."""
    row = kind()
    for column in mapped(kind).columns:
        if column.foreign_keys and not column.primary_key and column.key != "building":
            continue
        if (column.key in ("building", "id") and kind is BuildingRow) or column.key == "building":
            setattr(row, column.key, building)
        elif column.primary_key and column.autoincrement is True:
            continue
        else:
            made = {
                int: 0,
                float: 0.0,
                bool: False,
                str: uuid.uuid4().hex,
                dict: {},
                list: [],
                dt.datetime: dt.datetime.now(dt.UTC),
            }
            setattr(
                row, column.key, made.get(column.type.python_type if column.type.__class__.__name__ != "JSON" else dict)
            )
    return row


def kinds():
    return sorted((m.class_ for m in Base.registry.mappers), key=lambda c: c.__tablename__)


@pytest.mark.parametrize("kind", kinds(), ids=lambda c: c.__tablename__)
def test_no_table_is_written_by_who_may_only_look(space, kind):
    ws, building, _ = space
    everywhere = Actor(99, "Somebody", {None: "look", building: "look"})
    for who in (person(), person("look"), everywhere, person("decide", "mill"), person("administer", reads_only=True)):
        with acting(who), pytest.raises(ForbiddenError), ws.writing() as session:
            session.add(sample(kind, building))


@pytest.mark.parametrize("kind", [k for k in kinds() if k in PRIVATE], ids=lambda c: c.__tablename__)
def test_accounts_and_audit_log_are_written_by_no_request(space, kind):
    with (
        acting(Actor(99, "Somebody", {None: "administer"})),
        pytest.raises(ForbiddenError),
        space[0].writing() as session,
    ):
        session.add(sample(kind, space[1]))


@pytest.mark.parametrize(
    "kind", [k for k in kinds() if k not in PRIVATE and hasattr(k, "building")], ids=lambda c: c.__tablename__
)
def test_no_table_shows_another_buildings_rows(space, kind):
    ws, _, other = space
    with acting(person("look", other)), ws.reading() as session:
        assert all(r.building == other for r in session.scalars(select(kind)))


def test_the_list_of_buildings_holds_those_that_one_may_look_at(space):
    ws, building, other = space
    with acting(person("look")):
        assert [b.id for b in buildings.all_of(ws)] == [building]
    with acting(person()):
        assert buildings.all_of(ws) == []
    with acting(Actor(99, "Somebody", {None: "look"})):
        assert {b.id for b in buildings.all_of(ws)} == {building, other}


def test_rows_written_unread_take_who_administers_everything(space):
    with acting(person("administer")), pytest.raises(ForbiddenError), space[0].writing() as session:
        session.execute(update(JobRow).values(cancel=True))


def test_every_writing_function_refuses_who_may_only_look_and_signs_with_the_account(space):
    ws, building, _ = space
    number = analyses.latest(ws, building).id
    choice = Choice(
        "r101",
        "wall",
        "accept",
        decisions.states(ws, building).get(("r101", "wall"), decisions.ChannelState()).revision,
    )
    attempts = {
        "decide": lambda: decisions.decide(ws, building, [choice], analysis=number, by="Mallory"),
        "edit": lambda: buildings.edit(
            ws, building, {("site", "electricity_price"): 0.31}, by="Mallory", revision=None
        ),
        "ask": lambda: jobs.ask(ws, building, "other work", by="Mallory"),
        "upload": lambda: uploads.begin(ws, building, "c.csv", 5, by="Mallory"),
        "remove": lambda: buildings.remove(ws, building, by="Mallory"),
        "create": lambda: buildings.create(ws, facts(), by="Mallory"),
    }
    for name, attempt in attempts.items():
        with acting(person("look")), pytest.raises(ForbiddenError):
            attempt()
        if name in ("remove", "create"):
            with acting(person("decide")), pytest.raises(ForbiddenError):
                attempt()
    with acting(person("decide")):
        (made,) = attempts["decide"]()
        attempts["edit"]()
    assert made.by == "Somebody"
    assert buildings.history(ws, building)[0].by == "Somebody"
    with acting(person("decide")):
        decisions.undo(ws, building, [made.id], by="Mallory")
        with pytest.raises(ForbiddenError):
            files.all_of(ws, "mill")
    assert decisions.history(ws, building)[0].undone_by == "Somebody"


def test_letting_analyses_go_takes_who_administers(space):
    ws, building, _ = space
    number = analyses.latest(ws, building).id

    def let_go():
        with ws.writing() as session:
            session.get(AnalysisRow, number).pruned_by = "Somebody"
            session.flush()
            raise LookupError("not kept")

    with acting(person("decide")), pytest.raises(ForbiddenError):
        let_go()
    with acting(person("administer")), pytest.raises(LookupError):
        let_go()


def test_each_role_includes_those_before_it():
    for held, role in enumerate(ROLES):
        assert [person(role).may(asked_for, "harbour-house") for asked_for in ROLES] == [i <= held for i in range(3)]
        assert not person(role).may("look", "mill")
        assert not person(role).may(role, None)
        assert Actor(1, "A", {None: role}).may(role, "mill")


def test_every_route_of_ours_is_guarded_before_anything_else_of_ours_runs(app):
    ours = [f for f in app.server.before_request_funcs[None] if "dashboard" in inspect.getmodule(f).__name__]

    assert inspect.getmodule(ours[0]) is guard


def test_without_accounts_only_this_machine_is_served(tmp_path):
    ws, _, _ = analysed(tmp_path / "w")
    client = create_app(WorkspaceStores(ws)).server.test_client()

    assert client.get("/").status_code == 200
    assert client.get("/", environ_overrides={"REMOTE_ADDR": "192.0.2.7"}).status_code == 403

    accounts.add(ws, "Ada", PASSWORDS["Ada"], role="administer")
    assert client.get("/", headers=JSON).status_code == 401
    assert isinstance(ws, Workspace)
    assert not sessions.find(ws, None, reads_only=True)
    ws.close()

"""Signs that no text can hold in what people write: refused alike by both kinds of database, in words, and nothing is half written."""

import json
import re
from contextlib import closing
from urllib.parse import quote

import pytest
import sqlalchemy as sa

from dashboard import ids
from dashboard.app import create_app
from dashboard.components import decide
from dashboard.desk import WorkspaceStores
from dashboard.workspace import Workspace, accounts, buildings, decisions, jobs, uploads, verdicts
from dashboard.workspace.backup import back_up
from dashboard.workspace.database import reflected
from dashboard.workspace.decisions import Choice
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.limits import Limits
from dashboard.workspace.restoring import restore
from dashboard.workspace.tables import BuildingRow
from dashboard.workspace.texts import check_texts
from tests.dashboard import synthetic
from tests.dashboard.test_access import body_of, callbacks, routes
from tests.dashboard.workspaces import ANNA, analysed, begun, facts

BAD = "by the\0window"
TOLD = "“by the␀window” holds the sign NUL (U+0000), shown as ␀, which no text here may."
HALF = json.loads('"by the\\ud83dwindow"')
HALF_TOLD = "“by the\ufffdwindow” holds half a sign (U+D83D), shown as \ufffd, which no text here may."
PASSWORD = "violet anchor biscuit rain"


@pytest.fixture
def desk(tmp_path, database):
    ws, building, number = analysed(tmp_path / "w")
    (decision,) = decisions.decide(ws, building, [Choice("r101", "wall", "accept", 0)], analysis=number, by=ANNA)
    yield ws, building, number, decision.id
    ws.close()


def everything(ws):
    """All rows of all tables."""
    with ws.engine.connect() as db:
        return {t.name: db.execute(sa.select(t)).all() for t in reflected(db).sorted_tables}


def a_fact(ws, building, _analysis, _decision):
    buildings.edit(ws, building, {("rooms", "r101", "note"): BAD}, by=ANNA, revision=0)


def a_room(ws, building, _analysis, _decision):
    room = {"name": "A", "use": "office", "channels": {"main": {}}}
    buildings.edit(ws, building, {("rooms", BAD): room}, by=ANNA, revision=0)


def a_name(ws, building, _analysis, _decision):
    buildings.edit(ws, building, {("rooms", "r101", "note"): "fine"}, by=BAD, revision=0)


def a_new_building(ws, _building, _analysis, _decision):
    buildings.create(ws, facts() | {"site": {"name": BAD, "time_zone": "UTC"}}, by=ANNA)


def a_reason(ws, building, analysis, _decision):
    fine, bad = Choice("r102", "all", "accept", 0), Choice("r101", "window", "accept", 0, reason=BAD)
    decisions.decide(ws, building, [fine, bad], analysis=analysis, by=ANNA)


def a_word(ws, building, _analysis, _decision):
    verdicts.say(ws, building, "r101", "wall", synthetic.START, present=True, by=ANNA, note=BAD)


def a_place(ws, building, _analysis, _decision):
    verdicts.say(ws, building, "r101", BAD, synthetic.START, present=True, by=ANNA)


def a_note(ws, building, _analysis, decision):
    decisions.mark_set(ws, building, {decision: synthetic.START}, set_by=ANNA, by=ANNA, note=BAD)


def who_set_it(ws, building, _analysis, decision):
    decisions.mark_set(ws, building, {decision: synthetic.START}, set_by=BAD, by=ANNA)


def a_job(ws, building, _analysis, _decision):
    jobs.ask(ws, building, "analyse", by=ANNA, rooms=["r101", BAD])


def a_file(ws, building, _analysis, _decision):
    uploads.begin(ws, building, BAD, 3, by=ANNA)


def a_sum(ws, building, _analysis, _decision):
    uploads.begin(ws, building, "a.csv", 3, by=ANNA, sha256=BAD)


def an_account(ws, _building, _analysis, _decision):
    accounts.add(ws, BAD, PASSWORD, role="administer")


def a_subject(ws, _building, _analysis, _decision):
    accounts.add(ws, "Ada", None, role="administer", subject=BAD)


@pytest.mark.parametrize(
    "way",
    [
        a_fact, a_room, a_name, a_new_building, a_reason, a_word, a_place, a_note, who_set_it, a_job, a_file, a_sum,
        an_account, a_subject,
    ],
)  # fmt: skip
def test_it_is_refused_and_nothing_of_what_came_with_it_is_kept(desk, way):
    before = everything(desk[0])
    with pytest.raises(RefusedError, match=re.escape(TOLD)):
        way(*desk)
    assert everything(desk[0]) == before


def test_half_a_sign_is_refused_as_well(desk):
    """JSON can write one half of a pair alone; no file can hold it, so a page, an export or a backup would fail on it later."""
    ws, building, *_ = desk
    before = everything(ws)
    for change in ({("rooms", "r101", "note"): HALF}, {("rooms", HALF): {"use": "office", "channels": {"main": {}}}}):
        with pytest.raises(RefusedError, match=re.escape(HALF_TOLD)):
            buildings.edit(ws, building, change, by=ANNA, revision=0)
    client = create_app(WorkspaceStores(ws)).server.test_client()
    sent = json.dumps({"building": building, "name": "a.csv", "size": 3, "by": HALF})
    answer = client.post("/api/uploads", data=sent, content_type="application/json")
    assert (answer.status_code, answer.json["error"][: len(HALF_TOLD)]) == (400, HALF_TOLD)
    assert everything(ws) == before
    buildings.edit(
        ws, building, {("rooms", "r101", "note"): json.loads('"by the \\ud83d\\ude00 window"')}, by=ANNA, revision=0
    )


def test_a_page_says_what_is_wrong_and_what_to_do(desk):
    outcome = decide.attempt(lambda: str(a_reason(*desk)))

    assert not outcome.done
    shown = outcome.told.children[0].children
    assert shown[0].children == "Nothing was saved."
    assert shown[2].startswith(TOLD)
    assert shown[2].endswith("Take it out, then do it once more.")


def test_a_callback_of_a_page_answers_with_the_words_in_the_page(desk):
    app = create_app(WorkspaceStores(desk[0]))
    name, entry = next((n, e) for n, e in callbacks(app) if f"{ids.NEW_TOLD}.children" in n)
    body = body_of(name, entry, "")
    for part in body["state"]:
        part["value"] = {ids.NEW_NAME: BAD, ids.NEW_ZONE: "UTC", ids.WHO: ANNA}[part["id"]]
    before = everything(desk[0])

    answer = app.server.test_client().post("/_dash-update-component", json=body)

    assert answer.status_code == 200
    assert TOLD in answer.json["response"][ids.NEW_TOLD]["children"]
    assert everything(desk[0]) == before


@pytest.mark.parametrize("key", ["building", "name", "by", "sha256"])
def test_the_way_in_for_files_answers_400(desk, key):
    client = create_app(WorkspaceStores(desk[0])).server.test_client()
    body = {"building": desk[1], "name": "a.csv", "size": 3, "by": ANNA, "sha256": "0" * 64}
    before = everything(desk[0])

    # As JSON writes it: the request itself holds no such byte.
    sent = json.dumps(body | {key: body[key][:1] + "\0.csv"})
    assert "\\u0000" in sent
    answer = client.post("/api/uploads", data=sent, content_type="application/json")

    assert answer.status_code == 400
    assert "holds the sign NUL" in answer.json["error"]
    assert everything(desk[0]) == before


def test_no_address_is_answered_with_a_defect(desk):
    app = create_app(WorkspaceStores(desk[0]))
    client = app.server.test_client()
    asked = 0
    for method, path in routes(app, quote(BAD)):
        if path.startswith("/_dash-component-suites"):
            # Dash's own, which takes any library that is not there for a defect.
            continue
        for way in {path, path.replace("0" * 32, quote(BAD)), f"{path}?settings={quote(BAD)}&then=/{quote(BAD)}"}:
            status = client.open(way, method=method, headers={"Upload-Offset": "0"}).status_code
            assert status < 500, (method, way)
            asked += status == 400
    # Those that look a building or an upload up.
    assert asked >= 5
    answer = client.get(f"/building/{quote(BAD)}/settings.csv")
    assert (answer.status_code, answer.json["error"][: len(TOLD)]) == (400, TOLD)


def test_no_callback_is_answered_with_a_defect_for_a_building_that_nobody_can_have(desk):
    app = create_app(WorkspaceStores(desk[0]))
    client = app.server.test_client()
    refused = 0
    for name, entry in callbacks(app):
        for click in (False, True):
            of = {
                b: client.post("/_dash-update-component", json=body_of(name, entry, b, click=click))
                for b in ("no", BAD)
            }
            if of["no"].status_code < 500:
                assert of[BAD].status_code < 500, name
                refused += of[BAD].status_code == 400
    assert refused


def test_forms_answer_400_and_keep_nothing(desk):
    ws = desk[0]
    accounts.add(ws, "Ada", PASSWORD, role="administer")
    client = create_app(WorkspaceStores(ws)).server.test_client()
    answer = client.post("/login", data={"name": BAD, "password": PASSWORD})
    assert (answer.status_code, TOLD in answer.text) == (400, True)
    assert client.post("/login", data={"name": "Ada", "password": PASSWORD}).status_code == 303
    proof = {"proof": client.get_cookie("_csrf_token").value}
    before = everything(ws)
    for form in (
        {"name": BAD, "role": "look"},
        {"name": "Ben", "role": "look", "building": BAD},
        {"name": "Ben", "role": "look", "subject": BAD},
    ):
        answer = client.post("/accounts", data=proof | form)
        assert (answer.status_code, TOLD in answer.text) == (400, True), form
    number = accounts.all_of(ws)[0].id
    for form in ({"do": "subject", "subject": BAD}, {"do": "role", "role": "look", "building": BAD}):
        answer = client.post(f"/accounts/{number}", data=proof | form)
        assert (answer.status_code, TOLD in answer.text) == (400, True), form
    assert everything(ws) == before


@pytest.mark.parametrize(("bad", "told"), [(BAD, TOLD), (HALF, HALF_TOLD)], ids=["NUL", "half a sign"])
def test_what_a_file_of_a_database_kept_before_is_read_backed_up_and_restored(tmp_path, bad, told):
    ws, building = begun(tmp_path / "w")
    document = facts() | {"site": facts()["site"] | {"name": bad}}
    with ws.engine.begin() as db:
        # As it was written before there was the rule.
        db.connection.driver_connection.execute(
            "UPDATE building SET document = ? WHERE id = ?", (json.dumps(document), building)
        )
    back_up(ws, tmp_path / "b.tar")
    ws.close()

    restore(tmp_path / "b.tar", tmp_path / "again")

    with closing(Workspace(tmp_path / "again", limits=Limits())) as ws:
        assert buildings.info(ws, building).name == bad
        with ws.reading() as session:
            assert session.query(BuildingRow).one().document == document
        with pytest.raises(RefusedError, match=re.escape(told)):
            buildings.edit(ws, building, {("rooms", "r101", "note"): "fine"}, by=ANNA, revision=0)
        buildings.edit(ws, building, {("site", "name"): "Harbour House"}, by=ANNA, revision=0)
        assert buildings.info(ws, building).name == "Harbour House"


def test_the_words_show_what_stands_around_it_and_not_the_sign():
    with pytest.raises(RefusedError) as error:
        check_texts(["fine", {"a": [{"b" * 99 + "\0" + "c" * 99: 1}]}])
    assert str(error.value).startswith(f"“…{'b' * 20}␀{'c' * 20}…” holds")
    assert str(error.value).isprintable()

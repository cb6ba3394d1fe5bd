"""Asking whether there is news costs next to nothing, tells of everything that the page would show, and of nothing to whom it does not concern."""

import dataclasses
import datetime as dt
import json
import re
import time

import pytest
from dash import no_update
from playwright.sync_api import expect
from plotly.utils import PlotlyJSONEncoder
from sqlalchemy import event

from dashboard import ids
from dashboard.app import create_app, polled
from dashboard.desk import WorkspaceStores
from dashboard.pages.room.context import find
from dashboard.pages.room.deciding import of_page, stands, state_of
from dashboard.store import FolderStore
from dashboard.workspace import Workspace, accounts, analyses, buildings, jobs, saved, sessions
from dashboard.workspace import inputs as given
from dashboard.workspace.errors import WorkspaceError
from tests.dashboard import synthetic
from tests.dashboard.conftest import answering, serving
from tests.dashboard.workspaces import ANNA, BEN, analysed, facts

PRICE = ("site", "electricity_price")
PASSWORD = "violet anchor biscuit rain"
JSON = {"Accept": "application/json"}


@pytest.fixture
def space(tmp_path, database):
    ws, building, _ = analysed(tmp_path / "w")
    yield ws, building
    ws.close()


@pytest.fixture
def beside(space):
    """The same workspace, as another process has it open."""
    other = Workspace(space[0].folder)
    yield other
    other.close()


def client_of(ws):
    return create_app(WorkspaceStores(ws)).server.test_client()


def news(client, building="", *, ask=""):
    answer = client.get(f"/api/news/{building}{ask}" if building else "/api/news", headers=JSON)
    assert answer.status_code == 200, answer.status_code
    return answer.json["stamp"], answer.json["ms"]


def edited(ws, building, price):
    return buildings.edit(ws, building, {PRICE: price}, revision=None, by=BEN)


def test_a_mark_changes_with_every_commit_of_any_process_and_with_nothing_else(space, beside):
    (ws, building), before = space, space[0].marks.now()
    buildings.info(ws, building)
    assert ws.marks.now() == before
    with pytest.raises(WorkspaceError):
        buildings.edit(ws, building, {PRICE: -1.0}, revision=None, by=ANNA)
    assert ws.marks.now() == before

    seen = {before}
    for n, writer in enumerate((ws, beside, ws, beside)):
        edited(writer, building, 0.2 + n / 10)
        seen.add(ws.marks.now())
    assert len(seen) == 5


def test_what_is_kept_is_read_anew_once_the_mark_is_another(space):
    marks, read = space[0].marks, []

    def reads():
        read.append(1)
        return len(read)

    assert [marks.kept(m, "x", reads) for m in ("a", "a", "b", "b", "a")] == [1, 1, 2, 2, 3]
    assert marks.kept("a", "y", lambda: "other") == "other"
    assert marks.kept("a", "x", reads) == 3


def test_a_stamp_changes_with_everything_that_the_frame_shows(space, beside):
    ws, building = space
    client = client_of(ws)
    stamps = [news(client, building)]
    assert news(client, building) == stamps[0]

    def told(*, ms):
        stamps.append(news(client, building))
        assert stamps[-1] == news(client, building)
        assert stamps[-1][1] == ms

    edited(beside, building, 0.77)
    told(ms=2000)
    job = jobs.ask(beside, building, "analyse", by=BEN)
    told(ms=500)
    jobs.claim(beside, "w1")
    jobs.beat(beside, job, "w1", share=0.4, what="Reading")
    told(ms=500)
    jobs.end(beside, job, "w1", "failed", error="The disk is full.")
    told(ms=2000)
    buildings.edit(beside, building, {("site", "name"): "Mill"}, revision=None, by=BEN)
    told(ms=2000)
    assert len({s for s, _ in stamps}) == len(stamps)


def test_a_sign_of_life_that_says_nothing_new_is_no_news(space, beside):
    ws, building = space
    client = client_of(ws)
    job = jobs.ask(beside, building, "analyse", by=BEN)
    jobs.claim(beside, "w1")
    jobs.beat(beside, job, "w1", share=0.4, what="Reading")
    before, all_before = news(client, building), news(client, building, ask="?all")
    jobs.beat(beside, job, "w1")
    assert news(client, building) == before
    # The page of the logs hears of whatever is written.
    assert news(client, building, ask="?all") != all_before


def test_another_building_is_no_news_of_this_one_but_of_the_list(space):
    ws, building = space
    client = client_of(ws)
    here, everywhere = news(client, building), news(client)
    other = buildings.create(ws, facts() | {"site": {"name": "Mill", "time_zone": "UTC"}}, by=ANNA)
    assert news(client, building) == here
    assert news(client) != everywhere
    assert news(client, other)[0] != here[0]
    assert news(client, "nowhere") == news(client, "nowhere")


def test_where_nothing_was_written_no_table_is_read(space):
    ws, building = space
    accounts.add(ws, "Root", PASSWORD, role="administer")
    client = client_of(ws)
    client.post("/login", data={"name": "Root", "password": PASSWORD})
    news(client, building)
    said = []
    event.listen(ws.engine, "before_cursor_execute", lambda *given: said.append(given[2]))
    for _ in range(5):
        news(client, building)
    on_postgresql = ws.engine.dialect.name == "postgresql"
    assert said == (["SELECT pg_current_snapshot()::text"] * 5 if on_postgresql else [])


def test_news_is_for_those_who_may_look_and_ends_with_the_session_at_once(space, beside, monkeypatch):
    ws, building = space
    other = buildings.create(ws, facts() | {"site": {"name": "Mill", "time_zone": "UTC"}}, by=ANNA)
    accounts.add(ws, "Root", PASSWORD, role="administer")
    accounts.add(ws, "Luke", PASSWORD, role="look", buildings=[building])
    app = create_app(WorkspaceStores(ws)).server

    def status(client, of):
        return client.get(f"/api/news/{of}", headers=JSON).status_code

    def logged_in():
        client = app.test_client()
        assert client.post("/login", data={"name": "Luke", "password": PASSWORD}).status_code == 303
        assert [status(client, b) for b in (building, building, other, "nowhere")] == [200, 200, 403, 403]
        return client

    assert status(app.test_client(), building) == 401
    client = logged_in()
    # Another process takes the role away, and later the account.
    accounts.set_role(beside, "Luke", None, buildings=[building])
    assert status(client, building) == 403
    accounts.set_role(beside, "Luke", "look", buildings=[building])
    assert status(client, building) == 200
    accounts.disable(beside, "Luke")
    assert status(client, building) == 401
    accounts.enable(beside, "Luke")

    client = logged_in()
    token = client.get_cookie("holdoff").value
    sessions.log_out(beside, token)
    assert status(client, building) == 401

    # Nothing is written when the time of a session is over.
    client = logged_in()
    later = dt.datetime.now(dt.UTC) + ws.limits.log_in.lasts + dt.timedelta(minutes=1)
    monkeypatch.setattr(sessions, "now", lambda: later)
    assert status(client, building) == 401


def test_a_folder_is_asked_about_until_its_analysis_has_ended(tmp_path):
    store = FolderStore(tmp_path, analyse=lambda *_, **__: 1 / 0)
    client = create_app(store).server.test_client()
    before = news(client)
    assert before[1] == 500
    with pytest.raises(ZeroDivisionError):
        store._run()
    assert news(client)[1] is None
    assert news(client)[0] != before[0]


HIDE = """hidden => {
  Object.defineProperty(document, 'hidden', {value: hidden, configurable: true});
  document.dispatchEvent(new Event('visibilitychange'));
}"""


@pytest.mark.browser
@pytest.mark.width_by_turns
def test_a_page_asks_for_a_stamp_only_and_nothing_while_nobody_sees_it(tmp_path, page):
    ws, building, _ = analysed(tmp_path / "w")
    asked, polled = [], []
    page.on("request", lambda r: asked.append(r.url) if "/api/news" in r.url else None)
    page.on("request", lambda r: polled.append(r.url) if '"output":"..status.children' in (r.post_data or "") else None)
    with answering(create_app(WorkspaceStores(ws)).server) as url:
        page.goto(f"{url}/building/{building}")
        expect(page.locator(".ranked th[scope=row] a").first).to_be_visible()

        def until_asked(count):
            ends = time.monotonic() + 60
            while len(asked) < count:
                assert time.monotonic() < ends, asked
                page.wait_for_timeout(50)

        until_asked(3)
        polled.clear()
        count = len(asked)
        until_asked(count + 2)
        assert polled == []

        page.evaluate(HIDE, True)
        page.wait_for_timeout(300)
        count = len(asked)
        edited(ws, building, 0.77)
        page.wait_for_timeout(4500)
        assert len(asked) == count
        assert not page.get_by_text("This analysis is outdated").is_visible()

        # Whoever comes back to the page sees it at once, on whichever page of the building.
        page.evaluate(HIDE, False)
        expect(page.get_by_text("This analysis is outdated")).to_be_visible()
        page.locator(".ranked th[scope=row] a").first.click()
        expect(page.locator("#room-accept")).to_be_visible()
        shown = page.locator("#news")
        before = shown.inner_text()
        buildings.edit(ws, building, {("site", "max_hold_off_s"): 900.0}, revision=None, by=BEN)
        expect(shown).not_to_have_text(before)
        expect(shown).to_contain_text("This analysis is outdated")
    assert page.complaints == []
    ws.close()


def again(ws, building, number, *, changed, **more):
    """Another analysis, for which all rooms but one were taken over, as after a word on one of its switch-offs."""
    before = analyses.shown(ws, building, number)
    entries = saved.document(before.results)["channels"]
    with ws.reading() as session:
        inputs = given.present(session, building)
    return analyses.keep(
        ws,
        building,
        dataclasses.replace(synthetic.analysis(), **more),
        inputs,
        by=BEN,
        kept={(e["room"], e["channel"]): e for e in entries if e["room"] != changed},
    )


def test_an_analysis_that_says_the_same_of_a_room_draws_its_page_anew_in_no_part(tmp_path, database):
    ws, building, first = analysed(tmp_path / "w")
    stores, way = WorkspaceStores(ws), ids.building_href(building)
    second = again(ws, building, first, changed="r102")

    def told(path, number):
        version, changed = polled(stores, path, number)[3:5]
        return version, changed

    assert told(f"{way}/room/r101", first) == (second, no_update)
    assert told(f"{way}/room/r102", first) == (second, second)
    assert told(way, first) == (second, second)
    # Nothing is known of what the page showed before.
    assert told(f"{way}/room/r101", None) == (second, second)
    assert told(f"{way}/room/r101", second) == (no_update, no_update)
    # At another price the same room is another case.
    dear = again(ws, building, second, changed="r102", electricity_price=0.9)
    assert told(f"{way}/room/r101", second) == (dear, dear)
    ws.close()


def test_a_decision_rests_on_the_analysis_that_the_page_shows_though_a_newer_one_is_there(tmp_path, database):
    ws, building, first = analysed(tmp_path / "w")
    second = again(ws, building, first, changed="r102")
    here = find(WorkspaceStores(ws), {"building": building, "room": "r101", "channel": "wall"})

    def told(version):
        desk = of_page(here.store.desk, version)
        return json.dumps(stands(here, desk, state_of(here, desk)), cls=PlotlyJSONEncoder)

    assert f"Rests on analysis {first} of" in told(first)
    assert f"Rests on analysis {second} of" in told(second)
    # A page that was just opened, or comes from another building, has heard of none of this one.
    assert f"Rests on analysis {second} of" in told(None)
    assert f"Rests on analysis {second} of" in told(second + 100)
    ws.close()


@pytest.mark.browser
@pytest.mark.width_by_turns
def test_a_colleagues_word_on_another_room_leaves_the_day_that_is_looked_at(page, tmp_path):
    ws, building, first = analysed(tmp_path / "w")
    with serving(WorkspaceStores(ws)) as url:
        page.goto(f"{url}{ids.building_href(building)}/room/r101?channel=wall&day=2026-03-18")
        day = page.locator(f"#{ids.DAY_CHOICE}")
        expect(day).to_have_value(re.compile("^Wed 18 Mar 2026"))
        page.get_by_role("button", name="Day after").click()
        expect(day).to_have_value(re.compile("^Thu 19 Mar 2026"))
        asked = []
        page.on("request", lambda r: asked.append(r.post_data) if "_dash-update" in r.url else None)

        second = again(ws, building, first, changed="r102")

        expect(page.get_by_label("Decision", exact=True)).to_contain_text(f"Rests on analysis {second}")
        page.wait_for_timeout(1000)
        expect(day).to_have_value(re.compile("^Thu 19 Mar 2026"))
        assert not [a for a in asked if f'"output":"..{ids.DELAY}.' in a or f'"{ids.DAY_CHOICE}.data' in a]
    assert page.complaints == []
    ws.close()

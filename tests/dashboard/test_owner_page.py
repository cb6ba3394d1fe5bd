"""The owner's year in a workspace: recommended or accepted settings, the page and its files, and the browser."""

from dataclasses import replace

import pytest
from playwright.sync_api import expect

from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.pages.owner.callbacks import of
from dashboard.store import Desk
from dashboard.workspace import buildings, decisions
from dashboard.workspace.decisions import Choice
from tests.dashboard import synthetic
from tests.dashboard.conftest import answering
from tests.dashboard.workspaces import ANNA, analysed
from tuning.results import TimeUse


@pytest.fixture
def made(tmp_path):
    analysis = synthetic.analysis()
    use = TimeUse(40.0, 38.0, 20.0, 18.0, 12.5, "output", dark_s=8.0)
    measured = replace(analysis, channels=tuple(replace(c, time_use=use) for c in analysis.channels))
    ws, building, number = analysed(tmp_path / "ws", measured)
    yield Desk(ws, building, number)
    ws.close()


def test_before_anything_is_decided_the_recommended_settings_count(made):
    report, way = of(made, "")

    assert way == "recommended"
    assert report.now.energy_kwh > 0
    assert report.then != report.now


def test_once_something_is_decided_what_was_accepted_counts_and_the_rest_stays(made):
    decisions.decide(made.ws, made.building, [Choice("r101", "wall", "accept", 0)], analysis=made.analysis, by=ANNA)

    accepted, way = of(made, "")
    recommended, _ = of(made, "recommended")

    assert way == "accepted"
    changed = {r.room for r in accepted.rooms if r.changed}
    assert changed == {"r101"}
    assert {r.room for r in recommended.rooms if r.changed} > changed
    assert accepted.now == recommended.now


def test_a_rejected_channel_stays_as_it_is(made):
    decisions.decide(
        made.ws, made.building, [Choice("r101", "wall", "reject", 0, None, "let")], analysis=made.analysis, by=ANNA
    )

    report, _ = of(made, "accepted")

    assert report.then == report.now


def test_the_files_answer_in_the_readers_signs_and_others_do_not(made):
    client = create_app(WorkspaceStores(made.ws)).server.test_client()
    under = f"/building/{made.building}"

    page = client.get(f"{under}/report.html", headers={"Accept-Language": "da"})
    plain = client.get(f"{under}/report.json?settings=accepted")

    assert page.status_code == 200
    assert "data-numbers='da'" in page.text
    assert plain.json["settings_then"] == "accepted"
    assert "attachment" in plain.headers["Content-Disposition"]
    assert client.get(f"{under}/report.exe").status_code == 404
    assert client.get("/building/nowhere/report.html").status_code == 404


def test_in_the_browser_the_year_is_shown_and_switched(made, page):
    buildings.edit(made.ws, made.building, {("rooms", "r101", "area_m2"): 50}, by=ANNA, revision=None)
    with answering(create_app(WorkspaceStores(made.ws)).server) as url:
        page.goto(f"{url}/building/{made.building}/report")
        expect(page.get_by_role("heading", name="A year of light")).to_be_visible()
        expect(page.get_by_role("row", name="Electricity [kWh]")).to_be_visible()
        assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
        page.get_by_role("link", name="As accepted").click()
        expect(page.locator(".chan.here")).to_have_text("As accepted")
        assert "settings=accepted" in page.url
    assert page.outside == []
    assert page.complaints == []

"""Every page of a workspace in light and dark, wide and narrow: no console error, no outside request, no breach of WCAG 2.2 level A or AA.

Fails, and does not skip, where Debian's chromium is missing.
"""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from dashboard.desk import WorkspaceStores
from dashboard.workspace import decisions
from dashboard.workspace.decisions import Choice
from tests.dashboard.conftest import serving
from tests.dashboard.workspaces import ANNA, analysed
from tuning.results import Settings

pytestmark = pytest.mark.browser

RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"]}}


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    ws, building, number = analysed(tmp_path_factory.mktemp("axe") / "ws")
    choices = (
        Choice("r101", "wall", "accept", 0),
        Choice("r102", "all", "adjust", 0, Settings(5.0, 500.0, "auto-on"), "asked for"),
        Choice("r103/b", "all", "reject", 0, None, "being refurbished"),
    )
    decisions.decide(ws, building, choices, analysis=number, by=ANNA)
    with serving(WorkspaceStores(ws)) as url:
        yield f"{url}/building/{building}"
    ws.close()


def full(page, address):
    page.goto(address)
    page.get_by_role("heading", level=1).first.wait_for()
    page.wait_for_load_state("networkidle")


PAGES = {
    "rooms": ("", lambda p: expect(p.get_by_role("link", name="Seminar room all")).to_be_visible()),
    "rooms selected": (
        "?sel=r101/wall~r102/all&show=change,trial",
        lambda p: expect(p.get_by_label("Selected rooms")).to_contain_text("2 channels"),
    ),
    "no room": ("?q=zebra", lambda p: expect(p.get_by_text("No room matches")).to_be_visible()),
    "room": (
        "/room/r101?channel=wall",
        lambda p: expect(p.get_by_label("The minutes around").locator(".main-svg").first).to_be_visible(),
    ),
    "room without motion": ("/room/r104", lambda p: expect(p.get_by_text("holds no movement")).to_be_visible()),
    "no such room": ("/room/nowhere", lambda p: expect(p.get_by_text("no room “nowhere”")).to_be_visible()),
    "sheet": ("/settings", lambda p: expect(p.get_by_role("button", name="Mark as set")).to_be_visible()),
    "logs": ("/logs", lambda p: expect(p.get_by_text("Bring in files first.")).to_be_visible()),
    "facts": ("/facts", lambda p: expect(p.get_by_label("Electricity [per kWh]")).to_be_visible()),
    "facts of a room": ("/facts?room=r101", lambda p: expect(p.get_by_text("Channel window")).to_be_visible()),
    "sheet to print": ("/settings.html", lambda p: expect(p.get_by_text("EXCEPTION")).to_be_visible()),
}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_breaches_wcag_or_asks_anybody_else(page, site, scheme):
    page.emulate_media(color_scheme=scheme)
    breaches = []
    for name, (way, ready) in PAGES.items():
        full(page, site + way)
        ready(page)
        found = Axe().run(page, options=RULES).response["violations"]
        breaches += [
            f"{name}: {v['id']} ({v['impact']}): {n['target']} {n['any'][0]['message'] if n['any'] else ''}"
            for v in found
            for n in v["nodes"][:4]
        ]
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), name
    assert breaches == []
    assert page.complaints == []
    assert page.outside == []

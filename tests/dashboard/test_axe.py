"""Every page of a workspace in light and dark, wide and narrow: no console error, no outside request, no breach of WCAG 2.2 level A or AA.

Fails, and does not skip, where Debian's chromium is missing.
"""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from dashboard.desk import WorkspaceStores
from dashboard.report import html_report
from dashboard.workspace import buildings, decisions, uploads
from dashboard.workspace.decisions import Choice
from tests.building import SITE, office_days, write
from tests.dashboard.conftest import serving
from tests.dashboard.waiting import whole
from tests.dashboard.workspaces import ANNA, analysed
from tuning.results import Settings

pytestmark = pytest.mark.browser

AXE = Axe().axe_script
COLOURS = {"resultTypes": ["violations"], "runOnly": {"type": "rule", "values": ["color-contrast"]}}
"""The one rule whose answer hangs on the colours alone."""
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"]
RULES = {"resultTypes": ["violations"], "runOnly": {"type": "tag", "values": TAGS}}


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    ws, building, number = analysed(tmp_path_factory.mktemp("axe") / "ws")
    choices = (
        Choice("r101", "wall", "accept", 0),
        Choice("r102", "all", "adjust", 0, Settings(5.0, 500.0, "auto-on"), "asked for"),
        Choice("r103/b", "all", "reject", 0, None, "being refurbished"),
    )
    decisions.decide(ws, building, choices, analysis=number, by=ANNA)
    # Another one that is just being brought in: its logs, and a site.toml that says otherwise.
    begun = buildings.create(ws, {"site": {"name": "Mill House", "time_zone": "Europe/Copenhagen"}}, by=ANNA)
    folder = tmp_path_factory.mktemp("logs")
    write(folder, office_days(days=2), site=SITE, name="March.csv")
    for name in ("March.csv", "site.toml"):
        uploads.take(ws, begun, folder / name, by=ANNA)
    with serving(WorkspaceStores(ws)) as url:
        yield f"{url}/building/{building}"
    ws.close()


@pytest.fixture(scope="module")
def report(analysis):
    return html_report(analysis)


def full(page, address):
    page.goto(address)
    page.get_by_role("heading", level=1).first.wait_for()
    page.wait_for_load_state("networkidle")


def drawn(page, shown):
    """Go to what is still to be drawn, as a figure is when it comes near the window, until nothing is and ``shown`` holds."""
    held = "[...document.querySelectorAll('[data-held]')].find(e => e.offsetParent)"
    page.wait_for_function(
        f"() => {{ const held = {held}; held && held.scrollIntoView(); return !held && ({shown}); }}"
    )
    page.evaluate("window.scrollTo(0, 0)")


def old_analyses(page):
    page.get_by_text("Old analyses").click()
    page.get_by_role("button", name="Show what would go").click()
    expect(page.get_by_text("Nothing would go.")).to_be_visible()


BEGUN = "/../mill-house"
PAGES = {
    "buildings": ("/../..", lambda p: expect(p.get_by_role("link", name="Mill House")).to_be_visible()),
    "no building": (
        "/../..",
        lambda p: (
            p.get_by_label("Search buildings").fill("zebra"),
            expect(p.get_by_text("No building matches")).to_be_visible(),
        ),
    ),
    "nothing analysed": (BEGUN, lambda p: expect(p.get_by_text("Nothing analysed yet")).to_be_visible()),
    "logs just brought in": (
        BEGUN + "/logs",
        lambda p: (
            expect(p.get_by_text("differs in")).to_be_visible(),
            expect(p.get_by_role("button", name="Use this mapping")).to_be_visible(),
        ),
    ),
    "old analyses": ("/logs", old_analyses),
    "rooms": ("", lambda p: expect(p.get_by_role("link", name="Seminar room all")).to_be_visible()),
    "rooms selected": (
        "?sel=r101/wall~r102/all&show=change,trial",
        lambda p: expect(p.get_by_label("Selected rooms")).to_contain_text("2 channels"),
    ),
    "no room": ("?q=zebra", lambda p: expect(p.get_by_text("No room matches")).to_be_visible()),
    "room": (
        "/room/r101?channel=wall",
        lambda p: (
            whole(p),
            drawn(p, "document.querySelector('[aria-label*=\"The minutes around\"] .main-svg')"),
            expect(p.get_by_label("The minutes around").locator(".main-svg").first).to_be_visible(),
        ),
    ),
    "room without motion": (
        "/room/r104",
        lambda p: (
            whole(p),
            drawn(p, "document.querySelector('#content').textContent.includes('holds no movement')"),
            expect(p.get_by_text("holds no movement")).to_be_visible(),
        ),
    ),
    "no such room": ("/room/nowhere", lambda p: expect(p.get_by_text("no room “nowhere”")).to_be_visible()),
    "sheet": ("/settings", lambda p: expect(p.get_by_role("button", name="Mark as set")).to_be_visible()),
    "logs": ("/logs", lambda p: expect(p.get_by_text("Bring in files first.")).to_be_visible()),
    "facts": ("/facts", lambda p: expect(p.get_by_label("Electricity [per kWh]")).to_be_visible()),
    "facts of a room": ("/facts?room=r101", lambda p: expect(p.get_by_text("Channel window")).to_be_visible()),
    "verification": ("/verification", lambda p: expect(p.get_by_text("Nothing was set on site yet")).to_be_visible()),
    "predictions": (
        "/../../predictions",
        lambda p: expect(p.get_by_text("No prediction has met its outcome yet")).to_be_visible(),
    ),
    "year": ("/report", lambda p: expect(p.get_by_text("LENI").first).to_be_visible()),
    "sheet to print": ("/settings.html", lambda p: expect(p.get_by_text("EXCEPTION")).to_be_visible()),
}


def breaches(page, name, rules):
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE)
    # Breaches alone come over: what passes is longer than the page.
    found = page.evaluate("rules => axe.run(rules).then(results => results.violations)", rules)
    return [
        f"{name}: {v['id']} ({v['impact']}): {n['target']} {n['any'][0]['message'] if n['any'] else ''}"
        for v in found
        for n in v["nodes"][:4]
    ]


def in_both_colours(page, name, first, second):
    """All rules in the colours that a page came in, then those of the other colours after somebody has changed them."""
    found = breaches(page, f"{name}, {first}", RULES)
    page.emulate_media(color_scheme=second)
    page.wait_for_load_state("networkidle")
    found += breaches(page, f"{name}, {second}", COLOURS)
    page.emulate_media(color_scheme=first)
    return found


def test_no_page_breaches_wcag_or_asks_anybody_else(page, site, report):
    schemes = ("light", "dark") if page.viewport_size["width"] > 1000 else ("dark", "light")
    page.emulate_media(color_scheme=schemes[0])
    found = []
    for name, (way, ready) in PAGES.items():
        full(page, site + way)
        ready(page)
        found += in_both_colours(page, name, *schemes)
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), name
        beyond = "[...document.querySelectorAll('.nav a')].filter(a => a.getBoundingClientRect().right > innerWidth).map(a => a.textContent)"
        assert page.evaluate(beyond) == [], name
    # The report is a file of its own; nothing serves it.
    page.route("**/report.html", lambda r: r.fulfill(body=report, content_type="text/html; charset=utf-8"))
    page.goto(site.split("/building")[0] + "/report.html")
    page.wait_for_selector("html[data-drawn=all]", state="attached")
    found += in_both_colours(page, "report", *schemes)
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), "report"
    assert found == []
    assert page.complaints == []
    assert page.outside == []

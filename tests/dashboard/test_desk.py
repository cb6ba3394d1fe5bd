"""Working at the pages, in a real browser, on a made-up building: search, days, colours, keyboard, waiting, failing.

Fails, and does not skip, where Debian's chromium is missing.
"""

import re
import threading
from pathlib import Path

import pytest
from playwright.sync_api import expect

from dashboard.report import html_report
from dashboard.store import FolderStore
from tests.dashboard.conftest import serving
from tests.dashboard.waiting import until, until_drawn
from tuning.errors import LogError

pytestmark = pytest.mark.browser


def fits(page):
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_search_and_filters_narrow_the_list_and_stand_in_the_address(page, made_up_site):
    page.goto(made_up_site)
    expect(page.get_by_role("link", name="Seminar room all")).to_be_visible()

    page.get_by_label("Search rooms").fill("window")
    expect(page.get_by_role("link", name="Seminar room all")).to_have_count(0)
    expect(page.get_by_role("link", name="Reading room window")).to_be_visible()
    until(page, "window.location.search === '?q=window'")

    page.get_by_label("Search rooms").fill("zebra")
    expect(page.get_by_text("No room matches")).to_be_visible()
    page.get_by_role("button", name="Show all rooms").click()
    expect(page.locator(".ranked th[scope=row]")).to_have_count(5)

    page.goto(f"{made_up_site}/?show=trial&sort=name")
    expect(page.get_by_role("link", name="Seminar room all")).to_be_visible()
    expect(page.get_by_role("link", name="Store fan")).to_have_count(0)
    assert fits(page)
    assert page.complaints == []


def order(page):
    return page.locator(".ranked th[scope=row] a").evaluate_all("links => links.map(a => a.title)")


@pytest.mark.width_by_turns
def test_the_list_is_sorted_by_its_select_and_what_must_be_mended_comes_first(page, made_up_site):
    page.goto(made_up_site)
    expect(page.get_by_role("link", name="Seminar room all")).to_be_visible()
    assert order(page)[0].startswith("Plant") and order(page)[1] == "Seminar room, all"

    page.get_by_label("Order of the rooms").select_option("name")

    assert [t.split(",")[0] for t in order(page)] == sorted((t.split(",")[0] for t in order(page)), key=str.casefold)
    until(page, "window.location.search === '?sort=name'")


@pytest.mark.width_by_turns
def test_a_selection_is_summed_and_survives_reload_a_visit_to_a_room_and_back(page, made_up_site, analysis):
    page.goto(made_up_site)
    for name in ("Reading room wall", "Seminar room all"):
        page.get_by_role("checkbox", name=f"Select {name}").check()
    sums = page.get_by_label("Selected rooms")
    worth = sum(
        c.worth_per_week for c in analysis.channels if (c.room, c.channel) in (("r101", "wall"), ("r102", "all"))
    )
    expect(sums).to_contain_text("2 channels in 2 rooms")
    expect(sums).to_contain_text(f"{worth:.2f}")

    page.reload()
    expect(sums).to_contain_text("2 channels in 2 rooms")
    page.get_by_role("link", name="Reading room wall").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Reading room")
    page.go_back()

    expect(page.get_by_role("checkbox", name="Select Seminar room all")).to_be_checked()
    expect(sums).to_contain_text("2 channels in 2 rooms")
    page.get_by_role("button", name="Clear").click()
    expect(sums).to_be_hidden()
    assert page.complaints == []


def test_arrows_walk_the_list_and_space_selects(page, made_up_site):
    page.goto(made_up_site)
    page.get_by_role("link", name="Seminar room all").focus()
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.title") == "Reading room, wall"
    page.keyboard.press("Space")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Shift+Space")

    expect(page.get_by_role("checkbox", name="Select Reading room wall")).to_be_checked()
    expect(page.get_by_role("checkbox", name="Select Reading room window")).to_be_checked()
    page.keyboard.press("Escape")
    expect(page.get_by_label("Selected rooms")).to_be_hidden()


@pytest.mark.parametrize("page", [(w, 900) for w in (761, 1020, 1021, 1200, 1201)], indirect=True, ids=str)
def test_the_list_and_the_links_above_fit_between_the_widths(page, made_up_site):
    page.goto(made_up_site)
    expect(page.locator(".ranked th[scope=row]")).to_have_count(5)

    assert fits(page)
    # What is cut off at its cell's edge does not widen the page.
    cells = "[...document.querySelectorAll('.ranked :is(th,td):not(.c-pick)')].filter(c => c.offsetParent)"
    assert page.evaluate(f"{cells}.filter(c => c.scrollWidth > c.clientWidth + 1).map(c => c.textContent)") == []


@pytest.mark.width_by_turns
def test_a_day_is_chosen_by_address_and_by_step_and_survives_reload(page, made_up_site):
    page.goto(f"{made_up_site}/room/r101?channel=wall&day=2026-03-18")
    day = page.get_by_role("textbox", name="Day", exact=True).or_(page.get_by_role("combobox", name="Day", exact=True))
    plot = page.get_by_label("Along time: movement")
    expect(day).to_have_value(re.compile("^Wed 18 Mar 2026"))
    until_drawn(plot, "Wed 18 Mar 2026")

    page.get_by_role("button", name="Day after").click()
    expect(day).to_have_value(re.compile("^Thu 19 Mar 2026"))
    until_drawn(plot, "Thu 19 Mar 2026")
    until(page, "window.location.search.includes('day=2026-03-19')")

    page.reload()
    expect(day).to_have_value(re.compile("^Thu 19 Mar 2026"))
    assert page.complaints == []


@pytest.mark.width_by_turns
def test_a_day_is_found_in_the_list_by_typing(page, made_up_site):
    page.goto(f"{made_up_site}/room/r101?channel=wall&day=2026-03-18")
    day = page.get_by_role("textbox", name="Day", exact=True).or_(page.get_by_role("combobox", name="Day", exact=True))
    expect(day).to_have_value(re.compile("^Wed 18 Mar 2026"))
    assert page.get_by_role("option").count() == 0

    day.fill("20 Mar")
    expect(page.get_by_role("option")).to_have_count(1)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")

    expect(day).to_have_value(re.compile("^Fri 20 Mar 2026"))
    until(page, "window.location.search.includes('day=2026-03-20')")
    assert page.complaints == []


def test_a_click_on_the_raster_opens_that_day(page, made_up_site):
    page.goto(f"{made_up_site}/room/r101?channel=wall&day=2026-03-18")
    raster = page.get_by_label("Raster of all days")
    cells = raster.locator(".nsewdrag").first
    along = page.get_by_label("Along time: movement")
    until_drawn(along, "Wed 18 Mar 2026")
    until_drawn(raster)

    # The first row is Monday 16 March; 03:00, where no mark lies.
    at = {"x": cells.bounding_box()["width"] / 8, "y": 4}
    cells.hover(position=at)
    expect(raster.locator(".hoverlayer")).to_contain_text("2026-03-16, around 0")
    cells.click(position=at)

    until_drawn(along, "Mon 16 Mar 2026")


@pytest.mark.width_by_turns
def test_colours_follow_the_system_until_somebody_chooses_and_the_choice_is_kept(page, made_up_site):
    page.emulate_media(color_scheme="dark")
    page.goto(made_up_site)
    scheme = "document.documentElement.dataset.scheme"
    until(page, f"{scheme} === 'dark'")

    page.get_by_role("button", name="Light").click()
    until(page, f"{scheme} === 'light'")
    page.reload()
    expect(page.get_by_role("button", name="Dark")).to_be_visible()

    assert page.evaluate(scheme) == "light"
    assert page.complaints == []


@pytest.mark.width_by_turns
def test_the_keyboard_reaches_the_content_and_a_room(page, made_up_site):
    page.goto(made_up_site)
    expect(page.get_by_role("link", name="Seminar room all")).to_be_visible()

    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
    page.get_by_role("link", name="Seminar room all").focus()
    page.keyboard.press("Enter")

    expect(page.get_by_role("heading", level=1)).to_have_text("Seminar room")
    assert page.complaints == []


def test_a_hostile_name_stays_text(page, made_up_site):
    page.on("dialog", lambda d: pytest.fail(f"a script ran: {d.message}"))
    page.goto(f"{made_up_site}/room/r103%2Fb")

    expect(page.get_by_role("heading", level=1)).to_have_text('Plant <b>& "boiler"</b> <script>alert(1)</script>')
    assert fits(page)


@pytest.mark.width_by_turns
def test_the_page_shows_progress_and_then_fills_without_a_reload(page, analysis):
    go = threading.Event()

    def analyse(_folder, *, progress):
        progress(0.25, "reading logs")
        go.wait(30)
        return analysis

    store = FolderStore(Path("x"), analyse=analyse)
    store.start()
    with serving(store) as address:
        page.goto(f"{address}/room/r102")
        expect(page.get_by_role("heading", name="Reading the building")).to_be_visible()
        expect(page.get_by_text("25%, reading logs")).to_be_visible()
        go.set()

        expect(page.get_by_role("heading", level=1)).to_have_text("Seminar room")
        expect(page.get_by_label("Recommendation")).to_contain_text("15 min")
    assert page.outside == []


@pytest.mark.width_by_turns
def test_a_log_that_cannot_be_read_is_told_in_place_of_the_page(page):
    def analyse(_folder, *, progress):
        raise LogError(Path("store.csv"), "row 812", "'abc' is not a number", "A value is a number", "Correct the row")

    store = FolderStore(Path("x"), analyse=analyse)
    store.start()
    store.wait(10)
    with serving(store) as address:
        page.goto(address)

        expect(page.get_by_role("alert")).to_contain_text("store.csv, row 812: 'abc' is not a number")
        expect(page.get_by_label("Search rooms")).to_be_hidden()


def test_the_report_draws_every_figure_from_a_file_and_asks_nobody(page, analysis, tmp_path):
    file = tmp_path / "report.html"
    file.write_text(html_report(analysis), encoding="utf-8")
    asked = []
    page.unroute("**/*")
    page.on("request", lambda r: asked.append(r.url))

    page.goto(file.as_uri())
    until(page, "document.documentElement.dataset.drawn === 'all'")

    figures = page.locator("figure").count()
    # Four channels with a log: delay, days, pauses, task and target of each.
    assert figures == 4 * 5
    assert page.locator("figure .main-svg").locator("visible=true").count() >= figures
    assert asked == [file.as_uri()]
    assert page.complaints == []
    assert fits(page)


def test_whoever_goes_back_finds_the_list_where_it_was_left(page, made_up_site):
    page.set_viewport_size({"width": page.viewport_size["width"], "height": 400})
    page.goto(made_up_site)
    link = page.get_by_role("link", name="Seminar room all")
    link.scroll_into_view_if_needed()
    page.mouse.wheel(0, 120)
    page.wait_for_timeout(300)
    left = page.evaluate("window.scrollY")
    assert left > 0
    link.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_label("Recommendation")).to_be_visible()
    until(page, "document.activeElement.id === 'content'")
    assert page.evaluate("window.scrollY") == 0

    page.go_back()

    until(page, "y => Math.abs(window.scrollY - y) < 2", arg=left)
    expect(link).to_be_focused()
    assert page.complaints == []

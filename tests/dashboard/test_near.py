"""What lies further down a room page is put there, and its figures are drawn, when it comes near the window; printed, all of it is there."""

import json
import re

import pytest
from playwright.sync_api import expect

from dashboard import ids
from dashboard.pages.room.context import anchor
from dashboard.pages.room.sections import FIRST, LATER
from tests.dashboard.waiting import until, whole

pytestmark = pytest.mark.browser

ROOM = "/room/r101?channel=wall"
PAUSES = "Length of the pauses"
FAR = f"#{ids.GAPS}"
MARKS = f"{FAR} .main-svg .xy .trace"
FURTHER = {ids.RASTER, ids.DAY, ids.OFF_LIST, ids.OFF_PLOT, ids.GAPS, ids.TARGET_BOX, ids.MODE, ids.DRIFT}


def opened(page, site):
    """A room of which the first figure is drawn, and what lies further down is only told; gives what was asked of the server."""
    asked = []
    page.on("request", lambda r: asked.append(r) if "_dash-update-component" in r.url else None)
    page.goto(site + ROOM)
    expect(page.locator(f"#{ids.DELAY} .main-svg .trace").first).to_be_visible()
    expect(page.locator(".compare")).to_be_visible()
    settled(page)
    return asked


TOP = "() => document.getElementById('has-the-room-changed')?.getBoundingClientRect().top"
STILL = """() => {
    const now = [scrollY, document.documentElement.scrollHeight, document.querySelectorAll('[data-held]').length].join();
    if (window.lastSeen !== now) { window.lastSeen = now; window.sinceWhen = performance.now(); }
    return performance.now() - window.sinceWhen > 1500;
}"""


def settled(page):
    """Everything has been answered and drawn, and for a while nothing has changed the height of the page or moved it."""
    expect(page.locator("[data-dash-is-loading=true]")).to_have_count(0)
    until(page, STILL, timeout=60_000)


def filled(asked):
    """The first elements that callbacks were asked to fill."""
    return {json.loads(r.post_data)["output"].lstrip(".").split(".")[0] for r in asked}


@pytest.mark.width_by_turns
def test_what_lies_further_down_is_told_by_its_headings_and_asked_for_only_when_it_comes_near(page, made_up_site):
    asked = opened(page, made_up_site)
    assert page.locator("[data-outline]").count() == len(LATER)
    assert filled(asked) & FURTHER == set()
    heading = page.get_by_role("heading", name=PAUSES)
    expect(heading).to_have_count(1)
    expect(page.locator(FAR)).to_have_count(0)

    heading.scroll_into_view_if_needed()

    expect(page.locator(MARKS).first).to_be_attached()
    expect(heading).to_have_count(1)
    assert ids.GAPS in filled(asked)
    assert page.complaints == []


def test_every_section_is_there_after_a_walk_down_the_page(page, made_up_site):
    opened(page, made_up_site)
    page.mouse.move(200, 400)
    for _ in range(60):
        page.mouse.wheel(0, 300)
        page.wait_for_timeout(60)

    until(page, "!document.querySelector('[data-outline]')")
    headings = page.locator(".figures h2").all_text_contents()
    assert len(headings) == len(set(headings))
    assert len(headings) >= len(FIRST) + sum(map(len, LATER.values()))
    assert page.complaints == []


def test_a_figure_below_is_drawn_once_it_comes_near_and_nothing_jumps(page, made_up_site):
    opened(page, made_up_site)
    whole(page)
    # Put there to be printed, but never seen: as after a long walk down the page, it is told anew in another colour.
    page.evaluate("window.scrollTo(0, 0)")
    settled(page)
    page.get_by_role("button", name="Dark", exact=True).click()
    expect(page.locator(f"{FAR}[style*='--drawn'][data-held]")).to_have_count(1)
    settled(page)
    height = page.evaluate("document.documentElement.scrollHeight")
    before = page.evaluate(f"document.querySelector('{FAR} .js-plotly-plot')._fullLayout.font.color")

    page.locator(FAR).scroll_into_view_if_needed()

    until(
        page,
        f"""(() => {{ const place = document.querySelector('{FAR} .js-plotly-plot');
        return place.data.length > 0 && place._fullLayout.font.color !== '{before}'; }})()""",
    )
    expect(page.locator(MARKS).first).to_be_visible()
    assert page.evaluate("document.documentElement.scrollHeight") == height
    assert page.complaints == []


def test_a_link_to_a_section_goes_there_and_its_figure_is_drawn(page, made_up_site):
    opened(page, made_up_site)
    link = page.locator(".jump a").nth(-2)
    name = link.get_attribute("href").lstrip("#")
    link.focus()

    page.keyboard.press("Enter")

    target = page.locator(f"[id='{name}']")
    expect(target).to_be_in_viewport()
    until(page, f"!document.getElementById('{name}').closest('[data-outline]')")
    # It is the same page: not drawn anew, and not back at its top.
    settled(page)
    expect(target).to_be_in_viewport()
    expect(target).to_be_focused()
    assert page.url.endswith(f"#{name}")
    assert page.complaints == []


@pytest.mark.width_by_turns
def test_an_address_with_a_section_in_it_shows_the_section(page, made_up_site):
    page.goto(f"{made_up_site}{ROOM}#{anchor(PAUSES)}")
    target = page.get_by_role("heading", name=PAUSES)
    expect(page.locator(MARKS).first).to_be_attached()
    settled(page)
    expect(target).to_be_in_viewport()
    assert page.complaints == []


@pytest.mark.parametrize("page", [(1280, 900)], indirect=True, ids=["1280 px"])
def test_an_address_with_a_percent_sign_that_means_nothing_is_an_address(page, made_up_site):
    page.goto(f"{made_up_site}{ROOM}#100%")
    expect(page.locator(".compare")).to_be_visible()
    settled(page)
    assert page.complaints == []


@pytest.mark.width_by_turns
def test_what_the_address_tells_of_comes_wherever_the_window_is(page, made_up_site):
    page.goto(f"{made_up_site}{ROOM}&day=2026-03-18")

    expect(page.locator(f"#{ids.DAY_CHOICE}")).to_have_value(re.compile("^Wed 18 Mar 2026"))

    assert page.evaluate("window.scrollY") == 0
    assert page.locator("[data-outline]").count() == len(LATER) - 1
    assert page.complaints == []


def test_whoever_goes_back_to_a_place_further_down_finds_it(page, made_up_site):
    opened(page, made_up_site)
    whole(page)
    heading = page.get_by_role("heading", name="Has the room changed?")
    heading.scroll_into_view_if_needed()
    settled(page)
    expect(heading).to_be_in_viewport()
    left = page.evaluate(TOP)
    page.reload()

    # Seen at the same place of the window, and for good: what lies above may have got another height since.
    until(page, f"left => Math.abs(({TOP})() - left) < 2", arg=left, timeout=60_000)
    settled(page)
    assert page.evaluate(TOP) == pytest.approx(left, abs=2)
    expect(heading).to_be_in_viewport()
    assert page.complaints == []


def test_whoever_goes_back_finds_the_heading_though_what_lies_above_is_another_height(page, made_up_site):
    opened(page, made_up_site)
    whole(page)
    page.evaluate(
        "document.querySelector('.compare').append(Object.assign(document.createElement('div'), {style: 'height: 1500px'}))"
    )
    page.get_by_role("heading", name="Has the room changed?").scroll_into_view_if_needed()
    settled(page)
    left = page.evaluate(TOP)

    page.reload()

    until(page, f"left => Math.abs(({TOP})() - left) < 2", arg=left, timeout=60_000)
    assert page.complaints == []


@pytest.mark.width_by_turns
def test_the_next_room_begins_anew(page, made_up_site):
    opened(page, made_up_site)
    whole(page)

    page.get_by_role("navigation", name="Rooms by worth").get_by_role("link").first.click()

    expect(page.get_by_role("heading", level=1)).to_have_text("Seminar room")
    expect(page.locator(".compare")).to_be_visible()
    settled(page)
    assert page.locator("[data-outline]").count() == len(LATER)
    page.get_by_role("heading", name=PAUSES).scroll_into_view_if_needed()
    expect(page.locator(MARKS).first).to_be_attached()
    assert page.complaints == []


@pytest.mark.width_by_turns
def test_whoever_prints_gets_all_of_it(page, made_up_site):
    opened(page, made_up_site)

    page.emulate_media(media="print")

    until(page, "!document.querySelector('[data-outline]')")
    until(page, "document.querySelectorAll('[data-held]').length === 0")
    expect(page.locator(MARKS).first).to_be_attached()
    assert page.complaints == []


@pytest.mark.parametrize("page", [(1280, 900)], indirect=True, ids=["1280 px"])
def test_the_keys_for_printing_wait_for_all_of_it(page, made_up_site):
    page.add_init_script(
        "window.print = () => { window.printed = document.querySelectorAll('[data-outline]').length; };"
    )
    opened(page, made_up_site)

    page.keyboard.press("Control+p")

    until(page, "window.printed !== undefined")
    assert page.evaluate("window.printed") == 0
    assert page.complaints == []

"""Figures are drawn when they come near the window, at the height that their place has had before; printed, all of them are there."""

import pytest
from playwright.sync_api import expect

from dashboard import ids
from dashboard.pages.room.context import anchor
from tests.dashboard.waiting import until

pytestmark = pytest.mark.browser

ROOM = "/room/r101?channel=wall"
PAUSES = "Length of the pauses"
FAR = f"#{ids.GAPS}"
MARKS = f"{FAR} .main-svg .xy .trace"


def opened(page, site):
    """A room of which the first figure is drawn, and a far one is only told."""
    page.goto(site + ROOM)
    expect(page.locator(f"#{ids.DELAY} .main-svg .trace").first).to_be_visible()
    expect(page.locator(f"{FAR}[style*='--drawn'][data-held]")).to_have_count(1)
    # Everything else has been answered, too, so that nothing more changes the height of the page.
    expect(page.locator("[data-dash-is-loading=true]")).to_have_count(0)
    page.wait_for_timeout(1500)
    return page.evaluate("document.documentElement.scrollHeight")


def test_a_figure_below_is_drawn_once_it_comes_near_and_nothing_jumps(page, made_up_site):
    height = opened(page, made_up_site)
    drawing = page.locator(".plot", has=page.locator(FAR)).locator(".drawing")
    expect(drawing).to_be_visible()
    assert page.locator(MARKS).count() == 0

    page.locator(FAR).scroll_into_view_if_needed()

    expect(page.locator(MARKS).first).to_be_visible()
    expect(drawing).to_be_hidden()
    assert page.evaluate("document.documentElement.scrollHeight") == height
    assert page.complaints == []


def test_a_link_to_a_section_goes_there_and_its_figure_is_drawn(page, made_up_site):
    height = opened(page, made_up_site)
    link = page.locator(".jump a").nth(-2)
    name = link.get_attribute("href").lstrip("#")
    link.focus()

    page.keyboard.press("Enter")

    target = page.locator(f"[id='{name}']")
    expect(target).to_be_in_viewport()
    until(page, f"!document.getElementById('{name}').closest('section').querySelector('[data-held]')")
    # It is the same page: not drawn anew, and not back at its top.
    page.wait_for_timeout(1500)
    assert page.evaluate("document.documentElement.scrollHeight") == height
    expect(target).to_be_in_viewport()
    expect(target).to_be_focused()
    assert page.url.endswith(f"#{name}")
    assert page.complaints == []


def test_an_address_with_a_section_in_it_shows_the_section(page, made_up_site):
    page.goto(f"{made_up_site}{ROOM}#{anchor(PAUSES)}")
    target = page.get_by_role("heading", name=PAUSES)
    expect(page.locator(MARKS).first).to_be_attached()
    expect(page.locator("[data-dash-is-loading=true]")).to_have_count(0)
    page.wait_for_timeout(1500)
    expect(target).to_be_in_viewport()
    assert page.complaints == []


def test_whoever_prints_gets_all_figures(page, made_up_site):
    opened(page, made_up_site)

    page.emulate_media(media="print")

    until(page, "document.querySelectorAll('[data-held]').length === 0")
    expect(page.locator(MARKS).first).to_be_attached()
    assert page.complaints == []


def test_a_figure_that_was_told_twice_before_it_came_near_shows_the_last(page, made_up_site):
    opened(page, made_up_site)
    before = page.evaluate(f"document.querySelector('{FAR} .js-plotly-plot')._fullLayout.font.color")

    page.get_by_role("button", name="Dark", exact=True).click()

    until(page, "document.documentElement.dataset.scheme === 'dark'")
    page.locator(FAR).scroll_into_view_if_needed()
    until(
        page,
        f"""(() => {{ const place = document.querySelector('{FAR} .js-plotly-plot');
        return place.data.length > 0 && place._fullLayout.font.color !== '{before}'; }})()""",
    )
    assert page.complaints == []

"""Waiting in a browser for what JavaScript says, under a content security policy that lets no page evaluate text."""

import time


def until(page, told, *, arg=None, timeout=30_000):
    """Wait until an expression, or a function of ``arg``, is true on a page; ``timeout`` [ms].

    Playwright's own ``wait_for_function`` evaluates its text inside the page once the first look was in vain, which the policy forbids.
    """
    ends = time.monotonic() + timeout / 1000
    while not page.evaluate(told, arg):
        assert time.monotonic() < ends, f"never true: {told}"
        page.wait_for_timeout(20)


def until_drawn(place, told=""):
    """Stay at a figure until it is drawn and says ``told``, as somebody does who waits for it.

    A figure is drawn when it comes near the window, and what lies above it still grows: to go there only once is a race against the answers
    of the sections above.
    """
    drawn = place.locator("[style*='--drawn']:not([data-held])")
    ends = time.monotonic() + 60
    while not drawn.count() or told not in place.text_content():
        assert time.monotonic() < ends, f"never drawn with {told!r}: {place.text_content()!r}"
        place.scroll_into_view_if_needed()
        place.page.wait_for_timeout(50)


def whole(page):
    """Have all of a room page there, as somebody who prints it; what lies further down comes only when it is near."""
    asked = "window.dispatchEvent(new Event('beforeprint'))"
    until(page, f"document.querySelector('.later') && ({asked}, !document.querySelector('[data-outline]'))")

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

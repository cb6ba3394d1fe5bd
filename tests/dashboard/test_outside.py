"""The browser that tests drive reaches nothing but this machine, and says what was asked for elsewhere."""

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.width_by_turns]


@pytest.mark.parametrize(
    "elsewhere", ["http://elsewhere.example/a.js", "http://198.51.100.7/a.js", "https://[2001:db8::1]/a.js"]
)
def test_a_request_to_elsewhere_is_refused_and_noted(page, elsewhere):
    # A page of its own: the policy of our pages would refuse before the browser asks.
    page.goto("about:blank")
    told = page.evaluate(
        "async url => { try { await fetch(url, {mode: 'no-cors'}); return 'answered'; } catch (e) { return String(e); } }",
        elsewhere,
    )

    assert "Failed to fetch" in told
    assert page.outside == [elsewhere]
    assert len(page.complaints) == 1
    assert "ERR_NAME_NOT_RESOLVED" in page.complaints[0]

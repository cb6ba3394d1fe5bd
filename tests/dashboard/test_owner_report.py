"""The owner's report as a page: one sheet of A4, self-contained, hostile names as text, numbers in the reader's signs."""

import re
from dataclasses import replace

import flask
import pytest

from dashboard.owner_report import page
from tests.dashboard import synthetic
from tests.dashboard.workspaces import facts
from tuning.owner import owner_report
from tuning.results import TimeUse
from tuning.site import Site


@pytest.fixture(scope="module")
def report():
    analysis = synthetic.analysis()
    use = TimeUse(40.0, 38.0, 20.0, 18.0, 12.3456, "output", dark_s=8.0)
    channels = tuple(replace(c, time_use=use) for c in analysis.channels)
    told = facts(analysis)
    for room in told["rooms"].values():
        room["area_m2"] = 1234.5
    return owner_report(Site.model_validate(told), replace(analysis, channels=channels))


def test_it_loads_nothing_and_runs_nothing(report):
    html = page(report)

    assert not re.search(r"(src|href)=|url\(|@import|<script", html)
    assert "size:A4" in html
    assert "&lt;script&gt;" in html, "the hostile name of a room stays text"


def test_numbers_follow_the_reader(report):
    app = flask.Flask(__name__)

    with app.test_request_context(headers={"Accept-Language": "da"}):
        danish = page(report)

    assert "1,234" in page(report)
    assert "1.234" in danish


def test_it_fits_one_sheet_of_a4(report, browser, tmp_path):
    pdf = browser.new_page()
    pdf.set_content(page(report))
    pdf.pdf(path=tmp_path / "a.pdf", prefer_css_page_size=True)

    assert len(re.findall(rb"/Type\s*/Page[^s]", (tmp_path / "a.pdf").read_bytes())) == 1


@pytest.mark.parametrize("width", [1280, 390])
def test_nothing_runs_over_the_edge(report, browser, width):
    context = browser.new_context(viewport={"width": width, "height": 800})
    shown = context.new_page()
    shown.set_content(page(report))

    assert shown.evaluate("document.documentElement.scrollWidth") <= width
    context.close()

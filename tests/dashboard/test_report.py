"""The HTML report: one self-contained file that says all."""

import html
import re
from dataclasses import replace

import pytest

from dashboard.report import DRAWN, html_report
from tests.dashboard.synthetic import analysis
from tuning.results import LightResult


@pytest.fixture(scope="module")
def report():
    return html_report(analysis())


def test_it_loads_nothing_from_elsewhere(report):
    outside = re.findall(r"""<(?:script|link|img|iframe)[^>]+(?:src|href)\s*=\s*["'](?!#|data:)([^"']+)""", report)

    assert outside == []
    assert not re.search(r"@import|url\(\s*['\"]?http", report)


def test_plotly_stands_in_it_once(report):
    assert report.count("plotly.js v") == 1 or report.count("/**\n* plotly.js") == 1


def test_every_channel_has_its_reasons(report):
    for channel in analysis().channels:
        assert html.escape(channel.room_name) in report
        for reason in channel.reasons:
            assert html.escape(reason) in report


def test_it_carries_the_cautions(report):
    text = " ".join(re.sub("<[^>]+>", " ", report).split())

    for words in (
        "Authorised people only",
        "licensed electricians",
        "proven dead",
        "Emergency and escape lighting",
        "Local codes prevail",
    ):
        assert words in text


def test_of_a_large_building_only_the_channels_worth_most_are_drawn_and_the_others_say_so():
    whole = analysis()
    many = tuple(
        replace(whole.channels[0], room=f"x{i:03}", target_saving=float(i), light=LightResult(), output=None)
        for i in range(DRAWN + 3)
    )
    report = html_report(replace(whole, channels=many))

    sections = report.split("<section class='channel'")[1:-1]
    drawn = [i for i, text in enumerate(sections) if "<figure>" in text]
    assert len(sections) == DRAWN + 3
    assert drawn == list(range(DRAWN))
    assert all("No pictures here" in text for text in sections[DRAWN:])


def test_names_are_never_html():
    whole = analysis()
    evil = replace(whole.channels[0], room_name="<img src=x onerror=alert(1)>", reasons=("<b>no</b>",))
    report = html_report(replace(whole, site="<script>alert(2)</script>", channels=(evil, *whole.channels[1:])))

    assert "<img src=x" not in report
    assert "<script>alert(2)" not in report
    assert "<b>no</b>" not in report

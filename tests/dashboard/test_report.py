"""The HTML report: one self-contained file that says all."""

import html
import re
from dataclasses import replace

import pytest

from dashboard.report import html_report
from tests.dashboard.synthetic import analysis


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


def test_names_are_never_html():
    whole = analysis()
    evil = replace(whole.channels[0], room_name="<img src=x onerror=alert(1)>", reasons=("<b>no</b>",))
    report = html_report(replace(whole, site="<script>alert(2)</script>", channels=(evil, *whole.channels[1:])))

    assert "<img src=x" not in report
    assert "<script>alert(2)" not in report
    assert "<b>no</b>" not in report

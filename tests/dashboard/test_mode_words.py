"""What manual-on would bring, in words: on the room page and in the report the same."""

import html
from dataclasses import replace

import pytest

from dashboard.mode_words import mode_rows, mode_verdict
from dashboard.report import html_report
from tests.dashboard.synthetic import analysis
from tuning.results import ModeAdvice

ADVICE = ModeAdvice(
    recommended="auto-on", fits=True, allowed=True, switch_ons=40.0, unneeded=25.0, presses=15.0, presses_interval=(12.0, 18.0),
    saved_kwh=3.0, saved_kwh_interval=(2.0, 4.0), worth=0.6, worth_interval=(0.2, 1.0), passers=10.0, moments=5.0, bright=10.0,
    presses_cost=0.3,
)  # fmt: skip


def with_advice(**more):
    whole = analysis()
    c = replace(whole.channels[0], control="dimmed", decision="keep", mode=replace(ADVICE, **more))
    return c, replace(whole, channels=(c,))


def test_every_figure_stands_there_with_its_interval_and_price():
    c, whole = with_advice()
    rows = dict(mode_rows(c, whole))

    assert "2.00 to 4.00" in rows["Energy saved"]
    assert f"{3 * whole.electricity_price:.2f}" in rows["Its price"]
    assert "0.20" in rows["Worth, less the presses"]
    assert "12" in rows["Presses that people would make"]


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"recommended": "manual-on"}, "Manual-on is recommended"),
        ({"fits": False}, "in the dark to find a press"),
        ({"allowed": False}, "local code does not let"),
        ({"worth_interval": (-2.0, -0.1)}, "presses would cost people more"),
        ({"worth_interval": (-0.5, 1.0)}, "not sure enough"),
    ],
)
def test_the_verdict_says_why(more, why):
    assert why in mode_verdict(with_advice(**more)[0])


def test_the_report_says_the_same_as_the_page():
    c, whole = with_advice()
    report = html_report(whole)

    assert html.escape(mode_verdict(c)) in report
    for name, value in mode_rows(c, whole):
        assert html.escape(name) in report
        assert html.escape(value) in report


def test_where_it_is_not_judged_the_reason_is_given():
    c, whole = with_advice()
    manual = replace(c, mode=None, current=replace(c.current, mode="manual-on"))

    assert mode_rows(manual, whole) == []
    assert "set to manual-on" in mode_verdict(manual)
    assert "no switch-off" in mode_verdict(replace(c, mode=None))

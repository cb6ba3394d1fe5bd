"""Pictures of the light: the reading over a day, the task against what it needs, other months, and where they stand on page and report."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from dashboard.figures.light_day import light_day_figure
from dashboard.figures.season import season_figure
from dashboard.figures.task_light import task_figure
from dashboard.figures.theme import DARK, LIGHT
from dashboard.report import html_report
from tests.dashboard import synthetic
from tests.dashboard.plotted import plotted
from tuning.results import WantedLevel

MINUTE = np.arange(15, 1440, 30)
DAY = pl.DataFrame(
    {
        "minute": MINUTE,
        "daylight_lx": np.linspace(0, 470, 48),
        "daylight_low_lx": np.linspace(0, 400, 48),
        "daylight_high_lx": np.linspace(0, 600, 48),
        "lamps_lx": np.full(48, 120.0),
        "days": np.full(48, 14),
    }
)
YEAR = pl.DataFrame(
    {
        "month": np.arange(1, 13),
        "daylight_lx": np.linspace(20, 240, 12),
        "under_lit_share": np.linspace(0.12, 0.01, 12),
        "energy_kwh": np.linspace(30, 8, 12),
    }
)

light_day_figure, season_figure, task_figure = map(plotted, (light_day_figure, season_figure, task_figure))


@pytest.fixture(scope="module")
def lit():
    """The made-up channel with all that is known of its light."""
    c = synthetic.channel()
    light = replace(
        c.light,
        typical_day=DAY,
        months=YEAR,
        yearly_kwh=228.0,
        required_lx=480.0,
        wanted=WantedLevel(2, 9, 300.0, 390.0, 310.0, 450.0),
    )
    return replace(c, light=light)


def axis_titles(figure):
    return sorted(
        v["title"]["text"]
        for k, v in figure.to_plotly_json()["layout"].items()
        if k[:5] in ("xaxis", "yaxis") and v.get("title", {}).get("text")
    )


def test_lamps_stand_on_top_of_the_daylight(lit):
    figure = light_day_figure(lit, LIGHT)
    daylight, lamps, spread = figure.data

    assert daylight.stackgroup == lamps.stackgroup
    assert list(daylight.y) == DAY["daylight_lx"].to_list()
    assert list(lamps.y) == DAY["lamps_lx"].to_list()
    assert list(daylight.x)[:2] == [0.25, 0.75]
    assert np.allclose(np.array(spread.error_y.array) + DAY["daylight_lx"].to_numpy(), DAY["daylight_high_lx"])
    assert np.allclose(DAY["daylight_lx"].to_numpy() - np.array(spread.error_y.arrayminus), DAY["daylight_low_lx"])
    assert axis_titles(figure) == ["reading at the<br>detector [lx]", "time of day [h, local]"]


def test_the_targets_in_force_and_recommended_are_named(lit):
    told = [a.text for a in light_day_figure(lit, LIGHT).layout.annotations]
    assert f"target in force {lit.current.target_lx:.0f} lx" in told
    assert f"recommended {lit.recommended.target_lx:.0f} lx" in told


def test_the_task_is_shown_against_what_it_needs_and_what_people_chose(lit):
    figure = task_figure(lit, LIGHT)
    told = [a.text for a in figure.layout.annotations]

    assert "required 480 lx" in told
    assert "people chose about 390 lx" in told
    lines = [s.x0 for s in figure.layout.shapes if s.x0 == s.x1]
    band = next(s for s in figure.layout.shapes if s.x0 != s.x1)
    assert 480.0 in lines
    assert (band.x0, band.x1) == (310.0, 450.0)


def test_without_wishes_or_need_nothing_of_them_is_drawn():
    told = [a.text for a in task_figure(synthetic.channel(), LIGHT).layout.annotations]
    assert len(told) == 1
    assert told[0].startswith("at least ")


def test_every_month_has_its_light_energy_and_daylight(lit):
    figure = season_figure(lit, LIGHT)
    under, energy, daylight = figure.data

    assert under.x[0] == "Jan"
    assert list(under.y) == pytest.approx((100 * YEAR["under_lit_share"]).to_list())
    assert list(energy.y) == YEAR["energy_kwh"].to_list()
    assert list(daylight.y) == YEAR["daylight_lx"].to_list()
    assert [a.text for a in figure.layout.annotations] == ["limit 5 %"]
    assert axis_titles(figure) == [
        "daylight<br>[lx]",
        "energy<br>[kWh]",
        "month (energy of each; daylight at the detector; under-lit share of the time)",
        "under-lit<br>[%]",
    ]


@pytest.mark.parametrize("draw", [light_day_figure, season_figure])
def test_an_empty_figure_says_why(draw):
    figure = draw(synthetic.bare(), LIGHT)
    assert not figure.data
    assert figure.layout.annotations[0].text.startswith("The log ")


@pytest.mark.parametrize("draw", [light_day_figure, season_figure, task_figure])
def test_a_dark_scheme_has_other_colours(draw, lit):
    assert draw(lit, LIGHT).to_json() != draw(lit, DARK).to_json()


def test_the_report_holds_them_where_they_are_known(lit):
    analysis = synthetic.analysis()
    known = html_report(replace(analysis, channels=(lit,)))
    bare = html_report(replace(analysis, channels=(synthetic.channel(),)))

    for title in ("Daylight and lamps over a day", "Over a year"):
        assert title in known
        assert title not in bare

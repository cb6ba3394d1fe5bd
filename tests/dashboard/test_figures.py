"""Figures: what is drawn, and the unit of every axis."""

import base64
import datetime as dt
import json
import math
from dataclasses import replace

import numpy as np
import pytest

from dashboard.figures.along_time import time_figure
from dashboard.figures.day_raster import day_ticks, raster_figure
from dashboard.figures.delay_curve import delay_figure
from dashboard.figures.gap_lengths import gap_density, gap_figure, length_edges
from dashboard.figures.target_curve import target_figure
from dashboard.figures.task_light import task_figure
from dashboard.figures.theme import DARK, LIGHT, palette
from dashboard.figures.timeline import raster, timeline
from dashboard.figures.window import day_window, within
from tests.dashboard import synthetic
from tests.dashboard.plotted import plotted
from tuning.results import Finding
from tuning.sampled_pauses import TOO_COARSE

time_figure, raster_figure, delay_figure = map(plotted, (time_figure, raster_figure, delay_figure))
gap_figure, target_figure, task_figure = map(plotted, (gap_figure, target_figure, task_figure))

ZONE = synthetic.ZONE


def titles(figure):
    layout = figure.to_plotly_json()["layout"]
    return [
        v["title"]["text"] for k, v in layout.items() if k[:5] in ("xaxis", "yaxis") and v.get("title", {}).get("text")
    ]


def names(figure):
    return [t.name for t in figure.data]


@pytest.fixture(scope="module")
def line(channel):
    return timeline(channel, zone=ZONE)


@pytest.fixture(scope="module")
def all_figures(channel, line):
    return {
        "delay": delay_figure(channel, LIGHT, currency="EUR"),
        "raster": raster_figure(raster(line), LIGHT),
        "day": time_figure(channel, line, day_window(line, dt.date(2026, 3, 17)), LIGHT),
        "gaps": gap_figure(channel, LIGHT),
        "target": target_figure(channel, LIGHT),
        "task": task_figure(channel, LIGHT),
    }


UNITS = {
    "delay": [
        "false-offs<br>[per week]",
        "lit, nobody there<br>[h per week]",
        "cost<br>[EUR per week]",
        "hold-off [min, logarithmic]",
    ],
    "raster": ["time of day [h, local]", "day (Mondays named)"],
    "day": ["time of day [h, local], Tue 17 Mar 2026", "illuminance [lx]", "output [%]"],
    "gaps": ["length of the pause [s, min, h; logarithmic]", "pauses [per week<br>and doubling of length]"],
    "target": ["under-lit<br>[% of time]", "energy<br>[kWh per week]", "target illuminance [lx at the detector]"],
    "task": ["illuminance at the task [lx, uncalibrated]", "share of lit<br>occupied time [%]"],
}


@pytest.mark.parametrize("which", UNITS)
def test_every_axis_names_its_unit(all_figures, which):
    assert sorted(titles(all_figures[which])) == sorted(UNITS[which])


@pytest.mark.parametrize("which", UNITS)
def test_a_figure_is_small_enough_to_send(all_figures, which):
    assert len(all_figures[which].to_json()) < 200_000


def test_the_delay_curve_tells_observed_from_extrapolated(channel):
    figure = delay_figure(channel, LIGHT, currency="EUR")
    seen, beyond = (next(t for t in figure.data if t.name == n) for n in ("observed", "extrapolated"))

    assert list(seen.x) == [60, 120, 180, 300]
    assert list(beyond.x) == [300, 600, 900, 1200, 1800], "it begins where the observed part ends"
    assert (seen.line.dash, beyond.line.dash) == ("solid", "dash")
    assert list(seen.y) == [p.false_offs for p in channel.delay_curve[:4]]


def test_the_delay_curve_marks_in_force_and_recommended_with_shapes_of_their_own(channel):
    figure = delay_figure(channel, LIGHT, currency="EUR")
    now, new = (next(t for t in figure.data if t.name == n) for n in ("in force 5 min", "recommended 10 min"))

    assert (now.x[0], new.x[0]) == (300, 600)
    assert now.marker.symbol != new.marker.symbol


def test_the_band_bounds_the_curve(channel):
    band = next(t for t in delay_figure(channel, LIGHT, currency="EUR").data if t.name == "90 % band")

    high, low = np.array(band.y[:4]), np.array(band.y[4:][::-1])
    assert (high >= [p.false_offs for p in channel.delay_curve[:4]]).all()
    assert (low <= [p.false_offs for p in channel.delay_curve[:4]]).all()


def test_settings_that_may_not_be_set_are_crosses(channel):
    dots = next(t for t in delay_figure(channel, LIGHT, currency="EUR").data if t.name == "candidates")

    assert list(dots.marker.symbol) == ["x-thin" if not p.allowed else "circle" for p in channel.delay_curve]


def test_where_all_is_observed_nothing_is_shaded(channel):
    curve = tuple(replace(p, basis="observed") for p in channel.delay_curve)

    figure = delay_figure(replace(channel, delay_curve=curve), LIGHT, currency="EUR")

    assert "extrapolated" not in names(figure)
    assert not figure.layout.shapes


def test_the_raster_is_small_whole_numbers(line):
    made = raster(line)
    cells = raster_figure(made, LIGHT).data[0]

    assert cells.z.dtype == np.int8
    assert cells.z.shape == (len(made.days), 288)


def test_those_left_in_the_dark_are_marked_by_shape(line):
    figure = raster_figure(raster(line), LIGHT)
    marks = next(t for t in figure.data if t.name == "left in the dark")

    assert marks.marker.symbol == "triangle-down"
    assert len(marks.x) == (line.switch_offs["p_false"] >= 0.5).sum()


def test_mondays_are_named_in_a_long_log_and_every_day_in_a_short_one():
    days = [dt.date(2026, 3, 16) + dt.timedelta(days=i) for i in range(21)]

    assert day_ticks(days)[1] == ["16 Mar", "23 Mar", "30 Mar"]
    assert len(day_ticks(days[:5])[1]) == 5
    assert len(day_ticks([days[0] + dt.timedelta(days=i) for i in range(730)])[1]) <= 14


def test_the_day_shows_movement_light_reading_daylight_and_output(channel, line):
    shown = set(names(time_figure(channel, line, day_window(line, dt.date(2026, 3, 17)), LIGHT)))

    assert {
        "movement",
        "lit, somebody there",
        "lit, nobody there",
        "reading at the detector",
        "daylight in it",
        "output",
    } <= shown


def test_a_day_without_illuminance_has_no_panel_for_it(channel, line):
    dark = replace(channel, light=replace(channel.light, daylight=None))

    assert "illuminance [lx]" not in titles(time_figure(dark, line, day_window(line, dt.date(2026, 3, 17)), LIGHT))


def test_gap_density_adds_up_to_the_gaps():
    gap_s, p_still = np.array([2.0, 40.0, 40.0, 700.0]), np.array([1.0, 0.75, 0.25, 0.0])
    edges = length_edges(gap_s, at_s=300.0)

    still, absent = gap_density(gap_s, p_still, edges, weeks=2.0)

    doublings = np.diff(np.log2(edges))
    assert (still * doublings).sum() * 2 == pytest.approx(2.0)
    assert (absent * doublings).sum() * 2 == pytest.approx(2.0)


def test_cells_are_not_finer_than_the_log_and_break_at_the_hold_off():
    rng = np.random.default_rng(3)
    gap_s = rng.integers(1, 2000, 5000).astype(float)

    edges = length_edges(gap_s, at_s=300.0)

    assert np.diff(edges).min() >= 0.99, "a log of whole seconds has no cell without a whole second"
    assert 300.0 in edges
    assert edges[0] < 1 and edges[-1] > gap_s.max()


def test_the_gap_figure_marks_the_hold_off_in_force(channel):
    shapes = gap_figure(channel, LIGHT).layout.shapes

    assert [s.x0 for s in shapes] == [300, 600]
    assert [a.text for a in gap_figure(channel, LIGHT).layout.annotations] == ["in force 5 min", "recommended 10 min"]


@pytest.mark.parametrize(
    ("draw", "text"),
    [
        (lambda c: delay_figure(c, LIGHT, currency="EUR"), "No delay curve: the log holds too little motion."),
        (lambda c: gap_figure(c, LIGHT), "No pauses between movements in the log."),
        (lambda c: target_figure(c, LIGHT), "No target curve: the log does not let lamps and daylight be told apart."),
        (lambda c: task_figure(c, LIGHT), "The log does not tell how much light the task had."),
    ],
    ids=["delay", "gaps", "target", "task"],
)
def test_an_empty_figure_says_why(draw, text):
    assert draw(synthetic.bare()).layout.annotations[0].text == text


def test_an_empty_delay_curve_says_that_samples_are_too_coarse():
    coarse = replace(synthetic.bare(), findings=(Finding(TOO_COARSE, "warning", "Too coarse.", {}),))

    figure = delay_figure(coarse, LIGHT, currency="EUR")

    assert figure.layout.annotations[0].text == "No delay curve: movement is sampled too coarsely."


def luminance(colour):
    """Relative luminance, WCAG 2.2 (from memory)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a, b):
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_has_a_contrast_of_at_least_4_5_and_marks_of_at_least_3(scheme):
    """WCAG 2.2, success criteria 1.4.3 and 1.4.11 (from memory)."""
    colours = palette(scheme)
    for ground in (colours.page, colours.surface, colours.sunken):
        for text in ("ink", "soft", "accent", "warning", "blocking"):
            assert contrast(getattr(colours, text), ground) >= 4.5, (text, ground)
        assert contrast(colours.left, ground) >= 3
        assert contrast(colours.present, ground) >= 3
    assert contrast(colours.on_accent, colours.accent) >= 4.5


def seen_by(kind, colour):
    """What a dichromat sees, as linear sRGB: matrices of Machado, Oliveira and Fernandes 2009, severity 1 (from memory)."""
    matrix = {
        "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
        "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
        "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
    }[kind]
    parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return np.clip(np.array(matrix) @ linear, 0, 1)


def lab(linear):
    """CIELAB of linear sRGB under D65 (from memory)."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ linear
    t = xyz / np.array([0.9505, 1.0, 1.089])
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("kind", ["protan", "deutan", "tritan"])
@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_states_of_the_raster_stay_apart_for_people_with_a_colour_vision_deficiency(kind, colours):
    """Twenty units of CIELAB between any two neighbours in a raster; chosen by us, far above just noticeable (about 2)."""
    states = [colours.present, colours.empty, colours.dark]
    seen = [lab(seen_by(kind, c)) for c in states]

    apart = [math.dist(a, b) for i, a in enumerate(seen) for b in seen[i + 1 :]]

    assert min(apart) >= 20


def test_what_is_sent_holds_the_same_as_plotlys_own_figure(channel, line):
    whole = within(line, line.first_us, line.first_us + 10**18)
    for draw, given in (
        (delay_figure, (channel, LIGHT)),
        (raster_figure, (raster(line), LIGHT)),
        (time_figure, (channel, line, whole, LIGHT)),
        (time_figure, (channel, line, day_window(line, line.days[0]), LIGHT)),
    ):
        more = {"currency": "EUR"} if draw is delay_figure else {}
        theirs, ours = (
            json.loads(draw(*given, **more).to_json()),
            json.loads(draw.__wrapped__(*given, **more).to_json()),
        )
        assert theirs["layout"].pop("template")
        assert unpacked(ours) == unpacked(theirs)


def unpacked(value):
    """Numbers that were packed into bytes, as lists again."""
    if isinstance(value, dict) and "bdata" in value:
        shape = [int(n) for n in value.get("shape", "-1").split(",")]
        return np.frombuffer(base64.b64decode(value["bdata"]), value["dtype"]).reshape(shape).tolist()
    if isinstance(value, dict):
        return {key: unpacked(inner) for key, inner in value.items() if inner != {}}
    return [unpacked(inner) for inner in value] if isinstance(value, list) else value

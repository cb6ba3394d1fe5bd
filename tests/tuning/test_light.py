"""Splitting a reading in daylight and lamps, on readings made by hand and on a real log."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from statsmodels.robust import norms
from statsmodels.robust.robust_linear_model import RLM

from tuning.light.lamp_fit import robust_fit
from tuning.light.split import daylight_at, find_swapped, find_switching_steps, split_light

MINUTE = 60
DAY = 86_400
START_US = 1_767_225_600_000_000  # Thursday 1 January 2026, 00:00 UTC
REAL_LOG = Path(__file__).parents[3] / "shared" / "data" / "room_occupancy_estimation.csv"


def frame(t_s, value):
    at = pl.Series("time", START_US + np.round(np.asarray(t_s, dtype=float) * 1e6).astype(np.int64))
    return pl.DataFrame({"time": at.cast(pl.Datetime("us", "UTC")), "value": np.asarray(value, dtype=float)})


def sun(t_s, peak_lx):
    """A daylight without clouds: half a sine from 8 to 17 h."""
    hour = np.asarray(t_s) / 3600 % 24
    return peak_lx * np.maximum(np.sin(np.pi * (hour - 8) / 9), 0) * ((hour > 8) & (hour < 17))


def held(t_s, change_s, value):
    index = np.searchsorted(change_s, t_s, side="right") - 1
    return np.where(index >= 0, np.asarray(value)[np.maximum(index, 0)], 0.0)


def switchings(days, *, first_h=7.0, last_h=19.0, every_s=3600, lit_s=2400):
    """Times and outputs (%) of a light that goes on every hour for 40 min."""
    on = np.concatenate([d * DAY + np.arange(first_h * 3600, last_h * 3600, every_s) for d in range(days)]) + 17
    return np.stack([on, on + lit_s], axis=1).ravel(), np.tile([100.0, 0.0], on.size)


def minutes(days):
    return np.arange(0, days * DAY, MINUTE) + 41.0


def test_a_step_is_the_lamp_and_the_rest_is_daylight():
    t = minutes(10)
    change, output = switchings(10)
    day = sun(t, 300)
    reading = np.round(day + 4.12 * held(t, change, output))

    split = split_light(frame(t, reading), {"main": frame(change, output)}, own_channel="main")

    lamp = split.lamps["main"]
    assert lamp.at_full_lx == pytest.approx(412, abs=1)
    assert lamp.low_lx <= 412 <= lamp.high_lx
    assert lamp.steps == 240
    assert lamp.separable
    found = daylight_at(split, START_US + (t * 1e6).astype(np.int64))
    assert np.nanmax(np.abs(found - day)) < 3
    assert split.night_residual_lx == pytest.approx(0, abs=1)


def test_a_light_that_is_back_within_seconds_is_no_step():
    """Where people react at once, readings a minute apart never see the dark; only the switch-off in the evening shows the lamp."""
    t = minutes(15)
    on = np.concatenate([d * DAY + 9 * 3600 + np.arange(0, 8 * 3600, 600) for d in range(15)])
    times, output = [], []
    for start in on.tolist():
        last = start % DAY == 9 * 3600 + 8 * 3600 - 600
        times += [start, start + 590]
        output += [100.0, 0.0]
        if not last:
            times[-1] = start + 596  # dark for 4 s
    reading = np.round(sun(t, 150) + 3.0 * held(t, np.array(times), output))

    split = split_light(frame(t, reading), {"main": frame(times, output)}, own_channel="main")

    assert split.lamps["main"].at_full_lx == pytest.approx(300, rel=0.01)


def test_a_control_that_answers_the_daylight_does_not_pull_the_lamp_to_zero():
    """The loop holds 500 lx; its dim moves leave the reading where it is."""
    t = minutes(14)
    change, lit = switchings(14, first_h=8.0, last_h=18.0)
    fine = np.arange(0, 14 * DAY, 20.0)
    wanted = np.clip((500 - sun(fine, 450)) / 620, 0.1, 1)
    level = np.round(np.where(held(fine, change, lit) > 0, wanted, 0.0), 2)
    move = np.append(True, np.diff(level) != 0)
    output = frame(fine[move], 100 * level[move])
    reading = np.round(sun(t, 450) + 620 * held(t, fine[move], level[move]))

    split = split_light(frame(t, reading), {"main": output}, own_channel="main")

    assert split.lamps["main"].at_full_lx == pytest.approx(620, rel=0.01)


def test_a_log_of_changes_holds_its_last_value():
    t = np.arange(0, 14 * DAY, 15.0) + 3
    change, output = switchings(14)
    t = np.unique(np.concatenate([t, change + 2]))
    every = np.round(sun(t, 200) + 2.5 * held(t, change, output))
    kept, last = [0], every[0]
    for i, value in enumerate(every.tolist()):
        if abs(value - last) > 12:
            kept.append(i)
            last = value

    split = split_light(frame(t[kept], every[kept]), {"main": frame(change, output)}, own_channel="main")

    assert split.held
    assert split.lamps["main"].at_full_lx == pytest.approx(250, rel=0.02)
    at_noon = START_US + np.array([3 * DAY + 12.5 * 3600]).astype(np.int64) * 1_000_000
    assert daylight_at(split, at_noon)[0] == pytest.approx(200, abs=15)


def test_a_reading_of_the_lit_room_is_not_taken_for_daylight_while_somebody_waves():
    """Dark for 5 s, and the log writes its next value 7 s after each switching: what it held through the dark is of before."""
    t = minutes(14)
    on = np.concatenate([d * DAY + 9 * 3600 + np.arange(0, 6 * 3600, 600) for d in range(14)]).astype(float)
    off = on + 595
    last = off % DAY > 15 * 3600 - 600
    change = np.stack([on, off], axis=1).ravel()
    output = np.tile([100.0, 0.0], on.size)
    written = np.unique(np.concatenate([t, change + 7]))
    reading = np.round(sun(written, 200) + 6.0 * held(written, change, output))

    split = split_light(frame(written, reading), {"main": frame(change, output)}, own_channel="main")

    assert split.held
    waved = off[~last]
    found = daylight_at(split, START_US + np.round(waved * 1e6).astype(np.int64))
    assert np.abs(found - sun(waved, 200)).max() < 10
    assert split.daylight.filter(pl.col("daylight_lx") > 250).is_empty()


def test_an_output_sampled_every_five_minutes_is_enough():
    t = np.arange(0, 28 * DAY, 300.0) + 100
    change, output = switchings(28)
    looks = np.arange(0, 28 * DAY, 300.0)
    reading = np.round(sun(t, 300) + 3.5 * held(t, change, output))

    split = split_light(frame(t, reading), {"main": frame(looks, held(looks, change, output))}, own_channel="main")

    assert split.lamps["main"].at_full_lx == pytest.approx(350, rel=0.02)


def test_a_lamp_that_never_moved_is_not_guessed():
    t = minutes(5)
    split = split_light(frame(t, sun(t, 300) + 200), {"main": frame([0.0, 60.0], [100.0, 100.0])}, own_channel="main")

    assert "main" not in split.lamps
    finding = next(f for f in split.findings if f.code == "lamp-unknown")
    assert finding.severity == "warning"
    assert "Switch it off and on a few times after dark while the log runs" in finding.message


def two_channels(*, together):
    t = minutes(14)
    wall, wall_output = switchings(14)
    window, window_output = (wall, wall_output) if together else switchings(14, first_h=7.5, every_s=5400)
    outputs = {"wall": frame(wall, wall_output), "window": frame(window, window_output)}
    a, b = held(t, wall, wall_output), held(t, window, window_output)
    readings = {
        "wall": frame(t, np.round(sun(t, 80) + 3.0 * a + 0.9 * b)),
        "window": frame(t, np.round(sun(t, 300) + 1.1 * a + 4.2 * b)),
    }
    return readings, outputs


def test_two_channels_are_told_apart():
    readings, outputs = two_channels(together=False)
    for name, k in (("wall", {"wall": 300, "window": 90}), ("window", {"wall": 110, "window": 420})):
        split = split_light(readings[name], outputs, own_channel=name)
        for other, value in k.items():
            assert split.lamps[other].at_full_lx == pytest.approx(value, abs=3)
            assert split.lamps[other].separable


def test_channels_always_moved_together_are_said_to_be_inseparable():
    readings, outputs = two_channels(together=True)
    split = split_light(readings["wall"], outputs, own_channel="wall")

    assert not any(lamp.separable for lamp in split.lamps.values())
    assert sum(lamp.at_full_lx for lamp in split.lamps.values()) == pytest.approx(390, abs=2)
    assert split.lamps["wall"].low_lx == 0
    assert split.lamps["wall"].high_lx == pytest.approx(390, abs=3)
    assert "always moved together" in next(f.message for f in split.findings if f.code == "inseparable")


def test_swapped_channels_are_found():
    readings, outputs = two_channels(together=False)
    assert find_swapped(readings, outputs) == []
    crossed = {"wall": outputs["window"], "window": outputs["wall"]}
    (finding,) = find_swapped(readings, crossed)
    assert finding.severity == "blocking"
    assert finding.evidence["channels"] == ["wall", "window"]


def test_a_lamp_that_nobody_logged_shows_at_night():
    """The desk lamps of the evening shift burn whenever the ceiling does, but at half the output's share."""
    t = minutes(14)
    change, output = switchings(14, first_h=8.0, last_h=16.0)
    evening, evening_output = switchings(14, first_h=18.0, last_h=23.0)
    times = np.concatenate([change, evening])
    order = np.argsort(times)
    both = frame(times[order], np.concatenate([output, evening_output])[order])
    other = np.where(held(t, evening - 1200, np.tile([100.0, 0.0], evening.size // 2)) > 0, 80.0, 0.0)
    reading = np.round(sun(t, 200) + 3.0 * held(t, times[order], both["value"].to_numpy()) + other)

    split = split_light(frame(t, reading), {"main": both}, own_channel="main", latitude=55.7, longitude=12.6)

    assert split.night_residual_lx is not None
    assert split.night_residual_lx > 20
    assert "night-residual" in [f.code for f in split.findings]


def test_a_reading_without_any_output_shows_its_own_switchings():
    t = minutes(10)
    change, output = switchings(10)
    reading = np.round(sun(t, 60) + 2.0 * held(t, change, output))

    split = split_light(frame(t, reading), {}, own_channel="main")

    assert split.lamps["main"].at_full_lx == pytest.approx(200, rel=0.03)
    assert split.findings[0].code == "no-output"


def test_daylight_is_unknown_far_from_any_reading():
    t = np.concatenate([minutes(1), minutes(1) + 2 * DAY])
    change, output = switchings(3)
    reading = sun(t, 100) + 2 * held(t, change, output)
    split = split_light(frame(t, reading), {"main": frame(change, output)}, own_channel="main")

    found = daylight_at(split, START_US + np.array([-DAY, 30, 1.5 * DAY, 12 * 3600]).astype(np.int64) * 1_000_000)

    assert np.isnan(found[[0, 2]]).all()
    assert found[1] == pytest.approx(0, abs=1)
    assert found[3] == pytest.approx(sun([12 * 3600], 100)[0], abs=2)


def test_robust_fit_equals_statsmodels():
    """Same norm, same scale: the coefficients of RLM with Tukey's biweight."""
    rng = np.random.default_rng(3)
    x = rng.uniform(-1, 1, (300, 2))
    y = x @ np.array([400.0, 90.0]) + rng.normal(0, 6, 300)
    y[::15] += rng.normal(0, 300, 20)
    sigma = np.full(300, 6.0)

    k, half, weight = robust_fit(y, x, sigma, np.arange(300) // 10)

    expected = RLM(y / 6, x / 6, M=norms.TukeyBiweight()).fit()
    # RLM stops when its coefficients move less than 1e-8 of themselves; the weights at the edge differ by the start
    assert k == pytest.approx(expected.params, rel=2e-3)
    assert np.abs(k - [400, 90]).max() < half.max() * 2
    assert weight[::15].mean() < 0.4
    assert weight[1::15].mean() > 0.8


@pytest.mark.skipif(not REAL_LOG.is_file(), reason=f"{REAL_LOG.name} is not beside the project")
def test_the_real_log_gives_its_nine_switchings():
    """Nine clear steps of the electric light on S1: read off the changes of 80 lx and more beside the log."""
    log = pl.read_csv(REAL_LOG).select(
        time=(pl.col("Date") + " " + pl.col("Time"))
        .str.to_datetime("%Y/%m/%d %H:%M:%S", time_unit="us")
        .dt.replace_time_zone("UTC"),
        value=pl.col("S1_Light").cast(pl.Float64),
    )
    steps = find_switching_steps(log)
    assert steps["time"].dt.strftime("%m-%d %H:%M").to_list() == [
        "12-22 14:15", "12-22 15:25", "12-22 19:36", "12-23 11:49", "12-23 14:10", "12-23 15:26", "12-23 19:52", "01-10 17:00",
        "01-10 17:57",
    ]  # fmt: skip
    assert np.sign(steps["step_lx"].to_numpy()).tolist() == [-1, 1, -1, 1, -1, 1, -1, 1, -1]
    assert steps["step_lx"].abs().min() >= 80

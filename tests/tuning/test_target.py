"""Targets, spot readings, power, thresholds, wishes and seasons, in rooms simple enough to work out by hand."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from tuning.gaps import find_gaps
from tuning.light.lit_time import Loop, Moments, presence_of
from tuning.light.split import Contribution, LightSplit
from tuning.motion import US, MotionLog
from tuning.place import place_of_zone
from tuning.power import measured_curve, power_of_output
from tuning.site import Channel, Room
from tuning.target.calibration import Ratios, parted_by_spots, task_ratios
from tuning.target.curve import mean_power_w, over_share
from tuning.target.result import light_result
from tuning.target.task import Task

ZONE = ZoneInfo("Europe/Copenhagen")
START_US = 1_767_225_600_000_000  # Thursday 1 January 2026, 00:00 UTC
HOUR, DAY = 3600, 86_400
DAYS = 28
K = 400.0


def times(t_s):
    return pl.Series("time", START_US + np.round(np.asarray(t_s, dtype=float) * 1e6).astype(np.int64)).cast(
        pl.Datetime("us", "UTC")
    )


def frame(t_s, value):
    return pl.DataFrame({"time": times(t_s), "value": np.asarray(value, dtype=float)})


def sun(t_s, peak_lx):
    hour = np.asarray(t_s) / HOUR % 24
    return peak_lx * np.maximum(np.sin(np.pi * (hour - 8) / 9), 0) * ((hour > 8) & (hour < 17))


def room_log(peak_lx, *, target_lx=300.0, k=K, lowest=0.05, first_h=6, last_h=20):
    """A room occupied all day whose loop holds a target: split, output and occupied stretches, without any noise."""
    t = np.arange(0, DAYS * DAY, 300.0)
    present = (t / HOUR % 24 >= first_h) & (t / HOUR % 24 < last_h)
    daylight = sun(t, peak_lx)
    output = np.where(present, np.clip((target_lx - daylight) / k, lowest, 1), 0.0)
    lamps = k * output
    split = LightSplit(
        {"main": Contribution(k, k, k, 50, separable=True)},
        pl.DataFrame({"time": times(t), "reading_lx": daylight + lamps, "daylight_lx": daylight, "lamps_lx": lamps}),
        0.0,
        (),
    )
    begin = np.arange(DAYS) * DAY
    occupied = pl.DataFrame(
        {"start": times(begin + first_h * HOUR).alias("start"), "end": times(begin + last_h * HOUR).alias("end")}
    )
    return split, frame(t, 100 * output), occupied


def spot(output_pct, task_lx, detector_lx):
    return {"output_pct": output_pct, "task_lx": task_lx, "detector_lx": detector_lx}


def result(log, *, use="office", required=None, overrides=None, power=None, **channel):
    split, output, occupied = log
    spec = Channel.model_validate({"load_w": 200, "target_lx": 300, **channel})
    room = Room(use=use, required_illuminance_lx=required, channels={"main": spec})
    return light_result(
        split,
        channel="main",
        room=room,
        output=output,
        occupied=occupied,
        usable_days=float(DAYS),
        zone=ZONE,
        seed=7,
        overrides=overrides,
        power=power,
    )


def codes(light):
    return [f.code for f in light.findings]


LAMPS_ONLY = spot(100, 1.6 * K, K)
DAYLIGHT_ONLY = spot(0, 440, 200)  # 2.2 lx at the task per lx at the detector


def test_without_daylight_the_target_is_need_over_ratio():
    """500 lx at the task, 1.6 lx there per lx at the detector: 312.5 lx, and the next that can be set above it."""
    dark = room_log(0)
    assert result(dark, spot_readings=[LAMPS_ONLY]).recommended_target_lx == 320
    light = result(dark, spot_readings=[LAMPS_ONLY], allowed_target_lx=[200, 300, 350, 400])
    assert light.recommended_target_lx == 350
    assert light.calibrated
    assert light.target_low_lx < 312.5 < light.target_high_lx


def test_daylight_that_helps_the_task_more_than_the_detector_lowers_the_target():
    """With one hour in fourteen dark the night still decides; with none, the dawn does."""
    spots = [LAMPS_ONLY, DAYLIGHT_ONLY]
    night = result(room_log(200), spot_readings=spots)
    day = result(room_log(200, first_h=9, last_h=16), spot_readings=spots)
    assert night.recommended_target_lx == 320
    assert day.recommended_target_lx < 300
    # least daylight of 95 % of the time is near that at 9 h: 200·sin(π/9) = 68 lx, so (500 − (2.2 − 1.6)·68)/1.6 = 287 lx
    assert day.recommended_target_lx == pytest.approx(287, abs=5)


def test_no_target_leaves_the_lamps_alone_below_the_safety_floor():
    """So bright that the task has its 500 lx by daylight alone; an office must still get 300 lx from a lamp after dark."""
    light = result(room_log(2000, first_h=10, last_h=15), spot_readings=[LAMPS_ONLY, DAYLIGHT_ONLY])
    assert light.recommended_target_lx == pytest.approx(300 / 1.6, abs=5)
    assert light.recommended_target_lx * 1.6 >= 300


def test_a_required_illuminance_below_the_floor_is_lifted_to_it():
    light = result(room_log(0), required=150, spot_readings=[LAMPS_ONLY])
    assert light.recommended_target_lx * 1.6 >= 300


def test_what_full_output_cannot_give_is_called_not_reachable():
    light = result(room_log(0), spot_readings=[spot(100, 420, K)])
    assert light.recommended_target_lx is None
    finding = next(f for f in light.findings if f.code == "not-reachable")
    assert finding.evidence["missing_lx"] == 80
    assert "a setting cannot mend it" in finding.message


def test_a_target_far_above_the_need_is_called_over_lit():
    light = result(room_log(0, target_lx=390), target_lx=390, required=300, use="classroom", spot_readings=[LAMPS_ONLY])
    finding = next(f for f in light.findings if f.code == "over-lit")
    assert finding.evidence["task_lx"] == 624
    assert light.recommended_target_lx == 190


def test_targets_cost_what_the_output_costs():
    """Without daylight: output = target/k, 14 h a day; 200 W at full, 10 W standby also while off."""
    light = result(room_log(0), spot_readings=[LAMPS_ONLY], standby_w=10, allowed_target_lx=[200, 400])
    by_target = {p.target_lx: p for p in light.target_curve}
    assert by_target[200].mean_power_w == pytest.approx(10 + 190 * 0.5)
    assert by_target[400].mean_power_w == pytest.approx(200)
    assert by_target[200].energy_kwh == pytest.approx((105 * 98 + 10 * 70) / 1000, rel=1e-6)
    assert by_target[200].under_lit_share == 1
    assert by_target[400].under_lit_share == 0


def test_higher_targets_never_take_less_nor_light_less():
    light = result(room_log(500), spot_readings=[LAMPS_ONLY, DAYLIGHT_ONLY])
    energy = [p.energy_kwh for p in light.target_curve]
    under = [p.under_lit_share for p in light.target_curve]
    assert np.diff(energy).min() >= -1e-9
    assert np.diff(under).max() <= 1e-9


def test_without_spot_readings_the_two_to_take_are_named():
    light = result(room_log(300))
    assert not light.calibrated
    finding = next(f for f in light.findings if f.code == "uncalibrated")
    assert finding.evidence["wanted"] == [
        "lamps only (after dark, this channel at full output, the room's other channels off)",
        "daylight only (by day, all lamps off, blinds as usual)",
    ]
    assert "Hold a luxmeter flat at the darkest task" in finding.message
    assert (light.task_per_daylight, light.task_per_electric) == (1, 1)


def test_one_kind_of_reading_stands_for_both_and_says_what_is_missing():
    light = result(room_log(300), spot_readings=[LAMPS_ONLY])
    assert (light.task_per_daylight, light.task_per_electric) == (pytest.approx(1.6), pytest.approx(1.6))
    assert not light.calibrated
    (wanted,) = next(f for f in light.findings if f.code == "uncalibrated").evidence["wanted"]
    assert wanted.startswith("daylight only")


def test_a_room_without_daylight_needs_no_reading_of_it():
    assert result(room_log(0), spot_readings=[LAMPS_ONLY]).calibrated


def test_readings_that_contradict_each_other_are_reported():
    light = result(room_log(0), spot_readings=[LAMPS_ONLY, LAMPS_ONLY, spot(100, 400, K)])
    finding = next(f for f in light.findings if f.code == "spot-readings-conflict")
    assert finding.evidence == {"task_lx": 400, "expected_lx": 640, "kind": "lamps"}
    assert light.task_per_electric_spread > result(room_log(0), spot_readings=[LAMPS_ONLY]).task_per_electric_spread


def ratios(spots, split=None):
    channel = Channel.model_validate({"spot_readings": spots})
    split = room_log(300)[0] if split is None else split
    return task_ratios(channel.spot_readings, at_full_lx=K, split=split, zone=ZONE)


def test_the_detector_may_be_read_from_the_log():
    """13:30 in Copenhagen is 12:30 UTC, when the sun gives its 300 lx and the loop its lowest output."""
    by_log = ratios([{"output_pct": 0, "task_lx": 640, "time": dt.datetime(2026, 1, 5, 13, 30)}])  # noqa: DTZ001  as in site.toml
    assert by_log.daylight == pytest.approx(640 / 320)  # 300 lx and 5 % of 400 lx


def test_a_reading_outside_the_log_is_said_to_be_unused():
    out = ratios([{"output_pct": 0, "task_lx": 640, "time": dt.datetime(2027, 1, 5, 13, 30, tzinfo=dt.UTC)}])
    assert out.daylight_readings == 0
    assert [f.code for f in out.findings] == ["spot-reading-unused"]


def test_mixed_light_gives_the_ratio_that_pure_readings_leave_open():
    """560 lx at the task = 1.6·200 lx lamps + a_d·100 lx daylight: a_d = 2.4."""
    mixed = ratios([LAMPS_ONLY, spot(50, 560, 300)])
    assert mixed.electric == pytest.approx(1.6)
    assert mixed.daylight == pytest.approx(2.4)


def test_a_hand_reading_parts_lamps_that_the_log_cannot():
    both = Contribution(250, 0, 500, 40, separable=False)
    spots = Channel.model_validate({"spot_readings": [spot(100, 600, 400)]}).spot_readings
    alone = parted_by_spots(both, spots)
    assert alone.at_full_lx == 400
    assert alone.low_lx < 400 < alone.high_lx
    assert parted_by_spots(Contribution(250, 240, 260, 40, separable=True), spots).at_full_lx == 250


def test_power_is_measured_where_a_meter_shows_it():
    """Levels of 20, 60 and 100 % for ten minutes each; the meter says 30, 70 and 150 W."""
    t = np.arange(0, 6 * HOUR, 600.0)
    level = np.tile([20.0, 60.0, 100.0], len(t) // 3)
    at = np.arange(0, 6 * HOUR, 60.0)
    watts = np.interp(np.repeat(level, 10), [20, 60, 100], [30, 70, 150])
    curve = measured_curve(frame(t, level), frame(at, watts))
    assert curve == ((20, 30), (60, 70), (100, 150))
    channel = Channel(power_curve=curve, load_w=200)
    assert power_of_output(np.array([40.0, 80.0]), channel, 200).tolist() == [50, 110]


def test_two_levels_make_no_curve():
    t = np.arange(0, 6 * HOUR, 600.0)
    level = np.tile([50.0, 100.0], len(t) // 2)
    assert measured_curve(frame(t, level), frame(t + 300, level)) == ()


def test_a_straight_line_and_standby_are_taken_else():
    channel = Channel(load_w=200, standby_w=10)
    assert power_of_output(np.array([0.0, 50.0, 100.0]), channel, 200).tolist() == [10, 105, 200]


def test_switched_light_is_wanted_below_the_daylight_that_the_task_needs():
    """500 lx at the task by daylight alone: 227 lx at the detector.

    Daylight of 400·sin(π·x/9) lx passes from 185 to 227 lx and back in 0.70 of 14 h: the 5 % in which the task may lack light.
    """
    light = result(room_log(400), control="switched", spot_readings=[LAMPS_ONLY, DAYLIGHT_ONLY])
    assert light.recommended_target_lx == pytest.approx(185, abs=5)
    band = next(f for f in light.findings if f.code == "dead-band")
    assert band.evidence["dead_band_lx"] == 440


def test_no_threshold_where_daylight_never_gives_the_safety_floor():
    """An office with 100 lx of daylight at most, 220 lx at the task: the light must be on whenever somebody is there."""
    light = result(room_log(100), control="switched", spot_readings=[LAMPS_ONLY, DAYLIGHT_ONLY])
    assert light.recommended_target_lx is None


def test_people_who_dim_show_what_they_want():
    """Every day at 7 h the light burns at 75 %, and somebody asks for half: 200 lx at the detector, 320 at the task."""
    presses = frame(np.arange(DAYS) * DAY + 7 * HOUR, np.full(DAYS, 50.0))
    light = result(room_log(0), overrides=presses, spot_readings=[LAMPS_ONLY])
    assert (light.wanted.ups, light.wanted.downs) == (0, DAYS)
    assert light.wanted.detector_lx == pytest.approx(200)
    assert light.wanted.task_lx == pytest.approx(320)
    assert next(f for f in light.findings if f.code == "people-choose").evidence["way"] == "down"


def test_switching_on_and_off_is_no_wish_for_a_level():
    presses = frame([5 * HOUR, 7 * HOUR], [100.0, 0.0])
    assert result(room_log(0), overrides=presses, spot_readings=[LAMPS_ONLY]).wanted is None


@pytest.mark.parametrize(
    ("zone", "place"),
    [
        ("Europe/Copenhagen", (55.67, 12.58)),
        ("Australia/Melbourne", (-37.82, 144.97)),
        ("America/St_Johns", (47.57, -52.72)),
    ],
)
def test_a_zone_has_a_place(zone, place):
    """zone.tab of the IANA time zone data: +5540+01235, -3749+14458, +4734-05243."""
    assert place_of_zone(zone) == pytest.approx(place, abs=0.01)


def test_a_zone_without_a_place_has_none():
    assert place_of_zone("UTC") is None


def test_a_year_is_darkest_in_its_winter():
    light = result(room_log(600), spot_readings=[LAMPS_ONLY, DAYLIGHT_ONLY])
    by_month = dict(zip(light.months["month"], light.months["daylight_lx"], strict=True))
    assert min(by_month, key=by_month.get) in (12, 1)
    assert max(by_month, key=by_month.get) in (5, 6, 7)
    energy = dict(zip(light.months["month"], light.months["energy_kwh"], strict=True))
    assert energy[6] < energy[12]
    assert light.yearly_kwh == pytest.approx(sum(energy.values()))
    assert "season" in codes(light)


def test_the_same_seed_gives_the_same_interval():
    a, b = (result(room_log(200), spot_readings=[LAMPS_ONLY, DAYLIGHT_ONLY]) for _ in range(2))
    assert (a.target_low_lx, a.target_high_lx) == (b.target_low_lx, b.target_high_lx)


def test_a_lamp_that_is_not_known_gives_no_target():
    split, output, occupied = room_log(100)
    unknown = LightSplit({}, split.daylight, None, ())
    light = result((unknown, output, occupied))
    assert light.electric_lx_at_full is None
    assert light.recommended_target_lx is None


def test_a_year_of_switched_light_has_its_months_too():
    light = result(room_log(400), control="switched", spot_readings=[LAMPS_ONLY, DAYLIGHT_ONLY])
    energy = dict(zip(light.months["month"], light.months["energy_kwh"], strict=True))
    assert energy[6] < energy[12]
    assert light.yearly_kwh == pytest.approx(sum(energy.values()))
    assert "season" in codes(light)


def test_lamps_far_stronger_than_the_task_needs_are_called_over_lit():
    """400 lx at the detector are 640 at the task, which needs 300: the target is right, the load is too large."""
    light = result(room_log(0, target_lx=190), target_lx=190, required=300, use="classroom", spot_readings=[LAMPS_ONLY])
    finding = next(f for f in light.findings if f.code == "over-lit")
    assert (finding.severity, finding.evidence) == ("info", {"task_lx": 640, "required_lx": 300})
    assert "over-lit" not in codes(result(room_log(0), spot_readings=[LAMPS_ONLY]))


def test_a_given_power_curve_is_what_a_target_costs():
    """Half output takes 60 W by the curve, not 100 W: (60·98 h) a week."""
    curve = [(0, 0), (50, 60), (100, 200)]
    light = result(room_log(0), spot_readings=[LAMPS_ONLY], power_curve=curve, allowed_target_lx=[200, 400])
    by_target = {p.target_lx: p for p in light.target_curve}
    assert by_target[200].energy_kwh == pytest.approx(60 * 98 / 1000)
    assert by_target[400].energy_kwh == pytest.approx(200 * 98 / 1000)


def test_a_metered_series_is_what_a_target_costs():
    """A meter beside the log: 40 W at a quarter of the output, 90 W at half, 220 W at full."""
    t = np.arange(0, DAYS * DAY, 300.0)
    level = np.tile(np.repeat([25.0, 50.0, 100.0], 12), len(t) // 36 + 1)[: len(t)]
    split, _, occupied = room_log(0)
    log = split, frame(t, level), occupied
    watts = np.interp(level, [25, 50, 100], [40, 90, 220])
    light = result(log, spot_readings=[LAMPS_ONLY], power=frame(t + 150, watts), allowed_target_lx=[200, 400])
    assert {p.target_lx: p.mean_power_w for p in light.target_curve}[200] == pytest.approx(90)
    assert {p.target_lx: p.mean_power_w for p in light.target_curve}[400] == pytest.approx(220)


def test_days_that_differ_make_the_interval_wide():
    """Half of the days have 60 lx of daylight all day, the other half none: which half a resample draws decides little, the spread of days does."""
    same = result(room_log(0), spot_readings=[LAMPS_ONLY] * 9)
    split, output, occupied = room_log(0)
    t = np.arange(0, DAYS * DAY, 300.0)
    # one day in fourteen is dark: just more than the 5 % in which the task may lack light, so that resamples disagree
    daylight = np.where(t // DAY % 14 == 0, 0.0, 150.0)
    lamps = split.daylight["lamps_lx"].to_numpy()
    part = pl.DataFrame({"time": times(t), "reading_lx": daylight + lamps, "daylight_lx": daylight, "lamps_lx": lamps})
    mixed = LightSplit(split.lamps, part, 0.0, ())
    spots = [LAMPS_ONLY] * 9 + [spot(0, 540, 200)] * 9
    differing = result((mixed, output, occupied), spot_readings=spots)

    def width(light):
        return light.target_high_lx / light.target_low_lx - 1

    assert width(same) < 0.06
    # dark days need 500/1.6 = 312 lx, the others (500 − (2.7 − 1.6)·150)/1.6 = 209 lx
    assert differing.target_low_lx == pytest.approx(209, rel=0.05)
    assert differing.target_high_lx == pytest.approx(312, rel=0.05)


def test_lit_time_counts_where_somebody_is_likely_to_be_there():
    """A corridor by day: passers-by every 100 s keep the light on; by night one passes an hour. Time with people is alike, lit time is not."""
    by_day, by_night = np.arange(0, 36_000, 100.0), 36_000 + np.arange(0, 36_000, 3600.0)
    at = START_US + (np.concatenate([by_day, by_night]) * 1e6).astype(np.int64)
    motion = MotionLog(at, at, np.array([[at[0], at[-1] + 3600 * US]]), "events", 0.0, 1)

    there = presence_of(find_gaps(motion), motion, even_s=25, slope=3.0)

    day_s, night_s = (
        float(there.between(np.array([START_US + round(a * 1e6)]), np.array([START_US + round(b * 1e6)]))[0])
        for a, b in ((0, 36_000), (36_000, 72_000))
    )
    # a pause of 100 s is a person's with odds of (25/100)^3, one of an hour never
    still = 1 / (1 + 4**3)
    assert day_s == pytest.approx(360 * (100 * still + 15 * (1 - still)), rel=0.01)
    assert night_s == pytest.approx(9 * 15, rel=0.15)


@pytest.mark.parametrize("out_above", [np.inf, 1.4])
@pytest.mark.parametrize("curve", [(), [(0, 2), (30, 20), (70, 90), (100, 150)]])
def test_the_curve_of_all_targets_at_once_is_that_of_each_moment_by_itself(curve, out_above):
    rng = np.random.default_rng(3)
    n = 400
    moments = Moments(
        rng.uniform(0, 900, n), rng.uniform(0, 60, n), rng.random(n), rng.uniform(1, 300, n), np.arange(n), np.arange(n)
    )
    channel = Channel.model_validate({"load_w": 150, "standby_w": 2, "power_curve": curve})
    loop, task = Loop(0.1, None, out_above), Task(380.0, Ratios(0.7, 1.3, 0.03, 0.03, 1, 1), 300.0, 100.0, 40.0)
    targets = np.array([20.0, 150.0, 310.0, 480.0, 1500.0])

    power, over = mean_power_w(moments, targets, loop, task, channel), over_share(moments, targets, loop, task)

    for i, target in enumerate(targets.tolist()):
        out = [loop.output(np.array([target]), np.array([o]), task.k)[0, 0] for o in moments.others.tolist()]
        watts = [float(power_of_output(np.array([100 * x]), channel, 150.0)[0]) for x in out]
        assert power[i] == pytest.approx(np.average(watts, weights=moments.weight))
        gets = task.illuminance(moments, np.array(out))
        bright = [g > 450 and x > 0.12 for g, x in zip(gets, out, strict=True)]
        lit = np.array(out) > 0
        share = np.average(bright, weights=moments.weight * lit) if lit.any() else 0.0
        assert over[i] == pytest.approx(share)

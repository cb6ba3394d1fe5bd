"""Series that keep coming, silences of a whole building, and signals that are held: by hand-made logs."""

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from tests.building import SITE, rows
from tuning.logs import longest_wait_s, looked_at_every_s, read_frame
from tuning.motion import US, built_in_hold_off_s, motions
from tuning.quality import find_outages, mend
from tuning.quality.dead import while_alive
from tuning.quality.stuck import stuck_stretches
from tuning.readings import RoomReadings
from tuning.site import parse_site

BUILDING = parse_site(SITE, Path("site.toml"))
DAY = 86_400


def times(seconds):
    return pl.Series(np.round(np.asarray(seconds, dtype=float) * US).astype(np.int64)).cast(pl.Datetime("us", "UTC"))


def logs(content):
    return read_frame(pl.DataFrame(content), BUILDING)


def test_readings_by_quantity_are_those_of_the_room():
    moved = [
        dict(r, detector=name)
        for name, late in (("d1", 0), ("d2", 7))
        for r in rows([(t + late, 1) for t in range(0, 99, 9)])
    ]
    log = logs(moved + rows([(0, 90), (8, 0)], channel="main", quantity="output") + rows([(3, 1)], channel="main"))
    whole, parts = RoomReadings(log.readings("a")), RoomReadings(log.by_quantity("a"))

    assert parts.quantities == whole.quantities == {"motion", "output"}
    assert parts.frame.sort(pl.all()).equals(whole.frame.sort(pl.all()))
    for quantity in (*parts.quantities, "power"):
        assert parts.of(quantity).equals(whole.of(quantity))
        assert parts.of_channel(quantity, "main").equals(whole.of_channel(quantity, "main"))
        assert parts.own(quantity, "main").equals(whole.own(quantity, "main"))
    assert parts.of_channel("motion", "other").height == 22
    assert parts.own("motion", "main").height == 1


def test_a_heartbeat_between_changes_is_the_longest_wait():
    rng = np.random.default_rng(1)
    t = [0.0]
    while t[-1] < 10 * DAY:
        # By day changes come, at night only the heartbeat.
        day = 8 * 3600 < t[-1] % DAY < 17 * 3600
        t.append(t[-1] + (min(float(rng.exponential(200)) + 1, 900.0) if day else 900.0))

    assert longest_wait_s(times(t)) == pytest.approx(900)


def test_changes_that_come_as_they_please_have_no_longest_wait():
    assert longest_wait_s(times(np.sort(np.random.default_rng(2).uniform(0, 20 * DAY, 3000)))) is None


def test_a_lamp_that_hunts_by_the_clock_is_not_sampled():
    t = np.arange(400) * 120.0
    hunting = pl.DataFrame({"time": times(t), "value": np.tile([100.0, 0.0], 200)})
    sampled = pl.DataFrame({"time": times(t), "value": np.repeat([100.0, 0.0], 200)})

    assert looked_at_every_s(hunting) is None
    assert looked_at_every_s(sampled) == pytest.approx(120)


def test_only_silence_of_everything_is_an_outage():
    lux = rows(
        [(t, 50 + t % 7) for t in range(0, 3 * DAY, 60) if not DAY <= t < DAY + 7200],
        channel="main",
        quantity="illuminance",
    )
    one_moves = rows([(DAY + 3600, 1)])

    alone = find_outages(logs(lux + rows([(10, 1), (2 * DAY, 1)])))
    while_somebody_moves = find_outages(logs(lux + one_moves))

    assert [round(o.hours, 1) for o in alone] == [2.0]
    assert while_somebody_moves == ()


def test_a_log_of_events_alone_tells_nothing_by_its_silence():
    assert find_outages(logs(rows([(t, 1) for t in np.random.default_rng(3).uniform(0, 5 * DAY, 400)]))) == ()


@pytest.mark.parametrize("held_s", [60.0, 240.0])
def test_a_held_signal_shows_how_long_it_is_held(held_s):
    rng = np.random.default_rng(4)
    runs = held_s + np.where(rng.random(500) < 0.3, 0.0, rng.exponential(400, 500))

    assert built_in_hold_off_s(runs, resolution_s=0.0) == pytest.approx(held_s, abs=3)


def test_movement_of_any_length_is_not_held():
    runs = np.random.default_rng(5).lognormal(np.log(90), 0.6, 800)

    assert built_in_hold_off_s(runs, resolution_s=0.0) is None


def test_the_time_for_which_a_signal_is_held_is_no_movement():
    starts = np.arange(200) * 1800.0
    content = rows([(t, 1) for t in starts] + [(t + 120, 0) for t in starts])
    log = motions(RoomReadings(logs(content).readings("a")), "main", span_us=(0, 1))

    assert log.stretch_s == pytest.approx(120)
    assert (log.end_us - log.start_us).max() <= 1 * US


def test_what_is_no_evidence_stays_in_the_frame_with_the_reason():
    lux = rows(
        [(t, 50 + (t // 60) % 7 if t < DAY else 33) for t in range(0, 4 * DAY, 60)],
        channel="main",
        quantity="illuminance",
    )
    lamp = rows([(t, 100 * (i % 2)) for i, t in enumerate(range(0, 4 * DAY, 3600))], channel="main", quantity="output")
    readings = logs(lux + lamp).readings("a")

    mended = mend(BUILDING.rooms["a"], RoomReadings(readings))

    assert mended.flagged.height == readings.height
    assert mended.flagged["stuck"].sum() == pytest.approx(3 * DAY / 60, abs=2)
    left = mended.readings.frame.filter(pl.col("quantity") == "illuminance")
    assert left.height == readings.filter(pl.col("quantity") == "illuminance").height - mended.flagged["stuck"].sum()


def test_a_dark_room_that_nobody_lights_is_not_stuck():
    dark = pl.DataFrame({"time": times(np.arange(0, 3 * DAY, 60)), "value": np.zeros(3 * DAY // 60)})
    unlit = pl.DataFrame({"time": times([0.0]), "value": [0.0]})

    assert len(stuck_stretches(dark, unlit)) == 0


def test_a_detector_that_fell_silent_for_good_counts_no_longer():
    moved = np.concatenate([np.arange(0, 10 * DAY, 1800.0)])
    log = motions(RoomReadings(logs(rows([(t, 1) for t in moved])).readings("a")), "main", span_us=(0, 1))
    start = int(log.start_us[0])
    covered = np.array([[start, start + 30 * DAY * US]], dtype=np.int64)
    long = type(log)(log.start_us, log.end_us, covered, log.kind, 0.0, 1)

    assert while_alive(long, (start, start + 30 * DAY * US)).usable_days == pytest.approx(10, abs=0.1)
    assert while_alive(long, (start, start + 12 * DAY * US)).usable_days == pytest.approx(30)


def test_motion_as_a_level_or_a_share_is_read_and_slips_are_dropped():
    rng = np.random.default_rng(6)
    moved = np.arange(60) * 1800.0
    level = [(t + 30 * k, round(1 - k / 5, 1)) for t in moved for k in range(6)]
    share = [(t, round(float(rng.choice([0, 0, 1, rng.uniform()])), 2)) for t in range(0, 5 * DAY, 300)]
    slips = [(t, 1) for t in range(0, 5 * DAY, 700)] + [(350, 0.5), (9000, 0.3)]

    def read(content):
        found = logs(rows(content))
        return found.readings("a")["value"].to_numpy(), {f.code for f in found.findings}

    faded, told = read(level)
    assert faded.sum() == len(moved)
    assert told == {"decaying-motion"}
    shares, told = read(share)
    assert shares.sum() == sum(v > 0 for _, v in share)
    assert told == {"motion-shares"}
    rest, told = read(slips)
    assert (rest == 1).all()
    assert told == {"impossible-values"}


def test_numbers_that_stand_for_no_value_are_left_out_and_counted():
    lux = rows(
        [(t, 65_535 if t % 36_000 == 0 else 50 + (t // 60) % 7) for t in range(0, 2 * DAY, 60)],
        channel="main",
        quantity="illuminance",
    )
    mended = mend(BUILDING.rooms["a"], RoomReadings(logs(lux).readings("a")))

    assert mended.flagged["no_value"].sum() == 5
    assert mended.readings.frame["value"].max() == 56
    assert [(f.code, f.evidence["rows_left_out"]) for f in mended.of_channel("main")] == [("no-values", 5)]

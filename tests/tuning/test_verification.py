"""Verification of what was changed on site: was it set, what came of it, and how sure that is."""

import dataclasses
import datetime as dt
import json

import numpy as np
import polars as pl
import pytest
from typer.testing import CliRunner

from tests.simulation.building import write_building
from tests.simulation.days import Place
from tests.simulation.room import simulate
from tuning.cli import app
from tuning.hold_off import Lags, switch_off_lags
from tuning.motion import US, MotionLog
from tuning.site import parse_site
from tuning.verification import verify_folder
from tuning.verification.compare import Z_90, precision_of
from tuning.verification.controls import DailySums, drift
from tuning.verification.periods import changes_of
from tuning.verification.results import Compared, Estimate
from tuning.verification.set_on_site import check_hold_off
from tuning.verification.verdict import days_more, judge

DAY = 86_400 * US
SHARED = {
    "documented": True,
    "mode": "auto-on",
    "electricity_price": 0.30,
    "cost_per_false_off": 0.35,
    "first_monday": dt.date(2025, 10, 6),
    "dims_p": 0.0,
}
SAID = ((21, 900),)
DONE = {"kept": SAID, "never": (), "late": ((31, 900),), "back": ((21, 900), (31, 180)), "other": ((21, 600),)}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = None
    rooms = []
    for key, done in DONE.items():
        shared = SHARED if place is None else SHARED | {"place": place}
        room = simulate(
            41,
            "office",
            weeks=6,
            hold_off_s=180,
            with_truth=False,
            room=key,
            hold_off_changes=done,
            said_changes=SAID,
            **shared,
        )
        place = place or _place(room)
        rooms.append(room)
    alone = simulate(42, "office", weeks=6, hold_off_s=180, with_truth=False, room="alone", **SHARED | {"place": place})
    path = tmp_path_factory.mktemp("verify")
    write_building([*rooms, alone], path)
    return path


def _place(room):
    return Place(**room.parameters["place"])


@pytest.fixture(scope="module")
def verified(folder):
    return verify_folder(folder)


@pytest.fixture(scope="module")
def found(verified):
    return {v.room: v for v in verified.changes}


def test_every_room_is_told_what_was_really_set(found):
    assert {room: v.set_check.status for room, v in found.items()} == {
        "kept": "as-said",
        "never": "never",
        "late": "later",
        "back": "set-back",
        "other": "another-value",
    }
    assert {room: v.verdict for room, v in found.items() if room in ("never", "back", "other")} == dict.fromkeys(
        ("never", "back", "other"), "not-set"
    )
    assert found["other"].set_check.observed_s == pytest.approx(600, abs=10)


def test_a_room_set_late_is_compared_from_then_on(found):
    late = found["late"]

    assert dt.date(2025, 11, 6) <= late.set_check.since.date() <= dt.date(2025, 11, 7)
    assert late.before_days == pytest.approx(31, abs=1.5)
    assert late.after_days == pytest.approx(11, abs=1.5)


def test_a_longer_hold_off_brings_fewer_false_offs_and_more_light_for_nobody(found):
    q = found["kept"].quantities

    assert q["false_offs"].change.high < 0 < q["wasted_on_h"].change.low
    assert q["cost"].change.value == pytest.approx(q["cost"].after.value - q["cost"].before.value)


def test_what_happened_is_never_told_to_more_than_the_log_holds(found):
    v = found["kept"]

    assert v.before_days == pytest.approx(21, abs=0.1)
    # the day of the change belongs to neither side
    assert v.after_days == pytest.approx(20, abs=0.1)
    assert all(name.startswith("alone/") for name in v.controls)


@pytest.mark.parametrize("seed", [41, 43])
def test_a_log_sampled_by_the_minute_tells_what_movement_by_movement_tells_only_less_surely(tmp_path, seed):
    told = {}
    for form in ("events", "sampled"):
        changes = {"hold_off_changes": SAID, "said_changes": SAID, "motion_form": form, "motion_sample_s": 60.0}
        room = simulate(seed, "office", weeks=6, hold_off_s=180, with_truth=False, room="r1", **SHARED | changes)
        write_building([room], tmp_path / form)
        told[form] = verify_folder(tmp_path / form).changes[0].quantities["false_offs"].change

    exact, sampled = told["events"], told["sampled"]
    assert exact.high < 0
    assert sampled.low <= exact.value <= sampled.high
    assert sampled.high - sampled.low > exact.high - exact.low


def test_what_a_log_sampled_every_five_minutes_cannot_tell_is_not_compared(tmp_path):
    changes = {"hold_off_changes": SAID, "said_changes": SAID, "motion_form": "sampled", "motion_sample_s": 300.0}
    room = simulate(41, "office", weeks=6, hold_off_s=180, with_truth=False, room="r1", **SHARED | changes)
    write_building([room], tmp_path)

    (found,) = verify_folder(tmp_path).changes

    assert found.quantities == {}
    assert found.verdict in ("too-early", "not-set")
    assert any("Before the change: motion is sampled every 300 s" in why for why in found.reasons)
    assert any("or sample it every 60 s or more often" in why for why in found.reasons)


def test_the_replay_follows_the_log(found):
    replay = found["kept"].replay

    assert abs(replay.nmbe) < 0.1
    assert replay.cv_rmse < 0.3


def test_the_command_writes_the_document(folder, tmp_path):
    out = tmp_path / "v.json"

    result = CliRunner().invoke(app, ["verify", str(folder), "--json", str(out)])

    assert result.exit_code == 0
    told = json.loads(out.read_text())
    assert {c["room"] for c in told["not_set"]} == {"never", "late", "back", "other"}
    assert [name.split("/")[0] for name in told["left_alone"]] == ["alone"]
    assert set(told["changes"][0]["per_week"] or told["changes"][-1]["per_week"]) == {
        "false_offs",
        "wasted_on_h",
        "energy_kwh",
        "cost",
    }


def test_what_cannot_be_told_is_listed_apart_from_what_was_set(folder, verified, monkeypatch, tmp_path):
    log = sampled(1, [(0, 120)], every_s=1800.0, days=3)
    check = checked(log, was_s=180.0, said_s=120.0, days=3)
    [kept] = [v for v in verified.changes if v.room == "kept"]
    coarse = dataclasses.replace(kept, room="coarse", room_name="Coarse log", set_check=check)
    whole = dataclasses.replace(verified, changes=(*verified.changes, coarse))
    monkeypatch.setattr("tuning.verification.verify_folder", lambda *_args, **_named: whole)
    out = tmp_path / "v.json"

    result = CliRunner().invoke(app, ["verify", str(folder), "--json", str(out)], env={"COLUMNS": "400"})

    told = json.loads(out.read_text())
    assert [c["room"] for c in told["cannot_tell"]] == ["coarse"]
    assert "coarse" not in {c["room"] for c in told["not_set"]}
    [entry] = [c["really_set"] for c in told["changes"] if c["room"] == "coarse"]
    assert (entry["as_said"], entry["status"]) == (None, "cannot-tell")
    assert (entry["agrees_from_s"], entry["agrees_to_s"]) == (check.agrees_from_s, check.agrees_to_s)
    apart = result.output.split("\nCannot be told from this log\n")[1].split("\nMethod\n")[0]
    assert "Coarse log" in apart
    assert "Record the output when it changes" in apart
    assert "kept" not in apart


def test_without_a_history_there_is_nothing_to_verify(tmp_path):
    room = simulate(42, "office", weeks=1, hold_off_s=180, with_truth=False, **SHARED)
    write_building(room, tmp_path)

    result = CliRunner().invoke(app, ["verify", str(tmp_path)])

    assert result.exit_code == 0
    assert "Nothing to verify" in result.output


def lags(hold_off_s, n, start_day, *, sample_s=0.0, seed=1):
    """Switch-offs, eight a day, as intervals of a sample's width that hold the hold-off somewhere."""
    rng = np.random.default_rng(seed)
    off = (start_day * DAY + np.arange(n) * DAY // 8).astype(np.int64)
    low = hold_off_s - sample_s * rng.random(n)
    return Lags(off, np.maximum(low, 0), np.maximum(low, 0) + sample_s)


def after(first, *others):
    parts = [first, *others]
    return Lags(*(np.concatenate([getattr(p, name) for p in parts]) for name in ("off_us", "low_s", "high_s")))


SETTABLE = (60, 120, 180, 300, 600, 900, 1200)


def status(log, *, was_s=180.0, said_s=600.0, days=40):
    return check_hold_off(log, was_s=was_s, said_s=said_s, span_us=(0, days * DAY), settable_s=SETTABLE).status


@pytest.mark.parametrize("sample_s", [0.0, 60.0, 300.0])
def test_a_setting_is_recognised_however_coarsely_the_log_samples(sample_s):
    assert status(lags(600, 160, 0, sample_s=sample_s)) == "as-said"
    assert status(lags(180, 160, 0, sample_s=sample_s)) == "never"


def test_some_hours_late_is_as_said_and_a_week_late_is_not():
    assert status(after(lags(180, 6, 0), lags(600, 160, 1))) == "as-said"
    assert status(after(lags(180, 56, 0), lags(600, 160, 7))) == "later"
    assert status(after(lags(600, 56, 0), lags(180, 160, 7))) == "set-back"


def test_switch_offs_by_daylight_and_hand_alarm_nobody():
    rng = np.random.default_rng(3)
    other = lags(600, 200, 0)
    by_hand = rng.random(200) < 0.6
    mixed = Lags(
        other.off_us,
        np.where(by_hand, rng.uniform(0, 600, 200), other.low_s),
        np.where(by_hand, rng.uniform(600, 601, 200), other.high_s),
    )

    assert status(mixed) == "as-said"


def test_a_light_that_stays_on_through_longer_pauses_speaks_against_a_shorter_setting():
    rng = np.random.default_rng(5)
    n = 80
    at = (np.arange(n) * DAY // 2).astype(np.int64)
    high = np.where(rng.random(n) < 0.6, rng.uniform(125, 170, n), 600.5)
    low = np.maximum(high - 55, 0)

    told = [
        status(Lags(at, low, high, np.full(n, longest_lit_pause_s)), was_s=900.0)
        for longest_lit_pause_s in (0.0, 500.0)
    ]

    assert told[0] in ("another-value", "later")
    assert told[1] == "as-said"


def test_few_switch_offs_tell_nothing():
    check = check_hold_off(lags(180, 4, 0), was_s=180.0, said_s=600.0, span_us=(0, 40 * DAY), settable_s=SETTABLE)

    assert check.status == "cannot-tell"
    assert "4 switch-offs" in check.message


def sampled(seed, hold_offs, *, every_s, visits_a_day=8, days=20):
    """Lags of a lamp that follows movement, looked at every so often; ``hold_offs`` are pairs of the day from which and the hold-off [s]."""
    rng = np.random.default_rng(seed)
    begins = (
        np.sort(rng.uniform(8 * 3600, 18 * 3600, (days, visits_a_day)), axis=1) + 86_400.0 * np.arange(days)[:, None]
    )
    moved = np.sort(np.concatenate([b + np.cumsum(rng.exponential(70.0, 15)) for b in begins.ravel()]))
    t = np.arange(0.0, days * 86_400.0, every_s)
    last = np.searchsorted(moved, t, side="right") - 1
    since = np.where(last >= 0, t - moved[np.maximum(last, 0)], np.inf)
    hold = np.array([h for _, h in hold_offs])[
        np.searchsorted([d * 86_400.0 for d, _ in hold_offs], t, side="right") - 1
    ]
    us = np.round(moved * US).astype(np.int64)
    output = pl.DataFrame(
        {
            "time": pl.Series(np.round(t * US).astype(np.int64)).cast(pl.Datetime("us", "UTC")),
            "value": np.where(since < hold, 100.0, 0.0),
        }
    )
    motion = MotionLog(us, us, np.array([[0, days * DAY]]), "events", 0.0, 1)
    return switch_off_lags(output, motion, np.empty(0, dtype=np.int64), least_s=60.0)


def checked(log, *, was_s, said_s, days=20):
    return check_hold_off(log, was_s=was_s, said_s=said_s, span_us=(0, days * DAY), settable_s=SETTABLE)


@pytest.mark.parametrize("seed", range(4))
def test_samples_every_five_minutes_tell_one_minute_from_three(seed):
    # No single switch-off does: it is known to within five minutes.
    assert checked(sampled(seed, [(0, 60)], every_s=300.0), was_s=180.0, said_s=60.0).status == "as-said"
    assert checked(sampled(seed, [(0, 180)], every_s=300.0), was_s=180.0, said_s=60.0).status == "never"
    assert checked(sampled(seed, [(0, 60), (8, 180)], every_s=300.0), was_s=180.0, said_s=60.0).status == "set-back"
    assert checked(sampled(seed, [(0, 180)], every_s=300.0), was_s=60.0, said_s=180.0).status == "as-said"
    assert checked(sampled(seed, [(0, 60)], every_s=300.0), was_s=60.0, said_s=180.0).status == "never"


@pytest.mark.parametrize("seed", range(4))
def test_a_log_that_two_hold_offs_share_tells_neither_and_says_what_would(seed):
    # Every half an hour for three days: the light that stays on a minute longer is hardly ever met.
    log = sampled(seed, [(0, 120)], every_s=1800.0, days=3)

    check = checked(log, was_s=180.0, said_s=120.0, days=3)

    assert check.status == "cannot-tell"
    assert check.message.startswith("Cannot be told from this log")
    assert check.agrees_from_s <= 120
    assert check.agrees_to_s >= 180
    assert (
        check.to_do
        == "Record the output when it changes, or every 30 s at least; or read the hold-off at the detector."
    )


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("every_s", [60.0, 300.0, 900.0])
@pytest.mark.parametrize(("was_s", "said_s"), [(60, 120), (180, 60), (300, 600), (900, 600), (600, 900), (1200, 300)])
def test_a_coarse_log_calls_no_room_not_set_that_is(seed, every_s, was_s, said_s):
    kept = checked(sampled(seed, [(0, said_s)], every_s=every_s), was_s=float(was_s), said_s=float(said_s))
    never = checked(sampled(seed, [(0, was_s)], every_s=every_s), was_s=float(was_s), said_s=float(said_s))

    assert kept.status in ("as-said", "cannot-tell")
    # And what was never set is not called set.
    assert never.status != "as-said"


def test_a_light_found_on_beyond_the_hold_off_before_is_what_tells():
    log = sampled(3, [(0, 180)], every_s=300.0)

    assert np.max(log.found_lit_s) == pytest.approx(180, abs=20)
    assert not log.found_lit(180.0).any()
    assert log.found_lit(60.0).mean() > 0.2


def compared(low, value, high, *, held=True, before=10.0):
    change = Estimate(value, low, high)
    point = Estimate(before, before, before)
    return Compared(point, point, change, point, change, held, None, 0.0, 0.0)


def word(cost, *, before_days=30.0, after_days=30.0):
    return judge(cost, before_days=before_days, after_days=after_days, currency="EUR", worth_a_visit=0.02).verdict


def test_a_word_is_said_only_when_the_interval_leaves_zero():
    assert word(compared(-5, -3, -1)) == "as-predicted"
    assert word(compared(-5, -3, -1, held=False)) == "better"
    assert word(compared(1, 3, 5)) == "worse"
    assert word(compared(-5, -2, 1)) == "too-early"
    assert word(compared(-0.5, 0.1, 0.6)) == "as-predicted"


def test_a_week_of_log_is_needed_on_either_side():
    assert word(compared(-5, -3, -1), after_days=6.0) == "too-early"
    assert word(compared(-5, -3, -1), before_days=6.0) == "too-early"


def test_days_more_follow_the_root_law():
    # Half a width of 4 around a change of 2 must halve: four times the 30 days.
    assert days_more(Estimate(2.0, -2.0, 6.0), 30.0) == pytest.approx(90, abs=7)
    assert days_more(Estimate(0.1, -2.0, 2.2), 30.0) is None


def test_precision_is_stated_in_the_terms_of_the_standards():
    # Standard error 1: half the 90 % interval is 1.645.
    sure = precision_of(Estimate(3.0, 3.0 - Z_90, 3.0 + Z_90))
    unsure = precision_of(Estimate(1.5, 1.5 - Z_90, 1.5 + Z_90))

    assert sure.at_90 == pytest.approx(Z_90 / 3)
    assert sure.over_two_errors
    assert sure.under_half_at_68
    assert not unsure.over_two_errors
    assert not unsure.under_half_at_68


def test_controls_show_what_changed_by_itself():
    rng = np.random.default_rng(5)
    days = np.arange(60)
    hours = rng.uniform(4, 8, 60)
    # Twice as many an hour from day 30 on.
    false = rng.poisson(hours * np.where(days < 30, 1.0, 2.0)).astype(float)
    sums = DailySums(days, false, hours * 0.5, hours, hours)

    moved = drift([sums] * 3, (0, 30 * DAY), (30 * DAY, 60 * DAY), offset_us=0, draws=200, rng=rng)

    assert moved.false_offs[0] == pytest.approx(2.0, rel=0.15)
    assert moved.wasted_on_h[0] == pytest.approx(1.0)
    low, high = np.quantile(moved.false_offs[1:], [0.05, 0.95])
    assert low < moved.false_offs[0] < high


def test_controls_in_which_nothing_happens_are_none():
    days = np.arange(60)
    sums = DailySums(days, np.zeros(60), np.zeros(60), np.ones(60), np.ones(60))

    moved = drift([sums], (0, 30 * DAY), (30 * DAY, 60 * DAY), offset_us=0, draws=20, rng=np.random.default_rng(1))

    assert moved.false_offs is None
    assert moved.wasted_on_h is None


SITE = """
[site]
time_zone = "Europe/Copenhagen"
[rooms.a]
use = "office"
[rooms.a.channels.main]
hold_off_s = 300
target_lx = 500
[[rooms.a.channels.main.settings_history]]
from = 2026-03-10
hold_off_s = 600
[[rooms.a.channels.main.settings_history]]
from = 2026-03-20T14:00:00
target_lx = 400
[[rooms.a.channels.main.settings_history]]
from = 2026-03-25
hold_off_s = 600
"""


def test_each_change_has_the_log_up_to_its_neighbours(tmp_path):
    site = parse_site(SITE, tmp_path / "site.toml")
    utc = dt.UTC
    span = tuple(round(dt.datetime(2026, 3, day, tzinfo=utc).timestamp()) * US for day in (1, 31))

    first, second = changes_of(site, span)

    def at(*when):
        return round(dt.datetime(*when, tzinfo=utc).timestamp()) * US

    assert (first.was.hold_off_s, first.said.hold_off_s, first.said.target_lx) == (300, 600, 500)
    assert first.before_us == (span[0], at(2026, 3, 9, 23))
    assert first.after_us == (at(2026, 3, 10, 23), at(2026, 3, 20, 13))
    assert (second.was.target_lx, second.said.target_lx) == (500, 400)
    assert second.before_us == (at(2026, 3, 10, 23), at(2026, 3, 20, 13))
    # What came on the 25th was no change.
    assert second.after_us == (at(2026, 3, 20, 13), span[1])


def test_a_change_that_the_log_does_not_reach_is_left_out(tmp_path):
    site = parse_site(SITE, tmp_path / "site.toml")
    span = tuple(round(dt.datetime(2026, 2, day, tzinfo=dt.UTC).timestamp()) * US for day in (1, 20))

    assert changes_of(site, span) == []

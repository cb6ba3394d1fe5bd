"""``holdoff check``: what each series covers, what is left out and why, and that nothing is dropped without a word."""

import datetime as dt
import json
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest
from rich.console import Console

from tests.building import SITE, START, office_days, rows, write
from tests.tuning.command import run
from tuning.check import check_document, check_folder
from tuning.check_table import print_check
from tuning.motion import US
from tuning.quality.days import hours_inside, left_out, midnights
from tuning.quality.outages import Outage

ZONE = ZoneInfo("Europe/Copenhagen")
DAY = 86_400


def lux(days=14, *, step_s=300, without=(), value=lambda t: 100 + (t // 300) % 7):
    """Illuminance every so many seconds, but not in some stretches [s]."""
    times = [t for t in range(0, days * DAY, step_s) if not any(a <= t < b for a, b in without)]
    return rows([(t, value(t)) for t in times], channel="main", quantity="illuminance")


def checked(folder, content, **options):
    return check_folder(write(folder, content, **options))


def series(check, quantity):
    return next((i, s) for i, s in enumerate(check.series) if s.quantity == quantity)


def test_coverage_is_told_by_series_and_day(tmp_path):
    gap = (3 * DAY + 3600, 4 * DAY + 3600)
    check = checked(tmp_path, office_days() + lux(without=[gap]))

    number, found = series(check, "illuminance")
    assert found.sampling == "sampled"
    assert found.wait_s == pytest.approx(300)
    assert found.gaps == 1
    assert found.longest_gap_h == pytest.approx(24, abs=0.1)
    assert check.covered_h[number].sum() == pytest.approx(check.day_h.sum() - 24, abs=0.2)
    motion, _ = series(check, "motion")
    assert check.rows[motion].sum() == sum(r["quantity"] == "motion" for r in office_days())


def test_what_is_left_out_is_told_by_day_with_the_reason(tmp_path):
    # Nobody logs from the evening of the third day to the morning of the sixth.
    out = (3 * DAY + 36_000, 6 * DAY - 3600)
    content = [r for r in office_days() + lux() if not out[0] <= (r["time"] - START).total_seconds() < out[1]]

    channel = checked(tmp_path, content).channels[0]

    lost_h = (out[1] - out[0]) / 3600
    assert sum(d.hours for d in channel.left_out) == pytest.approx(lost_h, abs=0.6)
    assert {d.why for d in channel.left_out} == {"nothing at all was logged"}
    # The log is 14 days but for the hours of the last one after work.
    assert channel.result.usable_days == pytest.approx(14 - lost_h / 24, abs=0.1)


def test_a_room_whose_log_breaks_off_is_told_from_a_building_whose_does():
    hour = 3600 * US
    span = (0, 48 * hour)

    alone = left_out(np.array([[0, 10 * hour], [20 * hour, 48 * hour]]), span, ZONE)
    with_all = left_out(
        np.array([[0, 10 * hour], [20 * hour, 48 * hour]]), span, ZONE, outages=[Outage(10 * hour, 20 * hour)]
    )
    ended = left_out(np.array([[0, 20 * hour]]), span, ZONE)

    assert [d.why for d in alone] == ["the room's log has a gap"]
    assert [d.why for d in with_all] == ["nothing at all was logged"]
    assert ended[-1].why == "the channel's log has ended"
    assert sum(d.hours for d in ended) == pytest.approx(28, abs=0.1)


def test_days_are_local_and_the_one_on_which_clocks_change_has_23_hours():
    start = dt.datetime(2026, 3, 28, tzinfo=ZONE).timestamp()
    days, edges = midnights((round(start) * US, round(start + 3 * DAY) * US - 3601 * US), ZONE)

    assert [str(d) for d in days] == ["2026-03-28", "2026-03-29", "2026-03-30"]
    assert (np.diff(edges) / US / 3600).tolist() == [24, 23, 24]
    assert hours_inside(np.empty((0, 2), dtype=np.int64), edges).tolist() == [0, 0, 0]


def test_a_dead_lamp_log_and_a_contact_that_sticks_are_named(tmp_path):
    always = rows([(t, 40) for t in range(0, 14 * DAY, 600)], channel="main", quantity="output")
    stuck = rows([(3600, 1), (3605, 0), (7200, 1), (7200 + 20 * 3600, 0), (5 * DAY, 1), (5 * DAY + 4, 0)])
    check = checked(tmp_path, [r for r in office_days() if r["quantity"] == "motion"] + always + stuck)

    assert series(check, "output")[1].faults == ("dead: always 40",)
    # Among thousands of events a few ends do not make a log of pulses.
    assert series(check, "motion")[1].faults == ()


def test_a_light_sensor_that_stands_still_is_left_out_and_counted(tmp_path):
    content = office_days() + lux(value=lambda t: 120 if t > 5 * DAY else 100 + (t // 300) % 7)
    check = checked(tmp_path, content)

    finding = next(f for f in check.channels[0].result.findings if f.code == "stuck-series")
    assert finding.evidence["rows_left_out"] == pytest.approx(9 * DAY / 300, abs=3)
    assert finding.evidence["hours"] == pytest.approx(9 * 24, abs=1)
    # It still shows that the log was taken.
    assert check.channels[0].left_out == ()


def test_documented_and_seen_hold_off_stand_side_by_side(tmp_path):
    folder = write(tmp_path, office_days(hold_off_s=600))

    done = run("check", folder, "--json", tmp_path / "check.json")

    assert done.returncode == 0, done.stderr
    document = json.loads((tmp_path / "check.json").read_text(encoding="utf-8"))
    channel = document["channels"][0]
    assert channel["hold_off"] == {"documented_s": 300, "observed_s": pytest.approx(600, abs=2)}
    assert "hold-off-mismatch" in {f["code"] for f in channel["findings"]}
    assert {"room", "quantity", "rows", "sampling", "gaps", "days", "faults"} <= set(document["series"][0])
    assert "5 min" in done.stdout
    assert "10 min" in done.stdout


def test_exit_1_where_nothing_usable_is_left(tmp_path):
    folder = write(
        tmp_path, rows([(0, 1)]) + rows([(t, 50) for t in range(0, DAY, 600)], channel="main", quantity="output")
    )

    done = run("check", folder)

    assert done.returncode == 1
    assert "no channel has a usable motion log" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_document_is_plain_json_whatever_the_log(tmp_path):
    site = SITE.replace("hold_off_s = 300\n", "")
    check = checked(tmp_path, office_days(3), site=site)

    assert json.loads(json.dumps(check_document(check), allow_nan=False))["usable"] is True


def test_names_from_the_log_do_not_style_the_terminal(tmp_path, capsys):
    site = SITE.replace('name = "Room A"', 'name = "[bold red]Room[/] A"')
    print_check(Console(width=200), checked(tmp_path, office_days(3), site=site))

    assert "[bold red]Room[/] A" in capsys.readouterr().out


def test_supply_that_returns_lights_everything_and_is_nobody(tmp_path):
    # Lux every minute; the supply fails at night, and the lamps burn for 30 s when it is back.
    night = 5 * DAY + 14 * 3600
    content = office_days() + lux(step_s=60, without=[(night, night + 7200)])
    content += rows([(night + 7201, 100), (night + 7231, 0)], channel="main", quantity="output")
    content += rows([(night + 7203, 1)])

    channel = checked(tmp_path, content).channels[0].result

    finding = next(f for f in channel.findings if f.code == "supply-interruption")
    assert finding.evidence["rows_left_out"] == 3
    back = START + dt.timedelta(seconds=night + 7200)
    near = channel.motions.filter(
        pl.col("start").is_between(back - dt.timedelta(seconds=60), back + dt.timedelta(seconds=60))
    )
    assert near.is_empty()
    offs = channel.switch_offs.filter(pl.col("time").is_between(back, back + dt.timedelta(seconds=60)))
    assert offs.is_empty()

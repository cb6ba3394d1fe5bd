"""The owner's report: LENI and occupancy factor as a pencil gives them, beside the values of EN 15193."""

import datetime as dt
import json
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from tests.building import rows, write
from tests.reference.published import LENI_EXAMPLE, OCCUPANCY_FACTOR
from tuning.en15193 import OCCUPANCY_CONTROL, control_factor, operating_hours, table_occupancy_factor
from tuning.owner import owner_report, report_document
from tuning.owner.occupancy import hours_in_use, measured
from tuning.owner.year import WEEKS_A_YEAR
from tuning.pipeline import analyse_folder
from tuning.results import Analysis, ChannelResult, LightResult, PerWeek, Settings, TimeUse
from tuning.site import Site, parse_site, read_site

WEEKS = 4
SITE = """
[site]
name = "Pencil house"
time_zone = "Europe/Copenhagen"
electricity_price = 0.25
emission_factor_kg = 0.4
[rooms.a]
use = "office"
area_m2 = 20
[rooms.a.channels.main]
load_w = 200
hold_off_s = 600
control = "switched"
[rooms.b]
use = "meeting room"
area_m2 = 40
[rooms.b.channels.main]
load_w = 400
hold_off_s = 600
control = "switched"
"""
# On each working day of four weeks somebody moves every 20 s in room A from 8 to 16 h (local) and in room B from 8 to 12 h; the lamp goes
# off 10 min after the last movement. So A burns 8 h 10 min a day, B 4 h 10 min.
HOURS = {"a": 8, "b": 4}
BURNS_H = {room: 5 * (h + 1 / 6) for room, h in HOURS.items()}  # a week


def log():
    zone = ZoneInfo("Europe/Copenhagen")
    found = []
    for room, hours in HOURS.items():
        for day in range(7 * WEEKS):
            morning = dt.datetime(2026, 1, 12, 8, tzinfo=zone) + dt.timedelta(days=day)
            if morning.weekday() > 4:
                continue
            moves = [(s, 1) for s in range(0, hours * 3600 + 1, 20)]
            found += rows(moves, room=room, start=morning)
            lamp = [(0, 100), (hours * 3600 + 600, 0)]
            found += rows(lamp, room=room, channel="main", quantity="output", start=morning)
    # The logs begin and end at midnight, so that whole weeks count.
    for at in (dt.datetime(2026, 1, 12, tzinfo=zone), dt.datetime(2026, 2, 9, tzinfo=zone)):
        found += rows([(0, 0)], room="b", channel="main", quantity="output", start=at)
        found += rows([(0, 0)], room="a", channel="main", quantity="output", start=at)
    return found


@pytest.fixture(scope="module")
def pencil(tmp_path_factory):
    folder = write(tmp_path_factory.mktemp("pencil"), log(), site=SITE)
    return folder, analyse_folder(folder)


def test_leni_equals_the_hand_calculation(pencil):
    folder, analysis = pencil
    report = owner_report(read_site(folder), analysis)

    kwh = {"a": BURNS_H["a"] * 0.2, "b": BURNS_H["b"] * 0.4}  # a week: 8.1667 and 8.3333
    found = {r.room: r for r in report.rooms}
    for room, area in (("a", 20), ("b", 40)):
        # Where the log's ends lie within a movement of midnight, a week is a week to a thousandth.
        assert found[room].now.energy_kwh == pytest.approx(kwh[room] * 365.25 / 7, rel=2e-3)
        assert found[room].leni_now == pytest.approx(kwh[room] * 365.25 / 7 / area, rel=2e-3)
    assert report.leni_now == pytest.approx(sum(kwh.values()) * 365.25 / 7 / 60, rel=2e-3)
    assert report.cost(report.now) == pytest.approx(report.now.energy_kwh * 0.25)
    assert report.co2e_kg(report.now) == pytest.approx(report.now.energy_kwh * 0.4)
    assert report.seasons == 0


def test_the_occupancy_factor_equals_the_hand_calculation(pencil):
    folder, analysis = pencil
    report = owner_report(read_site(folder), analysis)

    # From 8 to 12 both rooms are in use, from 12 to 16 one of them: 8 h on 5 days are operating time. The 10 min after 16 h are not.
    assert report.operating_h == 40
    found = {r.room: r.occupancy for r in report.rooms}
    assert (found["a"].absence, found["a"].factor) == pytest.approx((0.0, 1.0), abs=2e-3)
    assert (found["b"].absence, found["b"].factor) == pytest.approx((0.5, (4 + 1 / 6) / 8), abs=2e-3)
    # EN 15193 with the absence that was measured: F_O(0.90; 0.5) = 0.60; from its tables: 0.70 for an office, 0.60 for a meeting room.
    assert found["b"].formula == pytest.approx(0.60, abs=2e-3)
    assert {r.room: r.occupancy_table for r in report.rooms} == pytest.approx({"a": 0.70, "b": 0.60})


def test_the_tables_give_the_worked_leni_of_an_office():
    case = LENI_EXAMPLE
    daylight_h, night_h = operating_hours("office")
    assert (daylight_h, night_h) == (case.inputs["daylight_h"], case.inputs["night_h"])
    site = parse_site(SITE, Path("site.toml"))

    report = owner_report(site, _analysis([_channel(site, "a")]))

    # 200 W on 20 m², F_A .40: 17.5 for auto-on and automatic off, as worked out beside the source.
    assert report.rooms[0].leni_table == pytest.approx(case.expected["auto-on, automatic off"], abs=case.tolerance), (
        case.source
    )


@pytest.mark.parametrize("manual", [False, True])
@pytest.mark.parametrize("absence", OCCUPANCY_FACTOR.inputs)
def test_measured_absence_goes_through_the_ranges_of_the_formula(manual, absence):
    case = OCCUPANCY_FACTOR
    site = parse_site(SITE, Path("site.toml"))
    c = _channel(site, "a", occupied=1 - absence, held=1.0, mode="manual-on" if manual else "auto-on")

    found = measured(c, np.ones(168, dtype=bool))

    expected = dict(zip(case.inputs, case.expected[control_factor(manual_on=manual)], strict=True))
    assert found.absence == pytest.approx(absence)
    assert found.formula == pytest.approx(expected[absence], abs=1e-9), case.source


def test_a_group_beyond_thirty_square_metres_has_no_occupancy_factor_but_in_meeting_rooms():
    assert table_occupancy_factor("office", manual_on=False, group_m2=31) == 1.0
    assert table_occupancy_factor("meeting room", manual_on=False, group_m2=31) == pytest.approx(0.6)
    assert table_occupancy_factor("office", manual_on=True, group_m2=18) == pytest.approx(0.6)
    assert OCCUPANCY_CONTROL["auto-on, automatic off"] == control_factor(manual_on=False)


def test_hours_that_only_the_cleaner_knows_are_no_operating_time():
    site = parse_site(SITE, Path("site.toml"))
    week = np.zeros(168)
    week[8:16], week[6] = 0.9, 0.1
    c = _channel(site, "a", occupied=week)

    assert np.flatnonzero(hours_in_use([c])).tolist() == list(range(8, 16))


RATES = PerWeek(false_offs=3.5, wasted_on_h=6.0, energy_kwh=8.2, cost=2.0)


def _channel(site: Site, room: str, *, occupied=0.5, held=0.6, mode="auto-on", **more):
    cells = {"held": held, "lit": held, "occupied": occupied, "needed": occupied}
    week = pl.DataFrame({"hour": np.arange(168), "covered_h": np.full(168, 4.0)}).with_columns(
        **{n: pl.Series(np.broadcast_to(v, 168).astype(float)) for n, v in cells.items()}
    )
    now = Settings(600.0, None, mode)
    given = {
        "room": room, "channel": "main", "room_name": room, "use": site.rooms[room].use, "control": "switched", "load_w": 200.0,
        "start": None, "end": None, "days": 28.0, "usable_days": 28.0, "current": now, "observed_hold_off_s": 600.0,
        "recommended": now, "decision": "keep", "reasons": (), "current_rates": RATES, "recommended_rates": RATES, "delay_curve": (),
        "light": LightResult(), "findings": (),
        "time_use": TimeUse(50.0, 48.0, 30.0, 30.0, 8.0, "output", dark_s=9.0, week=week),
    }  # fmt: skip
    return ChannelResult(**given | more)


def _analysis(channels):
    return Analysis(
        "Pencil house", "EUR", "Europe/Copenhagen", dt.datetime(2026, 2, 9, tzinfo=dt.UTC), "0", tuple(channels)
    )


def test_other_settings_move_the_measured_energy_by_what_the_curve_says():
    site = parse_site(SITE, Path("site.toml"))
    better = PerWeek(false_offs=0.7, wasted_on_h=9.0, energy_kwh=8.9, cost=1.0)
    c = _channel(site, "a", recommended=Settings(900.0, None, "auto-on"), recommended_rates=better, decision="change")

    report = owner_report(site, _analysis([c]))

    assert report.now.energy_kwh == pytest.approx(8.0 * WEEKS_A_YEAR)
    assert report.then.energy_kwh == pytest.approx((8.0 + 0.7) * WEEKS_A_YEAR)
    assert report.now.dark_h - report.then.dark_h == pytest.approx((3.5 - 0.7) * WEEKS_A_YEAR * 9 / 3600)
    assert report.worth == pytest.approx(1.0 * WEEKS_A_YEAR)
    assert report.worth_range is None, "how sure it is was not said"


def test_the_season_scales_energy_and_nothing_else():
    site = parse_site(SITE, Path("site.toml"))
    plain = owner_report(site, _analysis([_channel(site, "a")]))
    from tuning.results import TargetPoint  # noqa: PLC0415 - only here

    curve = (TargetPoint(400.0, 10.0, 0.0, 0.0),)
    light = LightResult(recommended_target_lx=400.0, target_curve=curve, yearly_kwh=0.9 * 10.0 * WEEKS_A_YEAR)

    scaled = owner_report(site, _analysis([_channel(site, "a", light=light)]))

    assert scaled.now.energy_kwh == pytest.approx(0.9 * plain.now.energy_kwh)
    assert scaled.now.false_offs == plain.now.false_offs
    assert (plain.seasons, scaled.seasons) == (0, 1)


def test_what_was_not_accepted_stays_as_it_is():
    site = parse_site(SITE, Path("site.toml"))
    better = PerWeek(false_offs=0.7, wasted_on_h=9.0, energy_kwh=8.9, cost=1.0)
    c = _channel(site, "a", recommended=Settings(900.0, None, "auto-on"), recommended_rates=better, decision="change")

    nothing = owner_report(site, _analysis([c]), settings={})

    assert nothing.advised == "accepted"
    assert nothing.then == nothing.now
    assert nothing.worth == 0


def test_missing_area_and_load_are_said_and_the_rest_is_computed():
    site = parse_site(SITE.replace("area_m2 = 20", "").replace("load_w = 400", ""), Path("site.toml"))

    report = owner_report(site, _analysis([_channel(site, "a"), _channel(site, "b")]))

    told = {m.what: m.rooms for m in report.missing}
    assert told == {"no installed power (load_w) and no meter": ("b",), "no floor area (area_m2)": ("a",)}
    assert report.now.energy_kwh == pytest.approx(8.0 * WEEKS_A_YEAR), "room A counts, though it has no area"
    assert report.leni_now is None
    assert all(r.occupancy is not None for r in report.rooms)


def test_a_room_without_a_log_is_named():
    site = parse_site(SITE, Path("site.toml"))

    report = owner_report(site, _analysis([_channel(site, "a"), _channel(site, "b", time_use=None)]))

    assert [m.rooms for m in report.missing] == [("b",)]
    assert [r.room for r in report.rooms] == ["a"]


def test_a_fan_takes_energy_but_no_leni_and_leaves_nobody_in_the_dark():
    text = SITE.replace(
        'hold_off_s = 600\ncontrol = "switched"\n[rooms.b]', 'hold_off_s = 600\ncontrol = "relay"\n[rooms.b]'
    )
    site = parse_site(text, Path("site.toml"))

    report = owner_report(site, _analysis([_channel(site, "a", control="relay")]))

    assert report.now.energy_kwh == pytest.approx(8.0 * WEEKS_A_YEAR)
    assert (report.now.light_kwh, report.now.false_offs, report.now.dark_h) == (0, 0, 0)
    assert report.leni_now is None


def test_the_document_is_plain_json(pencil):
    folder, analysis = pencil

    told = json.loads(json.dumps(report_document(owner_report(read_site(folder), analysis)), allow_nan=False))

    assert told["leni_kwh_m2"]["now"] == pytest.approx(14.35, abs=0.05)
    assert told["rooms"][0]["occupancy_factor"]["en15193_tables"] in (0.6, 0.7)
    assert any("season" in m for m in told["method"])

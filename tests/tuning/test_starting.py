"""Where to start in rooms without a log: field data as published, pooling as the textbook says, never below a floor or beyond a limit."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.building import SITE, office_days, write
from tests.reference.published import DELAY_SAVINGS
from tests.tuning.command import run
from tuning.pipeline import analyse_folder
from tuning.results import DelayPoint
from tuning.room_uses import ROOM_USES
from tuning.site import DEFAULT_ALLOWED_HOLD_OFF_S, parse_site, read_site
from tuning.starting import starting_document, starting_settings
from tuning.starting.expect import SPREAD
from tuning.starting.field import STUDIES, study_of
from tuning.starting.pool import ENOUGH_ROOMS, OwnRoom, pool

HEAD = '[site]\nname = "New house"\ntime_zone = "Europe/Copenhagen"\n'


def site_of(*rooms, head=""):
    parts = [f'[rooms.r{i}]\nuse = "{use}"\n[rooms.r{i}.channels.all]\n{more}' for i, (use, more) in enumerate(rooms)]
    return parse_site(HEAD + head + "\n" + "\n".join(parts), Path("site.toml"))


def starts(*rooms, head="", own=()):
    return starting_settings(site_of(*rooms, head=head), [], own=own)


PLAIN = 'load_w = 200\ncontrol = "switched"\n'


@pytest.mark.parametrize("kind", DELAY_SAVINGS.expected["mean_vacancy_min"])
def test_the_exponential_identity_gives_the_vacancies_worked_out_beside_the_source(kind):
    case = DELAY_SAVINGS
    study = STUDIES[kind]

    assert study.mean_vacancy_min == pytest.approx(case.expected["mean_vacancy_min"][kind], rel=case.tolerance)
    for delay, percent in case.expected["saved_percent"][kind].items():
        assert 100 * study.saved(delay) == pytest.approx(percent, abs=0.05), case.source


@pytest.mark.parametrize("use", list(ROOM_USES))
def test_never_below_the_floor_of_the_use_nor_beyond_what_codes_allow(use):
    (start,) = starts((use, PLAIN))

    assert ROOM_USES[use].minimum_hold_off_s <= start.settings.hold_off_s <= 1200
    assert start.settings.hold_off_s in DEFAULT_ALLOWED_HOLD_OFF_S


@pytest.mark.parametrize("use", list(ROOM_USES))
@pytest.mark.parametrize("limit", [300, 600, 1800])
def test_the_buildings_own_code_limit_counts(use, limit):
    (start,) = starts((use, PLAIN), head=f"max_hold_off_s = {limit}")

    assert ROOM_USES[use].minimum_hold_off_s <= start.settings.hold_off_s <= limit


def test_where_floor_and_limit_leave_nothing_the_documented_setting_stays_and_it_is_said():
    (start,) = starts(("workshop", PLAIN + "hold_off_s = 120\n"), head="max_hold_off_s = 120")

    assert start.settings == start.now
    assert any("Widen the list" in r for r in start.reasons)


def test_what_to_expect_is_a_wide_range_around_a_middle():
    (start,) = starts(("office", PLAIN))

    for e in (start.false_offs, start.wasted_on_h, start.energy_kwh):
        assert 0 <= e.low < e.middle < e.high
    assert start.false_offs.high > 5 * start.false_offs.middle
    assert start.energy_kwh.high > 2 * start.energy_kwh.middle


def test_without_load_no_energy_is_promised():
    (start,) = starts(("office", 'control = "switched"\n'))

    assert start.energy_kwh is None
    assert any("load_w is not given" in r for r in start.reasons)


def test_it_says_that_it_is_a_starting_point_and_when_to_come_back():
    (start,) = starts(("classroom", PLAIN))

    assert "starting point, not a measurement" in start.reasons[0]
    # 38.3 h × 0.6016 × 60 / 137.3 min = 10.1 absences a week; thirty take three weeks.
    assert start.days_needed == 21
    assert any("21 days of log" in r for r in start.reasons)


def test_a_dimmed_channel_takes_its_target_from_readings_after_dark_else_asks_for_them():
    readings = 'load_w = 200\ncontrol = "dimmed"\n[[rooms.r0.channels.all.spot_readings]]\noutput_pct = 100\ntask_lx = 800\ndetector_lx = 400\n'
    (known,) = starts(("office", readings))
    (unknown,) = starts(("office", 'load_w = 200\ncontrol = "dimmed"\ntarget_lx = 450\n'))

    # 500 lx at the task are 250 lx at the detector.
    assert known.settings.target_lx == 250
    assert unknown.settings.target_lx == 450
    assert any("luxmeter at the task" in r for r in unknown.reasons)


def test_a_dearer_false_off_lengthens_and_dearer_light_shortens():
    hold = {}
    for word, more in {"usual": "", "people": "cost_per_false_off = 5.0", "light": "electricity_price = 9.0"}.items():
        (start,) = starts(("corridor", PLAIN), head=more)
        hold[word] = start.settings.hold_off_s

    assert hold["light"] < hold["usual"] <= hold["people"]


def own(values, error):
    n = len(values[0])
    names = ("false_offs", "wasted_on_h", "full_load_h")
    return [
        OwnRoom(dict.fromkeys(names, np.asarray(v, float)), dict.fromkeys(names, np.full(n, error))) for v in values
    ]


def test_pooling_weighs_by_precision_as_worked_by_hand():
    # Four rooms that agree exactly: the moment estimate of τ² is 0. With 4 rooms' worth of belief τ₀ = 0.9: τ² = 4·0.81/(4 + 3).
    belief = np.array([1.0])
    tau2 = 4 * 0.9**2 / 7
    w = 4 / (0.5**2 + tau2)

    found = pool(belief, own([[3.0]] * 4, 0.5), "false_offs")

    assert found.tau[0] == pytest.approx(np.sqrt(tau2))
    assert found.weight[0] == pytest.approx(w / (w + 1 / 1.0**2))
    assert found.mean[0] == pytest.approx((w * 3.0 + 1.0) / (w + 1))
    assert found.sd[0] == pytest.approx(np.sqrt(1 / (w + 1) + tau2))


def test_rooms_that_differ_widen_what_is_expected_of_another():
    alike, unlike = (pool(np.zeros(1), own(v, 0.2), "false_offs") for v in ([[1.0]] * 5, [[-2], [0], [1], [2], [4]]))

    assert unlike.sd[0] > 1.5 * alike.sd[0]
    assert unlike.weight[0] < alike.weight[0]


def test_more_rooms_weigh_more_and_too_few_nothing():
    weights = [pool(np.zeros(1), own([[1.0]] * n, 0.3), "false_offs").weight[0] for n in (1, 2, 3, 6, 30)]

    assert ENOUGH_ROOMS == 3
    assert weights[:2] == [0, 0]
    assert 0 < weights[2] < weights[3] < weights[4] < 1


def test_the_belief_of_a_single_room_is_as_wide_as_said():
    found = pool(np.zeros(1), [], "false_offs")

    assert found.sd[0] == pytest.approx(np.hypot(SPREAD["false_offs"].belief, SPREAD["false_offs"].rooms))


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    more = '[rooms.b]\nname = "Room B"\nuse = "office"\n[rooms.b.channels.main]\nload_w = 150\ncontrol = "switched"\n'
    folder = write(tmp_path_factory.mktemp("office"), office_days(), site=SITE + more)
    return folder, analyse_folder(folder)


def test_only_channels_without_a_log_are_started(office):
    folder, analysis = office

    assert [(s.room, s.own_rooms) for s in starting_settings(read_site(folder), analysis.channels)] == [("b", 0)]


def test_own_rooms_teach_once_there_are_enough_and_their_weight_is_shown(office):
    folder, analysis = office
    (logged,) = [c for c in analysis.channels if c.room == "a"]
    quiet = tuple(replace(p, false_offs=0.1, false_offs_low=0.05, false_offs_high=0.2) for p in logged.delay_curve)
    elsewhere = [replace(logged, room=f"x{i}", delay_curve=quiet) for i in range(4)]
    site = read_site(folder)

    (alone,) = starting_settings(site, analysis.channels)
    (taught,) = starting_settings(site, analysis.channels, own=elsewhere)

    assert taught.own_rooms == 5
    assert 0.5 < taught.weight < 1
    assert taught.false_offs.high < alone.false_offs.high
    assert taught.settings.hold_off_s <= alone.settings.hold_off_s
    assert any("weigh" in r for r in taught.reasons)


def test_rooms_of_another_use_teach_nothing(office):
    folder, analysis = office
    (logged,) = [c for c in analysis.channels if c.room == "a"]

    (start,) = starting_settings(read_site(folder), analysis.channels, own=[replace(logged, use="corridor")] * 9)

    assert start.own_rooms == 0


def test_a_curve_that_says_never_is_a_number():
    point = DelayPoint(600.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, "observed")

    assert np.isfinite(np.log(point.false_offs + 0.05))
    assert study_of("anything else").kind == "private office"


def test_the_command_needs_no_log_at_all(tmp_path):
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")

    done = run("start", tmp_path, "--json", tmp_path / "a.json")

    assert done.returncode == 0, done.stderr
    assert "where to start" in done.stdout
    assert "emergency and escape lighting" in " ".join(done.stdout.lower().split())
    (told,) = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["starting"]
    assert told["documented"]["hold_off_s"] == 300
    assert 60 <= told["starting"]["hold_off_s"] <= 1200
    assert told["per_week"]["false_offs_low"] < told["per_week"]["false_offs"] < told["per_week"]["false_offs_high"]


def test_recommend_says_where_to_start_beside_what_the_logs_tell(office, tmp_path):
    folder, _ = office

    done = run("recommend", folder, "--json", tmp_path / "a.json")

    assert done.returncode == 0, done.stderr
    assert "Rooms without a log: where to start" in done.stdout
    told = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    assert [s["room"] for s in told["starting"]] == ["b"]
    assert [c["room"] for c in told["channels"]] == ["a", "b"], "the contract's list stays whole"


def test_a_folder_with_a_broken_log_is_told_and_not_taken_for_one_without(tmp_path):
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    (tmp_path / "log.parquet").write_bytes(b"PAR1 nothing")

    done = run("start", tmp_path)

    assert done.returncode == 1
    assert "log.parquet" in done.stderr


def test_the_document_is_plain_json():
    told = starting_document(starts(("office", PLAIN)))

    assert json.loads(json.dumps(told, allow_nan=False))[0]["days_of_log_needed"] == 14

"""The simulator's own tests: what it writes obeys the rules it claims, so that its truth can judge estimates."""

import ast
import json
import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from numpy.typing import NDArray

from tests.simulation import FAMILIES, simulate, write_building
from tests.simulation.closed_loop import run_loop
from tests.simulation.days import make_calendar
from tests.simulation.light_truth import LIT_SHARE
from tests.simulation.motion import after_dead_time
from tests.simulation.parameters import RoomParameters, draw_parameters
from tests.simulation.room import SimulatedRoom, generators
from tests.simulation.scene import merge_presence, time_present
from tests.simulation.stillness import Stillness, draw_stillness
from tests.simulation.truth import World, make_world, truth_curve
from tests.simulation.uses import USES

FloatArray = NDArray[np.float64]

# A log in which nothing but the hold-off can switch: no windows, no presses, stamps to the millisecond.
PLAIN: dict[str, Any] = {
    "windows": False,
    "control": "switched",
    "mode": "auto-on",
    "motion_form": "events",
    "leave_off_p": 0.0,
    "dims_p": 0.0,
    "stamp_s": 0.001,
    "off_lag_s": 0.0,
}


def room_of(seed: int, use: str, **overrides: Any) -> RoomParameters:
    return draw_parameters(generators(seed, use)[0], use, "r1", **overrides)


def world_of(room: RoomParameters, seed: int = 0, weeks: int = 6) -> World:
    return make_world(np.random.default_rng(seed), room, make_calendar(room.first_monday, weeks, room.place))


def seconds(room: SimulatedRoom, quantity: str, value: float | None = None) -> FloatArray:
    """Times of the rows of a quantity; of two channels, those of the first."""
    first = next(iter(room.channels))
    rows = room.log.filter(pl.col("quantity") == quantity, pl.col("channel").is_in(["", first]))
    if value is not None:
        rows = rows.filter(pl.col("value") == value)
    return rows["time"].dt.epoch("us").to_numpy() / 1e6


def lit_by_the_rule(motion_s: FloatArray, hold_off_s: float) -> tuple[list[float], list[float]]:
    """Plain replay of the rule, trigger by trigger; shares no code with the simulator's walk."""
    on, off, last = [motion_s[0]], [], motion_s[0]
    for t in motion_s[1:]:
        if t - last > hold_off_s:
            off.append(last + hold_off_s)
            on.append(t)
        last = t
    return on, [*off, last + hold_off_s]


@pytest.mark.parametrize("use", list(USES))
@pytest.mark.parametrize("fresh", [0.0, 0.5, 1.0])
def test_lamps_follow_the_hold_off_rule(use: str, fresh: float) -> None:
    # Whatever people do, output in the log has to be what the triggers in the log and the hold-off make of it.
    room = simulate(11, use, weeks=2, hold_off_s=120, with_truth=False, p_fresh=fresh, **PLAIN)
    on, off = lit_by_the_rule(seconds(room, "motion", 1.0), 120.0)
    np.testing.assert_allclose(seconds(room, "output", 100.0), on, rtol=0, atol=2e-3)
    np.testing.assert_allclose(seconds(room, "output", 0.0), off, rtol=0, atol=2e-3)


@pytest.mark.parametrize("use", ["office", "open-plan office", "classroom", "toilet"])
def test_detector_is_blind_for_its_dead_time(use: str) -> None:
    room = simulate(3, use, weeks=2, hold_off_s=120, with_truth=False, dead_time_s=6.0, wave_more=1.0, **PLAIN)
    assert np.diff(seconds(room, "motion")).min() >= 6.0 - 2e-3


def test_dead_time_keeps_the_first_and_drops_what_follows_it() -> None:
    kept = after_dead_time(np.array([0.0, 2.0, 4.9, 5.0, 9.0, 10.1]), 5.0)
    assert kept.tolist() == [0.0, 5.0, 10.1]


@pytest.mark.parametrize("overrides", [{}, {"mode": "manual-on"}, {"leave_off_p": 0.5}, {"dims_p": 0.3}])
def test_labelled_switch_offs_are_those_of_the_log(overrides: dict[str, Any]) -> None:
    room = simulate(5, "office", weeks=3, hold_off_s=180, with_truth=False, off_lag_s=0.4, **overrides)
    for name in room.channels:
        rows = room.log.filter(pl.col("channel") == name)
        off = rows.filter((pl.col("quantity") == "output") & (pl.col("value") == 0.0))["time"]
        pressed = rows.filter((pl.col("quantity") == "override") & (pl.col("value") == 0.0))["time"]
        labelled = room.switch_offs.filter(pl.col("channel") == name)["time"]
        assert len(labelled) > 20
        assert labelled.is_in(off.implode()).all()
        # Beside them only presses and daylight switch off.
        if room.channels[name]["control"] == "dimmed" and not room.parameters["channels"][0]["daylight_off"]:
            assert len(off) - len(labelled) == len(pressed)


def test_labels_agree_with_presence() -> None:
    stillness = Stillness("lognormal", 10.0, 1.5)
    room = simulate(8, "office", weeks=3, hold_off_s=180, with_truth=False, stillness=stillness, **PLAIN)
    offs = room.switch_offs.sort("time").join_asof(room.presence, left_on="time", right_on="start")
    there = offs.select((pl.col("time") < pl.col("end")).fill_null(value=False)).to_series()
    assert there.to_list() == offs["present"].to_list()
    assert (~offs["minds"] | offs["present"]).all()
    assert 0 < offs["present"].sum() < len(offs)


def test_who_minds_reacts_within_seconds() -> None:
    room = simulate(8, "office", weeks=3, hold_off_s=180, with_truth=False, wave_missed=0.0, **PLAIN)
    motion = seconds(room, "motion")
    off = room.switch_offs.filter("minds")["time"].dt.epoch("us").to_numpy() / 1e6
    wait = motion[np.searchsorted(motion, off, side="right")] - off
    median = room.parameters["people"]["reaction_median_s"]
    assert len(off) > 30
    # An ordinary movement or leaving may come first, so waits are at most reactions.
    assert 0.4 * median < np.median(wait) < 1.3 * median
    assert np.mean(wait < 60) > 0.98


def test_one_long_stillness_hurts_several_times() -> None:
    # method.md section 1: under hold-off D a spell of length L with reactions of r brings floor((L + r)/(D + r)).
    room = room_of(
        2, "office", **PLAIN, p_fresh=0.0, dead_time_s=0.0, wave_more=0.0, wave_missed=0.0, reaction_sigma=0.0,
        reaction_median_s=5.0,
    )  # fmt: skip
    world = world_of(room, weeks=20)
    run = run_loop(world.scene, 120.0, np.random.default_rng(0))
    seen = world.scene.seen_s
    present = np.diff(time_present(seen, world.scene.present_from_s, world.scene.present_to_s))
    gap = np.diff(seen)
    inside = present > gap - 1e-6
    expected = np.floor((gap[inside] + 5.0) / 125.0).sum()
    # Not counted above: the stillness somebody is in when they leave unseen, and nobody at their desk but a passer-by.
    assert run.minds.sum() == pytest.approx(expected, rel=0.02)


def test_without_memory_it_does_not_matter_how_a_stillness_ends() -> None:
    # Exponential stillness: starting afresh and going on are the same process, so their rates have to agree.
    rates = []
    for fresh in (0.0, 1.0):
        room = room_of(
            4, "office", **PLAIN, p_fresh=fresh, stillness=Stillness("exponential", 60.0, 1.0), quiet_share=0.0,
            visit_sigma=0.0, hidden_share=0.0, dead_time_s=0.0, coverage=0.8,
        )  # fmt: skip
        world = world_of(room, weeks=60)
        rates.append(run_loop(world.scene, 180.0, np.random.default_rng(1)).minds.sum())
    assert min(rates) > 2000
    assert rates[0] == pytest.approx(rates[1], rel=0.06)


def test_a_stillness_that_goes_on_is_interrupted_again() -> None:
    # Next false-off within 150 s: likely where the stillness goes on, as S(245)/S(120) = 0.45 for this family. Afresh
    # it takes a new stillness of 120 s, and about two are begun in the first half minute: 2 S(120) = 0.16.
    again = []
    for fresh in (0.0, 1.0):
        stillness = Stillness("lomax", 20.0, 1.3)
        room = room_of(
            4, "office", **PLAIN, p_fresh=fresh, stillness=stillness, coverage=1.0, quiet_share=0.0, visit_sigma=0.0,
            hidden_share=0.0, wave_more=0.0,
        )  # fmt: skip
        run = run_loop(world_of(room, weeks=40).scene, 120.0, np.random.default_rng(1))
        off = run.off_s[run.minds]
        again.append(float(np.mean(np.diff(off) < 150.0)))
    assert again[0] > 0.45
    assert again[1] < 0.2


def test_longer_hold_off_means_fewer_false_offs_and_more_waste() -> None:
    for seed, use in ((1, "office"), (2, "open-plan office"), (3, "reading room")):
        room = room_of(seed, use, windows=False)
        curve = truth_curve(np.random.default_rng(0), room, (60, 180, 600, 1800), weeks=6, precision=0.05)
        curve = curve.filter(pl.col("channel") == room.channels[0].name)
        assert (np.diff(curve["false_offs"].to_numpy()) < 0).all()
        assert (np.diff(curve["wasted_on_h"].to_numpy()) > 0).all()
        assert (curve["cost_se"] > 0).all()


def test_cost_is_false_offs_and_wasted_energy() -> None:
    # Switched, without windows: power while wasted is the load, so the contract's formula holds exactly.
    room = room_of(1, "toilet", **PLAIN, standby_w=3.0, load_w=120.0)
    curve = truth_curve(np.random.default_rng(0), room, (300,), weeks=6, precision=0.2).row(0, named=True)
    wasted = curve["wasted_on_h"] * 0.120 * room.electricity_price
    assert curve["cost"] == pytest.approx(curve["false_offs"] * room.cost_per_false_off + wasted, rel=1e-9)


def test_lit_time_is_wasted_or_used() -> None:
    room = room_of(6, "copy room", **PLAIN)
    world = world_of(room, weeks=4)
    run = run_loop(world.scene, 300.0, np.random.default_rng(0))
    # Second by second, with nothing but comparisons.
    t = np.arange(0.5, world.scene.span_s, 1.0)
    lit = run.lit_at(t)
    start, end = merge_presence(world.scene.visits)
    i = np.searchsorted(start, t, side="right") - 1
    there = (i >= 0) & (end[np.maximum(i, 0)] > t)
    exact = time_present(run.off_s, start, end) - time_present(run.on_s, start, end)
    assert exact.sum() == pytest.approx((lit & there).sum(), abs=len(run.on_s))
    assert (run.off_s - run.on_s).sum() == pytest.approx(lit.sum(), abs=len(run.on_s))


@pytest.mark.parametrize("family", FAMILIES)
def test_families_have_the_stated_tails(family: str) -> None:
    rng = np.random.default_rng(0)
    for _ in range(5):
        stillness = draw_stillness(rng, family, 8.0)
        draws = stillness.sample(rng, 200_000)
        t = np.array([5.0, 20.0, 60.0, 180.0, 600.0])
        stated = stillness.survival(t)
        seen = (draws[:, None] > t).mean(axis=0)
        # Four standard errors of a share of 200,000 draws.
        assert (np.abs(seen - stated) < 4 * np.sqrt(stated * (1 - stated) / 200_000) + 1e-5).all()


def test_families_differ_where_it_matters() -> None:
    # How fast the tail falls between 10 and 20 min for the same typical pause: power laws slowly, exponentials not.
    def falls(family: str, shape: float, scale: float = 10.0, stretch: float = 1.0) -> float:
        tail = Stillness(family, scale, shape, stretch).survival(np.array([600.0, 1200.0]))
        return float(tail[1] / tail[0])

    assert falls("lomax", 1.5) == pytest.approx((610 / 1210) ** 1.5)
    assert falls("loglogistic", 1.5) > 0.35
    assert falls("lognormal", 1.5) > 0.2
    assert 0.001 < falls("weibull", 0.5) < 0.1
    assert falls("gamma", 0.5, 40.0) < 1e-6
    assert falls("exponential", 1.0, 40.0) < 1e-6


def test_a_room_is_the_same_whatever_is_logged_of_it() -> None:
    six = simulate(21, "classroom", weeks=2, with_truth=False).parameters
    two = simulate(21, "classroom", weeks=1, hold_off_s=1200, with_truth=False).parameters
    for p in (six, two):
        for name in ("weeks", "hold_off_s", "light_truth"):
            p.pop(name)
    assert six == two


def test_same_seed_same_log() -> None:
    a, b = (simulate(21, "toilet", weeks=1, with_truth=False) for _ in range(2))
    assert a.log.equals(b.log)
    assert not a.log.equals(simulate(22, "toilet", weeks=1, with_truth=False).log)


def test_lamps_move_the_reading_by_their_contribution() -> None:
    room = simulate(
        13, "toilet", weeks=2, hold_off_s=300, with_truth=False, **PLAIN, noise=0.0, night_lx=0.0, sample_s=0.0,
        band_lx=1.0, band_share=0.0,
    )  # fmt: skip
    name = next(iter(room.channels))
    lamp = room.parameters["light_truth"][name]["lamp_lx"]
    lux = room.log.filter(pl.col("quantity") == "illuminance").select("time", "value")
    output = room.log.filter(pl.col("quantity") == "output").select("time", output="value")
    # A reading on the very stamp of a step belongs to the new output; the first reading after it comes 2 s later.
    both = lux.join_asof(output, on="time").filter(pl.col("output").is_not_null())
    assert both.filter(pl.col("output") == 100)["value"].unique().to_list() == [round(lamp)]
    assert both.filter(pl.col("output") == 0)["value"].unique().to_list() == [0.0]


def test_smallest_target_is_just_enough() -> None:
    found = 0
    for seed in range(8):
        room = simulate(seed, "toilet", weeks=1, with_truth=False, control="dimmed", windows=False, sample_s=60.0)
        for row in room.parameters["light_truth"].values():
            if not row["reachable"]:
                assert row["task_per_lamp"] * row["lamp_lx"] < 200
                continue
            # Without daylight the task gets the target times the ratio of the lamps.
            if row["lamp_from_other_lx"] == 0:
                assert row["smallest_target_lx"] * row["task_per_lamp"] == pytest.approx(200, rel=0.005)
                found += 1
    assert found >= 5
    assert LIT_SHARE == 0.95


def test_building_folder(tmp_path: Path) -> None:
    same: dict[str, Any] = {"electricity_price": 0.3, "cost_per_false_off": 0.35}
    first = simulate(1, "office", weeks=1, room="r1", with_truth=False, **same)
    place = room_of(1, "office").place
    second = simulate(2, "toilet", weeks=1, room="r2", with_truth=False, place=place, **same)
    write_building([first, second], tmp_path / "b")
    site = tomllib.loads((tmp_path / "b" / "site.toml").read_text(encoding="utf-8"))
    assert list(site["rooms"]) == ["r1", "r2"]
    assert site["rooms"]["r1"]["channels"].keys() == first.channels.keys()
    log = pl.read_parquet(tmp_path / "b" / "log.parquet")
    assert log.columns == ["time", "room", "channel", "quantity", "value"]
    assert log.schema["time"] == pl.Datetime("us", "UTC")
    assert log["time"].is_sorted()
    assert len(log) == len(first.log) + len(second.log)
    beside = {p.name for p in (tmp_path / "b").iterdir()}
    assert beside == {"site.toml", "log.parquet", "truth"}
    truth = json.loads((tmp_path / "b" / "truth" / "parameters.json").read_text(encoding="utf-8"))
    assert truth["r1"]["people"]["stillness"]["family"] in FAMILIES


def test_rooms_of_one_building_share_its_site(tmp_path: Path) -> None:
    rooms = [simulate(s, "toilet", weeks=1, room=f"r{s}", with_truth=False, electricity_price=s / 10) for s in (1, 2)]
    with pytest.raises(ValueError, match="same place, electricity_price and cost_per_false_off"):
        write_building(rooms, tmp_path / "b")
    with pytest.raises(ValueError, match="different keys"):
        write_building([rooms[0], rooms[0]], tmp_path / "b")


def test_hold_off_may_change_inside_a_log() -> None:
    room = simulate(
        7, "office", weeks=4, hold_off_s=180, with_truth=False, hold_off_changes=((14, 900),), documented=True, **PLAIN
    )
    monday = room.parameters["first_monday"]
    motion, off = seconds(room, "motion"), seconds(room, "output", 0.0)
    lag = off - motion[np.searchsorted(motion, off) - 1]
    middle = datetime(monday.year, monday.month, monday.day, tzinfo=UTC).timestamp() + 14 * 86_400
    # The change comes within a day of its midnight, when nobody is there.
    assert lag[off < middle - 86_400] == pytest.approx(180.0, abs=0.01)
    assert lag[off > middle + 86_400] == pytest.approx(900.0, abs=0.01)
    history = next(iter(room.channels.values()))["settings_history"]
    assert [(str(h["from"]), h["hold_off_s"]) for h in history] == [(str(monday + timedelta(days=14)), 900)]


@pytest.mark.parametrize("form", ["events", "pulses", "sampled", "occupied"])
def test_motion_forms(form: str) -> None:
    plain = PLAIN | {"motion_form": form}
    room = simulate(9, "office", weeks=1, hold_off_s=300, with_truth=False, **plain)
    quantity = "occupied" if form == "occupied" else "motion"
    rows = room.log.filter(pl.col("quantity") == quantity)
    assert len(rows) > 50
    if form == "events":
        assert (rows["value"] == 1).all()
        return
    assert set(rows["value"].unique()) == {0.0, 1.0}
    if form == "sampled":
        step = rows["time"].diff().drop_nulls().unique().to_list()
        assert step == [timedelta(seconds=room.parameters["detector"]["motion_sample_s"])]
    else:
        assert (rows["value"].diff().drop_nulls().abs() == 1).all()  # ons and offs take turns
    if form == "occupied":
        off = room.log.filter((pl.col("quantity") == "output") & (pl.col("value") == 0))["time"]
        assert rows.filter(pl.col("value") == 0)["time"].to_list() == off.to_list()


def test_manual_on_lights_only_after_a_press() -> None:
    room = simulate(9, "office", weeks=2, hold_off_s=300, with_truth=False, **(PLAIN | {"mode": "manual-on"}))
    on = seconds(room, "output", 100.0)
    pressed = room.log.filter((pl.col("quantity") == "override") & (pl.col("value") > 0))["time"].dt.epoch("us") / 1e6
    np.testing.assert_allclose(on, pressed.to_numpy(), rtol=0, atol=2e-3)
    assert len(on) > 10


def test_unknown_names_are_refused() -> None:
    with pytest.raises(ValueError, match="unknown room use 'ballroom'"):
        simulate(1, "ballroom")
    with pytest.raises(ValueError, match=r"unknown overrides \['colour'\]"):
        simulate(1, "office", colour="red")


def test_shares_nothing_with_the_estimator() -> None:
    for path in (Path(__file__).parent / "simulation").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not any(n.split(".")[0] in {"tuning", "dashboard"} for n in names), path

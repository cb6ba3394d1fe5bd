"""The second simulator's own tests, over a tiny room; numba may be missing."""

import ast
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from tests.second_simulation.batch import Job, Regrets, make, policies
from tests.second_simulation.lights import DIMMED, Lights
from tests.second_simulation.loop import Manners, Run, run
from tests.second_simulation.people import Stays
from tests.second_simulation.room import CANDIDATES_S, simulate
from tests.second_simulation.stillness import EXPONENTIAL, FAMILIES, LONGEST_S, Stillness, draw_stillness, still_s
from tests.second_simulation.uses import USES
from tuning.pipeline import analyse_folder
from tuning.room_uses import ROOM_USES

FORBIDDEN = ("tuning", "dashboard", "tests.simulation")
ALWAYS_STILL = Stillness(EXPONENTIAL, 1.0, 1e9)
"""Every stillness lasts as long as any may."""


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Regrets]]:
    """A week of a bright office with one person, and another one of truth, as a folder."""
    folder = tmp_path_factory.mktemp("second") / "room_000"
    words, regrets = make(Job(0, 10, "office", 1, 1, 1.0, folder))
    assert words.startswith("room_000 office, ")
    return folder, regrets


def still_person(daylight_lx: float, *, goes_on: bool = True, hours: float = 4.0) -> Run:
    """Somebody comes after a minute, keeps still, and is seen without fail; waves come five seconds after the dark. The hold-off is five minutes."""
    manners = Manners(
        1.0, 1.0, 1.0, dead_s=0.0, fidgets=0.0, fidget_s=1.0, step_s=1.0, stillness=ALWAYS_STILL, goes_on=goes_on,
        reaction_s=5.0, reaction_sigma=0.0, need_sigma=0.0, output_step=0.01,
    )  # fmt: skip
    one = np.ones(1)
    lights = Lights(
        300 * one, 0 * one, 250 * one, 0.1 * one, one, one, 100 * one, 0 * one, 500 * one, np.array([DIMMED])
    )
    stays = Stays(60 * one, 60 + 3600 * hours * one, np.array([False]), one)
    daylight = np.full((1, 60 * (int(hours) + 1)), daylight_lx)
    return run(np.random.default_rng(0), manners, lights, stays, daylight, 300.0, records=True)


def test_a_room_is_written_for_the_product_to_read(office: tuple[Path, list[Regrets]]) -> None:
    folder, _ = office
    log = pl.read_parquet(folder / "log.parquet")
    assert log.columns == ["time", "room", "channel", "quantity", "value"]
    assert log["time"].is_sorted()
    (channel,) = analyse_folder(folder).channels
    assert channel.use == "office"
    assert channel.recommended.hold_off_s is not None
    truth = pl.read_parquet(folder / "truth" / "switch_offs.parquet")
    seen = channel.switch_offs["time"].dt.epoch("us").to_numpy()
    true = truth["time"].dt.epoch("us").to_numpy()
    nearest = np.abs(true[:, None] - seen[None, :]).min(axis=1)
    assert np.mean(nearest < 1e6) > 0.95


def test_longer_hold_offs_leave_fewer_in_the_dark_and_waste_more(office: tuple[Path, list[Regrets]]) -> None:
    folder, (regrets,) = office
    curve = pl.read_parquet(folder / "truth" / "truth_curve.parquet")
    assert curve["hold_off_s"].to_list() == list(CANDIDATES_S)
    minute, three, ten = (curve["false_offs"][CANDIDATES_S.index(s)] for s in (60, 180, 600))
    assert minute > 3 * three > 10 * ten
    assert (np.diff(curve["wasted_on_h"]) > 0).all()
    assert min(regrets.by_candidate) == 0
    assert regrets.as_is in regrets.by_candidate


def test_notes_of_presence_and_switch_offs_agree(office: tuple[Path, list[Regrets]]) -> None:
    folder, _ = office
    stays = pl.read_parquet(folder / "truth" / "presence.parquet").sort("start")
    offs = pl.read_parquet(folder / "truth" / "switch_offs.parquet").sort("time")
    last = offs.join_asof(stays, left_on="time", right_on="start", strategy="backward")
    inside = last.select((pl.col("end") > pl.col("time")).fill_null(value=False)).to_series()
    assert offs["present"].to_list() == inside.to_list()
    assert not offs.filter(pl.col("minds") & ~pl.col("present")).height
    assert 0 < offs["minds"].sum() < offs["present"].sum() < len(offs)


def test_only_who_minds_waves() -> None:
    dark, bright = still_person(0.0), still_person(2000.0)
    assert dark.false_offs[0] > 40
    assert dark.false_offs[0] == dark.off_minds.sum()
    back = dark.motion_s[np.searchsorted(dark.motion_s, dark.off_s[dark.off_minds > 0])]
    np.testing.assert_allclose(back - dark.off_s[dark.off_minds > 0], 5.0)
    # In daylight the same switch-off leaves nobody who minds, and the stillness is whole.
    assert bright.off_present.sum() >= 1
    assert bright.false_offs[0] == 0
    assert np.isclose(np.diff(bright.motion_s), LONGEST_S).sum() == 1


def test_a_stillness_goes_on_or_starts_afresh_after_a_wave() -> None:
    on, afresh = still_person(0.0, hours=8.0), still_person(0.0, goes_on=False, hours=8.0)
    for of in (on, afresh):
        assert np.isclose(np.diff(of.motion_s), 305.0).sum() > 40
    began = on.motion_s[np.flatnonzero(np.diff(on.motion_s) > 100)[0]]
    assert np.isclose(on.motion_s, began + LONGEST_S).any()
    assert not np.isclose(afresh.motion_s, began + LONGEST_S).any()


def test_light_for_nobody_is_wasted_and_costs_what_the_lamps_take() -> None:
    told = still_person(0.0)
    # Nobody is there after the stay: one hold-off from the last movement, less what of it they were still there. 250 lx of 300 are held.
    left_s = 60 + 4 * 3600
    assert told.wasted_s[0] == pytest.approx(told.off_s[-1] - left_s)
    assert told.wasted_j[0] == pytest.approx(told.wasted_s[0] * 100 * 250 / 300)


@pytest.mark.parametrize("family", range(len(FAMILIES)), ids=FAMILIES)
def test_half_of_the_stillnesses_are_below_the_median(family: int) -> None:
    rng = np.random.default_rng(family)
    law = next(law for law in (draw_stillness(rng, 20.0) for _ in range(1000)) if law.family == family)
    drawn = np.array([still_s(rng, law) for _ in range(4000)])
    assert np.mean(drawn < 20.0) == pytest.approx(0.5, abs=0.03)


def test_the_same_seed_gives_the_same_room() -> None:
    a, again, b = (
        simulate(seed, "toilet", weeks=1, truth_weeks=1, candidates_s=(300,)) for seed in ((13, 0), (13, 0), (20, 0))
    )
    assert a.log.equals(again.log)
    assert a.truth_curve.equals(again.truth_curve)
    assert not a.log.equals(b.log)


def test_no_log_meets_a_change_of_the_clocks() -> None:
    with pytest.raises(ValueError, match="1 to 7 weeks, not 8"):
        simulate(1, "toilet", weeks=8)


def test_its_uses_are_the_products() -> None:
    assert set(USES) <= set(ROOM_USES)


def test_fixed_hold_offs_are_told_in_words() -> None:
    over = tuple(float(i) for i in range(len(CANDIDATES_S)))
    lines = list(policies([Regrets("office", over, 3.0), Regrets("toilet", over[::-1], 1.0)]))
    assert lines[1].split() == ["leave", "as", "it", "is", "mean", "2.00,", "90th", "percentile", "2.80"]
    assert lines[-1].startswith("best: 1 min 1, 2 min 0")


def test_it_imports_nothing_of_what_it_judges_nor_of_the_other_simulator() -> None:
    paths = list((Path(__file__).parent / "second_simulation").rglob("*.py"))
    assert len(paths) > 8
    for path in paths:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                assert node.level == 0, path
                names = [f"{node.module}.{a.name}" for a in node.names]
            for name in names:
                assert not any(f"{name}.".startswith(f"{other}.") for other in FORBIDDEN), (path, name)

"""Deciding: nothing outdated, nothing over another's head, nothing below a floor without a word, and all of it kept."""

import datetime as dt
import threading

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from dashboard.workspace import Workspace, analyses, buildings, decisions, verdicts
from dashboard.workspace.decisions import ChannelState, Choice, decide, states
from dashboard.workspace.errors import (
    ConflictError,
    NotThereError,
    OutdatedError,
    ReasonNeededError,
    RefusedError,
    WrongValueError,
)
from tests.dashboard import synthetic
from tests.dashboard.workspaces import ANNA, BEN, analysed, analysed_again, plain
from tuning.results import Settings

pytestmark = pytest.mark.usefixtures("database")

WALL, WINDOW, SEMINAR = ("r101", "wall"), ("r101", "window"), ("r102", "all")
OFF = synthetic.START + dt.timedelta(days=2, hours=9)


@pytest.fixture
def desk(tmp_path):
    ws, building, number = analysed(tmp_path / "w")
    yield ws, building, number
    ws.close()


def accept(place, revision=0, **more):
    return Choice(*place, "accept", revision, **more)


def adjust(place, hold_off_s, revision=0, *, target_lx=400.0, **more):
    return Choice(*place, "adjust", revision, Settings(hold_off_s, target_lx, "auto-on"), **more)


def test_an_analysis_comes_back_as_it_was_kept(desk):
    ws, building, number = desk
    kept = analyses.summary(ws, building, number)

    assert plain(kept) == plain(synthetic.analysis()) | {"channels": plain(kept)["channels"]}
    for was, found in zip(synthetic.analysis().channels, kept.channels, strict=True):
        full = analyses.full_channel(ws, building, number, was.room, was.channel)
        assert found.motions is None
        assert found.light.daylight is None
        assert plain(full.light) == plain(was.light)
        assert plain(full) | {"light": 0} == plain(was) | {"light": 0}
        for name in ("motions", "gaps", "switch_offs", "episodes", "output"):
            if getattr(was, name) is not None:
                assert_frame_equal(getattr(full, name), getattr(was, name))
        if was.light.daylight is not None:
            assert_frame_equal(full.light.daylight, was.light.daylight)


def test_a_decision_keeps_who_when_which_log_version_and_settings(desk):
    ws, building, number = desk
    before = dt.datetime.now(dt.UTC)

    (made,) = decide(ws, building, [accept(WALL)], analysis=number, by=ANNA)

    assert (made.kind, made.settings, made.was) == (
        "accept",
        Settings(600, 400, "auto-on"),
        Settings(300, 500, "auto-on"),
    )
    assert before <= made.at <= dt.datetime.now(dt.UTC)
    assert (made.by, made.extra_cost, made.marks) == (ANNA, 0.0, ())
    basis = analyses.latest(ws, building)
    assert (made.analysis, basis.version) == (basis.id, "0.1.0")
    assert basis.inputs["document"] == buildings.document(ws, building)[0]
    assert states(ws, building) == {WALL: ChannelState(1, made, None)}


def test_an_adjustment_says_what_it_costs_against_the_recommendation(desk):
    ws, building, number = desk
    curve = {p.hold_off_s: p.cost for p in synthetic.curve(300)}
    kwh = {p.target_lx: p.energy_kwh for p in synthetic.light().target_curve}

    (made,) = decide(ws, building, [adjust(WALL, 900.0, target_lx=450.0)], analysis=number, by=ANNA)

    assert made.extra_cost == pytest.approx(curve[900] - curve[600] + 0.30 * (kwh[450] - kwh[400]))
    (beyond,) = decide(ws, building, [adjust(WALL, 7200.0, 1, reason="r")], analysis=number, by=ANNA)
    assert beyond.extra_cost is None


def test_a_rejection_says_why_and_leaves_what_is_set(desk):
    ws, building, number = desk
    with pytest.raises(ReasonNeededError, match="Reading room, wall: a rejection says why"):
        decide(ws, building, [Choice(*WALL, "reject", 0)], analysis=number, by=ANNA)

    (made,) = decide(ws, building, [Choice(*WALL, "reject", 0, reason="moves out")], analysis=number, by=ANNA)

    assert (made.settings, made.reason) == (Settings(300, 500, "auto-on"), "moves out")


@pytest.mark.parametrize(
    ("hold_off_s", "target_lx", "mark", "told"),
    [
        (30.0, 400.0, "below-floor", "30 s is below the safety floor of 1 min for the use 'reading room'"),
        (1500.0, 400.0, "beyond-code-limit", "25 min is beyond the code limit of 20 min"),
        (600.0, 250.0, "below-target-floor", "250 lx gives the task less than the safety floor of 300 lx"),
    ],
)
def test_beyond_a_floor_or_a_limit_it_takes_a_reason_and_is_marked(desk, hold_off_s, target_lx, mark, told):
    ws, building, number = desk
    with pytest.raises(ReasonNeededError, match=told):
        decide(ws, building, [adjust(WALL, hold_off_s, target_lx=target_lx)], analysis=number, by=ANNA)
    assert states(ws, building) == {}

    choice = adjust(WALL, hold_off_s, target_lx=target_lx, reason="agreed with the safety officer")
    (made,) = decide(ws, building, [choice], analysis=number, by=ANNA)

    assert mark in made.marks


def test_many_are_decided_at_once_or_none(desk):
    ws, building, number = desk
    decide(ws, building, [accept(SEMINAR)], analysis=number, by=BEN)

    with pytest.raises(ConflictError, match="r102/all: Ben accepted it at"):
        decide(ws, building, [accept(WALL), accept(WINDOW), accept(SEMINAR)], analysis=number, by=ANNA)
    assert set(states(ws, building)) == {SEMINAR}

    made = decide(ws, building, [accept(WALL), accept(WINDOW), accept(SEMINAR, 1)], analysis=number, by=ANNA)
    assert len({d.batch for d in made}) == 1
    assert decisions.undo_batch(ws, building, made[0].batch, by=ANNA) == 3
    after = states(ws, building)
    assert after[WALL].decision is None
    assert after[SEMINAR].decision.by == BEN


def test_what_has_no_settings_is_not_accepted(desk):
    ws, building, number = desk

    with pytest.raises(RefusedError, match=r"fan has no settings to accept.*See its findings"):
        decide(ws, building, [accept(WALL), accept(("r104", "fan"))], analysis=number, by=ANNA)

    assert states(ws, building) == {}


def test_an_undo_stays_in_the_history_and_may_be_done_once(desk):
    ws, building, number = desk
    (made,) = decide(ws, building, [accept(WALL)], analysis=number, by=ANNA)

    decisions.undo(ws, building, [made.id], by=BEN)

    (kept,) = decisions.history(ws, building)
    assert (kept.by, kept.undone_by, states(ws, building)[WALL]) == (ANNA, BEN, ChannelState(2))
    with pytest.raises(ConflictError, match="Ben took the decision back"):
        decisions.undo(ws, building, [made.id], by=ANNA)
    with pytest.raises(ConflictError, match="Ben took the decision back"):
        decide(ws, building, [accept(WALL, 1)], analysis=number, by=ANNA)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda ws, b: buildings.edit(ws, b, {("site", "electricity_price"): 0.4}, by=BEN, revision=None), "Electricity 0.3 → 0.4 per kWh"),
        (lambda ws, b: buildings.edit(ws, b, {("rooms", "r101", "use"): "office"}, by=BEN, revision=None), "r101: use reading room → office"),
        (lambda ws, b: verdicts.say(ws, b, *WALL, OFF, present=True, by=BEN), "Ben said somebody was there at 2026-03-18"),
    ],
)  # fmt: skip
def test_a_decision_on_an_outdated_analysis_is_refused_and_says_what_changed(desk, change, told):
    ws, building, number = desk
    change(ws, building)

    with pytest.raises(OutdatedError, match=told):
        decide(ws, building, [accept(WALL)], analysis=number, by=ANNA)

    assert states(ws, building) == {}
    again = analysed_again(ws, building)
    assert decide(ws, building, [accept(WALL)], analysis=again, by=ANNA)


def test_what_bears_on_another_room_or_on_nothing_outdates_nothing(desk):
    ws, building, number = desk
    buildings.edit(ws, building, {("rooms", "r102", "use"): "office", ("rooms", "r101", "name"): "Quiet room"}, by=BEN, revision=None)  # fmt: skip
    verdict = verdicts.say(ws, building, *WALL, OFF, present=True, by=BEN)
    verdicts.undo(ws, verdict.id, by=BEN)
    buildings.edit(ws, building, {("site", "electricity_price"): 0.30}, by=BEN, revision=None)

    (made,) = decide(ws, building, [accept(WALL)], analysis=number, by=ANNA)

    assert made.kind == "accept"
    assert analyses.summary(ws, building, number).channels[0].room_name == "Quiet room"
    assert analyses.full_channel(ws, building, number, *WALL).room_name == "Quiet room"


def test_of_two_who_decide_at_once_one_is_told(desk):
    ws, building, number = desk
    start, told = threading.Barrier(8), []

    def one(who):
        own = Workspace(ws.folder)
        start.wait()
        try:
            decide(own, building, [adjust(WALL, 300.0 + 60 * who), accept(SEMINAR)], analysis=number, by=f"P{who}")
        except ConflictError as error:
            told.append(str(error))
        own.close()

    people = [threading.Thread(target=one, args=(who,)) for who in range(8)]
    [p.start() for p in people]
    [p.join() for p in people]

    assert len(told) == 7
    stands = states(ws, building)
    assert stands[WALL].decision.by == stands[SEMINAR].decision.by
    assert len(decisions.history(ws, building)) == 2


def test_setting_on_site_starts_a_verification_and_can_be_taken_back(desk):
    ws, building, number = desk
    wall, seminar = decide(
        ws, building, [accept(WALL), Choice(*SEMINAR, "reject", 0, reason="no")], analysis=number, by=ANNA
    )
    when = dt.datetime(2026, 4, 20, 9, 30, tzinfo=dt.UTC)

    (visit,) = decisions.mark_set(ws, building, {wall.id: when}, set_by="Carl", by=ANNA, note="ladder")

    assert states(ws, building)[WALL].visit == visit
    assert (visit.set_at, visit.set_by, visit.settings) == (when, "Carl", Settings(600, 400, "auto-on"))
    with pytest.raises(RefusedError, match="set already"):
        decisions.mark_set(ws, building, {wall.id: when}, set_by="Carl", by=ANNA)
    with pytest.raises(RefusedError, match="nothing to set"):
        decisions.mark_set(ws, building, {seminar.id: when}, set_by="Carl", by=ANNA)
    with pytest.raises(RefusedError, match="set on site; take that back first"):
        decisions.undo(ws, building, [wall.id], by=ANNA)
    decisions.unmark_set(ws, building, visit.id, by=ANNA)
    with pytest.raises(RefusedError, match="lies ahead"):
        decisions.mark_set(ws, building, {wall.id: when + dt.timedelta(days=9999)}, set_by="Carl", by=ANNA)
    decisions.undo(ws, building, [wall.id], by=ANNA)
    assert states(ws, building)[WALL] == ChannelState(2)


def test_unknown_things_and_impossible_settings_are_told(desk):
    ws, building, number = desk
    for choice, error in (
        (accept(("nowhere", "x")), NotThereError),
        (adjust(WALL, -1.0), WrongValueError),
        (adjust(WALL, float("nan")), WrongValueError),
    ):
        with pytest.raises(error):
            decide(ws, building, [choice], analysis=number, by=ANNA)
    with pytest.raises(NotThereError, match="no analysis 99"):
        decide(ws, building, [accept(WALL)], analysis=99, by=ANNA)
    with pytest.raises(RefusedError, match="twice"):
        decide(ws, building, [accept(WALL), accept(WALL)], analysis=number, by=ANNA)
    assert states(ws, building) == {}


def test_verdicts_are_kept_taken_back_and_never_written_over_unseen(desk):
    ws, building, _ = desk
    first = verdicts.say(ws, building, *WALL, OFF, present=True, by=ANNA, note="I was there")
    with pytest.raises(ConflictError, match="Anna said somebody was there"):
        verdicts.say(ws, building, *WALL, OFF, present=False, by=BEN)

    second = verdicts.say(ws, building, *WALL, OFF, present=False, by=BEN, replaces=first.id)

    assert [v.by for v in verdicts.standing(ws, building, *WALL)] == [BEN]
    verdicts.undo(ws, second.id, by=ANNA)
    assert verdicts.standing(ws, building) == []
    assert [(v.by, v.undone_by) for v in verdicts.history(ws, building, *WALL)] == [(BEN, ANNA), (ANNA, BEN)]
    with pytest.raises(RefusedError, match="taken back already"):
        verdicts.undo(ws, second.id, by=ANNA)


def test_verdicts_go_to_the_estimator_as_it_takes_them():
    rows = [{"room": "a", "channel": "main", "time": OFF, "present": True}]

    frame = verdicts.frame(rows)

    assert frame.schema == verdicts.VERDICTS
    assert frame.row(0, named=True) == rows[0]
    assert verdicts.frame([]) is None
    assert isinstance(frame, pl.DataFrame)

"""Old analyses go by a stated rule, and nothing that people decided goes with them."""

import datetime as dt
import random

import pytest
from sqlalchemy import update

from dashboard.pages.logs import old
from dashboard.workspace import analyses, decisions, jobs, pruning, saved
from dashboard.workspace import inputs as given
from dashboard.workspace.decisions import Choice
from dashboard.workspace.errors import ConflictError, RefusedError, WrongValueError
from dashboard.workspace.pruning import Rule
from dashboard.workspace.tables import AnalysisRow
from tests.dashboard.workspaces import ANNA, BEN, analysed, analysed_again

ALL_OLD = Rule(newest=1, days=0)


@pytest.fixture
def space(tmp_path):
    ws, building, first = analysed(tmp_path / "w")
    yield ws, building, first
    ws.close()


def accept(ws, building, number, room="r101", channel="wall"):
    state = decisions.states(ws, building).get((room, channel), decisions.ChannelState())
    (done,) = decisions.decide(
        ws, building, [Choice(room, channel, "accept", state.revision)], analysis=number, by=ANNA
    )
    return done


def built_on(ws, building, base, rooms):
    """An analysis of some rooms that takes the others over, frames and all, from an earlier one."""
    with ws.reading() as session:
        inputs = given.present(session, building)
        folder = ws.building_folder(building) / "results" / analyses.row_of(session, building, base).folder
    kept = {(e["room"], e["channel"]): e for e in saved.document(folder)["channels"] if e["room"] not in rooms}
    return analyses.keep(ws, building, analyses.summary(ws, building, base), inputs, by=ANNA, kept=kept)


def going(ws, building, rule=ALL_OLD):
    return [a.id for a in pruning.plan(ws, building, rule).going]


def test_what_goes_is_neither_new_nor_young_nor_decided_on(database, space):
    ws, building, first = space
    second, third, fourth = (analysed_again(ws, building) for _ in range(3))
    accept(ws, building, second)

    assert going(ws, building) == [first, third]
    assert going(ws, building, Rule(newest=2, days=0)) == [first]
    assert going(ws, building, Rule(newest=1, days=1)) == []
    plan = pruning.plan(ws, building, ALL_OLD)
    assert (plan.newest, plan.young, plan.decided) == (1, 0, 1)
    assert plan.size > 0
    assert fourth not in going(ws, building)


def test_age_counts_from_when_it_was_made(space):
    ws, building, first = space
    analysed_again(ws, building)
    with ws.writing() as session:
        long_ago = dt.datetime.now(dt.UTC) - dt.timedelta(days=31)
        session.execute(update(AnalysisRow).where(AnalysisRow.id == first).values(created_at=long_ago))

    assert going(ws, building, Rule(newest=1, days=30)) == [first]
    assert going(ws, building, Rule(newest=1, days=32)) == []


def test_a_decision_keeps_its_analysis_even_when_it_was_taken_back_or_replaced(space):
    ws, building, first = space
    done = accept(ws, building, first)
    second = analysed_again(ws, building)
    accept(ws, building, second)
    third = analysed_again(ws, building)
    decisions.undo(ws, building, [accept(ws, building, third, "r102", "all").id], by=BEN)
    analysed_again(ws, building)

    assert going(ws, building) == []
    assert done.analysis == first


def test_the_results_go_and_the_record_stays(space):
    ws, building, first = space
    newest = analysed_again(ws, building)
    before = analyses.all_of(ws, building)
    size = pruning.plan(ws, building, ALL_OLD).size

    freed = pruning.prune(ws, building, [first], ALL_OLD, by=BEN)

    assert freed == size
    assert analyses.all_of(ws, building) == before
    with ws.reading() as session:
        row = analyses.row_of(session, building, first)
        assert row.pruned_by == BEN
        assert not (ws.building_folder(building) / "results" / row.folder).exists()
    with pytest.raises(RefusedError, match=f"let go by {BEN}"):
        analyses.summary(ws, building, first)
    assert analyses.summary(ws, building, newest).channels
    assert going(ws, building) == []


def test_frames_that_a_kept_analysis_took_over_stay(space):
    ws, building, first = space
    last = built_on(ws, building, first, {"r101"})
    taken = analyses.full_channel(ws, building, first, "r102", "all").motions

    pruning.prune(ws, building, going(ws, building), ALL_OLD, by=ANNA)
    analyses._full.cache_clear()

    for c in analyses.summary(ws, building, last).channels:
        analyses.full_channel(ws, building, last, c.room, c.channel)
    assert analyses.full_channel(ws, building, last, "r102", "all").motions.equals(taken)


def test_nothing_goes_that_was_decided_on_between_looking_and_agreeing(database, space):
    ws, building, first = space
    second = analysed_again(ws, building)
    analysed_again(ws, building)
    shown = going(ws, building)
    accept(ws, building, second)

    with pytest.raises(ConflictError, match=f"Analysis {second} stays"):
        pruning.prune(ws, building, shown, ALL_OLD, by=ANNA)
    assert analyses.summary(ws, building, first).channels


def test_nobody_lets_go_without_a_name_the_newest_or_under_work(space):
    ws, building, first = space
    newest = analysed_again(ws, building)
    with pytest.raises(WrongValueError):
        pruning.prune(ws, building, [first], ALL_OLD, by=" ")
    with pytest.raises(ConflictError):
        pruning.prune(ws, building, [newest], ALL_OLD, by=ANNA)
    with pytest.raises(RefusedError, match="newest analysis always stays"):
        Rule(newest=0)
    jobs.ask(ws, building, "analyse", by=ANNA)
    with pytest.raises(RefusedError, match="under way"):
        pruning.prune(ws, building, [first], ALL_OLD, by=ANNA)


def test_what_a_crash_left_is_swept(space, monkeypatch):
    ws, building, first = space
    analysed_again(ws, building)

    def killed(*_):
        raise KeyboardInterrupt

    with monkeypatch.context() as m:
        m.setattr(pruning, "sweep", killed)
        with pytest.raises(KeyboardInterrupt):
            pruning.prune(ws, building, [first], ALL_OLD, by=ANNA)
    with ws.reading() as session:
        folder = ws.building_folder(building) / "results" / analyses.row_of(session, building, first).folder
    assert folder.exists()

    assert pruning.sweep(ws, building) > 0
    assert not folder.exists()
    assert pruning.sweep(ws, building) == 0


@pytest.mark.parametrize("seed", range(4))
def test_whatever_is_done_in_whatever_order_every_decision_keeps_what_it_rests_on(space, seed):
    ws, building, _ = space
    rng = random.Random(seed)
    found = analyses.summary(ws, building, 1).channels
    places = [(c.room, c.channel) for c in found]
    acceptable = [(c.room, c.channel) for c in found if decisions.acceptable(c)]
    for _ in range(14):
        newest = analyses.latest(ws, building).id
        act = rng.choice(("analyse", "build on", "decide", "undo", "prune"))
        if act == "analyse":
            analysed_again(ws, building)
        elif act == "build on":
            built_on(ws, building, newest, {rng.choice(places)[0]})
        elif act == "decide":
            accept(ws, building, newest, *rng.choice(acceptable))
        elif act == "undo" and (
            standing := [s.decision.id for s in decisions.states(ws, building).values() if s.decision]
        ):
            decisions.undo(ws, building, [rng.choice(standing)], by=ANNA)
        elif act == "prune":
            rule = Rule(newest=rng.randint(1, 3), days=0)
            pruning.prune(ws, building, [a.id for a in pruning.plan(ws, building, rule).going], rule, by=ANNA)
    analyses._full.cache_clear()
    analyses._summary.cache_clear()
    saved.document.cache_clear()

    wanted = {d.analysis for d in decisions.history(ws, building)} | {analyses.latest(ws, building).id}
    for number in wanted:
        channels = analyses.summary(ws, building, number).channels
        assert {(c.room, c.channel) for c in channels} == set(places)
        for c in channels:
            assert analyses.full_channel(ws, building, number, c.room, c.channel).decision == c.decision
    assert {a.id for a in analyses.all_of(ws, building)} >= wanted
    assert all(a.inputs["document"]["rooms"] for a in analyses.all_of(ws, building))


def test_the_page_says_first_what_would_go(space):
    ws, building, first = space
    newest = analysed_again(ws, building)

    told, numbers, nothing = old.looked(ws, building, ALL_OLD)
    text = str(told)
    assert f"Analysis {first} of" in text
    assert f"Analysis {newest} of" not in text
    assert (numbers, nothing) == ([first], False)
    told, numbers, nothing = old.gone(ws, building, numbers, ALL_OLD, ANNA)
    assert "1 analysis let go" in str(told)
    assert nothing
    assert "Nothing would go" in str(old.looked(ws, building, ALL_OLD)[0])

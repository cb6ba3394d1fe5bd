"""The worker's own job looks for drift: lamps that fall are found and told, and after the room was set on site nothing is watched yet."""

import datetime as dt

import polars as pl
import pytest

from dashboard.workspace import Workspace, acknowledging, analyses, decisions, importing, jobs
from dashboard.workspace.decisions import Choice
from tests.building import SITE, START, office_days, write
from tests.dashboard.test_verification_pages import work
from tests.dashboard.workspaces import ANNA

WEEKS = 10
FELL = 56


def log_with_lamps():
    """Ten weeks of an office, whose lamps give three quarters of their light after eight."""
    two = pl.DataFrame(office_days(14))
    ten = pl.concat([two.with_columns(pl.col("time") + dt.timedelta(days=14 * i)) for i in range(WEEKS // 2)])
    switched = ten.filter(pl.col("quantity") == "output")
    lamp = pl.when(pl.col("time") < START + dt.timedelta(days=FELL)).then(400.0).otherwise(300.0)
    wobble = (pl.col("time").dt.ordinal_day() % 5).cast(pl.Float64)
    lit = switched.with_columns(
        time=pl.col("time") + dt.timedelta(seconds=1),
        quantity=pl.lit("illuminance"),
        value=20.0 + pl.when(pl.col("value") > 0).then(lamp + wobble).otherwise(0.0),
    )
    before = switched.with_columns(
        time=pl.col("time") - dt.timedelta(seconds=1),
        quantity=pl.lit("illuminance"),
        value=20.0 + pl.when(pl.col("value") > 0).then(0.0).otherwise(lamp + wobble),
    )
    return pl.concat([ten, lit, before]).sort("time").to_dicts()


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    given = tmp_path_factory.mktemp("given")
    write(given, log_with_lamps(), site=SITE)
    ws = Workspace(tmp_path_factory.mktemp("ws") / "ws")
    building = importing.import_folder(ws, given, by=ANNA)
    jobs.ask(ws, building, "analyse", by=ANNA)
    work(ws)
    yield ws, building
    ws.close()


def lamps(ws, building):
    number = analyses.latest(ws, building).id
    found = acknowledging.standing(ws, building, number)
    return number, [s.drift for r in found.values() for s in r.drifts if s.drift.statistic == "lamp_lx"]


def test_the_job_finds_what_drifted_and_an_analysis_of_other_rooms_takes_it_over(desk):
    ws, building = desk
    number, [drift] = lamps(ws, building)
    assert abs((drift.since - (START.date() + dt.timedelta(days=FELL))).days) <= 2
    assert (drift.before, drift.after) == (pytest.approx(402, abs=4), pytest.approx(302, abs=4))

    jobs.ask(ws, building, "analyse", by=ANNA, rooms=[])
    work(ws)

    newer, [again] = lamps(ws, building)
    assert newer > number
    assert again == drift


def test_reference_days_begin_anew_once_the_room_was_set_on_site(desk):
    ws, building = desk
    number, _ = lamps(ws, building)
    [made] = decisions.decide(ws, building, [Choice("a", "main", "accept", 0)], analysis=number, by=ANNA)
    set_at = START + dt.timedelta(days=FELL + 1)
    decisions.mark_set(ws, building, {made.id: set_at}, set_by=ANNA, by=ANNA)
    # At once, and in what is analysed next.
    assert acknowledging.standing(ws, building, number)["a"].counting == ()
    jobs.ask(ws, building, "analyse", by=ANNA, rooms=[])
    work(ws)

    newest, none = lamps(ws, building)

    kept = acknowledging.watched(ws, building, newest, "a")
    assert none == []
    assert kept.days.decided == set_at.date()
    assert kept.watched.reference_from > set_at.date()

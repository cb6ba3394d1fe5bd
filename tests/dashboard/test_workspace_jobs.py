"""Long work: taken up by one, told as it goes, stopped when nobody wants it, begun again when its worker dies, and never half kept."""

import datetime as dt
import json

import polars as pl
import pytest

from dashboard.desk import WorkspaceStores
from dashboard.workspace import Workspace, analyses, buildings, decisions, files, jobs, uploads, verdicts
from dashboard.workspace import worker as work
from dashboard.workspace.analyse import analyse
from dashboard.workspace.importing import import_folder
from dashboard.workspace.jobs import CancelledError, LostError
from dashboard.workspace.tables import JobRow
from tests.building import SITE, office_days, rows, write
from tests.dashboard.workspaces import ANNA, BEN, begun
from tuning.logs import read_logs
from tuning.pipeline import analyse_folder
from tuning.site import read_site

TWO_ROOMS = SITE + '[rooms.b]\nuse = "corridor"\n[rooms.b.channels.main]\nload_w = 60\n'


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    log = office_days(days=8) + rows([(1800 * i + 7, 1) for i in range(300)], room="b")
    return write(tmp_path_factory.mktemp("folder"), log, site=TWO_ROOMS)


@pytest.fixture
def space(tmp_path, folder):
    ws = Workspace(tmp_path / "w")
    yield ws, import_folder(ws, folder, by=ANNA)
    ws.close()


def do(ws, building, *, rooms=None, name="me"):
    jobs.ask(ws, building, "analyse", by=ANNA, rooms=rooms)
    job = jobs.claim(ws, name)
    work.run(ws, job, name)
    return jobs.get(ws, job.id)


def age(ws, job, seconds):
    with ws.writing() as session:
        session.get(JobRow, job).heartbeat -= dt.timedelta(seconds=seconds)


def test_what_is_analysed_in_a_workspace_is_what_the_command_analyses(space, folder):
    ws, building = space

    done = do(ws, building)

    assert (done.state, done.share, done.error) == ("done", 1.0, None)
    kept = analyses.summary(ws, building, analyses.latest(ws, building).id)
    wanted = analyse_folder(folder)
    assert [c.recommended for c in kept.channels] == [c.recommended for c in wanted.channels]
    assert [c.reasons for c in kept.channels] == [c.reasons for c in wanted.channels]
    assert [c.delay_curve for c in kept.channels] == [c.delay_curve for c in wanted.channels]
    assert analyses.changes_since(ws, building, 1) == []


def test_a_building_of_a_workspace_is_a_building_folder(space, folder):
    ws, building = space

    laid = files.lay_out(ws, building)

    assert read_site(laid).model_dump(exclude={"logs"}) == read_site(folder).model_dump(exclude={"logs"})
    assert read_logs(laid, read_site(laid)).series.drop("series").equals(read_logs(folder, read_site(folder)).series.drop("series"))  # fmt: skip
    files.remove(ws, building, files.all_of(ws, building)[0].id, by=ANNA)
    assert [p.name for p in files.lay_out(ws, building).iterdir()] == ["site.toml"]


def test_logs_are_read_once(space, monkeypatch):
    ws, building = space
    do(ws, building)
    (kept,) = (ws.building_folder(building) / "readings").iterdir()
    assert {p.suffix for p in kept.iterdir()} == {".parquet", ".json"}

    monkeypatch.setattr(files, "read_logs", lambda *_a, **_k: pytest.fail("read again"))
    buildings.edit(ws, building, {("site", "electricity_price"): 0.9}, by=ANNA, revision=None)

    assert do(ws, building).state == "done"
    assert analyses.summary(ws, building, 2).electricity_price == 0.9


def test_a_verdict_reaches_the_estimate_and_only_its_room_is_analysed_again(space, monkeypatch):
    ws, building = space
    do(ws, building)
    before = analyses.full_channel(ws, building, 1, "a", "main").switch_offs
    verdicts.say(ws, building, "a", "main", before["time"][0], present=True, by=BEN)
    asked = []
    real = analyse.__globals__["analyse_logs"]
    monkeypatch.setitem(analyse.__globals__, "analyse_logs", lambda *a, **k: asked.append(k["rooms"]) or real(*a, **k))

    do(ws, building, rooms=["a"])

    assert asked == [["a"]]
    after = analyses.full_channel(ws, building, 2, "a", "main").switch_offs
    assert (before["review"][0], after["review"][0], after["p_false"][0]) == (None, "present", 1.0)
    other = [analyses.full_channel(ws, building, n, "b", "main") for n in (1, 2)]
    assert other[0].delay_curve == other[1].delay_curve
    assert other[0].motions.equals(other[1].motions)
    choice = decisions.Choice("b", "main", "accept", 0)
    assert decisions.decide(ws, building, [choice], analysis=2, by=ANNA)


def test_a_price_that_changed_means_every_room(space, monkeypatch):
    ws, building = space
    do(ws, building)
    buildings.edit(ws, building, {("site", "electricity_price"): 0.9}, by=ANNA, revision=None)

    do(ws, building, rooms=["a"])

    assert analyses.changes_since(ws, building, 2) == []


def test_one_worker_has_a_job_until_it_gives_no_sign_of_life(database, space):
    ws, building = space
    number = jobs.ask(ws, building, "analyse", by=ANNA)
    assert jobs.ask(ws, building, "analyse", by=BEN) == number

    first = jobs.claim(ws, "one")
    assert jobs.claim(ws, "two") is None
    jobs.beat(ws, number, "one", share=0.5, what="reading")
    assert (jobs.get(ws, number).share, jobs.get(ws, number).what) == (0.5, "reading")

    age(ws, number, jobs.LEASE_S + 1)
    second = jobs.claim(ws, "two")
    assert (first.tries, second.id, second.tries) == (1, number, 2)
    with pytest.raises(LostError):
        jobs.beat(ws, number, "one")
    assert not jobs.end(ws, number, "one", "done")
    assert jobs.end(ws, number, "two", "done")


def test_a_worker_that_lost_its_job_keeps_nothing_of_it(database, space):
    ws, building = space
    jobs.ask(ws, building, "analyse", by=ANNA)
    job = jobs.claim(ws, "one")
    age(ws, job.id, jobs.LEASE_S + 1)
    jobs.claim(ws, "two")

    work.run(ws, job, "one")

    assert analyses.latest(ws, building) is None
    assert list((ws.building_folder(building) / "results").glob("*")) == []
    assert jobs.get(ws, job.id).state == "running"


def test_a_job_that_breaks_off_again_and_again_fails_in_words(database, space):
    ws, building = space
    number = jobs.ask(ws, building, "analyse", by=ANNA)
    for name in ("one", "two", "three"):
        assert jobs.claim(ws, name).id == number
        assert jobs.release(ws, name) == 1

    assert jobs.claim(ws, "four") is None
    assert jobs.get(ws, number).state == "failed"
    assert "broke off 3 times" in jobs.get(ws, number).error


def test_a_job_that_nobody_wants_ends(database, space):
    ws, building = space
    waiting = jobs.ask(ws, building, "analyse", by=ANNA)
    jobs.cancel(ws, waiting, by=BEN)
    assert jobs.get(ws, waiting).state == "cancelled"
    assert jobs.claim(ws, "one") is None

    running = jobs.ask(ws, building, "analyse", by=ANNA)
    job = jobs.claim(ws, "one")
    jobs.cancel(ws, running, by=BEN)
    with pytest.raises(CancelledError):
        jobs.beat(ws, running, "one")
    work.run(ws, job, "one")
    assert jobs.get(ws, running).state == "cancelled"
    assert analyses.latest(ws, building) is None


def test_a_log_that_cannot_be_read_is_told_by_the_name_that_it_was_brought_in_under(tmp_path):
    ws, building = begun(tmp_path / "w")
    log = "time,room,channel,quantity,value\n2026-03-01T10:00:00Z,r101,,motion,abc\n"
    (tmp_path / "März Trend.csv").write_text(log, encoding="utf-8")
    uploads.take(ws, building, tmp_path / "März Trend.csv", by=ANNA)

    failed = do(ws, building)

    assert failed.state == "failed"
    assert failed.error.startswith("März Trend.csv, row 2, column value: 'abc'")
    assert WorkspaceStores(ws).of(building).load().state == "failed"
    ws.close()


def test_the_pages_see_the_newest_analysis_and_what_goes_on(space):
    ws, building = space
    stores = WorkspaceStores(ws)
    store = stores.of(building)
    assert stores.of("nowhere") is None
    assert (store.load().state, store.analysis()) == ("empty", None)

    number = jobs.ask(ws, building, "analyse", by=ANNA)
    assert (store.load().state, store.load().share) == ("loading", 0.0)
    work.run(ws, jobs.claim(ws, "me"), "me")

    store = stores.of(building)
    assert (store.load().state, store.load().version, store.load().outdated) == ("ready", 1, ())
    channel = store.analysis().channels[0]
    assert channel.motions is None
    assert store.full(channel).motions is not None
    _line, raster = store.pictures(store.full(channel))
    assert len(raster.days) == 8
    buildings.edit(ws, building, {("site", "electricity_price"): 0.9}, by=ANNA, revision=None)
    assert store.load().outdated == ("Electricity 0.3 → 0.9 per kWh",)
    assert jobs.ask(ws, building, "analyse", by=ANNA) > number
    assert store.load().again == (0.0, "waiting for the worker")


def test_what_an_interrupted_job_left_is_swept_away(space):
    ws, building = space
    do(ws, building)
    results = ws.building_folder(building) / "results"
    kept = {p.name for p in results.iterdir()}
    (results / ".half").mkdir()
    (results / "whole-but-unnamed").mkdir()
    (ws.building_folder(building) / "laid-1").mkdir()

    assert analyses.sweep(ws) == 3

    assert {p.name for p in results.iterdir()} == kept
    assert analyses.summary(ws, building, 1).site == "Test house"


def test_layouts_of_an_imported_folder_still_fit_their_files(tmp_path):
    site = (
        SITE
        + '[[logs]]\nfiles = "trend_*.csv"\nlayout = "wide"\ntime = "t"\n[logs.columns]\n"PIR" = { room = "a", quantity = "motion" }\n'
    )
    source = tmp_path / "folder"
    source.mkdir()
    for month in (1, 2):
        lines = [f"2026-0{month}-05T10:{m:02}:00Z,1,x" for m in range(0, 60, 7)]
        (source / f"trend_{month}.csv").write_text("\n".join(["t,PIR,note", *lines]), encoding="utf-8")
    (source / "other.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    (source / "site.toml").write_text(site, encoding="utf-8")
    ws = Workspace(tmp_path / "w")

    building = import_folder(ws, source, by=ANNA)

    (layout,) = buildings.document(ws, building)[0]["logs"]
    assert layout["files"] == "trend-*.csv"
    laid = files.lay_out(ws, building)
    series = read_logs(laid, read_site(laid)).series
    assert series["rows"].sum() == 18
    assert isinstance(series, pl.DataFrame)
    assert json.loads(json.dumps(buildings.document(ws, building)[0])) == buildings.document(ws, building)[0]
    ws.close()

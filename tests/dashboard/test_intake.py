"""A watched folder: complete files come in once, bad ones make a finding, links and paths lead nowhere, and a kill loses and doubles nothing."""

import random
import shutil
import signal
import subprocess
import sys
import time

import pytest
from playwright.sync_api import expect

from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.workspace import Workspace, buildings, files, importing, intake, jobs, uploads
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.intake import Watcher
from tests.building import SITE, office_days, write
from tests.dashboard.conftest import answering
from tests.dashboard.workspaces import ANNA

WIDE = """
[[logs]]
files = "first*.csv"
layout = "wide"
time = "Time"
[logs.columns]
"PIR" = { room = "a", quantity = "motion" }
"""


def long(name, folder, days=1, start=0):
    """A log of some days in the long layout, as text under a name."""
    log = [r for r in office_days(14) if start <= (r["time"].day - 12) < start + days]
    made = folder.parent / "made"
    made.mkdir(exist_ok=True)
    write(made, log, name="log.csv")
    (made / "log.csv").replace(folder / name)


@pytest.fixture
def desk(tmp_path):
    """A workspace with a building that has one log, and the folder it watches."""
    root = tmp_path / "root"
    (root / "house").mkdir(parents=True)
    given = tmp_path / "given"
    given.mkdir()
    write(given, office_days(3), name="first.csv")
    ws = Workspace(tmp_path / "ws", logs_under=root)
    building = importing.import_folder(ws, given, by=ANNA)
    intake.watch(ws, building, "house", by=ANNA)
    yield ws, building, root / "house"
    ws.close()


def names(ws, building, *, removed=False):
    return [f.name for f in files.all_of(ws, building, removed=removed)]


def waiting(ws, building):
    job = jobs.last(ws, building)
    return job is not None and job.state == "waiting"


def test_a_file_is_taken_in_once_it_is_still_and_only_once(database, desk):
    ws, building, folder = desk
    long("april.csv", folder, start=4)
    watcher = Watcher(ws, still_s=3600)
    assert watcher.look() == 0
    assert names(ws, building) == ["first.csv"]

    assert Watcher(ws, still_s=0).look() == 1
    assert names(ws, building) == ["first.csv", "april.csv"]
    assert waiting(ws, building)
    jobs.cancel(ws, jobs.last(ws, building).id, by=ANNA)

    shutil.copy(folder / "april.csv", folder / "copy of april.csv")
    assert Watcher(ws, still_s=0).look() == 0
    assert names(ws, building) == ["first.csv", "april.csv"]
    assert not waiting(ws, building)
    assert (folder / "april.csv").is_file()


def test_what_a_person_took_out_is_not_brought_back(desk):
    ws, building, folder = desk
    shutil.copy(ws.building_folder(building) / "uploaded" / files.all_of(ws, building)[0].stored, folder / "again.csv")
    files.remove(ws, building, files.all_of(ws, building)[0].id, by=ANNA)

    assert Watcher(ws, still_s=0).look() == 0
    assert names(ws, building) == []


def test_a_bad_file_is_a_finding_and_stops_no_other(desk):
    ws, building, folder = desk
    (folder / "broken.csv").write_text("time,room,channel,quantity,value\n2026-01-12T08:00:00Z,a,,motion,perhaps\n")
    (folder / "other.csv").write_text("time,room,channel,quantity,value\n2026-01-12T08:00:00Z,elsewhere,,motion,1\n")
    long("good.csv", folder, start=5)

    assert Watcher(ws, still_s=0).look() == 1
    bad = {a.name: a.problem for a in intake.problems(ws, building)}
    assert set(bad) == {"broken.csv", "other.csv"}
    assert all(bad.values())
    assert "000" not in bad["broken.csv"].split(",")[0]
    assert names(ws, building) == ["first.csv", "good.csv"]

    (folder / "broken.csv").unlink()
    Watcher(ws, still_s=0).look()
    assert [a.name for a in intake.problems(ws, building)] == ["other.csv"]
    long("other.csv", folder, start=6)
    assert Watcher(ws, still_s=0).look() == 1
    assert intake.problems(ws, building) == []


def test_a_log_that_grew_takes_the_place_of_its_beginning(database, desk):
    ws, building, folder = desk
    long("trend.csv", folder, start=4, days=1)
    Watcher(ws, still_s=0).look()
    first = (folder / "trend.csv").read_text()
    more = [line.replace("2026-01-16", "2026-01-19") for line in first.splitlines()[1:]]
    (folder / "trend.csv").write_text(first + "\n".join(more) + "\n")

    assert Watcher(ws, still_s=0).look() == 1

    there = files.all_of(ws, building, removed=True)
    assert [(f.name, f.removed_by) for f in there] == [
        ("first.csv", None),
        ("trend.csv", intake.HAND),
        ("trend.csv", None),
    ]


def test_a_name_that_no_layout_fits_is_read_as_the_others_are(tmp_path):
    root = tmp_path / "root"
    (root / "house").mkdir(parents=True)
    given = tmp_path / "given"
    given.mkdir()
    rows = "".join(f"2026-01-12T08:{m:02}:00Z,{m % 2}\n" for m in range(60))
    (given / "first.csv").write_text("Time,PIR\n" + rows)
    (given / "site.toml").write_text(SITE + WIDE)
    ws = Workspace(tmp_path / "ws", logs_under=root)
    building = importing.import_folder(ws, given, by=ANNA)
    intake.watch(ws, building, "house", by=ANNA)
    (root / "house" / "second.csv").write_text("Time,PIR\n" + rows.replace("01-12", "01-13"))

    assert Watcher(ws, still_s=0).look() == 1

    stored = files.all_of(ws, building)[1].stored
    assert [e["files"] for e in buildings.document(ws, building)[0]["logs"]][1:] == [stored]
    assert buildings.history(ws, building)[0].by == intake.HAND
    ws.close()


@pytest.mark.parametrize("path", ["", "/", "..", "../ws", "house/../..", "/etc", "link", "nowhere", "house\0"])
def test_no_path_leads_out_of_the_servers_folder(desk, path):
    ws, building, folder = desk
    (folder.parent / "link").symlink_to("/etc")

    with pytest.raises(RefusedError):
        intake.watch(ws, building, path, by=ANNA)
    assert intake.watched(ws, building).path == "house"


def test_links_in_the_folder_are_not_followed_and_a_folder_that_becomes_one_is_left(desk, tmp_path):
    ws, building, folder = desk
    long("secret.csv", tmp_path, start=6)
    (folder / "link.csv").symlink_to(tmp_path / "secret.csv")
    assert Watcher(ws, still_s=0).look() == 0

    shutil.rmtree(folder)
    (tmp_path / "outside").mkdir()
    (tmp_path / "secret.csv").rename(tmp_path / "outside" / "secret.csv")
    folder.symlink_to(tmp_path / "outside")
    assert Watcher(ws, still_s=0).look() == 0
    assert names(ws, building) == ["first.csv"]


def test_without_a_folder_of_the_server_none_can_be_named(tmp_path):
    with pytest.raises(RefusedError, match="--logs-under"):
        intake.inside(Workspace(tmp_path / "ws"), "house")


def test_two_buildings_do_not_share_a_folder(database, desk):
    ws, _, _ = desk
    other = buildings.create(ws, {"site": {"name": "Other", "time_zone": "UTC"}}, by=ANNA)

    with pytest.raises(RefusedError, match="Another building"):
        intake.watch(ws, other, "house", by=ANNA)


class Killed(BaseException):
    """The program ends here."""


STEPS = [
    "_copied",
    "tried",
    "_record",
    "_ask",
    "uploads.take",
    "uploads._arrive",
    "uploads.begin",
    "jobs.ask_in",
    "_replace_beginning",
]


@pytest.mark.parametrize("after", [False, True], ids=["before", "after"])
@pytest.mark.parametrize("step", STEPS)
def test_killed_at_any_step_nothing_is_lost_or_doubled(desk, monkeypatch, step, after):
    ws, building, folder = desk
    long("april.csv", folder, start=4)
    holder, name = (
        (intake, step)
        if "." not in step
        else ({"uploads": uploads, "jobs": jobs}[step.split(".")[0]], step.split(".")[1])
    )
    real = getattr(holder, name)

    def killed(*args, **kwargs):
        if after:
            real(*args, **kwargs)
        raise Killed

    with monkeypatch.context() as patch:
        patch.setattr(holder, name, killed)
        with pytest.raises(Killed):
            Watcher(ws, still_s=0).look()
    uploads.recover(ws)
    watcher = Watcher(ws, still_s=0)
    watcher.look()
    watcher.look()

    assert names(ws, building, removed=True) == ["first.csv", "april.csv"]
    assert waiting(ws, building)
    assert [a.problem for a in intake.arrivals(ws, building)] == [None]


@pytest.mark.width_by_turns
def test_an_administrator_names_the_folder_in_the_browser(desk, page):
    ws, building, folder = desk
    intake.stop(ws, building, by=ANNA)
    (folder.parent / "other").mkdir()
    (folder.parent / "other" / "bad.csv").write_text("x\n1\n")
    with answering(create_app(WorkspaceStores(ws)).server) as url:
        page.goto(f"{url}/building/{building}/logs")
        page.get_by_text("Watched folder").click()
        expect(page.locator("#folder-state")).to_contain_text("No folder is watched")
        page.locator("#who").fill("Anna")
        page.locator("#folder-path").fill("../ws")
        page.get_by_role("button", name="Watch this folder").click()
        expect(page.locator("#folder-told")).to_contain_text("no such folder")
        page.locator("#folder-path").fill("other")
        page.get_by_role("button", name="Watch this folder").click()
        expect(page.locator("#folder-state")).to_contain_text("Watching other, named by Anna")
        Watcher(ws, still_s=0).look()
        page.reload()
        page.get_by_text("Watched folder").click()
        expect(page.locator("#folder-state")).to_contain_text("Not taken in.")
        page.get_by_role("button", name="Watch no more").click()
        expect(page.locator("#folder-state")).to_contain_text("No folder is watched")
        assert page.complaints == []
    assert intake.watched(ws, building) is None


LOOKING = """
import sys
from pathlib import Path
from dashboard.workspace import Workspace
from dashboard.workspace.intake import Watcher
watcher = Watcher(Workspace(Path(sys.argv[1]), logs_under=Path(sys.argv[2])), still_s=0)
print("ready", flush=True)
while True:
    watcher.look()
"""


def test_sigkill_at_random_moments_loses_and_doubles_nothing(desk):
    ws, building, folder = desk
    rng = random.Random(5)
    for number in range(8):
        long(f"day {number}.csv", folder, start=4 + number)
    for _ in range(12):
        with subprocess.Popen(
            [sys.executable, "-c", LOOKING, str(ws.folder), str(ws.logs_under)], stdout=subprocess.PIPE
        ) as looking:
            looking.stdout.readline()
            time.sleep(rng.uniform(0, 0.25))
            looking.send_signal(signal.SIGKILL)

    uploads.recover(ws)
    watcher = Watcher(ws, still_s=0)
    while watcher.look():
        pass
    watcher.look()

    assert sorted(names(ws, building, removed=True)) == sorted(["first.csv", *(f"day {n}.csv" for n in range(8))])
    assert len({f.sha256 for f in files.all_of(ws, building)}) == 9
    assert waiting(ws, building)
    assert uploads.unfinished(ws, building) == []

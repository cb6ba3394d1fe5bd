"""Server and worker are killed (SIGKILL) at random moments: nothing that was confirmed is lost, nothing is half there, the job ends by itself."""

import hashlib
import io
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from dashboard.workspace import Workspace, analyses, buildings, decisions, files, jobs, uploads, verdicts
from dashboard.workspace.importing import import_folder
from dashboard.workspace.keeper import Keeper
from dashboard.workspace.tables import JobRow
from dashboard.workspace.uploads import OffsetError
from tests.building import SITE, office_days, write
from tests.dashboard.killing import PIECE, body
from tests.dashboard.workspaces import ANNA, analysed
from tuning.pipeline import analyse_folder

KILLS_OF_SERVER, KILLS_OF_WORKER = {"sqlite": 12, "postgresql": 6}, 8


def started(*command):
    return subprocess.Popen([sys.executable, "-m", *map(str, command)], stdout=subprocess.PIPE, stdin=subprocess.PIPE)


def killed_after(process, seconds):
    time.sleep(seconds)
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    process.stdout.close()
    process.stdin.close()


def lines(confirmed):
    """What was told; a line that the kill cut short was not."""
    whole = confirmed.read_text(encoding="utf-8").split("\n")[:-1]
    return [json.loads(line) for line in whole]


def kept_results(ws, building):
    folder = ws.building_folder(building) / "results"
    return {p.name for p in folder.iterdir()} if folder.is_dir() else set()


def test_a_killed_server_loses_nothing_that_it_confirmed(tmp_path, database):
    told = kill_servers(tmp_path, KILLS_OF_SERVER[database])

    kinds = {next(iter(one)) for one in told}
    assert kinds >= {"begun", "received", "arrived", "decided", "edit", "word", "analysis"}, (
        "the kills hit too early to tell anything"
    )


def kill_servers(tmp_path, kills, *, also=lambda: None):
    """Kill a server so often, and look each time whether what it had confirmed is there; gives all that was confirmed.

    ``also`` is done at the moment of each kill.
    """
    ws, building, _ = analysed(tmp_path / "w")
    ws.close()
    confirmed, rng = tmp_path / "confirmed", random.Random(20)
    confirmed.touch()
    for seed in range(kills):
        process = started("tests.dashboard.killing", tmp_path / "w", confirmed, seed)
        assert process.stdout.readline() == b"ready\n"
        # So many things told, and somewhere on the way to the next ones, however busy the machine is.
        enough = len(lines(confirmed)) + rng.randint(0, 30)
        wait_for(
            lambda process=process, enough=enough: process.poll() is not None or len(lines(confirmed)) >= enough, 60
        )
        time.sleep(rng.uniform(0.0, 0.3))
        assert process.poll() is None, "it ended before it was killed"
        also()
        killed_after(process, 0)
        check(tmp_path / "w", building, lines(confirmed))
    return lines(confirmed)


def check(folder, building, told):
    ws = Workspace(folder)
    uploads.recover(ws)
    logs = {f.id: f for f in files.all_of(ws, building)}
    for said in told:
        if "arrived" in said:
            on_disk = (files.uploaded(ws, building) / logs[said["arrived"]].stored).read_bytes()
            assert hashlib.sha256(on_disk).hexdigest() == said["sum"]
    reached = {said["upload"]: said["received"] for said in told if "received" in said}
    numbers = {said["begun"]: said["number"] for said in told if "begun" in said}
    for upload in uploads.unfinished(ws, building):
        assert upload.received >= reached.get(upload.id, 0)
        if upload.id in numbers:
            part = uploads.part(ws, upload.id)
            content = part.read_bytes()[: upload.received] if part.exists() else b""
            assert content == body(numbers[upload.id])[: upload.received]
    check_decisions(ws, building, told)
    for row in analyses.all_of(ws, building):
        assert len(analyses.summary(ws, building, row.id).channels) == 5
    ws.close()


def check_decisions(ws, building, told):
    made = {d.id: d for d in decisions.history(ws, building)}
    batches = {}
    for d in made.values():
        batches.setdefault(d.batch, []).append(d)
    # One click is two decisions: never one of them alone.
    assert all(len(b) == 2 for b in batches.values())
    for said in told:
        if "decided" in said:
            assert [made[i].channel for i in said["decided"]] == ["wall", "window"]
            assert made[said["decided"][0]].settings.hold_off_s == said["hold"]
        elif "undone" in said:
            assert made[said["undone"]].undone_at is not None
    words = {v.id: v for v in verdicts.standing(ws, building)}
    assert all(words[said["word"]].present == said["present"] for said in told if "word" in said)
    edits = [said for said in told if "edit" in said]
    document, revision = buildings.document(ws, building)
    assert revision >= max((e["revision"] for e in edits), default=0)
    if edits and revision == edits[-1]["revision"]:
        assert document["site"]["electricity_price"] == edits[-1]["edit"]
    assert {said["analysis"] for said in told if "analysis" in said} <= {a.id for a in analyses.all_of(ws, building)}


def finish(ws, upload):
    sent = body(1)
    while upload.ended is None:
        piece = sent[upload.received : upload.received + PIECE]
        try:
            upload = uploads.add(ws, upload.id, upload.received, io.BytesIO(piece), len(piece))
        except OffsetError:
            upload = uploads.get(ws, upload.id)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write(tmp_path_factory.mktemp("folder"), office_days(days=60), site=SITE)


def test_a_killed_worker_leaves_nothing_half_done_and_the_job_ends_by_itself(tmp_path, folder):
    kill_workers(tmp_path, folder, KILLS_OF_WORKER)


def kill_workers(tmp_path, folder, kills):
    """Kill a worker so often, and look each time that its job is whole or not there; gives the steps that were hit."""
    ws = Workspace(tmp_path / "w")
    building = import_folder(ws, folder, by=ANNA)
    number = jobs.ask(ws, building, "analyse", by=ANNA)
    rng = random.Random(4)
    hit, ended = set(), 0

    for kill in range(kills):
        process = started("dashboard.workspace.worker", ws.folder, f"w{kill}")
        wait_for(lambda kill=kill: taken(ws, f"w{kill}"), 120)
        killed_after(process, rng.uniform(0.0, 0.6))
        job = jobs.get(ws, number)
        hit.add(job.what)
        ended += job.state == "done"
        # Either it is done and whole, or it is not there at all.
        assert len(analyses.all_of(ws, building)) == ended
        for one in analyses.all_of(ws, building):
            assert len(analyses.summary(ws, building, one.id).channels) == 1
            assert analyses.full_channel(ws, building, one.id, "a", "main").motions is not None
        jobs.release(ws, f"w{kill}")
        if job.open and job.tries == ws.limits.workers.tries - 1:
            # One that breaks off oftener is given up, and no worker would take it.
            jobs.cancel(ws, number, by=ANNA)
        if not job.open or job.tries == ws.limits.workers.tries - 1:
            number = jobs.ask(ws, building, "analyse", by=ANNA)

    keeper = Keeper(ws)
    keeper.start()
    try:
        wait_for(lambda: jobs.get(ws, number).state == "done", 150)
    finally:
        keeper.close()
    assert len(hit) > 1, "every kill hit the same step"
    newest = analyses.latest(ws, building)
    kept, wanted = analyses.summary(ws, building, newest.id), analyse_folder(folder)
    assert kept.channels[0].delay_curve == wanted.channels[0].delay_curve
    assert analyses.sweep(ws) >= 0
    assert len(kept_results(ws, building)) == len(analyses.all_of(ws, building))
    ws.close()
    return hit


def taken(ws, worker):
    with ws.reading() as session:
        return session.query(JobRow).filter(JobRow.worker == worker).count() > 0


def wait_for(true, seconds):
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.02)


def test_the_keeper_replaces_a_worker_that_died_and_the_job_goes_on(tmp_path, folder):
    ws = Workspace(tmp_path / "w")
    building = import_folder(ws, folder, by=ANNA)
    number = jobs.ask(ws, building, "analyse", by=ANNA)
    keeper = Keeper(ws)
    keeper.start()
    try:
        wait_for(lambda: jobs.get(ws, number).state == "running", 30)
        os.kill(keeper.process.pid, signal.SIGKILL)
        wait_for(lambda: jobs.get(ws, number).state == "done", 150)
        assert jobs.get(ws, number).tries == 2
    finally:
        keeper.close()
    ws.close()


def test_a_worker_ends_with_the_one_that_started_it(tmp_path, folder):
    ws = Workspace(tmp_path / "w")
    code = (
        "import sys, time; from pathlib import Path; from dashboard.workspace import Workspace; "
        "from dashboard.workspace.keeper import Keeper; k = Keeper(Workspace(Path(sys.argv[1]))); k.start(); "
        "[time.sleep(0.05) for _ in iter(lambda: k.process is None, False)]; print(k.process.pid, flush=True); time.sleep(60)"
    )
    server = subprocess.Popen([sys.executable, "-c", code, str(ws.folder)], stdout=subprocess.PIPE)
    worker = int(server.stdout.readline())
    assert Path(f"/proc/{worker}").exists()

    server.kill()
    server.wait()
    server.stdout.close()

    wait_for(lambda: not Path(f"/proc/{worker}").exists() or gone(worker), 20)
    ws.close()


def gone(pid):
    """A process that ended but that nobody has asked about yet."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] == "Z"
    except OSError:
        return True

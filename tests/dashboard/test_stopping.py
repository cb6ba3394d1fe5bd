"""SIGTERM: what is being answered is answered, the job goes back to the queue; and what is written of it, line by line."""

import json
import logging
import signal
import socket
import subprocess
import sys
import time
from contextlib import closing
from urllib.request import Request, urlopen

import pytest
from sqlalchemy.exc import OperationalError

from dashboard import operation
from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.workspace import Workspace, jobs, limits, worker
from dashboard.workspace.importing import import_folder
from dashboard.workspace.keeper import Keeper
from dashboard.workspace.limits import Workers
from tests.building import SITE, office_days, write
from tests.dashboard.workspaces import ANNA


def wait_for(true, seconds=60):
    end = time.monotonic() + seconds
    while not (found := true()):
        assert time.monotonic() < end, "it never came"
        time.sleep(0.02)
    return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write(tmp_path_factory.mktemp("folder"), office_days(days=60), site=SITE)


def test_who_is_being_answered_gets_the_answer_and_the_job_goes_back(tmp_path, folder):
    with closing(Workspace(tmp_path / "w")) as ws:
        building = import_folder(ws, folder, by=ANNA)
        number = jobs.ask(ws, building, "analyse", by=ANNA)
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    told = (tmp_path / "lines").open("w+")
    command = [sys.executable, "-m", "tuning.cli", "serve", str(tmp_path / "w"), "--port", str(port), "--log-lines"]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=told)
    assert server.stdout.readline().startswith(b"holdoff: ")
    server.stdout.close()
    body = b"time,room\n2026-01-01,a\n"
    given = json.dumps({"building": building, "name": "secret name.csv", "size": len(body), "by": ANNA}).encode()
    url = f"http://127.0.0.1:{port}/api/uploads"
    with urlopen(Request(url, data=given, headers={"Content-Type": "application/json"})) as answer:
        token = json.load(answer)["id"]
    with closing(Workspace(tmp_path / "w")) as ws:
        wait_for(lambda: jobs.get(ws, number).state == "running")

    with socket.create_connection(("127.0.0.1", port)) as line:
        head = f"PUT /api/uploads/{token} HTTP/1.1\r\nHost: 127.0.0.1\r\nUpload-Offset: 0\r\nContent-Length: {len(body)}\r\n\r\n"
        line.sendall(head.encode() + body[:5])
        time.sleep(0.2)
        server.send_signal(signal.SIGTERM)
        time.sleep(0.3)
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", port))
        assert server.poll() is None
        line.sendall(body[5:])
        answered = b"".join(iter(lambda: line.recv(65536), b""))
    assert answered.startswith(b"HTTP/1.1 200 OK")
    assert json.loads(answered.split(b"\r\n\r\n", 1)[1])["ended"] == "arrived"

    assert server.wait(timeout=30) == 0
    told.seek(0)
    lines = [json.loads(line) for line in told]
    told.close()
    events = [line["event"] for line in lines]
    started = next(line for line in lines if line["event"] == "job.started")
    assert (started["job"], started["building"], started["tries"]) == (number, building, 1)
    assert {"server.started", "request", "worker.ended"} <= set(events)
    assert "secret name" not in str(lines)
    assert ANNA not in str(lines)
    with closing(Workspace(tmp_path / "w")) as ws:
        job = jobs.get(ws, number)
    # As if it had never been taken up; it would have ended only on a very fast machine.
    if job.state != "done":
        assert (job.state, job.tries) == ("waiting", 0)
        assert {"event": "job.back", "job": number, "counted": False}.items() <= next(
            line for line in lines if line["event"] == "job.back"
        ).items()


@pytest.fixture
def work(tmp_path, caplog, monkeypatch):
    """Has one job done; gives it, and the lines that were written of it."""
    caplog.set_level(logging.INFO, logger="holdoff")
    monkeypatch.setattr(worker, "STEP_S", 0.0)

    def work(logs, **bounds):
        caplog.clear()
        with closing(Workspace(tmp_path / logs.name / "w")) as ws:
            ws.limits = ws.limits.model_copy(update={"workers": Workers().model_copy(update=bounds)})
            number = jobs.ask(ws, import_folder(ws, logs, by=ANNA), "analyse", by=ANNA)
            worker.run(ws, jobs.claim(ws, "w"), "w")
            return jobs.get(ws, number), [json.loads(line) for line in caplog.messages]

    return work


def test_a_job_that_ends_or_fails_is_told_with_the_reason(work, folder, tmp_path_factory):
    _, done = work(folder)
    bad = write(tmp_path_factory.mktemp("bad"), office_days(days=2), site=SITE)
    (bad / "log.csv").write_text("nothing to see here\n")
    job, failed = work(bad)

    assert [line["event"] for line in done] == ["job.asked", "job.started", *["job.step"] * (len(done) - 3), "job.done"]
    assert len(done) > 3
    assert (job.state, failed[-1]["event"]) == ("failed", "job.failed")
    assert failed[-1]["why"] == job.error
    assert "log.csv" in job.error


def test_a_job_that_takes_too_much_memory_fails_in_words_and_its_worker_ends(work, folder, monkeypatch):
    ends = []
    monkeypatch.setattr(worker.os, "_exit", ends.append)
    monkeypatch.setattr(worker, "resident", lambda: 1 << 40)
    monkeypatch.setattr(jobs, "BEAT_S", 0.001)
    job, told = work(folder, memory=1 << 30)
    assert set(ends) == {worker.MEMORY_EXIT}
    assert job.state == "failed"
    assert "more memory than 1 GiB" in job.error
    assert job.error in [line.get("why") for line in told]


def test_as_many_workers_work_as_the_limits_say(tmp_path):
    with closing(Workspace(tmp_path / "w", limits=limits.Limits(workers=Workers(count=2, threads=1)))) as ws:
        keeper = Keeper(ws)
        keeper.start()
        wait_for(lambda: len(keeper.processes) == 2)
        commands = [" ".join(p.args) for p in keeper.processes.values()]
        keeper.close()
    assert sum("--beside" in c for c in commands) == 1
    assert all(p.returncode is not None for p in keeper.processes.values())


def test_a_server_without_its_database_is_not_well(tmp_path, monkeypatch):
    with closing(Workspace(tmp_path / "w")) as ws:
        client = create_app(WorkspaceStores(ws)).server.test_client()

        def broken(_connection):
            raise OperationalError("", {}, Exception("gone"))

        monkeypatch.setattr(operation, "revision", broken)
        answer = client.get("/health")
    assert (answer.status_code, answer.json) == (503, {"status": "no database"})

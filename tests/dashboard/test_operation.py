"""What whoever runs the server sees: health, figures, lines of requests."""

import json
import logging
import socket
from contextlib import closing
from urllib.request import urlopen

from prometheus_client import generate_latest

from dashboard import operation
from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.workspace import Workspace, accounts, jobs
from tests.dashboard.workspaces import analysed
from tuning import __version__

PASSWORD = "violet anchor biscuit rain"


def test_health_tells_version_and_schema_to_this_machine_and_to_who_is_logged_in(tmp_path):
    with closing(Workspace(tmp_path / "w")) as ws:
        client = create_app(WorkspaceStores(ws)).server.test_client()
        told = client.get("/health").json
        assert told.keys() == {"status", "version", "schema"}
        assert told["version"] == __version__
        assert int(told["schema"]) >= 4

        accounts.add(ws, "Ada", PASSWORD, role="administer")
        assert client.get("/health").json == {"status": "ok"}
        client.post("/login", data={"name": "Ada", "password": PASSWORD})
        assert client.get("/health").json == told


def test_figures_count_requests_by_route_and_jobs_by_state(tmp_path):
    ws, building, _ = analysed(tmp_path / "w")
    jobs.ask(ws, building, "analyse", by="Ada")
    server = create_app(WorkspaceStores(ws)).server
    client = server.test_client()
    for _ in range(3):
        client.get("/health")
    client.get("/api/uploads/a-secret-token")

    text = generate_latest(server.extensions[operation.HEALTH]).decode()

    assert 'holdoff_request_seconds_count{method="GET",route="/health",status="200"} 3.0' in text
    assert 'holdoff_jobs{state="waiting"} 1.0' in text
    assert "a-secret-token" not in text
    ws.close()


def test_figures_are_given_on_a_port_of_their_own(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as free:
        unused_port = free.getsockname()[1]
    with closing(Workspace(tmp_path / "w")) as ws:
        end = operation.tell(create_app(WorkspaceStores(ws)).server, port=unused_port)
        try:
            with urlopen(f"http://127.0.0.1:{unused_port}/metrics") as answer:
                assert answer.headers["Content-Type"].startswith("text/plain")
                assert b"# TYPE holdoff_request_seconds histogram" in answer.read()
        finally:
            end()


def test_a_request_is_a_line_of_json_without_addresses(tmp_path, caplog):
    caplog.set_level(logging.INFO, logger="holdoff")
    with closing(Workspace(tmp_path / "w")) as ws:
        client = create_app(WorkspaceStores(ws)).server.test_client()
        client.get("/api/uploads/a-secret-token?q=words")
        line = json.loads(caplog.messages[-1])
        body = {"output": "..status.children...news.children..", "inputs": [{"id": "x", "value": "a-secret-word"}]}
        client.post("/_dash-update-component", json=body)
    assert json.loads(caplog.messages[-1])["callback"] == "status"
    assert "a-secret-word" not in caplog.text
    assert "callback" not in line
    assert line["route"] == "/api/uploads/<token>"
    assert line["method"] == "GET"
    assert line["status"] == 404
    assert line["ms"] >= 0
    assert line["cpu_ms"] >= 0
    assert "a-secret-token" not in caplog.text

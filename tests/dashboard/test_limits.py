"""Limits by configuration: read, refused in words, shown, held to."""

import datetime as dt
import tomllib
from contextlib import closing

import pytest
from typer.testing import CliRunner

from dashboard.workspace import Workspace, limits, uploads
from dashboard.workspace.limits import GIB, MIB, ConfigError, Limits
from dashboard.workspace.uploads import TooLargeError
from tests.dashboard.workspaces import ANNA, begun
from tuning.cli import app as command
from tuning.logs import sources


def written(folder, text):
    folder.mkdir(exist_ok=True)
    path = folder / "holdoff.toml"
    path.write_text(text)
    return path


@pytest.fixture(autouse=True)
def as_before():
    before = Limits()
    yield
    limits.hold_to(before)


def test_without_a_file_all_are_the_defaults_and_a_file_sets_some(tmp_path):
    assert limits.of(tmp_path) == Limits()
    written(tmp_path, '[uploads]\nfile = "1.5 GiB"\n[log_in]\nlasts = "8 h"\n[workers]\ncount = 2\nmemory = "6 GiB"')
    held = limits.of(tmp_path)
    assert held.uploads.file == 1.5 * GIB
    assert held.log_in.lasts == dt.timedelta(hours=8)
    assert (held.workers.count, held.workers.memory) == (2, 6 * GIB)
    assert held.uploads.kept == Limits().uploads.kept


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[upload]\n", "holdoff.toml, upload: this key is not known. Only documented keys are read. Did you mean uploads?"),
        ("[log_in]\nlast = '2 h'", "holdoff.toml, log_in.last: this key is not known. Only documented keys are read. Did you mean log_in.lasts?"),
        ("[server]\nzebra = 1", "server.zebra: this key is not known. Only documented keys are read. Keys here are threads, connections, patience."),
        ("[uploads]\nfile = '4 GB'", "uploads.file: found '4 GB'. It is a number and a unit (B, KiB, MiB, GiB, TiB), such as '4 GiB'"),
        ("[uploads]\nfile = 4000", "uploads.file: found 4000. It is a text with a number and a unit"),
        ("[uploads]\nrequest = '2 MiB'", "uploads.request: found '2 MiB'. It must be greater than or equal to \"16 MiB\""),
        ("[uploads]\nfile = '9 GiB'", "uploads: the values do not go together. file may be no more than on_the_way"),
        ("[server]\nthreads = 1", "server.threads: found 1. Input should be greater than or equal to 2"),
        ("[server]\nthreads = 'many'", "server.threads: found 'many'. Input should be a valid integer"),
        ("[log_in]\nby_name = 60", "log_in: the values do not go together. by_name within window may come to no more than 100 attempts an hour"),
        ("[provider]\nissuer = 'https://id.example'", "provider.client_id: the key is missing"),
        ("[provider]\nissuer = 'http://id.example'\nclient_id = 'a'", "issuer is an https address"),
        ("source = 'x'", "source: this key is not known"),
        ("[uploads", "not valid TOML"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_rule_and_remedy(tmp_path, text, told):
    path = written(tmp_path, text)
    with pytest.raises(ConfigError) as refused:
        limits.read(path)
    assert told in str(refused.value)


def test_what_is_shown_can_be_read_again(tmp_path):
    path = written(
        tmp_path,
        '[uploads]\nfile = "2 GiB"\n[workers]\nthreads = 2\n[provider]\nissuer = "https://id.example"\nclient_id = "a"',
    )
    shown = CliRunner().invoke(command, ["limits", str(tmp_path)]).output
    assert tomllib.loads(shown)["uploads"]["file"] == "2 GiB"
    assert 'kept = "64 GiB"  # all logs of the workspace together (default)' in shown
    assert 'file = "2 GiB"  # one file\n' in shown
    again = limits.read(written(tmp_path / "again", shown))
    assert again.model_dump() == limits.read(path).model_dump()


def test_the_command_tells_one_line_of_a_wrong_file(tmp_path, monkeypatch):
    path = written(tmp_path, "[uploads]\nfile = 0\n")
    monkeypatch.setenv("HOLDOFF_CONFIG", str(path))
    done = CliRunner().invoke(command, ["limits", str(tmp_path / "elsewhere")])
    assert isinstance(done.exception, ConfigError)


def test_a_workspace_holds_to_its_limits(tmp_path):
    written(tmp_path / "w", '[uploads]\nfile = "2 MiB"\n[unpacking]\nunpacked = "3 MiB"')
    ws, building = begun(tmp_path / "w")
    with closing(ws):
        assert sources.BOUNDS.unpacked == 3 * MIB
        uploads.begin(ws, building, "a.csv", 2 * MIB, by=ANNA)
        with pytest.raises(TooLargeError, match="a file may have 2 MiB"):
            uploads.begin(ws, building, "b.csv", 2 * MIB + 1, by=ANNA)


def test_secrets_come_from_where_they_are_said_to_be_and_are_never_shown(tmp_path, monkeypatch):
    text = '[provider]\nissuer = "https://id.example"\nclient_id = "a"\nsecret_variable = "THE_SECRET"'
    provider = limits.read(written(tmp_path, text)).provider
    with pytest.raises(ConfigError, match="THE_SECRET holds no secret"):
        provider.secret()
    monkeypatch.setenv("THE_SECRET", "tell nobody")
    assert provider.secret() == "tell nobody"
    kept = tmp_path / "secret"
    kept.write_text("from a file\n")
    assert provider.model_copy(update={"secret_variable": None, "secret_file": kept}).secret() == "from a file"
    assert "tell nobody" not in CliRunner().invoke(command, ["limits", str(tmp_path)]).output


def test_another_file_than_the_workspaces_own_counts_where_it_is_named(tmp_path, monkeypatch):
    written(tmp_path / "w", "[server]\nthreads = 3")
    monkeypatch.setenv("HOLDOFF_CONFIG", str(written(tmp_path / "other", "[server]\nthreads = 5")))
    with closing(Workspace(tmp_path / "w")) as ws:
        assert ws.limits.server.threads == 5

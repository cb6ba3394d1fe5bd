"""Backing up while people work, and restoring into an empty folder, in either kind of database."""

import io
import json
import stat
import tarfile
import threading

import pytest
import sqlalchemy as sa
from typer.testing import CliRunner

from dashboard.workspace import (
    Workspace,
    accounts,
    analyses,
    audit,
    backup,
    buildings,
    decisions,
    files,
    pruning,
    uploads,
    verdicts,
)
from dashboard.workspace.backup import back_up
from dashboard.workspace.database import newest, references_broken, reflected
from dashboard.workspace.decisions import Choice
from dashboard.workspace.errors import RefusedError
from dashboard.workspace.restoring import restore
from dashboard.workspace.tables import AnalysisRow, FileRow
from tests.dashboard import synthetic
from tests.dashboard.workspaces import ANNA, BEN, analysed, analysed_again
from tuning.cli import app as command
from tuning.results import Settings

RULE = pruning.Rule(newest=1, days=0)
WHOLE, PART = b"time,room,channel,quantity,value\n" * 100, 1000


def adjust(ws, building, hold_off_s, number):
    state = decisions.states(ws, building).get(("r101", "wall"), decisions.ChannelState())
    choice = Choice("r101", "wall", "adjust", state.revision, Settings(hold_off_s, 400.0, "auto-on"))
    return decisions.decide(ws, building, [choice], analysis=number, by=ANNA)


def sent(ws, building, name, content, *, most=None):
    at = uploads.begin(ws, building, name, len(content), by=ANNA)
    most = len(content) if most is None else most
    return uploads.add(ws, at.id, 0, io.BytesIO(content[:most]), most)


def worked_in(folder):
    """A workspace in which something of each kind was done."""
    ws, building, first = analysed(folder)
    accounts.add(ws, "Ada", "violet anchor biscuit rain", role="administer")
    (taken,) = adjust(ws, building, 600.0, first)
    decisions.undo(ws, building, [taken.id], by=BEN)
    log = sent(ws, building, "Räume März.csv", WHOLE).file
    files.remove(ws, building, log, by=ANNA)
    verdicts.say(ws, building, "r102", "all", synthetic.START, present=True, by=BEN, note="\N{SNOWMAN}\t'; --")
    gone = analysed_again(ws, building)
    second = analysed_again(ws, building)
    pruning.prune(ws, building, [gone], RULE, by=ANNA)
    adjust(ws, building, 900.0, second)
    going = sent(ws, building, "going.csv", WHOLE, most=PART)
    (folder / "holdoff.toml").write_text('[uploads]\nkept = "9 GiB"\n', encoding="utf-8")
    return ws, building, going


def rows(ws):
    with ws.engine.connect() as connection:
        return {
            t.name: [dict(r) for r in connection.execute(sa.select(t).order_by(*t.primary_key)).mappings()]
            for t in reflected(connection).sorted_tables
            if t.name != "workspace"
        }


def contents(ws):
    """Every file but the database's own and what can be made again."""
    found = (p for p in ws.folder.rglob("*") if p.is_file() and p.parent != ws.folder)
    kept = {p.relative_to(ws.folder).as_posix(): p.read_bytes() for p in found if "/folder/" not in str(p)}
    return kept | {"holdoff.toml": (ws.folder / "holdoff.toml").read_bytes()}


def consistent(ws):
    """Hold a restored workspace to what a database promises and the disk must hold."""
    # A file may have been between its last byte and its name.
    uploads.recover(ws)
    assert uploads.recover(ws) == 0
    with ws.engine.connect() as connection:
        assert references_broken(connection) == []
    assert audit.verify(ws).broken is None
    with ws.reading() as session:
        for file in session.query(FileRow):
            assert (files.uploaded(ws, file.building) / file.stored).stat().st_size == file.size
        numbers = [(a.building, a.id) for a in session.query(AnalysisRow) if a.pruned_at is None]
    for building, number in numbers:
        for c in analyses.summary(ws, building, number).channels:
            analyses.full_channel(ws, building, number, c.room, c.channel)


@pytest.mark.parametrize("into", ["sqlite", "postgresql"])
def test_all_of_a_workspace_comes_back_and_is_worked_in_again(tmp_path, database, into, request):
    ws, building, going = worked_in(tmp_path / "w")
    url = None if into == "sqlite" else request.getfixturevalue("postgres").fresh()

    made = back_up(ws, tmp_path / "all.tar")
    told = restore(made.path, tmp_path / "again", database=url)

    again = Workspace(tmp_path / "again", database=url)
    assert rows(again) == rows(ws)
    assert contents(again) == contents(ws)
    assert (told.rows, told.missing, told.audit.head) == (sum(map(len, rows(ws).values())), (), audit.verify(ws).head)
    assert made.audit == (told.audit.entries, told.audit.head)
    consistent(again)
    # Numbers go on after those that were put in, and a file goes on at the byte where it was.
    before = max(d.id for d in decisions.history(again, building))
    (new,) = adjust(again, building, 300.0, analysed_again(again, building))
    assert new.id > before
    assert uploads.add(again, going.id, PART, io.BytesIO(WHOLE[PART:]), len(WHOLE) - PART).ended == "arrived"
    consistent(again)
    for one in (ws, again):
        one.close()


def test_a_backup_under_load_is_one_consistent_state(tmp_path, database):
    ws, building, number = analysed(tmp_path / "w")
    ended, failed, made = threading.Event(), [], []

    def work(step):
        try:
            while not ended.is_set():
                step()
        except Exception as error:  # noqa: BLE001  told by the test
            failed.append(error)

    def decide():
        made.append(adjust(ws, building, 300.0 if len(made) % 2 else 900.0, number)[0].id)

    def upload():
        content = f"log {len(made)} {threading.get_ident()}\n".encode() * 2000
        files.remove(ws, building, sent(ws, building, "a.csv", content).file, by=BEN)

    def analyse():
        newest = analysed_again(ws, building)
        pruning.prune(ws, building, [old.id for old in pruning.plan(ws, building, RULE).going], RULE, by=ANNA)
        assert newest
        # Three a second: the made-up analysis is there at once, and no rule lets results go as fast as a loop.
        ended.wait(0.3)

    threads = [threading.Thread(target=work, args=(step,)) for step in (decide, upload, analyse)]
    for thread in threads:
        thread.start()
    try:
        backups = []
        for n in range(3):
            confirmed = list(made)
            backups.append((back_up(ws, tmp_path / f"{n}.tar"), confirmed))
    finally:
        ended.set()
        for thread in threads:
            thread.join()

    assert [e for e in failed if "outdated" not in str(e)] == []
    for n, (one, confirmed) in enumerate(backups):
        assert one.missing == ()
        told = restore(one.path, tmp_path / f"again {n}")
        assert told.audit.broken is None
        again = Workspace(tmp_path / f"again {n}")
        consistent(again)
        # What was confirmed before it began is in it.
        assert set(confirmed) <= {d.id for d in decisions.history(again, building)}
        again.close()
    ws.close()


def test_results_that_go_while_they_are_copied_are_no_longer_named(tmp_path, monkeypatch):
    ws, building, first = analysed(tmp_path / "w")
    analysed_again(ws, building)
    copy = backup._copy

    def pruned(*args):
        if pruning.plan(ws, building, RULE).going:
            pruning.prune(ws, building, [first], RULE, by=ANNA)
        return copy(*args)

    monkeypatch.setattr(backup, "_copy", pruned)
    made = back_up(ws, tmp_path / "all.tar")

    assert made.missing == ()
    restore(made.path, tmp_path / "again")
    again = Workspace(tmp_path / "again")
    consistent(again)
    with again.reading() as session:
        assert session.get(AnalysisRow, first).pruned_by == ANNA
    again.close()
    ws.close()


def test_what_the_disk_had_lost_is_told_and_all_else_comes_back(tmp_path):
    ws, building, _ = worked_in(tmp_path / "w")
    lost = files.all_of(ws, building, removed=True)[0].stored
    (files.uploaded(ws, building) / lost).unlink()
    ws.close()

    done = CliRunner().invoke(command, ["backup", str(tmp_path / "w"), str(tmp_path / "all.tar")])
    assert "1 files that the database names had been lost before" in str(done.exception)
    told = restore(tmp_path / "all.tar", tmp_path / "again")

    assert told.missing == (f"buildings/{building}/uploaded/{lost}",)


def test_bytes_that_the_disk_lost_are_asked_for_again(tmp_path):
    ws, building, _ = analysed(tmp_path / "w")
    at = sent(ws, building, "a.csv", WHOLE, most=PART)
    uploads._set_received(ws, at.id, len(WHOLE))

    assert uploads.recover(ws) == 0
    with pytest.raises(uploads.OffsetError):
        uploads.add(ws, at.id, len(WHOLE), io.BytesIO(), 0)
    assert uploads.add(ws, at.id, PART, io.BytesIO(WHOLE[PART:]), len(WHOLE) - PART).ended == "arrived"
    ws.close()


# What is refused ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A backup."""
    folder = tmp_path_factory.mktemp("made")
    ws, _, _ = worked_in(folder / "w")
    path = back_up(ws, folder / "all.tar").path
    ws.close()
    return path


def rewritten(made, path, change, *, manifest=lambda said: said):
    """A copy of a backup: ``change`` gives other content, or ``None`` to leave a member out."""
    with tarfile.open(made) as old, tarfile.open(path, "w") as new:
        for member in old:
            content = old.extractfile(member).read()
            if member.name == "manifest.json":
                content = json.dumps(manifest(json.loads(content))).encode()
            elif (content := change(member, content)) is None:
                continue
            member.size = len(content)
            new.addfile(member, io.BytesIO(content))
    return path


def refused(path, folder, **more):
    with pytest.raises(RefusedError) as told:
        restore(path, folder, **more)
    assert not folder.exists() or [p.name for p in folder.iterdir()] in ([], ["thesis.txt"])
    return str(told.value)


def test_nothing_is_written_over(made, tmp_path, postgres):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "thesis.txt").write_text("x", encoding="utf-8")
    url = postgres.fresh(migrated=True)

    assert "not empty" in refused(made, tmp_path / "full")
    assert "this database is not empty" in refused(made, tmp_path / "empty", database=url)
    with pytest.raises(RefusedError, match="there already"):
        back_up(Workspace(made.parent / "w"), made)
    with pytest.raises(RefusedError, match="lies in the workspace"):
        back_up(Workspace(made.parent / "w"), made.parent / "w" / "buildings")
    assert stat.S_IMODE(made.stat().st_mode) == 0o600
    assert sorted(p.name for p in made.parent.iterdir()) == ["all.tar", "w"]
    postgres.drop()


def test_a_damaged_backup_leaves_nothing_behind(made, tmp_path):
    def flipped(member, content):
        return b"x" + content[1:] if member.name.endswith(".csv") else content

    def poorer(member, content):
        return content.split(b"\n", 1)[1] if member.name == "tables/decision.jsonl" else content

    def lacking(member, content):
        return None if member.name.endswith(".csv") else content

    foreign = rewritten(made, tmp_path / "foreign.tar", lambda _, content: content, manifest=lambda _: {"name": "x"})
    assert "says something else" in refused(foreign, tmp_path / "a")
    (tmp_path / "short.tar").write_bytes(made.read_bytes()[:-40_000])
    (tmp_path / "none.tar").write_bytes(b"no tar at all" * 100)

    assert "is damaged" in refused(rewritten(made, tmp_path / "1.tar", flipped), tmp_path / "a")
    assert "decision is damaged" in refused(rewritten(made, tmp_path / "2.tar", poorer), tmp_path / "a")
    assert "not what its manifest.json says" in refused(rewritten(made, tmp_path / "3.tar", lacking), tmp_path / "a")
    assert "only a part of one" in refused(tmp_path / "short.tar", tmp_path / "a")
    assert "no backup of a workspace" in refused(tmp_path / "none.tar", tmp_path / "a")


@pytest.mark.parametrize("path", ["../out.txt", "buildings/../../out.txt", "/out.txt", "a//b", "./a"])
def test_no_name_in_a_backup_leads_out_of_the_folder(made, tmp_path, path):
    def moved(member, content):
        if member.name.endswith(".csv"):
            member.name = f"files/{path}"
        return content

    def said(manifest):
        name = next(n for n in manifest["files"] if n.endswith(".csv"))
        manifest["files"][path] = manifest["files"].pop(name)
        return manifest

    told = refused(rewritten(made, tmp_path / "odd.tar", moved, manifest=said), tmp_path / "deep" / "a")

    assert "not what its manifest.json says" in told
    assert not list(tmp_path.rglob("out.txt"))


def test_a_newer_backup_is_refused_and_an_older_one_brought_forward(made, tmp_path):
    def same(_, content):
        return content

    def then(member, content):
        return None if member.name == "tables/one_time.jsonl" else content

    def older(manifest):
        del manifest["tables"]["one_time"]
        return manifest | {"schema": "0006"}

    newer = rewritten(made, tmp_path / "newer.tar", same, manifest=lambda m: m | {"schema": "9999"})
    assert "made by a newer holdoff" in refused(newer, tmp_path / "a")
    assert "made by a newer holdoff" in refused(
        rewritten(made, tmp_path / "2.tar", same, manifest=lambda m: m | {"format": 2}), tmp_path / "a"
    )

    restore(rewritten(made, tmp_path / "older.tar", then, manifest=older), tmp_path / "a")

    old, ws = Workspace(made.parent / "w"), Workspace(tmp_path / "a")
    assert rows(ws) == rows(old)
    consistent(ws)
    for one in (old, ws):
        one.close()
    assert newest() != "0006"


def test_the_commands(made, tmp_path):
    done = CliRunner().invoke(command, ["backup", str(made.parent / "w"), str(tmp_path)])
    assert done.exit_code == 0, done.output
    (path,) = tmp_path.glob("w-*Z.tar")
    assert f"{path}: " in done.output

    done = CliRunner().invoke(command, ["restore", str(path), str(tmp_path / "again")])

    assert done.exit_code == 0, done.output
    assert "The log of who did what holds" in done.output
    ws = Workspace(tmp_path / "again")
    assert [b.name for b in buildings.all_of(ws)] == ["Harbour House"]
    ws.close()

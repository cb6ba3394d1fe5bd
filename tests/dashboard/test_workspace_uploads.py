"""Files on their way in: whatever happens between two pieces, what arrives is what was sent, and only where it belongs."""

import contextlib
import datetime as dt
import hashlib
import io
import os
import threading

import pytest
from werkzeug.test import Client

from dashboard.app import create_app
from dashboard.desk import WorkspaceStores
from dashboard.serve import own_names_only
from dashboard.workspace import files, uploads
from dashboard.workspace.errors import NotThereError, RefusedError
from dashboard.workspace.limits import Uploads
from dashboard.workspace.tables import UploadRow
from dashboard.workspace.uploads import BrokenError, OffsetError, TooLargeError
from tests.dashboard.workspaces import ANNA, BEN, begun

pytestmark = pytest.mark.usefixtures("database")
ONE_IS_ENOUGH = pytest.mark.parametrize("database", ["sqlite"], indirect=True)

BODY = bytes(range(256)) * 40


@pytest.fixture
def space(tmp_path):
    ws, building = begun(tmp_path / "w")
    yield ws, building
    ws.close()


def send(ws, upload, body=BODY, *, piece=3000, start=0):
    for at in range(start, len(body), piece):
        upload = uploads.add(ws, upload.id, at, io.BytesIO(body[at : at + piece]), len(body[at : at + piece]))
    return upload


def content(ws, building, file):
    return (files.uploaded(ws, building) / file.stored).read_bytes()


def test_a_file_arrives_in_pieces_and_is_kept_as_it_was(space):
    ws, building = space
    upload = uploads.begin(ws, building, "März/trend.csv", len(BODY), by=ANNA, sha256=hashlib.sha256(BODY).hexdigest())

    upload = send(ws, upload)

    (file,) = files.all_of(ws, building)
    assert (upload.ended, upload.file) == ("arrived", file.id)
    assert (file.name, file.size, file.added_by) == ("trend.csv", len(BODY), ANNA)
    assert file.sha256 == hashlib.sha256(BODY).hexdigest()
    assert content(ws, building, file) == BODY
    assert list((ws.folder / "uploads").iterdir()) == []


def test_after_a_reload_it_goes_on_where_it_was(space):
    ws, building = space
    first = uploads.begin(ws, building, "a.csv", len(BODY), by=ANNA, modified=7)
    uploads.add(ws, first.id, 0, io.BytesIO(BODY[:5000]), 5000)

    again = uploads.begin(ws, building, "a.csv", len(BODY), by=ANNA, modified=7)
    other = uploads.begin(ws, building, "a.csv", len(BODY), by=ANNA, modified=8)

    assert (again.id, again.received) == (first.id, 5000)
    assert other.id != first.id
    with pytest.raises(OffsetError) as told:
        uploads.add(ws, first.id, 0, io.BytesIO(BODY[:10]), 10)
    assert told.value.offset == 5000
    send(ws, again, start=5000)
    assert content(ws, building, files.all_of(ws, building)[0]) == BODY


def test_a_piece_that_breaks_off_is_not_confirmed_and_leaves_nothing_wrong(space):
    ws, building = space
    upload = uploads.begin(ws, building, "a.csv", len(BODY), by=ANNA)
    with pytest.raises(BrokenError, match="middle of a piece"):
        uploads.add(ws, upload.id, 0, io.BytesIO(b"x" * 100), 3000)

    assert uploads.get(ws, upload.id).received == 0
    send(ws, upload)
    assert content(ws, building, files.all_of(ws, building)[0]) == BODY


def test_what_the_disk_lost_is_asked_for_again(space):
    ws, building = space
    upload = uploads.begin(ws, building, "a.csv", len(BODY), by=ANNA)
    uploads.add(ws, upload.id, 0, io.BytesIO(BODY[:5000]), 5000)
    os.truncate(uploads.part(ws, upload.id), 1234)

    with pytest.raises(OffsetError) as told:
        uploads.add(ws, upload.id, 5000, io.BytesIO(BODY[5000:6000]), 1000)

    assert told.value.offset == 1234
    send(ws, upload, start=1234)
    assert content(ws, building, files.all_of(ws, building)[0]) == BODY


@pytest.mark.parametrize("renamed", [False, True])
def test_killed_between_the_last_byte_and_its_name_it_still_comes_in(space, renamed):
    ws, building = space
    upload = uploads.begin(ws, building, "a.csv", len(BODY), by=ANNA)
    part = uploads.part(ws, upload.id)
    part.parent.mkdir()
    part.write_bytes(BODY)
    with ws.writing() as session:
        session.get(UploadRow, upload.id).received = len(BODY)
    if renamed:
        folder = files.uploaded(ws, building)
        folder.mkdir(parents=True)
        part.rename(folder / uploads.stored_name("a.csv", upload.id))

    assert uploads.recover(ws) == 1

    assert content(ws, building, files.all_of(ws, building)[0]) == BODY
    assert uploads.recover(ws) == 0
    assert uploads.add(ws, upload.id, len(BODY), io.BytesIO(), 0).ended == "arrived"


def test_two_tabs_at_once_do_not_interleave(space):
    ws, building = space
    upload = uploads.begin(ws, building, "a.csv", len(BODY), by=ANNA)

    def tab():
        while (now := uploads.get(ws, upload.id)).ended is None:
            at = now.received
            with contextlib.suppress(OffsetError, RefusedError):
                uploads.add(ws, upload.id, at, io.BytesIO(BODY[at : at + 700]), len(BODY[at : at + 700]))

    tabs = [threading.Thread(target=tab) for _ in range(4)]
    [t.start() for t in tabs]
    [t.join() for t in tabs]

    (file,) = files.all_of(ws, building)
    assert content(ws, building, file) == BODY


def test_what_arrives_damaged_is_thrown_away(space):
    ws, building = space
    upload = uploads.begin(ws, building, "a.csv", len(BODY), by=ANNA, sha256="0" * 64)

    with pytest.raises(BrokenError, match=r"a\.csv arrived damaged"):
        send(ws, upload)

    assert files.all_of(ws, building) == []
    assert uploads.unfinished(ws, building) == []
    with pytest.raises(RefusedError, match="no longer on its way"):
        uploads.add(ws, upload.id, len(BODY), io.BytesIO(), 0)


def test_the_same_file_twice_is_kept_once(space):
    ws, building = space
    for name in ("a.csv", "copy of a.csv"):
        send(ws, uploads.begin(ws, building, name, len(BODY), by=ANNA))

    assert [f.name for f in files.all_of(ws, building)] == ["a.csv"]
    assert len(list(files.uploaded(ws, building).iterdir())) == 1


@ONE_IS_ENOUGH
@pytest.mark.parametrize(
    "name",
    ["../../../etc/passwd.csv", "..\\..\\boot.csv", "/abs.csv", "a\x01b\n.csv", ".csv", "~/.bashrc.csv", "CON.csv", "x" * 999 + ".csv"],
)  # fmt: skip
def test_a_name_is_never_a_path(space, name):
    ws, building = space
    before = set(ws.folder.parent.rglob("*"))

    send(ws, uploads.begin(ws, building, name, len(BODY), by=ANNA))

    (file,) = files.all_of(ws, building)
    new = {p for p in ws.folder.parent.rglob("*") if p.is_file()} - before
    assert {p for p in new if p.name != "holdoff.sqlite-wal"} == {files.uploaded(ws, building) / file.stored}
    assert set(file.stored) <= set("abcdefghijklmnopqrstuvwxyz0123456789-.")
    assert "/" not in file.name
    assert file.name.isprintable()


@ONE_IS_ENOUGH
def test_tokens_are_no_paths_either(space):
    ws, _ = space
    for token in ("../holdoff", "a" * 31, "A" * 32, "0" * 32):
        with pytest.raises(NotThereError):
            uploads.add(ws, token, 0, io.BytesIO(b"x"), 1)


def test_there_is_a_limit_to_everything(space, monkeypatch):
    ws, building = space
    with pytest.raises(RefusedError, match="no log by its name"):
        uploads.begin(ws, building, "virus.exe", 10, by=ANNA)
    with pytest.raises(RefusedError, match="is empty"):
        uploads.begin(ws, building, "a.csv", 0, by=ANNA)
    with pytest.raises(TooLargeError, match="4 GiB"):
        uploads.begin(ws, building, "a.csv", 5 * 1024**3, by=ANNA)
    monkeypatch.setattr(
        ws, "limits", ws.limits.model_copy(update={"uploads": Uploads().model_copy(update={"on_the_way": 1000})})
    )
    first = uploads.begin(ws, building, "a.csv", 900, by=ANNA)
    with pytest.raises(TooLargeError, match="on its way at once"):
        uploads.begin(ws, building, "b.csv", 101, by=ANNA)
    with pytest.raises(TooLargeError, match="more bytes than announced"):
        uploads.add(ws, first.id, 0, io.BytesIO(b"x" * 901), 901)
    uploads.stop(ws, first.id)
    assert uploads.begin(ws, building, "b.csv", 101, by=ANNA).received == 0


def test_what_nobody_goes_on_with_is_forgotten(space):
    ws, building = space
    old = uploads.begin(ws, building, "old.csv", 900, by=ANNA)
    new = uploads.begin(ws, building, "new.csv", 900, by=ANNA)
    for u in (old, new):
        uploads.add(ws, u.id, 0, io.BytesIO(b"x" * 10), 10)
    with ws.writing() as session:
        session.get(UploadRow, old.id).touched_at -= dt.timedelta(days=8)

    assert uploads.expire(ws) == 1

    assert [u.id for u in uploads.unfinished(ws, building)] == [new.id]
    assert [p.stem for p in (ws.folder / "uploads").iterdir()] == [new.id]


def test_a_log_that_was_taken_out_stays_and_comes_back(space):
    ws, building = space
    send(ws, uploads.begin(ws, building, "a.csv", len(BODY), by=ANNA))
    (file,) = files.all_of(ws, building)

    files.remove(ws, building, file.id, by=BEN)

    assert files.all_of(ws, building) == []
    assert files.all_of(ws, building, removed=True)[0].removed_by == BEN
    assert content(ws, building, file) == BODY
    files.restore(ws, building, file.id, by=BEN)
    assert files.all_of(ws, building) == [file]


# Over the wire ---------------------------------------------------------------------------------------------------


@pytest.fixture
def client(space):
    return create_app(WorkspaceStores(space[0])).server.test_client()


def begin(client, **more):
    given = {"building": "harbour-house", "name": "a.csv", "size": len(BODY), "by": ANNA}
    return client.post("/api/uploads", json=given | more)


@ONE_IS_ENOUGH
def test_the_routes_tell_how_far_it_is_and_what_is_wrong(client):
    begun = begin(client)
    assert (begun.status_code, begun.json["offset"]) == (201, 0)
    url = f"/api/uploads/{begun.json['id']}"

    first = client.put(url, data=BODY[:4000], headers={"Upload-Offset": "0"})
    wrong = client.put(url, data=BODY[:4000], headers={"Upload-Offset": "0"})
    bad = client.put(url, data=BODY[:4000], headers={"Upload-Offset": "-1"})

    assert (first.status_code, first.json["offset"]) == (200, 4000)
    assert (wrong.status_code, wrong.json["offset"]) == (409, 4000)
    assert bad.status_code == 400
    assert client.get(url).json["offset"] == 4000
    last = client.put(url, data=BODY[4000:], headers={"Upload-Offset": "4000"})
    assert last.json["ended"] == "arrived"


@ONE_IS_ENOUGH
def test_the_routes_refuse_what_does_not_belong(client):
    assert begin(client, building="nowhere").status_code == 404
    assert begin(client, size="9").status_code == 400
    assert begin(client, name="a.exe").status_code == 400
    assert begin(client, size=10**12).status_code == 413
    assert client.get("/api/uploads/" + "0" * 32).status_code == 404
    assert client.post("/api/uploads", data="nonsense").status_code == 400
    strange = client.post("/api/uploads", json={}, headers={"Origin": "http://elsewhere.example"})
    assert strange.status_code == 403


def test_a_stopped_upload_is_gone(client, space):
    url = f"/api/uploads/{begin(client).json['id']}"
    client.put(url, data=BODY[:4000], headers={"Upload-Offset": "0"})

    assert client.delete(url).status_code == 204

    assert list((space[0].folder / "uploads").iterdir()) == []
    assert client.put(url, data=BODY[4000:], headers={"Upload-Offset": "4000"}).status_code == 400


@ONE_IS_ENOUGH
def test_only_names_of_this_machine_are_answered(space):
    client = Client(own_names_only(create_app(WorkspaceStores(space[0])).server))
    hosts = ("127.0.0.1:8050", "localhost", "[::1]:1", "evil.example", "127.0.0.1.evil.example")

    told = [client.get("/", headers={"Host": host}).status_code for host in hosts]

    assert told == [200, 200, 200, 403, 403]

"""Buildings in a workspace: facts, who changed them, and what two people may do at once."""

import sqlite3
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from dashboard.workspace import Workspace, buildings, is_workspace
from dashboard.workspace.database import MIGRATIONS, connect, migrate
from dashboard.workspace.documents import MISSING
from dashboard.workspace.errors import ConflictError, NotThereError, RefusedError, WrongValueError
from dashboard.workspace.tables import Base
from tests.dashboard.workspaces import ANNA, BEN, begun, facts

PRICE = ("site", "electricity_price")
LOAD = ("rooms", "r101", "channels", "wall", "load_w")


@pytest.fixture
def space(tmp_path):
    ws, building = begun(tmp_path / "w")
    yield ws, building
    ws.close()


def test_a_workspace_is_found_again_as_it_was_left(tmp_path):
    ws, building = begun(tmp_path / "w")
    buildings.edit(ws, building, {PRICE: 0.41}, by=ANNA, revision=0)
    ws.close()

    ws = Workspace(tmp_path / "w")

    assert is_workspace(tmp_path / "w")
    assert buildings.site(ws, building).site.electricity_price == 0.41
    assert buildings.all_of(ws)[0].name == "Harbour House"
    ws.close()


def test_a_folder_with_something_else_in_it_is_refused(tmp_path):
    (tmp_path / "thesis.txt").write_text("x", encoding="utf-8")

    with pytest.raises(RefusedError, match="not empty"):
        Workspace(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["thesis.txt"]


def test_a_workspace_of_a_newer_program_is_left_alone(tmp_path):
    begun(tmp_path / "w")[0].close()
    with sqlite3.connect(tmp_path / "w" / "holdoff.sqlite") as db:
        db.execute("UPDATE alembic_version SET version_num = '9999'")
    db.close()

    with pytest.raises(RefusedError, match="newer holdoff"):
        Workspace(tmp_path / "w")


def test_a_file_that_is_no_database_is_told(tmp_path):
    (tmp_path / "holdoff.sqlite").write_bytes(b"not a database, whatever its name says" * 100)

    with pytest.raises(RefusedError, match="not a database"):
        Workspace(tmp_path)


def test_edits_say_who_when_and_what_was_there_before(space):
    ws, building = space

    revision = buildings.edit(ws, building, {PRICE: 0.4, LOAD: 300}, by=" Anna\n ", revision=0)

    (edit,) = buildings.history(ws, building)
    assert (revision, edit.by, edit.undone_by) == (1, "Anna", None)
    price, load = edit.changes
    assert (price.path, price.before, price.after, price.added) == (PRICE, None, 0.4, True)
    assert (load.path, load.before, load.after, load.added) == (LOAD, 320.0, 300, False)


def test_an_undo_is_an_edit_of_its_own_and_can_be_undone(space):
    ws, building = space
    buildings.edit(ws, building, {PRICE: 0.4}, by=ANNA, revision=0)
    first = buildings.history(ws, building)[0].id

    buildings.undo_edit(ws, building, first, by=BEN)
    second, undone = buildings.history(ws, building)

    assert "electricity_price" not in buildings.document(ws, building)[0]["site"]
    assert (second.by, second.undoes, undone.undone_by) == (BEN, first, second.id)
    with pytest.raises(RefusedError, match="undone already"):
        buildings.undo_edit(ws, building, first, by=BEN)
    buildings.undo_edit(ws, building, second.id, by=ANNA)
    assert buildings.site(ws, building).site.electricity_price == 0.4


def test_an_undo_never_takes_a_later_edit_with_it(space):
    ws, building = space
    buildings.edit(ws, building, {PRICE: 0.4}, by=ANNA, revision=0)
    first = buildings.history(ws, building)[0].id
    buildings.edit(ws, building, {PRICE: 0.5}, by=BEN, revision=1)

    with pytest.raises(ConflictError, match="electricity_price was changed again"):
        buildings.undo_edit(ws, building, first, by=ANNA)


def test_two_people_may_edit_different_things_at_once_but_not_the_same(space):
    ws, building = space
    buildings.edit(ws, building, {PRICE: 0.4}, by=ANNA, revision=0)

    buildings.edit(ws, building, {LOAD: 300}, by=BEN, revision=0)
    with pytest.raises(ConflictError, match=r"Anna changed site.electricity_price"):
        buildings.edit(ws, building, {PRICE: 0.2}, by=BEN, revision=0)

    site = buildings.site(ws, building)
    assert (site.site.electricity_price, site.rooms["r101"].channels["wall"].load_w) == (0.4, 300)


def test_what_site_toml_would_not_take_is_refused_whole(space):
    ws, building = space

    with pytest.raises(WrongValueError, match=r"rooms.r101.channels.wall.load_w: input should be greater than 0"):
        buildings.edit(ws, building, {PRICE: 0.4, LOAD: -1}, by=ANNA, revision=0)
    with pytest.raises(WrongValueError, match=r"time_zone.*IANA"):
        buildings.edit(ws, building, {("site", "time_zone"): "Mars/Olympus"}, by=ANNA, revision=0)
    with pytest.raises(WrongValueError, match="colour: this key is not known"):
        buildings.edit(ws, building, {("rooms", "r101", "colour"): "red"}, by=ANNA, revision=0)
    with pytest.raises(WrongValueError, match="say who you are"):
        buildings.edit(ws, building, {PRICE: 0.4}, by="  ", revision=0)

    assert buildings.document(ws, building)[1] == 0
    assert buildings.history(ws, building) == []


def test_rooms_come_and_go_and_come_back(space):
    ws, building = space
    buildings.edit(ws, building, {("rooms", "x.y"): {"use": "office", "channels": {"a": {}}}}, by=ANNA, revision=0)
    buildings.edit(ws, building, {("rooms", "r101"): MISSING}, by=ANNA, revision=1)
    assert set(buildings.site(ws, building).rooms) == {"r102", "r103/b", "r104", "x.y"}

    buildings.undo_edit(ws, building, buildings.history(ws, building)[0].id, by=ANNA)

    assert buildings.site(ws, building).rooms["r101"].channels["wall"].load_w == 320


def test_a_building_may_begin_without_rooms_but_is_not_analysed_so(tmp_path):
    ws = Workspace(tmp_path)
    building = buildings.create(ws, {"site": {"name": "Été & Söhne", "time_zone": "Europe/Copenhagen"}}, by=ANNA)
    twin = buildings.create(ws, {"site": {"name": "Ete Sohne", "time_zone": "Europe/Copenhagen"}}, by=ANNA)

    assert (building, twin) == ("ete-sohne", "ete-sohne-2")
    with pytest.raises(WrongValueError, match="rooms: this is needed"):
        buildings.site(ws, building)
    ws.close()


def test_a_removed_building_is_only_out_of_sight(space):
    ws, building = space
    buildings.remove(ws, building, by=ANNA)

    assert buildings.all_of(ws) == []
    with pytest.raises(NotThereError, match="no building harbour-house"):
        buildings.document(ws, building)
    buildings.restore(ws, building, by=ANNA)
    assert buildings.document(ws, building)[0] == facts()


def revisions():
    return [r.revision for r in reversed(list(ScriptDirectory(str(MIGRATIONS)).walk_revisions()))]


@pytest.mark.parametrize("earlier", revisions())
def test_every_earlier_schema_is_brought_up_to_date_with_all_that_was_in_it(tmp_path, earlier):
    path = Path(tmp_path / "holdoff.sqlite")
    engine = connect(path)
    migrate(engine, to=earlier)
    with engine.begin() as db:
        db.exec_driver_sql(
            "INSERT INTO building (id, document, revision, created_at, created_by) "
            """VALUES ('old', '{"site": {"name": "Old", "time_zone": "UTC"}}', 3, '2026-01-02 03:04:05', 'Anna')"""
        )
        db.exec_driver_sql(
            "INSERT INTO edit (building, at, by, changes) VALUES ('old', '2026-01-02 03:04:05', 'Anna', '[]')"
        )
        named = "suffix" if earlier == "0001" else "stored"
        db.exec_driver_sql(
            f"INSERT INTO file (building, name, {named}, size, sha256, added_at, added_by) "
            "VALUES ('old', 'a.csv', '.csv', 9, 'ab', '2026-01-02 03:04:05', 'Anna')"
        )
    engine.dispose()

    ws = Workspace(tmp_path)

    assert (buildings.info(ws, "old").revision, buildings.info(ws, "old").name) == (3, "Old")
    assert len(buildings.history(ws, "old")) == 1
    assert buildings.info(ws, "old").files == 1
    with ws.engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), Base.metadata) == []
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
    ws.close()

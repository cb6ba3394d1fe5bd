"""Buildings in a workspace: facts, who changed them, and what two people may do at once."""

import datetime as dt

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from dashboard.workspace import Workspace, buildings, files, is_workspace
from dashboard.workspace.address import parse
from dashboard.workspace.database import MIGRATIONS, connect, migrate, reflected, writer
from dashboard.workspace.documents import MISSING
from dashboard.workspace.errors import ConflictError, NotThereError, RefusedError, WrongValueError
from dashboard.workspace.space import now
from dashboard.workspace.tables import Base, EditRow, FileRow
from tests.dashboard.workspaces import ANNA, BEN, begun, facts

pytestmark = pytest.mark.usefixtures("database")

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
    ws = Workspace(tmp_path / "w")
    with writer(ws.engine).begin() as db:
        db.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    ws.close()

    with pytest.raises(RefusedError, match="newer holdoff"):
        Workspace(tmp_path / "w")


@pytest.mark.parametrize("database", ["sqlite"], indirect=True)
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


MADE_UP = {
    sa.Boolean: lambda n: bool(n % 2),
    sa.Integer: lambda n: 1_000_000 + n,
    sa.Float: lambda n: n + 0.1,
    sa.DateTime: lambda n: dt.datetime(2026, 1, 2, 3, 4, 5, 678901 + n),  # noqa: DTZ001  as the database keeps it
    sa.JSON: lambda n: {"ü": [n, None, 0.1, "\N{SNOWMAN}"]},
    sa.String: lambda n: f"text {n}",
}


def filled(connection):
    """Put three made-up rows into every table there is; gives them by table."""
    rows = {}
    for table in reflected(connection).sorted_tables:
        if table.name == "workspace":
            continue
        whole = [column.name for column in table.primary_key]
        for n in range(1, 4):
            row = {}
            for c in table.columns:
                kind = next(k for k in MADE_UP if isinstance(c.type, k))
                row[c.name] = MADE_UP[kind](n)
                if whole == [c.name] and kind is sa.Integer:
                    row[c.name] = n
                if c.foreign_keys:
                    row[c.name] = n if kind is sa.Integer else f"text {n}"
            if table.name == "building":
                row["document"] = {"site": {"name": f"Old {n}", "time_zone": "UTC"}}
                row["removed_at"] = row["removed_by"] = None
            connection.execute(table.insert().values(row))
            rows.setdefault(table.name, []).append(row)
    return rows


@pytest.mark.parametrize("earlier", revisions())
def test_every_earlier_schema_is_brought_up_to_date_with_all_that_was_in_it(tmp_path, earlier, database, request):
    url = None if database == "sqlite" else request.getfixturevalue("postgres").fresh()
    engine = connect(parse(url) if url else tmp_path / "holdoff.sqlite")
    migrate(engine, to=earlier)
    with writer(engine).begin() as db:
        before = filled(db)
    engine.dispose()

    ws = Workspace(tmp_path, database=url)

    with ws.engine.connect() as db:
        tables = reflected(db).tables
        for name, rows in before.items():
            kept = db.execute(sa.select(tables[name]).order_by(*tables[name].primary_key)).mappings().all()
            assert len(kept) == len(rows)
            for was, row in zip(rows, kept, strict=True):
                gone = set(was) - set(row)
                assert gone == ({"suffix"} if (name, earlier) == ("file", "0001") else set())
                assert {k: row[k] for k in was if k not in gone} == {k: v for k, v in was.items() if k not in gone}
        if earlier < "0009":
            # Nobody is locked out: the next good log-in tells.
            assert set(db.scalars(sa.select(tables["account"].c.issuer))) <= {None}
        assert compare_metadata(MigrationContext.configure(db), Base.metadata) == []
    if earlier == "0001":
        with ws.reading() as session:
            assert [f.stored for f in session.query(FileRow).order_by(FileRow.id)] == [
                f"log-{n}text {n}" for n in (1, 2, 3)
            ]
    assert (buildings.info(ws, "text 2").revision, buildings.info(ws, "text 2").name) == (1_000_002, "Old 2")
    ws.close()


def test_the_newest_schema_keeps_its_promises(from_nothing, space, database):
    ws, building = space
    with ws.engine.connect() as db:
        indexes = {i["name"]: i for t in Base.metadata.tables for i in sa.inspect(db).get_indexes(t)}
        for table in Base.metadata.tables.values():
            for index in table.indexes:
                said = index.dialect_options[database]["where"]
                found = indexes[index.name]["dialect_options"].get(f"{database}_where")
                assert (found is None) == (said is None), index.name
                if said is not None:
                    assert str(found).translate(PLAIN) == str(said).translate(PLAIN)
        if database == "sqlite":
            assert db.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
            assert db.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
    with pytest.raises(sa.exc.IntegrityError), ws.writing() as session:
        session.add(EditRow(building="nowhere", at=now(), by="A", changes=[]))
        session.flush()
    with ws.writing() as session:
        session.add(
            FileRow(building=building, name="a", stored="a", size=5 * 1024**3, sha256="", added_at=now(), added_by="A")
        )
    assert files.all_of(ws, building)[0].size == 5 * 1024**3


PLAIN = str.maketrans("", "", "() ")

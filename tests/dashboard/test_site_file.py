"""A ``site.toml`` dropped with the logs: held against what is in force, taken over on confirmation, undone like any edit."""

import pytest

from dashboard.pages.logs import site_file as page
from dashboard.workspace import Workspace, buildings, documents, files, jobs, site_file, uploads
from dashboard.workspace import inputs as given
from dashboard.workspace.errors import ConflictError, NotThereError, TuningError
from dashboard.workspace.importing import import_folder
from dashboard.workspace.toml_out import toml
from dashboard.workspace.uploads import TooLargeError
from tests.building import SITE, office_days, write
from tests.dashboard.workspaces import ANNA, BEN

TOML = """
[site]
name = "Harbour House"
time_zone = "Europe/Copenhagen"
electricity_price = 0.41
cost_per_false_off = 0.35

[rooms.r101]
use = "office"
area_m2 = 42

[rooms.r101.channels.wall]
load_w = 320
hold_off_s = 300
"""


@pytest.fixture
def space(tmp_path):
    ws = Workspace(tmp_path / "w")
    document = documents.from_toml(TOML.replace("0.41", "0.30").replace("area_m2 = 42", 'note = "by the door"'))
    yield ws, buildings.create(ws, document, by=ANNA)
    ws.close()


def drop(ws, building, text, tmp_path, name="site.toml"):
    (tmp_path / "d").mkdir(exist_ok=True)
    path = tmp_path / "d" / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    uploads.take(ws, building, path, by=BEN)
    return site_file.proposal(ws, building)


def said(found):
    return {".".join(c.path): c.after for g in found.groups for c in g.changes}


def test_only_what_differs_is_proposed_and_nothing_is_changed(space, tmp_path):
    ws, building = space
    before = buildings.document(ws, building)

    found = drop(ws, building, TOML, tmp_path)

    assert said(found) == {"site.electricity_price": 0.41, "rooms.r101.area_m2": 42}
    assert found.stays == (("rooms", "r101", "note"),)
    assert (found.problem, found.file.added_by) == ("", BEN)
    assert buildings.document(ws, building) == before


def test_it_is_no_log_and_no_analysis_rests_on_it(space, tmp_path):
    ws, building = space
    drop(ws, building, TOML, tmp_path)

    with ws.reading() as session:
        assert given.present(session, building)["files"] == []
    assert buildings.info(ws, building).files == 0
    assert [f.name for f in files.all_of(ws, building)] == ["site.toml"]


def test_what_is_taken_over_is_an_edit_with_history_and_undo(space, tmp_path):
    ws, building = space
    found = drop(ws, building, TOML, tmp_path)

    site_file.take_over(ws, building, found.file.id, ["site", "rooms/r101"], revision=found.revision, by=ANNA)

    document, _ = buildings.document(ws, building)
    assert document["site"]["electricity_price"] == 0.41
    assert document["rooms"]["r101"] == {
        "use": "office", "note": "by the door", "area_m2": 42, "channels": {"wall": {"load_w": 320, "hold_off_s": 300}},
    }  # fmt: skip
    assert site_file.proposal(ws, building).groups == ()
    (edit,) = buildings.history(ws, building)
    assert (edit.by, len(edit.changes)) == (ANNA, 2)
    buildings.undo_edit(ws, building, edit.id, by=BEN)
    assert said(site_file.proposal(ws, building)) == said(found)


def test_groups_are_taken_over_one_by_one(space, tmp_path):
    ws, building = space
    found = drop(ws, building, TOML, tmp_path)
    site_file.take_over(ws, building, found.file.id, ["site"], revision=found.revision, by=ANNA)

    assert [g.key for g in site_file.proposal(ws, building).groups] == ["rooms/r101"]


def test_a_new_room_comes_whole(space, tmp_path):
    ws, building = space
    more = TOML + '\n[rooms.r102]\nuse = "corridor"\n[rooms.r102.channels.main]\nload_w = 90\n'
    found = drop(ws, building, more, tmp_path)
    assert "new room: corridor, main" in str(page.looked(ws, building)[2])

    site_file.take_over(ws, building, found.file.id, ["rooms/r102"], revision=found.revision, by=ANNA)

    assert buildings.site(ws, building).rooms["r102"].channels["main"].load_w == 90


def test_somebody_who_changed_the_same_fact_meanwhile_is_not_overwritten(space, tmp_path):
    ws, building = space
    found = drop(ws, building, TOML, tmp_path)
    buildings.edit(ws, building, {("site", "electricity_price"): 0.5}, by=ANNA, revision=None)

    with pytest.raises(ConflictError, match=r"Anna changed site\.electricity_price"):
        site_file.take_over(ws, building, found.file.id, ["site"], revision=found.revision, by=BEN)
    assert buildings.document(ws, building)[0]["site"]["electricity_price"] == 0.5


def test_the_newest_counts_and_one_taken_out_no_more(space, tmp_path):
    ws, building = space
    first = drop(ws, building, TOML, tmp_path)
    second = drop(ws, building, TOML.replace("0.41", "0.44"), tmp_path)
    assert said(second)["site.electricity_price"] == 0.44
    with pytest.raises(NotThereError):
        site_file.take_over(ws, building, first.file.id, ["site"], revision=first.revision, by=ANNA)

    files.remove(ws, building, second.file.id, by=ANNA)
    assert said(site_file.proposal(ws, building))["site.electricity_price"] == 0.41
    files.remove(ws, building, first.file.id, by=ANNA)
    assert site_file.proposal(ws, building) is None
    assert page.looked(ws, building)[0]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (TOML.replace("area_m2", "aera_m2"), "rooms.r101.aera_m2: this key is not known"),
        (TOML.replace("load_w = 320", 'load_w = "many"'), "rooms.r101.channels.wall.load_w"),
        ("[site\nname=", "this is no TOML"),
        (b"[site]\nname = \"H\xf8user\"", "is not UTF-8"),
        ("[project]\nname = 'x'", "project: this key is not known"),
        ("logs = 3", "logs: it is a list of tables"),
        ("rooms = []", "rooms: it is a table"),
        ("[rooms]\nr101 = 3", "rooms.r101"),
        ("[[logs]]\nlayout = 3", "logs.0.files: say which files"),
        ("[site]\ntime_zone = 'Europe/Nowhere'", "site.time_zone"),
    ],
)  # fmt: skip
def test_what_is_no_site_toml_is_told_and_cannot_be_taken_over(space, tmp_path, text, told):
    ws, building = space
    found = drop(ws, building, text, tmp_path)

    assert told in found.problem
    assert found.problem.startswith("site.toml: ")
    assert page.looked(ws, building)[5]
    with pytest.raises(TuningError):
        site_file.take_over(ws, building, found.file.id, ["site"], revision=found.revision, by=ANNA)


def test_no_log_goes_by_that_name(space, tmp_path):
    ws, building = space
    with pytest.raises(TooLargeError, match="1 MiB"):
        uploads.begin(ws, building, "site.toml", uploads.MOST_FACTS + 1, by=ANNA)


def test_a_building_folder_dropped_file_by_file_is_that_building(tmp_path):
    folder = tmp_path / "office"
    folder.mkdir()
    logs = '\n[[logs]]\nfiles = "*log.csv"\nlayout = "long"\ntime = "time"\n'
    write(folder, office_days(days=3), site=SITE + logs, name="March log.csv")
    ws = Workspace(tmp_path / "w")
    imported = import_folder(ws, folder, by=ANNA)
    dropped = buildings.create(ws, {"site": {"name": "new", "time_zone": "UTC"}}, by=ANNA)
    before = drop(ws, dropped, (folder / "site.toml").read_text(encoding="utf-8"), tmp_path)
    assert before.absent == ("*log.csv",)
    assert [g.key for g in before.groups] == ["site", "rooms/a"]
    uploads.take(ws, dropped, folder / "March log.csv", by=ANNA)

    found = site_file.proposal(ws, dropped)
    assert found.absent == ()
    site_file.take_over(ws, dropped, found.file.id, [g.key for g in found.groups], revision=found.revision, by=ANNA)

    one, other = (buildings.document(ws, b)[0] for b in (imported, dropped))
    assert {k: v for k, v in one.items() if k != "logs"} == {k: v for k, v in other.items() if k != "logs"}
    assert len(one["logs"]) == len(other["logs"]) == 1
    assert jobs.ask(ws, dropped, "analyse", by=ANNA)
    assert "*log.csv" not in toml(other)
    laid = files.lay_out(ws, dropped)
    assert sum(1 for p in laid.iterdir() if p.suffix == ".csv") == 1
    ws.close()


def test_the_page_takes_over_what_is_ticked(space, tmp_path):
    ws, building = space
    drop(ws, building, TOML, tmp_path)
    hidden, text, options, ticked, seen, nothing = page.looked(ws, building)
    assert (hidden, nothing) == (False, False)
    assert ticked == ["site", "rooms/r101"] == [o.value for o in options]
    assert "differs in 2 facts" in str(text)
    assert "Electricity 0.3 per kWh → 0.41 per kWh" in str(options)

    told, changed = page.taken(ws, building, seen, ["site"], ANNA)

    assert "Taken over" in str(told)
    assert changed
    assert "Tick first" in str(page.taken(ws, building, seen, [], ANNA)[0])

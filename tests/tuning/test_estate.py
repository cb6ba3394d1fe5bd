"""An estate: the same figures whoever does the work, only what changed is done again, and one loss costs one building."""

import json
import os
import signal
import subprocess
import sys
import threading
import time
from multiprocessing import active_children
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from tests.building import SITE, office_days, write
from tuning.errors import TuningError
from tuning.estate import run_estate
from tuning.estate.beliefs import HOLD_OFF_S, pooled_beliefs, seen_in
from tuning.estate.places import find_buildings
from tuning.estate.ranking import ranking, write_csv
from tuning.export import document
from tuning.pipeline import analyse_folder
from tuning.site import parse_site
from tuning.starting import read_beliefs, starting_settings

NAMES = ("north/hall", "north/mill", "south")
DAYS = (42, 14, 21)


def add(root, name, days, *, site=SITE, log="log.parquet"):
    folder = root / name
    folder.mkdir(parents=True)
    return write(folder, office_days(days), site=site.replace("Test house", name), name=log)


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    made = tmp_path_factory.mktemp("estate")
    for name, days in zip(NAMES, DAYS, strict=True):
        add(made, name, days)
    return made


@pytest.fixture(scope="module")
def alone(root, tmp_path_factory):
    """What one process makes of it."""
    out = tmp_path_factory.mktemp("alone")
    run_estate(str(root), out, workers=1)
    return results(out)


def results(out):
    return {p.relative_to(out).as_posix(): p.read_bytes() for p in sorted(out.rglob("analysis.json"))} | {
        name: (out / name).read_bytes() for name in ("ranking.json", "ranking.csv", "beliefs.json")
    }


def entries(run):
    return {b["building"]: b for b in run.manifest["buildings"]}


def test_a_pool_says_to_the_last_digit_what_one_process_says(root, alone, tmp_path):
    run = run_estate(str(root), tmp_path, workers=2)

    assert results(tmp_path) == alone
    assert set(entries(run)) == set(NAMES)
    assert all(b["seconds"] > 0 and b["tries"] == 1 and b["error"] is None for b in entries(run).values())


def test_a_building_says_what_it_says_by_itself(root, alone):
    for name in NAMES:
        by_itself = document(analyse_folder(root / name))
        by_itself.pop("generated")

        assert json.loads(alone[f"buildings/{name}/analysis.json"]) == json.loads(json.dumps(by_itself))


def test_a_cluster_that_loses_a_worker_says_the_same(root, alone, tmp_path):
    distributed = pytest.importorskip("distributed")
    killed = []
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as cluster:

        def kill_one(_share, what):
            if what.startswith("1 of") and not killed:
                killed.append(next(iter(cluster.workers.values())).pid)
                os.kill(killed[0], signal.SIGKILL)

        run = run_estate(str(root), tmp_path, cluster=cluster.scheduler_address, progress=kill_one)

    assert killed
    assert not run.failed
    assert results(tmp_path) == alone


def test_no_cluster_is_said_in_one_line(root, tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("tuning.estate.workers.CONNECT_S", 1)

    with pytest.raises(TuningError, match="no Dask scheduler answers"):
        run_estate(str(root), tmp_path, cluster="tcp://127.0.0.1:9")


def test_killed_workers_cost_their_buildings_another_try(root, alone, tmp_path):
    killed = []

    def kill_all(_share, what):
        if what.startswith("1 of"):
            for child in active_children():
                os.kill(child.pid, signal.SIGKILL)
                killed.append(child.pid)

    run = run_estate(str(root), tmp_path, workers=2, progress=kill_all)

    tries = [b["tries"] for b in entries(run).values()]
    assert 1 <= len(killed) <= 2
    assert max(tries) == 2
    assert sum(tries) - len(tries) <= len(killed)
    assert results(tmp_path) == alone


def test_a_building_that_kills_every_worker_is_given_up_and_tried_by_the_next_run(root, alone, tmp_path):
    over = threading.Event()

    def kill():
        while not over.is_set():
            for child in active_children():
                child.kill()
            time.sleep(0.02)

    killer = threading.Thread(target=kill)
    killer.start()
    try:
        run = run_estate(str(root), tmp_path, workers=2, retries=1)
    finally:
        over.set()
        killer.join()

    assert [b["tries"] for b in run.failed] == [2, 2, 2]
    assert all("worker was lost" in b["error"] for b in run.failed)
    assert not run_estate(str(root), tmp_path, workers=2).failed
    assert results(tmp_path) == alone


def test_only_what_changed_is_done_again(tmp_path):
    root, out = tmp_path / "root", tmp_path / "out"
    for name in ("a", "b", "c"):
        add(root, name, 10)
    first = run_estate(str(root), out, workers=1)
    before = {name: (out / b["result"]).stat().st_mtime_ns for name, b in entries(first).items()}
    site = root / "b" / "site.toml"
    site.write_text(site.read_text().replace("load_w = 200", "load_w = 900"))
    (out / "buildings" / "c" / "analysis.json").unlink()

    again = run_estate(str(root), out, workers=1)

    assert [name for name, b in entries(again).items() if b["in_this_run"]] == ["b", "c"]
    assert (out / "buildings/a/analysis.json").stat().st_mtime_ns == before["a"]
    energy = {c["building"]: c["energy_kwh_per_week_current"] for c in again.ranking["channels"]}
    assert energy["b"] == pytest.approx(4.5 * energy["a"], rel=1e-3)
    assert not any(b["in_this_run"] for b in run_estate(str(root), out, workers=1).manifest["buildings"])
    assert all(b["in_this_run"] for b in run_estate(str(root), out, workers=1, again=True).manifest["buildings"])


def test_a_broken_building_does_not_stop_the_others(tmp_path):
    root, out = tmp_path / "root", tmp_path / "out"
    add(root, "good", 10)
    add(root, "bad", 10)
    run_estate(str(root), out, workers=1)
    (root / "bad" / "log.parquet").write_bytes(b"PAR1 and no more")

    run = run_estate(str(root), out, workers=2)

    assert [b["building"] for b in run.failed] == ["bad"]
    assert "not a whole Parquet file" in run.failed[0]["error"]
    # Neither its old result nor its old rows pass for those of the broken log.
    assert not (out / "buildings/bad/analysis.json").exists()
    assert {c["building"] for c in run.ranking["channels"]} == {"good"}
    # The same log fails in the same way, so it is not read again.
    assert not any(b["in_this_run"] for b in run_estate(str(root), out, workers=1).manifest["buildings"])


def test_a_run_broken_off_keeps_what_it_finished(root, alone, tmp_path):
    def stop(_share, what):
        if what.startswith("1 of"):
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_estate(str(root), tmp_path, workers=2, progress=stop)

    assert not active_children()
    held = json.loads((tmp_path / "manifest.json").read_text())["buildings"]
    assert len(held) == 1
    run = run_estate(str(root), tmp_path, workers=2)
    assert sum(b["in_this_run"] for b in run.manifest["buildings"]) == 2
    assert results(tmp_path) == alone


def test_a_store_by_url_says_what_the_folder_says(root, alone, tmp_path):
    pytest.importorskip("fsspec")

    run = run_estate(f"file://{root}", tmp_path, workers=1)

    assert {b["place"] for b in run.manifest["buildings"]} == {f"file://{root}/{name}" for name in NAMES}
    assert results(tmp_path) == alone
    assert not any(b["in_this_run"] for b in run_estate(f"file://{root}", tmp_path, workers=1).manifest["buildings"])


@pytest.mark.parametrize("url", ["file:///no/such/prefix", "nostore://bucket/estate"])
def test_a_url_that_leads_nowhere_is_said_in_one_line(url, tmp_path):
    pytest.importorskip("fsspec")

    with pytest.raises(TuningError, match="://"):
        run_estate(url, tmp_path)


@pytest.mark.parametrize("scheme", ["", "file://"])
def test_partitions_are_buildings_and_their_parts_are_read(tmp_path, scheme):
    root = tmp_path / "root"
    folder = root / "building=mill"
    folder.mkdir(parents=True)
    (folder / "site.toml").write_text(SITE)
    frame = pl.DataFrame(office_days(25)).with_columns(month=pl.col("time").dt.strftime("%Y-%m"))
    for (month,), part in frame.partition_by("month", as_dict=True).items():
        (folder / f"month={month}").mkdir()
        part.drop("month").write_parquet(folder / f"month={month}" / "part-0.parquet")
    assert len(list(folder.iterdir())) == 3
    (root / ".hidden").mkdir()
    (root / ".hidden" / "site.toml").write_text(SITE)

    run = run_estate(f"{scheme}{root}", tmp_path / "out", workers=1)

    assert list(entries(run)) == ["mill"]
    assert run.manifest["buildings"][0]["readings"] == frame.height


def test_a_building_within_a_building_belongs_to_it(tmp_path):
    add(tmp_path, "a", 2)
    add(tmp_path / "a", "annexe", 2)

    assert [b.name for b in find_buildings(str(tmp_path))] == ["a"]
    assert [b.name for b in find_buildings(str(tmp_path / "a"))] == ["a"]


def test_an_empty_root_and_two_buildings_of_one_name_are_refused(tmp_path):
    with pytest.raises(TuningError, match=r"site\.toml"):
        find_buildings(str(tmp_path))
    add(tmp_path, "mill", 2)
    add(tmp_path, "building=mill", 2)
    with pytest.raises(TuningError, match="both called 'mill'"):
        find_buildings(str(tmp_path))


def row(building, worth, *, currency="EUR", room="a", decision="change"):
    figures = ("false_offs_per_week", "wasted_on_h_per_week", "energy_kwh_per_week")
    return (
        {"building": building, "site": building, "room": room, "room_name": room, "channel": "main", "use": "office"}
        | {"decision": decision, "currency": currency, "worth_per_week": worth}
        | {f"{f}_{end}": v for f in figures for end, v in (("current", 3.0), ("recommended", 1.0))}
    )


def test_buildings_and_channels_stand_by_worth_within_their_currency():
    rows = [row("a", 1), row("b", 5, currency="DKK"), row("a", 2, room="z"), row("c", 9), row("c", -1, room="z")]

    made = ranking(rows)

    assert [(c["rank"], c["building"], c["worth_per_week"]) for c in made["channels"]] == [
        (1, "c", 9),
        (2, "a", 2),
        (3, "a", 1),
        (4, "c", -1),
        (1, "b", 5),
    ]
    assert [(b["rank"], b["building"], b["worth_per_week"]) for b in made["buildings"]] == [
        (1, "c", 8),
        (2, "a", 3),
        (1, "b", 5),
    ]
    assert [(c["currency"], c["worth_per_week"], c["energy_saved_kwh_per_week"]) for c in made["currencies"]] == [
        ("EUR", 11, 8.0),
        ("DKK", 5, 2.0),
    ]


def test_a_name_that_is_a_formula_runs_in_no_spreadsheet(tmp_path):
    write_csv(ranking([row('=HYPERLINK("x")', 1)])["channels"], tmp_path / "r.csv")

    assert pl.read_csv(tmp_path / "r.csv")["building"].to_list() == ['\'=HYPERLINK("x")']


# Beliefs of the estate ---------------------------------------------------------------------------------------------

NEW = '[site]\nname = "New"\ntime_zone = "Europe/Copenhagen"\n[rooms.r]\nuse = "office"\n[rooms.r.channels.all]\n'


@pytest.fixture(scope="module")
def taught(root, tmp_path_factory):
    channels = [c for name in NAMES for c in analyse_folder(root / name).channels]
    out = tmp_path_factory.mktemp("taught")
    run_estate(str(root), out, workers=1)
    return channels, read_beliefs(out / "beliefs.json")


@pytest.mark.parametrize("control", ["dimmed", "switched"])
def test_the_estates_beliefs_say_what_all_its_channels_together_say(taught, control):
    channels, beliefs = taught
    site = parse_site(NEW + f'load_w = 200\ncontrol = "{control}"\n', Path("site.toml"))

    (pooled,) = starting_settings(site, [], own=channels)
    (read,) = starting_settings(site, [], beliefs=beliefs)

    assert read.settings == pooled.settings
    assert read.own_rooms == pooled.own_rooms == 3
    assert read.weight == pytest.approx(pooled.weight, abs=1e-4)
    for quantity in ("false_offs", "wasted_on_h", "energy_kwh"):
        a, b = getattr(read, quantity), getattr(pooled, quantity)
        assert (a.middle, a.low, a.high) == pytest.approx((b.middle, b.low, b.high), rel=1e-3)


def test_a_building_of_the_estate_does_not_count_twice(taught):
    channels, beliefs = taught
    text = NEW.replace('"New"', '"south"') + "load_w = 200\n"
    site = parse_site(text, Path("site.toml"))

    (own,) = starting_settings(site, [], own=channels, beliefs=beliefs)
    (other,) = starting_settings(
        parse_site(text.replace('"south"', '"New"'), Path("site.toml")), [], own=channels, beliefs=beliefs
    )

    assert own.own_rooms == 3
    assert other.own_rooms == 6
    assert other.weight > own.weight > 0


def test_without_beliefs_of_the_use_the_program_goes_by_its_own(taught):
    site = parse_site(NEW.replace('"office"', '"corridor"') + "load_w = 200\n", Path("site.toml"))

    assert starting_settings(site, [], beliefs=taught[1]) == starting_settings(site, [])


def test_two_channels_of_a_use_teach_nothing(taught):
    seen = [{"site": "a", "seen": seen_in([c])} for c in taught[0]]

    assert pooled_beliefs(seen)["uses"].keys() == {"office"}
    assert pooled_beliefs(seen[:2])["uses"] == {}
    assert np.array(pooled_beliefs(seen)["hold_off_s"]).tolist() == HOLD_OFF_S.tolist()


@pytest.mark.parametrize(
    "text", ["", "{}", '{"hold_off_s": [60], "sites": [], "uses": {"office": {"channels": 3, "kinds": {}}}}']
)
def test_a_file_without_beliefs_is_said_in_one_line(tmp_path, text):
    (tmp_path / "b.json").write_text(text)

    with pytest.raises(TuningError, match="no beliefs of an estate"):
        read_beliefs(tmp_path / "b.json")


# The command -------------------------------------------------------------------------------------------------------


def holdoff(*arguments):
    return subprocess.run(
        [sys.executable, "-m", "tuning.cli", *map(str, arguments)], capture_output=True, text=True, check=False
    )


def test_the_command_ranks_tells_what_failed_and_does_only_that_again(tmp_path):
    root, out = tmp_path / "root", tmp_path / "out"
    add(root, "good", 10)
    add(root, "bad", 3)
    (root / "bad" / "log.parquet").write_bytes(b"nothing")

    first = holdoff("estate", root, "--out", out, "--workers", 1)

    assert first.returncode == 1
    assert first.stderr.count("\n") == 1
    assert "1 of 2 buildings could not be analysed" in first.stderr
    assert "good" in first.stdout
    assert "authorised people" in first.stdout
    add(root / "mended", "bad", 3)
    (root / "mended" / "bad" / "log.parquet").replace(root / "bad" / "log.parquet")
    (root / "mended" / "bad" / "site.toml").unlink()
    second = holdoff("estate", root, "--out", out)
    assert second.returncode == 0, second.stderr
    assert "1 analysed now, 1 unchanged, 0 failed" in second.stdout
    assert pl.read_csv(out / "ranking.csv").height == 2

"""The command: what it writes, its exit status, and one clear line for every problem of the input.

Of each way to end, with a result, with one line and with the usage, one test starts a process; the others call the command here.
"""

import json

import polars as pl
import pytest

from tests.building import SITE, office_days, rows, write
from tests.tuning.command import run, started
from tuning.schemas import EPISODES, SWITCH_OFFS


@pytest.fixture(scope="module")
def office(tmp_path_factory):
    return write(tmp_path_factory.mktemp("office"), office_days())


def test_recommend_prints_a_table_and_writes_what_is_asked(office, tmp_path):
    done = started("recommend", office, "--json", tmp_path / "a.json", "--csv", tmp_path / "a.csv")

    assert done.returncode == 0, done.stderr
    assert "Room A" in done.stdout
    assert "emergency and escape lighting" in " ".join(done.stdout.lower().split())
    assert done.stderr == "", "no progress in a pipe"
    channel = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))["channels"][0]
    assert channel["observed"]["hold_off_s"] == pytest.approx(300, abs=2)
    assert [p["hold_off_s"] for p in channel["delay_curve"]] == [60, 120, 180, 300, 600, 900, 1200, 1500, 1800]
    assert {p["basis"] for p in channel["delay_curve"] if p["hold_off_s"] <= 300} == {"observed"}
    assert {p["basis"] for p in channel["delay_curve"] if p["hold_off_s"] > 300} == {"extrapolated"}
    assert channel["decision"] in ("change", "keep", "trial", "more-data", "fix-first")
    for point in channel["delay_curve"]:
        assert point["false_offs_low"] <= point["false_offs"] <= point["false_offs_high"]
        assert point["cost_low"] <= point["cost"] <= point["cost_high"]
    assert pl.read_csv(tmp_path / "a.csv").height == 1


def test_the_same_log_gives_the_same_recommendation_twice(office, tmp_path):
    started("recommend", office, "--json", tmp_path / "a.json")
    run("recommend", office, "--json", tmp_path / "b.json")

    a, b = (json.loads((tmp_path / n).read_text(encoding="utf-8")) for n in ("a.json", "b.json"))
    assert a["channels"] == b["channels"]


def test_events_are_written_with_the_columns_of_the_contract(office, tmp_path):
    done = run("events", office, "--out", tmp_path / "out")

    assert done.returncode == 0, done.stderr
    offs = pl.read_parquet(tmp_path / "out" / "switch_offs.parquet")
    stays = pl.read_parquet(tmp_path / "out" / "episodes.parquet")
    assert offs.schema == SWITCH_OFFS
    assert stays.schema == EPISODES
    # A day's light goes off at lunch, in the evening, and in each of the pauses of 400 s.
    long_pauses = pl.read_parquet(office / "log.parquet").filter(
        (pl.col("quantity") == "output") & (pl.col("value") == 0)
    )
    assert len(offs) == len(long_pauses)
    assert offs["p_false"].is_between(0, 1).all()
    assert stays["ended_by"].is_in(["hold-off", "override", "end-of-log", "log-gap"]).all()


def one_line(done):
    assert done.returncode == 1, done.stdout
    assert done.stdout == ""
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 1, done.stderr
    assert "Traceback" not in done.stderr
    return lines[0]


def test_an_empty_folder(tmp_path):
    assert "no site.toml" in one_line(started("recommend", tmp_path))


def test_a_folder_that_is_not_there(tmp_path):
    assert "no such folder" in one_line(run("recommend", tmp_path / "nowhere"))


def test_a_folder_without_logs(tmp_path):
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")

    assert "no log" in one_line(run("recommend", tmp_path))


def test_a_log_with_no_motion(tmp_path):
    write(tmp_path, rows([(0, 100), (60, 0)], channel="main", quantity="output"))

    assert "no motion" in one_line(run("recommend", tmp_path))


def test_a_wrong_time_zone_name(tmp_path):
    write(tmp_path, office_days(1), site=SITE.replace("Europe/Copenhagen", "Europe/Kobenhavn"))

    line = one_line(run("recommend", tmp_path))
    assert "site.toml, site.time_zone" in line
    assert "'Europe/Kobenhavn' is not an IANA time zone name" in line


def test_a_column_missing(tmp_path):
    write(tmp_path, office_days(1), name="log.csv")
    frame = pl.read_csv(tmp_path / "log.csv").drop("quantity")
    frame.write_csv(tmp_path / "log.csv")

    line = one_line(run("recommend", tmp_path))
    assert "log.csv" in line
    assert "quantity" in line


def test_a_parquet_file_cut_in_half(tmp_path):
    write(tmp_path, office_days(2))
    data = (tmp_path / "log.parquet").read_bytes()
    (tmp_path / "log.parquet").write_bytes(data[: len(data) // 2])

    assert "log.parquet" in one_line(run("recommend", tmp_path))


def test_a_csv_with_a_stray_line(tmp_path):
    write(tmp_path, office_days(1), name="log.csv")
    lines = (tmp_path / "log.csv").read_text(encoding="utf-8").splitlines()
    lines.insert(6, "Report created by nobody, for nothing, on no day, with more, fields, than, fit")
    (tmp_path / "log.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")

    line = one_line(run("recommend", tmp_path))
    assert "log.csv" in line
    assert "7" in line


def test_an_unknown_key_of_site_toml_is_not_lost(tmp_path):
    write(tmp_path, office_days(1), site=SITE.replace("load_w", "laod_w"))

    assert "rooms.a.channels.main.laod_w" in one_line(run("recommend", tmp_path))


def test_wrong_usage_ends_with_2():
    assert started("recommend").returncode == 2
    assert run("recomend", "x").returncode == 2


def test_check_ends_with_0_where_something_is_usable(office):
    done = run("check", office)

    assert done.returncode == 0
    assert "usable days" in done.stdout

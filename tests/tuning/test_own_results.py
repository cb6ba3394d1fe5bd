"""What holdoff writes into a building folder is not read as a log the next time, and what people put there is."""

import polars as pl
import pytest

from tests.building import office_days, write
from tests.tuning.log_files import HEADER, MOTION, put, site
from tuning.export import write_csv, write_events, write_json
from tuning.logs import read_logs
from tuning.logs.own import is_own_result
from tuning.mapping import propose
from tuning.pipeline import analyse_folder


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write(tmp_path_factory.mktemp("building"), office_days(7))


def test_results_beside_the_logs_change_nothing(folder):
    first = analyse_folder(folder)
    for path in write_events(first, folder):
        assert is_own_result(path)
    write_csv(first, folder / "settings.csv")
    write_json(first, folder / "result.json")

    again = analyse_folder(folder)

    assert [c.recommended for c in again.channels] == [c.recommended for c in first.channels]
    assert [c.delay_curve for c in again.channels] == [c.delay_curve for c in first.channels]
    told = {f.evidence["what"]: f.message for f in again.findings if f.code == "own-results"}
    assert set(told) == {"episodes.parquet", "switch_offs.parquet", "settings.csv"}
    assert told["settings.csv"] == "settings.csv is a result of holdoff itself, not a log; left out."


def test_results_are_left_aside_where_logs_are_proposed(folder):
    write_events(analyse_folder(folder), folder)

    proposal = propose(folder)

    assert [t.files for t in proposal.tables] == [("log.parquet",)]
    assert {line.partition(":")[0] for line in proposal.left} >= {"episodes.parquet", "switch_offs.parquet"}


def test_results_renamed_and_named_by_a_pattern_are_still_none(folder):
    path = write_events(analyse_folder(folder), folder)[0]
    path.rename(folder / "trend.parquet")

    logs = read_logs(folder, site('[[logs]]\nfiles = "*.parquet"', rooms="[rooms.a]\n[rooms.a.channels.main]\n"))

    assert "own-results" in {f.code for f in logs.findings}


@pytest.mark.parametrize("name", ["room,room_name,channel,time,quantity,value", HEADER])
def test_a_log_is_no_result(tmp_path, name):
    assert not is_own_result(put(tmp_path, "log.csv", [name, MOTION]))


def test_a_parquet_log_is_no_result(tmp_path):
    pl.DataFrame(office_days(1)).write_parquet(tmp_path / "log.parquet")

    assert not is_own_result(tmp_path / "log.parquet")

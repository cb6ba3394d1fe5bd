"""Logs kept as Parquet are the logs that were read."""

import dataclasses

import numpy as np
import polars as pl
from polars.testing import assert_frame_equal

from tests.building import SITE, office_days, rows, write
from tuning.logs import load_logs, read_logs, save_logs
from tuning.pipeline import analyse_logs
from tuning.site import read_site

TWO_ROOMS = SITE + '[rooms."b/c"]\nuse = "corridor"\n[rooms."b/c".channels.main]\n'


def folder(path):
    path.mkdir()
    lux = rows([(600 * i, 100.25 + i % 7) for i in range(2000)], channel="main", quantity="illuminance")
    other = rows([(3600 * i + 7, 1) for i in range(200)], room="b/c")
    return write(path, office_days() + lux + other, site=TWO_ROOMS)


def test_logs_come_back_as_they_were(tmp_path):
    site = read_site(folder(tmp_path / "b"))
    logs = read_logs(tmp_path / "b", site)

    save_logs(logs, tmp_path / "kept")
    back = load_logs(tmp_path / "kept")

    assert_frame_equal(back.series, logs.series)
    assert back.findings == logs.findings
    assert (back.start, back.end) == (logs.start, logs.end)
    for room in ("a", "b/c", "nowhere"):
        assert_frame_equal(back.readings(room), logs.readings(room))
    for number in logs.series["series"]:
        assert np.array_equal(back.times_us(number), logs.times_us(number))
        assert back.values(number).dtype == logs.values(number).dtype


def assert_same(one, other, at="result"):
    if isinstance(one, pl.DataFrame):
        assert_frame_equal(one, other)
    elif isinstance(one, np.ndarray):
        np.testing.assert_array_equal(one, other, err_msg=at)
    elif dataclasses.is_dataclass(one):
        for field in dataclasses.fields(one):
            assert_same(getattr(one, field.name), getattr(other, field.name), f"{at}.{field.name}")
    else:
        assert one == other, at


def test_one_room_alone_gives_what_the_whole_building_gives(tmp_path):
    site = read_site(folder(tmp_path / "b"))
    save_logs(read_logs(tmp_path / "b", site), tmp_path / "kept")
    whole = analyse_logs(site, load_logs(tmp_path / "kept")).channels

    (alone,) = analyse_logs(site, load_logs(tmp_path / "kept"), rooms=["a"]).channels

    assert [c.room for c in whole] == ["a", "b/c"]
    assert_same(alone, whole[0])

"""One building written in many layouts gives the same recommendations to the last digit, mapped by hand or as proposed."""

import datetime as dt

import numpy as np
import polars as pl
import pytest

from tests.tuning.log_layouts import KEYS, LAYOUTS, WIDE_COLUMNS, ZONE
from tuning.export import document
from tuning.mapping import Mapping, propose, write_mapping
from tuning.pipeline import analyse_folder

START = dt.datetime(2026, 10, 12, tzinfo=dt.UTC)
DAYS = 16
SITE = """
[site]
time_zone = "Europe/Copenhagen"
[rooms.r101]
use = "office"
[rooms.r101.channels.wall]
load_w = 200
target_lx = 400
[rooms.r102]
use = "meeting room"
[rooms.r102.channels.main]
load_w = 320
"""


def series(room, channel, quantity, minutes, values):
    time = pl.Series(np.asarray(minutes) * 60_000_000 + round(START.timestamp()) * 1_000_000).cast(
        pl.Datetime("us", "UTC")
    )
    names = {"room": room, "channel": channel, "quantity": quantity}
    frame = pl.DataFrame({"time": time, "value": pl.Series(values, dtype=pl.Float64)})
    return frame.with_columns(pl.lit(v).alias(k) for k, v in names.items())


def building():
    """Sixteen days over the change of clock: two rooms in use by day, sampled each minute; lamps and power by change."""
    rng = np.random.default_rng(11)
    at = np.arange(DAYS * 1440)
    hour = (at % 1440) / 60
    work = (hour > 7) & (hour < 16) & ((at // 1440) % 7 < 5)
    there = work & ((at // 53) % 4 != 2)
    motion = (there & (rng.random(len(at)) < 0.35)).astype(float)
    since = at - np.maximum.accumulate(np.where(motion > 0, at, -10_000))
    lit = since <= 9
    day = np.clip(np.sin((hour - 6) / 11 * np.pi), 0, None) * 300
    # The second room is held by its detector for a quarter of an hour.
    again = (there & (rng.random(len(at)) < 0.2)).astype(float)
    held = (at - np.maximum.accumulate(np.where(again > 0, at, -10_000)) <= 15).astype(float)
    changes = np.flatnonzero(np.diff(lit.astype(int), prepend=0))
    powered = np.flatnonzero(np.diff(held, prepend=0))
    frames = [
        series("r101", "", "motion", at, motion),
        series("r101", "wall", "illuminance", at, np.round(day + 350 * lit + rng.uniform(0, 4, len(at)), 1)),
        series("r101", "wall", "output", changes, np.where(lit[changes], 87.25, 0)),
        series("r102", "", "occupied", at, held),
        series("r102", "main", "power", powered, np.where(held[powered] > 0, 301.5, 1.125)),
    ]
    return pl.concat(frames).sort("time", maintain_order=True).select("time", *KEYS, "value")


def recommendations(folder):
    found = document(analyse_folder(folder))
    # When it was made, and what was noticed while reading, are not what is recommended.
    return found["channels"]


@pytest.fixture(scope="module")
def expected(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plain")
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    building().write_parquet(folder / "log.parquet")
    return recommendations(folder)


def test_the_building_gives_recommendations(expected):
    assert [c["channel"] for c in expected] == ["wall", "main"]
    assert all(len(c["delay_curve"]) >= 4 for c in expected)
    assert expected[0]["decision"] == "change"
    assert expected[0]["per_week"]["current"]["false_offs"] > 0


def test_there_are_at_least_12_layouts():
    assert len({layout.__name__ for layout in LAYOUTS}) == len(LAYOUTS) >= 12


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda f: f.__name__)
def test_the_layout_does_not_change_the_recommendations(tmp_path, expected, layout):
    logs = layout(tmp_path, building()) or ""
    (tmp_path / "site.toml").write_text(SITE + logs, encoding="utf-8")

    assert recommendations(tmp_path) == expected


@pytest.mark.parametrize(
    "layout", [f for f in LAYOUTS if f.__name__.startswith(("wide", "by_points", "words"))], ids=lambda f: f.__name__
)
def test_the_layout_as_proposed_gives_the_same(tmp_path, expected, layout):
    layout(tmp_path, building())
    for path in tmp_path.glob("*.txt"):
        path.rename(path.with_suffix(".csv"))
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    proposal = propose(tmp_path)

    write_mapping(tmp_path, Mapping.model_validate(proposal.mapping().model_dump()))

    meant = {c.name: (c.room, c.channel or "", c.quantity) for t in proposal.tables for c in t.columns}
    if layout.__name__.startswith("wide"):
        assert meant == WIDE_COLUMNS
    assert recommendations(tmp_path) == expected
    assert ZONE in (tmp_path / "site.toml").read_text(encoding="utf-8")

"""Two lights in one room: each answers for the reactions to its own going dark."""

import numpy as np
import polars as pl
import pytest

from tests.simulation.two_lights import START_US, two_lights
from tuning.light.circumstances import Circumstances
from tuning.pipeline import analyse_folder
from tuning.presence.beside import Companion, together, when_dark

SITE = """
[site]
name = "Two lights"
time_zone = "UTC"
[rooms.r]
use = "office"
[rooms.r.channels.wall]
load_w = 200
hold_off_s = {wall}
[rooms.r.channels.window]
load_w = 200
hold_off_s = {window}
"""


def judged(folder, room, hold_off_s):
    """Per channel: probability and truth of every switch-off, and the result."""
    folder.mkdir()
    (folder / "site.toml").write_text(SITE.format(wall=hold_off_s[0], window=hold_off_s[1]), encoding="utf-8")
    room.log.write_parquet(folder / "log.parquet")
    found = {}
    for channel in analyse_folder(folder).channels:
        time = pl.Series(START_US + np.round(room.off_s[channel.channel] * 1e6).astype(np.int64))
        truth = pl.DataFrame({"time": time.cast(pl.Datetime("us", "UTC")), "missed": room.missed[channel.channel]})
        both = channel.switch_offs.sort("time").join_asof(
            truth.sort("time"), on="time", strategy="nearest", tolerance="5s"
        )
        both = both.drop_nulls("missed")
        found[channel.channel] = both["p_false"].to_numpy(), both["missed"].to_numpy(), channel
    return found


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_a_light_that_goes_dark_first_answers_for_those_who_miss_it(tmp_path, share):
    hold_off_s = (180, 600)
    room = two_lights(5, hold_off_s=hold_off_s, share_who_miss_first=share)

    found = judged(tmp_path / "room", room, hold_off_s)

    for p, missed, _ in found.values():
        assert len(p) > 100
        called = p > 0.5
        assert (called & ~missed).sum() <= 0.1 * called.sum() + 4
        assert (missed & ~called).sum() <= 0.1 * missed.sum() + 2
        assert p.sum() == pytest.approx(missed.sum(), abs=max(6, 0.15 * missed.sum()))


def circumstances(minds, lit=1.0):
    minds = np.asarray(minds, dtype=float)
    return Circumstances(np.full(len(minds), lit), np.full(len(minds), np.nan), minds, np.full(len(minds), 100.0))


def companion(hold_off_s, minds=(1.0,), lit=1.0):
    return Companion("other", np.arange(len(minds)), np.full(len(minds), hold_off_s), circumstances(minds, lit))


def test_lights_that_go_dark_at_the_same_moment_are_asked_as_one():
    own = circumstances([0.2, 1.0, 0.0])
    one = together(own, [companion(300, minds=(1.0, 0.5, 0.0))])

    assert one.minds.tolist() == [1.0, 1.0, 0.0]
    assert one.own(own).tolist() == pytest.approx([0.2, 1.0, 0.0])
    assert together(own, [companion(300, minds=(1.0, 0.5, 0.0), lit=0.0)]).minds.tolist() == own.minds.tolist()


@pytest.mark.parametrize(("other_s", "when"), [(300, 0), (305, 0), (180, -1), (600, 1), (np.inf, 1)])
def test_which_light_goes_dark_first(other_s, when):
    assert when_dark(np.full(1, 300.0), companion(other_s)) == when

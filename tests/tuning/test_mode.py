"""Manual-on: what it would save and cost, on logs made by hand, and where it may never be advised."""

import numpy as np
import pytest

from tuning.gaps import find_gaps
from tuning.light.circumstances import Circumstances
from tuning.mode import advise_mode
from tuning.motion import US, MotionLog
from tuning.presence.stillness import Classified
from tuning.rates import Days
from tuning.room_uses import ROOM_USES
from tuning.site import Building, Channel

HOLD_S = 300.0


def advised(
    times_s, *, minds=1.0, still_until_s=250.0, use="store room", decision="keep", price=0.3, press=0.02, **more
):
    """Advice on a log of motions [s]; pauses up to 250 s are stillness, a lamp of 1 kW, one day that stands for a week."""
    t = np.round(np.sort(np.array(times_s, dtype=float)) * US).astype(np.int64)
    motion = MotionLog(t, t, np.array([[t[0], t[-1]]]), "events", 0.0, 1)
    gaps = find_gaps(motion)
    n = len(gaps)
    p_still = (gaps.gap_s <= still_until_s).astype(float)
    seen = Classified(p_still, more.pop("p_false", np.zeros(n)), np.zeros(n), 5.0, 0.6, 0.0)
    around = Circumstances(np.ones(n), np.full(n, np.nan), np.broadcast_to(minds, n).astype(float), np.full(n, 1000.0))
    days = Days(np.zeros(n, dtype=np.int64), np.ones((21, 1)), np.ones((21, 1)))
    building = Building(
        time_zone="Europe/Copenhagen", electricity_price=price, cost_per_press=press, cost_per_visit=0.0,
        **{k: v for k, v in more.items() if k == "allow_manual_on"},
    )  # fmt: skip
    channel = Channel(load_w=1000, mode=more.get("mode", "auto-on"), control=more.get("control", "switched"))
    return advise_mode(
        gaps, motion, seen, around, hold_off_s=np.full(n, HOLD_S), days=days, channel=channel, use=ROOM_USES[use],
        building=building, decision=decision,
    )  # fmt: skip


PASSERS = [t for k in range(10) for t in (k * 3600, k * 3600 + 3)]
STAYS = [k * 3600 + s for k in range(10) for s in range(0, 1000, 20)]


def test_passers_by_do_not_press_and_all_of_their_light_is_saved():
    advice = advised([*PASSERS, 40_000])

    # Nine pauses of an hour and one of 7,600 s, lit for 300 s each, and ten of 3 s; 1 kW.
    assert advice.switch_ons == pytest.approx(10)
    assert advice.presses == pytest.approx(0, abs=0.1)
    assert advice.saved_kwh == pytest.approx(10 * 303 / 3600, rel=0.01)
    assert advice.recommended == "manual-on"


def test_whoever_stays_in_the_dark_presses_once_and_nothing_is_saved():
    advice = advised([*STAYS, 40_000])

    assert advice.presses == pytest.approx(10, abs=0.1)
    assert advice.saved_kwh == pytest.approx(0, abs=0.01)
    assert advice.recommended == "auto-on"


def test_in_daylight_nobody_presses_though_people_stay():
    advice = advised([*STAYS, 40_000], minds=0.0)

    assert advice.presses == 0
    assert advice.unneeded == pytest.approx(10)
    assert advice.saved_kwh == pytest.approx(10 * (980 + 300) / 3600, rel=0.01)


def test_dusk_in_the_middle_of_a_stay_is_one_press_and_saves_the_light_before_it():
    times = list(range(0, 2001, 20))
    minds = np.array([0.0] * 50 + [1.0] * 50 + [1.0])

    advice = advised([*times, 40_000], minds=minds)

    assert advice.presses == pytest.approx(1, abs=0.01)
    assert advice.saved_kwh == pytest.approx(50 * 20 / 3600, rel=0.01)


def test_somebody_left_in_the_dark_presses_again_however_briefly_they_move():
    times = [*range(0, 1000, 20), 980 + 305, 40_000]
    p_false = np.zeros(len(times) - 1)
    p_false[-2] = 1.0

    assert advised(times, p_false=p_false).presses == pytest.approx(2, abs=0.01)


def test_it_is_never_advised_where_people_would_look_for_a_switch_in_the_dark():
    for use in ("corridor", "stairs", "toilet", "changing room", "plant room"):
        advice = advised([*PASSERS, 40_000], use=use)

        assert advice.worth > 0, "it would pay"
        assert not advice.fits
        assert advice.recommended == "auto-on"


def test_neither_where_the_code_forbids_it_nor_where_something_must_be_mended_first():
    assert advised([*PASSERS, 40_000], allow_manual_on=False).recommended == "auto-on"
    assert advised([*PASSERS, 40_000], decision="fix-first").recommended == "auto-on"


def test_dear_presses_forbid_it():
    both = [*PASSERS, *(t + 50_000 for t in STAYS), 100_000]

    assert advised(both, press=0.001).recommended == "manual-on"
    assert advised(both, press=0.2).recommended == "auto-on"


def test_nothing_is_said_of_a_relay_nor_of_a_log_that_was_taken_under_manual_on():
    assert advised([*PASSERS, 40_000], control="relay") is None
    assert advised([*PASSERS, 40_000], mode="manual-on") is None


def test_unneeded_switch_ons_are_told_apart_and_add_up():
    """Ten passers-by of 3 s, ten visits of moments of 10 s, ten stays in daylight."""
    day = 36_000.0
    moments = [day + k * 3600 + s for k in range(10) for s in (0, 5, 10)]
    stays = [2 * day + k * 3600 + s for k in range(10) for s in range(0, 1000, 20)]
    minds = np.concatenate([np.ones(len(PASSERS) + len(moments)), np.zeros(len(stays))])

    advice = advised([*PASSERS, *moments, *stays, 3 * day], minds=minds)

    assert advice.passers == pytest.approx(10, abs=0.2)
    assert advice.moments == pytest.approx(10, abs=1)
    assert advice.bright == pytest.approx(10, abs=0.2)
    assert advice.passers + advice.moments + advice.bright == pytest.approx(advice.unneeded)
    assert advice.presses_cost == pytest.approx(advice.presses * 0.02)

"""Hold-timer codes against the values of IEC 62386-303 Table 4, which are from memory: 10 s steps, default 90 = 15 min, longest 254 = 2540 s."""

import pytest

from tuning.hold_timer import CODE_MAX, hold_off_of_code, hold_timer_code


def test_the_default_and_the_ends_of_the_table():
    assert (hold_timer_code(900), hold_off_of_code(90)) == (90, 900)
    assert (hold_timer_code(2540), hold_off_of_code(254)) == (254, 2540)
    assert (hold_timer_code(1), hold_off_of_code(0)) == (0, 1)


def test_every_code_comes_back_and_the_nearest_is_taken():
    assert [hold_timer_code(hold_off_of_code(c)) for c in range(CODE_MAX + 1)] == list(range(CODE_MAX + 1))
    assert [hold_timer_code(s) for s in (4.9, 5, 14.9, 15, 64, 66)] == [0, 1, 1, 2, 6, 7]


def test_what_the_timer_cannot_hold_has_no_code():
    assert hold_timer_code(2541) is None
    with pytest.raises(ValueError, match="greater than 0"):
        hold_timer_code(0)
    with pytest.raises(ValueError, match="0 to 254"):
        hold_off_of_code(255)

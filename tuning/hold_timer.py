"""Hold-timer codes of occupancy sensors on a digital lighting bus.

IEC 62386-303, Table 4: a code counts steps of 10 s, code 0 stands for 1 s, codes run to 254 (2540 s). The values are from memory; of the standard
itself only the list of contents was seen. On the bus the timer begins with the last movement reported, so it is the hold-off less whatever
the detector holds by itself.
"""

from __future__ import annotations

STEP_S = 10
"""One step. [s]."""
CODE_MAX = 254
"""Highest code; 255 asks for no change and is no value."""


def hold_timer_code(hold_off_s: float) -> int | None:
    """Return the code nearest to a hold-off.

    Parameters
    ----------
    hold_off_s
        Hold-off. [s]

    Returns
    -------
    0…254; ``None`` beyond the longest that the timer holds.

    Raises
    ------
    ValueError
        If the hold-off is not greater than 0.

    Examples
    --------
    >>> hold_timer_code(900), hold_timer_code(45), hold_timer_code(2540), hold_timer_code(3600)
    (90, 5, 254, None)
    """
    if not hold_off_s > 0:
        raise ValueError(f"a hold-off is greater than 0 s, got {hold_off_s}")
    if hold_off_s > CODE_MAX * STEP_S:
        return None
    # A half rounds up: rather a little longer in the light than a little shorter.
    code = int(hold_off_s / STEP_S + 0.5)
    return code if code > 0 or hold_off_s < STEP_S / 2 else 1


def hold_off_of_code(code: int) -> float:
    """Return the hold-off that a code stands for. [s].

    Raises
    ------
    ValueError
        If the code lies outside 0…254.

    Examples
    --------
    >>> hold_off_of_code(90), hold_off_of_code(0)
    (900.0, 1.0)
    """
    if not 0 <= code <= CODE_MAX:
        raise ValueError(f"codes run from 0 to {CODE_MAX}, got {code}")
    return float(code * STEP_S) if code else 1.0

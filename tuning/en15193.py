"""The occupancy factor and the lighting energy numeric indicator of EN 15193.

Branches are ranges of the absence factor, not alternatives to take the larger or smaller of.
"""

from __future__ import annotations

OCCUPANCY_CONTROL = {
    "manual": 1.00,
    "manual, automatic sweep": 0.95,
    "auto-on, dimmed": 0.95,
    "auto-on, automatic off": 0.90,
    "manual-on, dimmed": 0.90,
    "manual-on, automatic off": 0.80,
}
"""F_OC by kind of control. EN 15193:2007 Annex D; .95 and .80 seen in public calculation code, the others from memory."""


def occupancy_factor(control_factor: float, absence_factor: float) -> float:
    """Occupancy factor F_O of EN 15193:2007 Annex D (kept in the 2017 edition, Annex E).

    Parameters
    ----------
    control_factor
        F_OC, see :data:`OCCUPANCY_CONTROL`.
    absence_factor
        F_A, share of the time with nobody there, 0…1.

    Raises
    ------
    ValueError
        If either lies outside 0…1.

    Notes
    -----
    The three expressions were seen in public calculation code; the limits 0.2 and 0.9 are from memory and confirmed by continuity.

    Examples
    --------
    >>> occupancy_factor(0.9, 0.1), occupancy_factor(0.9, 0.4)
    (0.95, 0.7000000000000001)
    """
    if not (0 <= control_factor <= 1 and 0 <= absence_factor <= 1):
        raise ValueError(f"F_OC {control_factor} and F_A {absence_factor} must lie in 0…1; give shares, not percent")
    if absence_factor < 0.2:
        return 1 - (1 - control_factor) * absence_factor / 0.2
    if absence_factor < 0.9:
        return control_factor + 0.2 - absence_factor
    return (7 - 10 * control_factor) * (absence_factor - 1)


def leni(
    power_w: float,
    area_m2: float,
    *,
    daylight_h: float,
    night_h: float,
    occupancy: float = 1.0,
    daylight: float = 1.0,
    constant_illuminance: float = 1.0,
    parasitic_kwh_m2: float = 0.0,
) -> float:
    """Lighting energy numeric indicator, ``W/A``. [kWh/(m²·a)].

    Parameters
    ----------
    power_w, area_m2
        Installed power and floor area. [W, m²]
    daylight_h, night_h
        Operating hours a year with and without daylight, t_D and t_N. [h]
    occupancy, daylight, constant_illuminance
        Factors F_O, F_D and F_C.
    parasitic_kwh_m2
        Standby and emergency charging, if to be counted. [kWh/(m²·a)]

    Notes
    -----
    ``W_L = Σ P_n·F_C·F_O·(t_D·F_D + t_N)/1000`` (EN 15193; W/A seen, the rest from memory).
    """
    hours = daylight_h * daylight + night_h
    return power_w * constant_illuminance * occupancy * hours / 1000 / area_m2 + parasitic_kwh_m2

"""The occupancy factor and the lighting energy numeric indicator of EN 15193.

Branches are ranges of the absence factor, not alternatives to take the larger or smaller of.
"""

from __future__ import annotations

from dataclasses import dataclass

OCCUPANCY_CONTROL = {
    "manual": 1.00,
    "manual, automatic sweep": 0.95,
    "auto-on, dimmed": 0.95,
    "auto-on, automatic off": 0.90,
    "manual-on, dimmed": 0.90,
    "manual-on, automatic off": 0.80,
}
"""F_OC by kind of control. EN 15193:2007 Annex D; .95 and .80 seen in public calculation code, the others from memory."""

"""``auto-on, dimmed`` means light that dims down when nobody is there, not light that is held at a target."""


@dataclass(frozen=True)
class Assumed:
    """A value of the standard's tables, and how sure it is that it stands there."""

    value: float
    status: str


_SURE, _FAIRLY = "from memory", "from memory, less sure"
ABSENCE_FACTOR: dict[str, Assumed] = {
    "office": Assumed(0.40, _SURE),
    "open-plan office": Assumed(0.0, _SURE),
    "meeting room": Assumed(0.50, _SURE),
    "reception": Assumed(0.0, _SURE),
    "corridor": Assumed(0.40, _SURE),
    "stairs": Assumed(0.40, _SURE),
    "toilet": Assumed(0.90, _SURE),
    "store room": Assumed(0.90, _SURE),
    "plant room": Assumed(0.98, _SURE),
    "copy room": Assumed(0.50, _SURE),
    "classroom": Assumed(0.25, _FAIRLY),
    "lecture hall": Assumed(0.40, _FAIRLY),
    "sports hall": Assumed(0.30, _FAIRLY),
    "canteen": Assumed(0.20, _FAIRLY),
}
"""F_A by use of the room: EN 15193:2007 Annex D, all from memory. A cellular office of one person; an open-plan office sensed by 30 m² (per 10 m² it
is 0.20); reception as entrance, stairs as corridor (our reading). Uses that are not here: no value known to us."""

OPERATING_HOURS: dict[str, tuple[float, float]] = {
    "office": (2250.0, 250.0),
    "education": (1800.0, 200.0),
    "restaurant": (1250.0, 1250.0),
    "sports": (2000.0, 2000.0),
    "manufacture": (2500.0, 1500.0),
}
"""t_D and t_N by kind of building [h/a]: EN 15193, from memory; 1250/1250 was seen in a national code."""
KIND_OF_BUILDING: dict[str, str] = {
    "classroom": "education",
    "lecture hall": "education",
    "canteen": "restaurant",
    "kitchen": "restaurant",
    "sports hall": "sports",
    "workshop": "manufacture",
}
"""Which hours a room's use takes, where not those of an office. Chosen by us."""
LARGEST_GROUP_M2 = 30.0
"""A group that covers more has F_O = 1, meeting rooms excepted. EN 15193:2007, from memory. [m²]"""


def operating_hours(use: str) -> tuple[float, float]:
    """t_D and t_N of a room's use. [h/a]."""
    return OPERATING_HOURS[KIND_OF_BUILDING.get(use, "office")]


def table_occupancy_factor(use: str, *, manual_on: bool, group_m2: float | None) -> float | None:
    """F_O as the standard's tables give it before anything is measured.

    Parameters
    ----------
    use
        Key of the table of room uses.
    manual_on
        Whether a press switches on; absence switches off either way.
    group_m2
        Floor area that one channel serves; ``None`` where not known. [m²]

    Returns
    -------
    ``None`` where no F_A is known for the use.

    Examples
    --------
    >>> round(table_occupancy_factor("office", manual_on=False, group_m2=18.0), 2)
    0.7
    >>> table_occupancy_factor("reading room", manual_on=False, group_m2=None) is None
    True
    """
    absence = ABSENCE_FACTOR.get(use)
    if absence is None:
        return None
    if group_m2 is not None and group_m2 > LARGEST_GROUP_M2 and use != "meeting room":
        return 1.0
    return occupancy_factor(control_factor(manual_on=manual_on), absence.value)


def control_factor(*, manual_on: bool) -> float:
    """F_OC of a channel that switches off on absence."""
    return OCCUPANCY_CONTROL["manual-on, automatic off" if manual_on else "auto-on, automatic off"]


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

"""The table of room uses: required illuminance, safety floor and starting beliefs.

Where the numbers come from
---------------------------
*Required illuminance*: EN 12464-1, maintained illuminance at the task. Each entry says whether the
value was seen in a text (``seen``, with that text) or is given ``from memory``.

*Safety floor*: the shortest hold-off that this program will ever recommend for the use. Chosen by us, because no
standard states one: light that goes off on a stair or beside a running machine can hurt people, so
these uses get a longer floor. Local codes prevail.

*Manual-on* (`manual_on_sensible`): never where people walk in the dark to find a press or many share one light: corridors, stairs, toilets,
changing rooms, plant rooms and every escape route; common practice, no source. Which other uses it fits was chosen by us.

*Beliefs about pauses*: the pause that is as likely an absence as a stillness, and how fast stillness gives way to absence around it; and a
rough median of the pauses of present people. No published parameters were found. They were chosen by us and adjusted after looking at how
often pauses of each length were stillness in simulated rooms (`tests.simulation`, seeds 1 and 2; corridors also of seeds 62 and 63), so figures
reached on those rooms flatter the estimates a little; figures on other simulators and seeds do not.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class RoomUse:
    """What is known about a room before its log is read.

    Attributes
    ----------
    required_illuminance_lx
        Maintained illuminance at the task. [lx]; ``None`` where the building must say it.
    illuminance_source
        Standard and row, and whether the value was seen or is from memory.
    minimum_hold_off_s
        Safety floor: no shorter hold-off is recommended. [s]
    minimum_target_lx
        Safety floor: no lower task illuminance is recommended. [lx]
    stillness_scale_s
        Rough median of pauses between movements of a present person. [s]
    even_gap_s, gap_slope
        Pause [s] that is as likely an absence as a stillness, and the fall of the log-odds per e-fold of length. Chosen by us.
    dwelling
        Whether people stay to do something (office) or pass through (corridor).
    short_visits
        Whether somebody comes, does one thing and goes, so that the gaps around a gap tell how often people come.
    manual_on_sensible
        Whether people find a press and daylight may do without light (not on escape routes).
    """

    required_illuminance_lx: float | None
    illuminance_source: str
    minimum_hold_off_s: int
    minimum_target_lx: float
    stillness_scale_s: float
    dwelling: bool
    manual_on_sensible: bool
    even_gap_s: float = 600.0
    gap_slope: float = 2.0
    short_visits: bool = False


_SEEN = "prEN 12464-1:2019 row {}, seen in a code excerpt (draft; final edition not verified)"
_TABLE = "EN 12464-1 {}, seen second-hand in a reference article"
_MEMORY = "EN 12464-1, from memory"

GENERAL = RoomUse(None, "to be given in site.toml", 60, 100, 20, dwelling=True, manual_on_sensible=False)

ROOM_USES: dict[str, RoomUse] = {
    "office": RoomUse(
        500, _TABLE.format("office table, writing"), 60, 300, 20, dwelling=True, manual_on_sensible=True, even_gap_s=600
    ),
    "open-plan office": RoomUse(
        500,
        _TABLE.format("office table, writing"),
        60,
        300,
        12,
        dwelling=True,
        manual_on_sensible=False,
        even_gap_s=600,
    ),
    "meeting room": RoomUse(
        500, _TABLE.format("office table, meeting"), 60, 300, 12, dwelling=True, manual_on_sensible=True, even_gap_s=450
    ),
    "classroom": RoomUse(
        300, _TABLE.format("education table"), 60, 200, 10, dwelling=True, manual_on_sensible=True, even_gap_s=360
    ),
    "lecture hall": RoomUse(500, _MEMORY, 60, 300, 12, dwelling=True, manual_on_sensible=True, even_gap_s=420),
    "reading room": RoomUse(
        500, _SEEN.format("6.26.2"), 60, 300, 25, dwelling=True, manual_on_sensible=False, even_gap_s=720
    ),
    "reception": RoomUse(
        300, _TABLE.format("office table"), 60, 200, 15, dwelling=True, manual_on_sensible=False, even_gap_s=600
    ),
    "canteen": RoomUse(
        200, _SEEN.format("6.2.1"), 60, 100, 10, dwelling=True, manual_on_sensible=False, even_gap_s=400
    ),
    "kitchen": RoomUse(500, _MEMORY, 120, 300, 10, dwelling=True, manual_on_sensible=False, even_gap_s=300),
    "workshop": RoomUse(500, _MEMORY, 300, 300, 12, dwelling=True, manual_on_sensible=False, even_gap_s=500),
    "sports hall": RoomUse(300, _MEMORY, 120, 200, 8, dwelling=True, manual_on_sensible=False, even_gap_s=400),
    "corridor": RoomUse(
        100, _SEEN.format("6.1.1"), 60, 100, 6, dwelling=False, manual_on_sensible=False, even_gap_s=30, gap_slope=3.0
    ),
    "stairs": RoomUse(
        100, _SEEN.format("6.1.2"), 120, 100, 6, dwelling=False, manual_on_sensible=False, even_gap_s=25, gap_slope=3.0
    ),
    "toilet": RoomUse(
        200,
        _SEEN.format("6.2.4"),
        60,
        100,
        20,
        dwelling=False,
        manual_on_sensible=False,
        even_gap_s=180,
        short_visits=True,
    ),
    "changing room": RoomUse(
        200,
        _SEEN.format("6.2.4"),
        120,
        100,
        15,
        dwelling=False,
        manual_on_sensible=False,
        even_gap_s=240,
        short_visits=True,
    ),
    "store room": RoomUse(
        100, _MEMORY, 60, 100, 10, dwelling=False, manual_on_sensible=True, even_gap_s=120, short_visits=True
    ),
    "plant room": RoomUse(
        200,
        _SEEN.format("6.3.1"),
        300,
        200,
        12,
        dwelling=False,
        manual_on_sensible=False,
        even_gap_s=150,
        short_visits=True,
    ),
    "copy room": RoomUse(
        300,
        _TABLE.format("office table, filing and copying"),
        60,
        200,
        10,
        dwelling=False,
        manual_on_sensible=True,
        even_gap_s=120,
        short_visits=True,
    ),
    "waiting area": RoomUse(
        200, _SEEN.format("6.28.1"), 60, 100, 20, dwelling=True, manual_on_sensible=False, even_gap_s=600
    ),
}


def room_use(name: str) -> RoomUse:
    """Return the entry for a room use; general beliefs for free text.

    Examples
    --------
    >>> room_use("Corridor").required_illuminance_lx
    100
    >>> room_use("aviary").required_illuminance_lx is None
    True
    """
    return ROOM_USES.get(name.strip().lower(), GENERAL)

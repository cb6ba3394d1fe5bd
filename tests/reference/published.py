"""Published values, each with its source and how sure it is. Tolerances follow the printed digits."""

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Published:
    """Inputs and expected values of one published case."""

    source: str
    inputs: Any
    expected: Any
    tolerance: float


KAPLAN_MEIER_6MP = Published(
    source="6-MP arm, Freireich 1963; survival as in a unit test quoting the R survival package (seen), standard errors recomputed",
    inputs={
        "duration": [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35],
        "ended": [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0],
    },
    expected={
        6: (0.8571, 0.0764),
        7: (0.8067, 0.0869),
        10: (0.7529, 0.0963),
        13: (0.6902, 0.1068),
        16: (0.6275, 0.1141),
        22: (0.5378, 0.1282),
        23: (0.4482, 0.1346),
    },
    tolerance=0.00005,
)

OCCUPANCY_FACTOR = Published(
    source="EN 15193:2007 Annex D: expressions seen in public calculation code, limits from memory and by continuity; table computed from them",
    inputs=[0.1, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.8, 0.9, 0.95, 0.98, 1.0],
    expected={
        1.00: [1, 1, 0.95, 0.90, 0.80, 0.70, 0.60, 0.40, 0.30, 0.15, 0.06, 0],
        0.95: [0.975, 0.95, 0.90, 0.85, 0.75, 0.65, 0.55, 0.35, 0.25, 0.125, 0.05, 0],
        0.90: [0.95, 0.90, 0.85, 0.80, 0.70, 0.60, 0.50, 0.30, 0.20, 0.10, 0.04, 0],
        0.80: [0.90, 0.80, 0.75, 0.70, 0.60, 0.50, 0.40, 0.20, 0.10, 0.05, 0.02, 0],
    },
    tolerance=1e-9,
)

LENI_EXAMPLE = Published(
    source="own worked example (not published): P 200 W, A 20 m², tD 2250 h, tN 250 h, F_A .4",
    inputs={"power_w": 200.0, "area_m2": 20.0, "daylight_h": 2250.0, "night_h": 250.0},
    expected={"manual": 20.0, "auto-on, automatic off": 17.5, "manual-on, automatic off": 15.0},
    tolerance=1e-9,
)

DELAY_SAVINGS = Published(
    source="energy saved at switch-off delays: Von Neida, Maniccia, Tweed, IES paper 43 (2000), 158 rooms in 60 buildings, 14 days; 5 min of "
    "restroom, classroom, conference seen second-hand (trade-press summary), break room 29 % seen second-hand (federal guide, delay not "
    "stated), private office and all 20-min values from memory; vacancies and 10/15 min computed from savings(T) = savings(0)·exp(−T/m)",
    inputs={
        "break room": {5: 29, 20: 17},
        "classroom": {5: 58, 20: 52},
        "conference room": {5: 50, 20: 39},
        "private office": {5: 38, 20: 28},
        "restroom": {5: 60, 20: 47},
    },
    expected={
        "mean_vacancy_min": {
            "break room": 28.1,
            "classroom": 137,
            "conference room": 60.4,
            "private office": 49.1,
            "restroom": 61.4,
        },
        "saved_percent": {
            "break room": {10: 24.3, 15: 20.3},
            "classroom": {10: 55.9, 15: 53.9},
            "conference room": {10: 46.0, 15: 42.4},
            "private office": {10: 34.3, 15: 31.0},
            "restroom": {10: 55.3, 15: 51.0},
        },
    },
    tolerance=0.005,
)

SWITCH_OFF_ON_LEAVING = Published(
    source="probability of switching off by hand on leaving, by length of the absence, no control: Pigg 1996 / Reinhart & Voss 2003, as coded in "
    "published daylight-simulation research code (seen)",
    inputs=[0.5, 1, 2, 4, 12, 24],  # upper edges of the absences [h]; the last value holds beyond
    expected=[0.086, 0.314, 0.386, 0.600, 0.960, 0.999, 0.999],
    tolerance=0.0005,
)

RENT_OR_BUY = Published(
    source="wait b/r then power down is 2-competitive: Albers, 'Energy-efficient algorithms', Comm. ACM 53(5), May 2010, p. 91 (seen); "
    "e/(e−1) for the best fixed time-out under a known distribution: Karlin et al. 1990/1994 (from memory)",
    inputs={"cost": 600.0, "rate": 1.0},
    expected={"deterministic": 2.0, "known_distribution": 1.58198},
    tolerance=0.000005,
)

OPTIMAL_TIME_OUT = Published(
    source="closed forms: E(T) = w∫S + c·S(T), optimum where the hazard falls to w/c; derived and computed, w = 1, gaps in s",
    inputs={"lomax": (1.5, 60.0, 600.0), "weibull": (0.5, 60.0, 600.0), "mixture": (0.9, 60.0, 3600.0)},
    expected={
        "lomax": (840.0, 99.3441),
        "weibull": (1500.0, 119.191),
        "mixture": {300.0: (223.965, 109.073), 600.0: (279.261, 141.019), 1800.0: (381.824, 254.812)},
        "presence": (269.989, 32.9989, 0.01),
    },
    tolerance=0.0005,
)

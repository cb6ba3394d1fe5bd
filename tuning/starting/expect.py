"""What to expect of a room without a log under every hold-off, before its own building has taught anything: the belief, with its spread.

*Light for nobody* rests on the field studies: light that would burn through the operating time of EN 15193, times the share that the study says
a delay leaves unsaved. *Occupied time* rests on the absence factors of EN 15193. *False-offs* rest on no publication, because none was found
that tabulates them by delay: pauses of present people are taken to be Weibull with a falling hazard and the median of the table of room uses.
All spreads are chosen by us, and wide.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import gamma, log

import numpy as np

from tuning.en15193 import ABSENCE_FACTOR, operating_hours
from tuning.motion import Floats
from tuning.room_uses import room_use
from tuning.starting.field import study_of

SHAPE = 0.55
"""Weibull shape of pauses: a falling hazard, as in :mod:`tuning.presence.spells`."""
MINDS = 0.7
"""Share of the occupied time in which daylight does not do. Chosen by us."""
PASSAGE_ABSENCE = 0.9
"""Absence where people only pass through: the standard's 0.40 for corridors is no count of people. Chosen by us."""
USUAL_ABSENCE = 0.4
"""Where the standard's tables have no value that we know. Chosen by us: that of an office."""
DIMMED = 0.8
"""Mean output of a dimmed channel while lit. Chosen by us."""
LEAST = {"false_offs": 0.05, "wasted_on_h": 0.05, "full_load_h": 0.5}
"""Added before logarithms are taken, so that "never" is a number. Chosen by us: nobody feels less than that in a week."""
WEEKS_A_YEAR = 365.25 / 7


@dataclass(frozen=True)
class Spread:
    """Standard deviations of the logarithm: of what the belief says of the mean room of a use, and between its rooms; of all hold-offs, or each."""

    belief: float | Floats
    rooms: float | Floats


SPREAD = {"false_offs": Spread(1.0, 0.9), "wasted_on_h": Spread(0.6, 0.6), "full_load_h": Spread(0.5, 0.5)}
"""Chosen by us. A single room's false-offs then lie within a factor of nine of the belief in nine of ten cases."""
QUANTITIES = tuple(SPREAD)


@dataclass(frozen=True)
class Expected:
    """Something a week, with a 90 % range for this room."""

    middle: float
    low: float
    high: float


def absence(use: str) -> float:
    """Share of the operating time with nobody there. 0…1."""
    name = use.strip().lower()
    if name in ("corridor", "stairs"):
        return PASSAGE_ABSENCE
    known = ABSENCE_FACTOR.get(name)
    return USUAL_ABSENCE if known is None or known.value == 0 else known.value


def operating_h(use: str) -> float:
    """Operating time of a use. [h a week]."""
    return sum(operating_hours(use.strip().lower())) / WEEKS_A_YEAR


def absences_a_week(use: str) -> float:
    """Absences that the field study implies: light for nobody over the mean vacancy."""
    study = study_of(use)
    return operating_h(use) * 60 * study.saved_at_once / study.mean_vacancy_min


def believed(use: str, hold_off_s: Floats, *, dimmed: bool) -> dict[str, Floats]:
    """Logarithm (of the value plus :data:`LEAST`) of what the mean room of a use brings a week, by hold-off.

    Parameters
    ----------
    use
        Key of the table of room uses, or free text.
    hold_off_s
        Candidates. [s]
    dimmed
        Whether the channel is held at a target.

    Returns
    -------
    ``false_offs`` [1/week], ``wasted_on_h`` [h/week] and ``full_load_h`` [h/week, energy over load].
    """
    occupied_h = operating_h(use) * (1 - absence(use))
    scale_s = room_use(use).stillness_scale_s / log(2) ** (1 / SHAPE)
    pauses_a_week = occupied_h * 3600 / (scale_s * gamma(1 + 1 / SHAPE))
    false_offs = MINDS * pauses_a_week * np.exp(-((hold_off_s / scale_s) ** SHAPE))
    study = study_of(use)
    left = study.saved_at_once * (1 - np.exp(-hold_off_s / 60 / study.mean_vacancy_min))
    wasted_h = operating_h(use) * left
    full_load_h = (occupied_h + wasted_h) * (DIMMED if dimmed else 1.0)
    values = {"false_offs": false_offs, "wasted_on_h": wasted_h, "full_load_h": full_load_h}
    return {name: np.log(v + LEAST[name]) for name, v in values.items()}

"""What a run of the closed loop starts from, and what comes out of it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.simulation.days import GRID_S
from tests.simulation.motion import Natural
from tests.simulation.parameters import Detector, People
from tests.simulation.schedules import Visits

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Scene:
    """What is the same under every hold-off.

    Attributes
    ----------
    visits, natural
        Who is there and what they do.
    seen_s
        Natural triggers after dead time, in order.
    dark
        Minute by minute, whether somebody there would mind the lamps going off.
    manual
        Whether only a press switches on.
    present_from_s, present_to_s
        Disjoint intervals in which somebody is there.
    leave_off_s
        Moments at which the last to leave presses off.
    """

    visits: Visits
    natural: Natural
    seen_s: FloatArray
    dark: BoolArray
    manual: bool
    present_from_s: FloatArray
    present_to_s: FloatArray
    leave_off_s: FloatArray
    people: People
    detector: Detector
    span_s: float


@dataclass(frozen=True)
class Run:
    """One run of the loop under one hold-off (times in s, in order).

    Attributes
    ----------
    on_s, off_s
        Bounds of the lit stretches; one that the span cuts off ends at the span.
    level
        What people dimmed each stretch to (0 … 1), NaN where the control decides.
    by_press
        Whether a press ended the stretch.
    present, minds
        At the end of each stretch: whether somebody was there, and whether somebody who minds was (never true where a
        press or the span ended it).
    motion_s
        Triggers as the detector reported them (empty where not asked for).
    press_s
        Presses that switched on.
    """

    on_s: FloatArray
    off_s: FloatArray
    level: FloatArray
    by_press: BoolArray
    present: BoolArray
    minds: BoolArray
    motion_s: FloatArray
    press_s: FloatArray
    span_s: float

    @property
    def by_hold_off(self) -> BoolArray:
        """Whether the hold-off ended the stretch."""
        whole = np.ones(len(self.off_s), bool)
        whole[-1:] = self.off_s[-1:] < self.span_s
        return whole & ~self.by_press

    def lit_at(self, t: FloatArray) -> BoolArray:
        """Whether the lamps are on at the times given."""
        i = np.searchsorted(self.on_s, t, side="right") - 1
        return np.asarray((i >= 0) & (np.append(self.off_s, -np.inf)[i] > t))


def merge_presence(visits: Visits) -> tuple[FloatArray, FloatArray]:
    """Disjoint intervals in which at least one person is there."""
    if len(visits.start_s) == 0:
        return np.empty(0), np.empty(0)
    until = np.maximum.accumulate(visits.end_s)
    opens = np.append(True, visits.start_s[1:] > until[:-1])
    return visits.start_s[opens], until[np.append(opens[1:], True)]


def time_present(t: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """Time present [s] up to every `t`, from disjoint intervals in order."""
    if len(start) == 0:
        return np.zeros_like(t)
    before = np.concatenate([[0.0], np.cumsum(end - start)])
    i = np.searchsorted(start, t, side="right") - 1
    j = np.maximum(i, 0)
    return np.asarray(np.where(i >= 0, before[j] + np.minimum(t, end[j]) - start[j], 0.0))


def may_press(scene: Scene, t: FloatArray) -> BoolArray:
    """Whether somebody who dwells and finds it dark is there at the times given (manual-on)."""
    visits = scene.visits
    starts = visits.start_s[visits.dwells]
    ends = np.sort(visits.end_s[visits.dwells])
    dwelling = np.searchsorted(starts, t, "right") > np.searchsorted(ends, t, "right")
    minute = np.minimum((t // GRID_S).astype(np.int64), len(scene.dark) - 1)
    return np.asarray(dwelling & scene.dark[minute])


def quiet_moment(runs: list[Run], scene: Scene, from_s: float) -> float:
    """First full five minutes [s] from `from_s` on at which nobody is there and no run is lit."""
    t = from_s + np.arange(0.0, scene.span_s - from_s, 300.0)
    busy = np.logical_or.reduce([run.lit_at(t) for run in runs])
    i = np.searchsorted(scene.present_from_s, t, side="right") - 1
    busy |= (i >= 0) & (np.append(scene.present_to_s, -np.inf)[i] > t)
    if busy.all():
        raise ValueError(f"no quiet moment after {from_s} s to change the hold-off in")
    return float(t[np.argmin(busy)])


def change_over(before: Run, after: Run, at_s: float) -> Run:
    """One run up to a moment at which both are dark and nobody is there, another from then on."""
    first, second = before.on_s < at_s, after.on_s >= at_s
    per_stretch = ("on_s", "off_s", "level", "by_press", "present", "minds")
    joined = {n: np.concatenate([getattr(before, n)[first], getattr(after, n)[second]]) for n in per_stretch}
    for name in ("motion_s", "press_s"):
        early, late = getattr(before, name), getattr(after, name)
        joined[name] = np.concatenate([early[early < at_s], late[late >= at_s]])
    return Run(**joined, span_s=after.span_s)

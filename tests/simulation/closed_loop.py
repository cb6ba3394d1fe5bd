"""The closed loop: hold-off, switch-off, who is left in the dark and minds, and what they do about it.

The rule: lamps are off once no movement was *seen* for the hold-off. Where a person is left in the dark and minds, they react
after a reaction time unless somebody moves or they leave before. After a reaction the interrupted stillness goes on (the next
movement comes when it would have come), or movement starts afresh (the interrupted stillness is dropped and everything
that person would have done follows earlier by what was left of it).

Everything between two expiries is skipped: only pauses longer than the hold-off are visited.
"""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.simulation.days import GRID_S
from tests.simulation.motion import Natural, after_dead_time
from tests.simulation.parameters import Detector, People
from tests.simulation.schedules import Visits

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

NEVER = float("inf")


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
    """

    visits: Visits
    natural: Natural
    seen_s: FloatArray
    dark: BoolArray
    manual: bool
    present_from_s: FloatArray
    present_to_s: FloatArray
    people: People
    detector: Detector
    span_s: float


@dataclass(frozen=True)
class Run:
    """One run of the loop under one hold-off (times in s, in order).

    ``on_s``/``off_s`` bound the lit stretches; a stretch that the span cuts off ends at the span. ``off_present`` and
    ``off_minds`` belong to the switch-offs. ``motion_s`` are the triggers as the detector reported them, ``press_s``
    the presses.
    """

    on_s: FloatArray
    off_s: FloatArray
    off_present: BoolArray
    off_minds: BoolArray
    motion_s: FloatArray
    press_s: FloatArray


def merge_presence(visits: Visits) -> tuple[FloatArray, FloatArray]:
    """Disjoint intervals in which at least one person is there."""
    if len(visits.start_s) == 0:
        return np.empty(0), np.empty(0)
    until = np.maximum.accumulate(visits.end_s)
    opens = np.append(True, visits.start_s[1:] > until[:-1])
    return visits.start_s[opens], until[np.append(opens[1:], True)]


@dataclass
class _Cursor:
    """Where the walk stands in a list of triggers; the last of `times` belongs to whoever walks on from there.

    ``times[i + 1]`` comes next; ``last`` is the latest trigger, natural or a reaction. ``pauses`` are the indices
    followed by a pause longer than the hold-off; ``on_at[i]`` is the first trigger from i on that switches on.
    """

    times: list[float]
    pauses: list[int]
    on_at: list[int] | None
    last: float
    lit: bool
    i: int = -1
    p: int = 0

    @property
    def n(self) -> int:
        return len(self.times) - 1


@dataclass(frozen=True)
class _Afresh:
    """Visit `who` reacted at `when` and starts afresh, within presence interval `cluster`."""

    when: float
    who: int
    cluster: int


@dataclass
class _Walk:
    """The walk over one scene under one hold-off; collects what happens."""

    scene: Scene
    hold_off_s: float
    rng: np.random.Generator
    on: list[float] = field(default_factory=list)
    off: list[float] = field(default_factory=list)
    present: list[bool] = field(default_factory=list)
    minds: list[bool] = field(default_factory=list)
    reactions: list[float] = field(default_factory=list)
    presses: list[float] = field(default_factory=list)
    replaced: list[tuple[float, float, FloatArray]] = field(default_factory=list)
    unseen: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        visits = self.scene.visits
        self.start = visits.start_s.tolist()
        self.end = visits.end_s.tolist()
        self.dwells = visits.dwells.tolist()
        self.present_from = self.scene.present_from_s.tolist()
        self.present_to = self.scene.present_to_s.tolist()
        self.pool: list[float] = []

    def reaction_s(self) -> float:
        """A reaction time [s]; where the first wave is missed a second one follows."""
        if not self.pool:
            people, n = self.scene.people, 2000
            r = people.reaction_median_s * np.exp(people.reaction_sigma * self.rng.standard_normal((2, n)))
            missed = self.rng.random(n) < people.wave_missed
            self.pool = np.clip(r[0] + np.where(missed, r[1] + 1.0, 0.0), 0.4, 120.0).tolist()
        return self.pool.pop()

    def somebody(self, x: float, cluster: int) -> int:
        """A visit at `x` of somebody who dwells, at random, or -1."""
        v = bisect_right(self.start, x) - 1
        first = self.present_from[cluster]
        here = []
        while v >= 0 and self.start[v] >= first:
            if self.end[v] > x and self.dwells[v]:
                here.append(v)
            v -= 1
        if len(here) < 2:
            return here[0] if here else -1
        return here[int(self.rng.integers(len(here)))]

    def expire(self, x: float, following: float) -> tuple[float, int, int]:
        """Note a switch-off at `x`; returns when somebody reacts (or never), who, and the presence interval."""
        cluster = bisect_right(self.present_from, x) - 1
        there = cluster >= 0 and self.present_to[cluster] > x
        dark = bool(self.scene.dark[min(int(x // GRID_S), len(self.scene.dark) - 1)])
        who = self.somebody(x, cluster) if there and dark else -1
        self.off.append(x)
        self.present.append(there)
        self.minds.append(who >= 0)
        if who < 0:
            return NEVER, who, cluster
        when = x + self.reaction_s()
        return (when if when < min(following, self.end[who] - 0.2) else NEVER), who, cluster

    def cursor(self, seen: FloatArray, after: float, last: float, *, lit: bool) -> _Cursor:
        """Stand before the triggers `seen`, which are followed by one at `after`."""
        pauses = np.flatnonzero(np.diff(np.append(seen, after)) > self.hold_off_s).tolist()
        on_at = None
        if self.scene.manual:
            n = len(seen)
            mark = np.where(may_press(self.scene, seen), np.arange(n), n)
            on_at = [*np.minimum.accumulate(mark[::-1])[::-1].tolist(), n]
        return _Cursor([*seen.tolist(), after], pauses, on_at, last, lit)

    def switch_on(self, c: _Cursor) -> bool:
        """Lamps are off: go to the next trigger that switches them on; false where there is none."""
        j = c.i + 1 if c.on_at is None or c.i + 1 >= c.n else c.on_at[c.i + 1]
        if j >= c.n:
            c.i = c.n - 1
            return False
        c.i, c.last, c.lit = j, c.times[j], True
        if self.scene.manual:
            # The press comes a moment after the movement that the detector saw.
            press = min(c.last + 1.0, (c.last + c.times[j + 1]) / 2)
            self.presses.append(press)
            self.on.append(press)
        else:
            self.on.append(c.last)
        return True

    def advance(self, c: _Cursor) -> _Afresh | None:
        """Walk to the end of the cursor's triggers, or to the next reaction after which movement starts afresh."""
        hold, dead = self.hold_off_s, self.scene.detector.dead_time_s
        p_fresh = self.scene.people.p_fresh
        while True:
            if not c.lit and not self.switch_on(c):
                return None
            if c.times[c.i + 1] - c.last <= hold:
                c.p = bisect_left(c.pauses, c.i + 1, c.p)
                if c.i + 1 >= c.n:
                    return None
                if c.p >= len(c.pauses):
                    c.i, c.last = c.n - 1, c.times[c.n - 1]
                    return None
                c.i = c.pauses[c.p]
                c.last = c.times[c.i]
            when, who, cluster = self.expire(c.last + hold, c.times[c.i + 1])
            if when == NEVER:
                c.lit = False
                continue
            self.reactions.append(when)
            self.on.append(when)
            if self.scene.manual:
                self.presses.append(when)
            c.last = when
            if p_fresh > 0 and (p_fresh >= 1 or self.rng.random() < p_fresh):
                return _Afresh(when, who, cluster)
            if dead > 0 and c.i + 1 < c.n and c.times[c.i + 1] < when + dead:
                self.unseen.append(when)
                c.i = bisect_left(c.times, when + dead, c.i + 1, c.n) - 1

    def rest_of_presence(self, event: _Afresh, after: float) -> _Cursor:
        """After a fresh start, walk to the end of the presence interval on the triggers that now come."""
        natural, until = self.scene.natural, self.present_to[event.cluster]
        low, high = np.searchsorted(natural.time_s, [event.when, until], side="right")
        rest, owner, door = natural.time_s[low:high], natural.owner[low:high], natural.at_door[low:high]
        streams: dict[int, FloatArray] = {}
        following: _Afresh | None = event
        while following is not None:
            when, who = following.when, following.who
            own = streams.get(who)
            if own is None:
                own = natural.stream_s[natural.stream_from[who] : natural.stream_from[who + 1]]
            k = int(np.searchsorted(own, when, side="right"))
            if k < len(own):
                own = np.append(own[:k], own[k + 1 :] - (own[k] - when))
            streams[who] = own
            keep = (rest > when) & (door | ~np.isin(owner, list(streams)))
            new = [s[(s > when) & (s < self.end[v])] for v, s in streams.items()]
            tail = np.sort(np.concatenate([rest[keep], *new]))
            tail = after_dead_time(tail, self.scene.detector.dead_time_s, when)
            self.replaced.append((when, until, tail))
            c = self.cursor(tail, after, when, lit=True)
            following = self.advance(c)
        return c

    def run(self) -> None:
        """Walk over the whole scene."""
        scene = self.scene
        c = self.cursor(scene.seen_s, scene.span_s, -NEVER, lit=False)
        while (event := self.advance(c)) is not None:
            m = bisect_right(c.times, self.present_to[event.cluster], c.i + 1, c.n)
            inner = self.rest_of_presence(event, c.times[m])
            c.i, c.lit = m - 1, inner.lit
            if inner.lit and m < c.n:
                c.i, c.last = m, c.times[m]
            elif inner.lit:
                c.last = inner.last


def may_press(scene: Scene, t: FloatArray) -> BoolArray:
    """Whether somebody who dwells and finds it dark is there at the times given (manual-on)."""
    visits = scene.visits
    starts = visits.start_s[visits.dwells]
    ends = np.sort(visits.end_s[visits.dwells])
    dwelling = np.searchsorted(starts, t, "right") > np.searchsorted(ends, t, "right")
    minute = np.minimum((t // GRID_S).astype(np.int64), len(scene.dark) - 1)
    return np.asarray(dwelling & scene.dark[minute])


def run_loop(scene: Scene, hold_off_s: float, rng: np.random.Generator, *, with_motion: bool = False) -> Run:
    """Run the closed loop over a scene.

    Parameters
    ----------
    hold_off_s
        Hold-off [s].
    rng
        Draws reactions and who reacts.
    with_motion
        Also return all triggers (needed for a log, not for a truth).
    """
    walk = _Walk(scene, hold_off_s, rng)
    walk.run()
    off = np.asarray(walk.off)
    on = np.asarray(walk.on)
    inside = off < scene.span_s
    off_all = off[inside]
    if len(on) > len(off_all):
        off_all = np.append(off_all, scene.span_s)
    motion = _all_triggers(walk) if with_motion else np.empty(0)
    present, minds = np.asarray(walk.present, bool)[inside], np.asarray(walk.minds, bool)[inside]
    return Run(on, off_all, present, minds, motion, np.asarray(walk.presses))


def _all_triggers(walk: _Walk) -> FloatArray:
    """Every trigger of a run: natural ones, those of fresh starts in place of what they replaced, and reactions."""
    motion = walk.scene.seen_s
    for when, until, tail in walk.replaced:
        motion = np.concatenate([motion[motion <= when], tail, motion[motion > until]])
    blind_from = np.asarray(walk.unseen)
    if len(blind_from):
        i = np.searchsorted(blind_from, motion, "left") - 1
        hidden = (i >= 0) & (motion < blind_from[np.maximum(i, 0)] + walk.scene.detector.dead_time_s)
        motion = motion[~hidden]
    return np.sort(np.concatenate([motion, np.asarray(walk.reactions)]))

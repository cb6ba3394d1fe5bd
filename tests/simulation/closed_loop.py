"""The closed loop: hold-off, switch-off, who is left in the dark and minds, and what they do about it.

The rule: lamps are off once no movement was *seen* for the hold-off. Where a person is left in the dark and minds,
they react after a reaction time unless somebody moves or they leave before. After a reaction the interrupted stillness
goes on (the next movement comes when it would have come), or movement starts afresh (the interrupted stillness is
dropped and everything that person would have done follows earlier by what was left of it).

Everything between two expiries is skipped: only pauses longer than the hold-off are visited.
"""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.simulation.days import GRID_S
from tests.simulation.motion import after_dead_time, seen_stillness
from tests.simulation.scene import Run, Scene, may_press

FloatArray = NDArray[np.float64]

NEVER = float("inf")
_WINDOW_S = 1500.0  # how far triggers are worked out at once after a fresh start


@dataclass
class _Cursor:
    """Where the walk stands in a list of triggers; the last of `times` belongs to whoever walks on from there.

    ``times[i + 1]`` comes next; ``last`` is the latest trigger, natural or a reaction. ``stops`` are the indices
    that need a look: followed by a pause longer than the hold-off, or by a press on leaving (its time in ``leaves``).
    ``on_at[i]`` is the first trigger from i on that switches on (manual-on).
    """

    times: list[float]
    stops: list[int]
    leaves: dict[int, float]
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
    by_press: list[bool] = field(default_factory=list)
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
        self.waves: list[int] = []
        self.spare = np.empty(0)

    def reaction_s(self) -> float:
        """A reaction time [s]; where the first wave is missed a second one follows."""
        if not self.pool:
            people, n = self.scene.people, 2000
            r = people.reaction_median_s * np.exp(people.reaction_sigma * self.rng.standard_normal((2, n)))
            missed = self.rng.random(n) < people.wave_missed
            self.pool = np.clip(r[0] + np.where(missed, r[1] + 1.0, 0.0), 0.4, 120.0).tolist()
            self.waves = self.rng.poisson(people.wave_more, n).tolist()
        return self.pool.pop()

    def react(self, when: float, until: float) -> float:
        """Note a reaction at `when` and the waves that follow it; returns the last trigger of it."""
        self.reactions.append(when)
        self.on.append(when)
        if self.scene.manual:
            self.presses.append(when)
        last = when
        step = max(1.2, self.scene.detector.dead_time_s)
        for _ in range(self.waves.pop()):
            if last + step >= until:
                break
            last += step
            self.reactions.append(last)
        return last

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
        self._end(x, by_press=False, present=there, minds=who >= 0)
        if who < 0:
            return NEVER, who, cluster
        when = x + self.reaction_s()
        return (when if when < min(following, self.end[who] - 0.2) else NEVER), who, cluster

    def _end(self, x: float, *, by_press: bool, present: bool, minds: bool) -> None:
        self.off.append(x)
        self.by_press.append(by_press)
        self.present.append(present)
        self.minds.append(minds)

    def cursor(self, seen: FloatArray, after: float, last: float, *, lit: bool) -> _Cursor:
        """Stand before the triggers `seen`, which are followed by one at `after`."""
        scene, n = self.scene, len(seen)
        stops = np.flatnonzero(np.diff(np.append(seen, after)) > self.hold_off_s)
        leaves: dict[int, float] = {}
        if n and len(scene.leave_off_s):
            low, high = np.searchsorted(scene.leave_off_s, [seen[0], min(after, scene.span_s)])
            at = scene.leave_off_s[low:high]
            before = np.searchsorted(seen, at) - 1
            leaves = dict(zip(before.tolist(), at.tolist(), strict=True))
            stops = np.union1d(stops, before)
        on_at = None
        if scene.manual:
            mark = np.where(may_press(scene, seen), np.arange(n), n)
            on_at = [*np.minimum.accumulate(mark[::-1])[::-1].tolist(), n]
        return _Cursor([*seen.tolist(), after], stops.tolist(), leaves, on_at, last, lit)

    def switch_on(self, c: _Cursor) -> bool:
        """Lamps are off: go to the next trigger that switches them on; false where there is none."""
        j = c.i + 1 if c.on_at is None or c.i + 1 >= c.n else c.on_at[c.i + 1]
        if j >= c.n:
            c.i = c.n - 1
            return False
        c.i, c.last, c.lit = j, c.times[j], True
        if self.scene.manual:
            # The press comes a moment after the movement that the detector saw.
            press = min(c.last + 1.0, (c.last + min(c.times[j + 1], c.leaves.get(j, NEVER))) / 2)
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
            leave = c.leaves.get(c.i, NEVER)
            if leave < c.last + hold and leave > self.on[-1]:
                self._end(leave, by_press=True, present=False, minds=False)
                c.lit = False
                continue
            if c.times[c.i + 1] - c.last <= hold:
                c.p = bisect_left(c.stops, c.i + 1, c.p)
                if c.i + 1 >= c.n:
                    return None
                c.i = c.stops[c.p] if c.p < len(c.stops) else c.n - 1
                c.last = c.times[c.i]
                continue
            when, who, cluster = self.expire(c.last + hold, c.times[c.i + 1])
            if when == NEVER:
                c.lit = False
                continue
            c.last = self.react(when, min(c.times[c.i + 1], self.end[who]) - dead)
            if p_fresh > 0 and (p_fresh >= 1 or self.rng.random() < p_fresh):
                return _Afresh(c.last, who, cluster)
            if dead > 0 and c.i + 1 < c.n and c.times[c.i + 1] < c.last + dead:
                self.unseen.append(c.last)
                c.i = bisect_left(c.times, c.last + dead, c.i + 1, c.n) - 1

    def rest_of_presence(self, event: _Afresh, after: float) -> _Cursor:
        """After a fresh start, walk to the end of the presence interval on the triggers that now come."""
        natural, end = self.scene.natural, self.present_to[event.cluster]
        low, high = np.searchsorted(natural.time_s, [event.when, end], side="right")
        rest, owner, door = natural.time_s[low:high], natural.owner[low:high], natural.at_door[low:high]
        others = np.ones(len(rest), bool)
        streams: dict[int, FloatArray] = {}
        following: _Afresh | None = event
        since, last, lit = event.when, event.when, True
        while True:
            if following is not None:
                since = last = following.when
                lit = True
                who = following.who
                if who not in streams:
                    streams[who] = natural.stream_s[natural.stream_from[who] : natural.stream_from[who + 1]]
                    others &= door | (owner != who)
                streams[who] = self._carry_on(_drop_rest(streams[who], since), since, who)
            until = min(end, since + _WINDOW_S)
            parts = [rest[others], *(s[: np.searchsorted(s, self.end[v])] for v, s in streams.items())]
            bounds = [np.searchsorted(part, [since, until], side="right") for part in parts]
            tail = np.sort(np.concatenate([part[a:b] for part, (a, b) in zip(parts, bounds, strict=True)]))
            tail = after_dead_time(tail, self.scene.detector.dead_time_s, last)
            beyond = min((float(p[b]) for p, (_, b) in zip(parts, bounds, strict=True) if b < len(p)), default=after)
            self.replaced.append((since, until, tail))
            c = self.cursor(tail, beyond if until < end else after, last, lit=lit)
            following = self.advance(c)
            if following is not None:
                # A reaction past the window: nothing moved between the two.
                self.replaced.append((until, max(until, following.when), np.empty(0)))
            else:
                since, last, lit = until, c.last, c.lit
                if until >= end:
                    return c

    def _carry_on(self, stream: FloatArray, since: float, who: int) -> FloatArray:
        """Go on with a stream that came to an end before the visit `who` does."""
        while len(stream) == 0 or stream[-1] < self.end[who]:
            if len(self.spare) < 100:
                self.spare = seen_stillness(self.rng, self.scene.people, self.scene.detector.coverage, 20_000)
            draws, self.spare = self.spare[:100], self.spare[100:]
            last = max(since, float(stream[-1])) if len(stream) else since
            stream = np.append(stream, last + np.cumsum(draws) * self.scene.natural.pace[who])
        return stream

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


def _drop_rest(stream: FloatArray, when: float) -> FloatArray:
    """Drop what is left at `when` of the stillness it falls into; all that follows comes earlier by that."""
    k = int(np.searchsorted(stream, when, side="right"))
    left = stream[k] - when if k < len(stream) else 0.0
    return np.append(stream[:k], stream[k + 1 :] - left)


def run_loop(scene: Scene, hold_off_s: float, rng: np.random.Generator, *, with_motion: bool = False) -> Run:
    """Run the closed loop over a scene.

    Parameters
    ----------
    hold_off_s
        Hold-off [s].
    rng
        Draws reactions, who reacts and what people dim to.
    with_motion
        Also return all triggers (needed for a log, not for a truth).
    """
    walk = _Walk(scene, hold_off_s, rng)
    walk.run()
    if len(walk.on) > len(walk.off):
        walk._end(scene.span_s, by_press=False, present=False, minds=False)
    n = len(walk.on)
    dims = rng.random(n) < scene.people.dims_p
    return Run(
        on_s=np.asarray(walk.on, dtype=float),
        off_s=np.minimum(np.asarray(walk.off, dtype=float), scene.span_s),
        level=np.where(dims, np.clip(rng.normal(scene.people.dims_level, 0.07, n), 0.05, 1.0), np.nan),
        by_press=np.asarray(walk.by_press, dtype=bool),
        present=np.asarray(walk.present, dtype=bool),
        minds=np.asarray(walk.minds, dtype=bool),
        motion_s=_all_triggers(walk) if with_motion else np.empty(0),
        press_s=np.asarray(walk.presses, dtype=float),
        span_s=scene.span_s,
    )


def _all_triggers(walk: _Walk) -> FloatArray:
    """Every trigger of a run: natural ones, those of fresh starts in place of what they replaced, and reactions."""
    motion = walk.scene.seen_s
    for since, until, tail in walk.replaced:
        motion = np.concatenate([motion[motion <= since], tail, motion[motion > until]])
    blind_from = np.asarray(walk.unseen)
    if len(blind_from):
        i = np.searchsorted(blind_from, motion, "left") - 1
        hidden = (i >= 0) & (motion < blind_from[np.maximum(i, 0)] + walk.scene.detector.dead_time_s)
        motion = motion[~hidden]
    return np.sort(np.concatenate([motion, np.asarray(walk.reactions)]))

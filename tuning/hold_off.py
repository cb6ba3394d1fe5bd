"""Which hold-off was in force: documented, or read off the log.

The lag between the last motion and the output going to zero has a sharp mode at the hold-off. Where the output is
sampled, each lag is known only to within one sample, so the hold-off is the value that most lag intervals share.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning.gaps import Bools, Gaps
from tuning.logs import looked_at_every_s
from tuning.motion import US, Floats, Ints, MotionLog, times_us
from tuning.results import Finding
from tuning.site import Channel, Site
from tuning.stretches import spread

MIN_SWITCH_OFFS = 5
"""Fewer switch-offs do not make a mode. Chosen by us."""
MIN_SHARE = 0.4
"""Share of the switch-offs that the mode must explain; the rest are presses and daylight. Chosen by us."""
SLACK_S = 3.0
"""Telegrams and loggers stamp motion and output up to some seconds apart. Chosen by us."""
HUNT_WITHIN_S, CHAIN = 900.0, 3
"""Switch-offs by light follow each other within a quarter of an hour, three at least. Chosen by us."""
CROSS_SHARE = 0.4
"""A hold-off changed where either part's explains less than so much of what the other part's own does. Chosen by us."""
MOSTLY = 0.5
"""Chosen by us."""
MISMATCH_SHARE = 0.05
MISMATCH_S = 10.0
"""Observed and documented hold-off differ when further apart than both of these. Chosen by us."""


@dataclass(frozen=True)
class HoldOffInForce:
    """The hold-off over the log.

    Attributes
    ----------
    from_us, hold_off_s
        Change times, UTC epoch [µs], and the hold-off from each on [s]; infinite where nothing switches off.
    documented_s, observed_s
        The latest documented and observed hold-off [s], ``None`` if there is none.
    findings
        Mismatches and changes found in the log.
    """

    from_us: Ints
    hold_off_s: Floats
    documented_s: float | None
    observed_s: float | None
    findings: tuple[Finding, ...] = ()

    def at(self, t_us: Ints) -> Floats:
        """Hold-off in force at given times. [s]."""
        if len(self.from_us) == 1:
            # As nearly always; the gaps are many.
            return np.full(len(t_us), self.hold_off_s[0])
        index = np.searchsorted(self.from_us, t_us, side="right") - 1
        return self.hold_off_s[np.maximum(index, 0)]

    @property
    def latest_s(self) -> float:
        """Hold-off in force when the log ends [s]; infinite where nothing switches off."""
        return float(self.hold_off_s[-1])


@dataclass(frozen=True)
class Lags:
    """Switch-offs by hold-off: time of each, and its lag behind the last motion as an interval. [µs, s].

    ``outlasted_s`` is the longest pause since the switch-off before through which the light stayed on [s]: a hold-off that is outlasted was not
    in force. ``found_lit_s`` tells the same from each sample of a sampled output by itself: how long after the last motion or press one found the
    light on, at most, in pauses that did not end in a switch-off [s]. ``least_s`` is the shortest hold-off that can be set [s].
    """

    off_us: Ints
    low_s: Floats
    high_s: Floats
    outlasted_s: Floats | None = None
    least_s: float = 0.0
    found_lit_s: Floats | None = None

    def of(self, rows: npt.NDArray[np.intp] | Bools | slice) -> Lags:
        """Return some of the switch-offs."""
        outlasted_s = None if self.outlasted_s is None else self.outlasted_s[rows]
        found_lit_s = None if self.found_lit_s is None else self.found_lit_s[rows]
        return Lags(self.off_us[rows], self.low_s[rows], self.high_s[rows], outlasted_s, self.least_s, found_lit_s)

    def outlast(self, hold_off_s: Floats | float) -> Bools:
        """Whether the light stayed on through a pause longer than a hold-off, before each switch-off."""
        return self._longer(self.outlasted_s, hold_off_s)

    def found_lit(self, hold_off_s: Floats | float) -> Bools:
        """Whether a sample found the light on longer after the last motion than a hold-off, before each switch-off."""
        return self._longer(self.found_lit_s, hold_off_s)

    def found_lit_at_last(self, hold_off_s: Floats | float) -> Bools:
        """The same of the last sample before each switch-off, whose time after the last motion is the least that the lag can be."""
        return self._longer(None if self.found_lit_s is None else self.low_s, hold_off_s)

    def _longer(self, lit_s: Floats | None, hold_off_s: Floats | float) -> Bools:
        if lit_s is None:
            return np.zeros(np.broadcast_shapes(np.shape(hold_off_s), np.shape(self.off_us)), dtype=bool)
        return np.asarray(lit_s > hold_off_s + np.maximum(MISMATCH_S, MISMATCH_SHARE * hold_off_s))


def switch_off_lags(output: pl.DataFrame, motion: MotionLog, override_us: Ints, *, least_s: float = 0.0) -> Lags:
    """Lag of every switch-off behind the last motion.

    Parameters
    ----------
    output
        ``time``, ``value`` in percent, of one channel, sorted.
    motion
        The channel's motions.
    override_us
        Presses; a switch-off within 5 s after one is the person's, not the hold-off's.
    least_s
        Shortest hold-off that can be set. [s]
    """
    t, value = times_us(output), output["value"].to_numpy()
    empty = Lags(np.empty(0, dtype=np.int64), np.empty(0), np.empty(0))
    if len(t) < 2 or len(motion.start_us) == 0:
        return empty
    off = np.flatnonzero((value[1:] <= 0) & (value[:-1] > 0)) + 1
    if len(off) == 0:
        return empty
    interval = looked_at_every_s(output)
    off_us = t[off]
    last_on_us = t[off - 1] if interval is not None else off_us - round(1.0 * US)
    before = np.searchsorted(motion.start_us, off_us, side="left") - 1
    known = before >= 0
    last_motion = motion.end_us[np.maximum(before, 0)]
    # Movement that goes on at the switch-off cannot have caused it.
    known &= last_motion <= off_us
    if len(override_us):
        press = np.searchsorted(override_us, off_us, side="right") - 1
        # Where the output is sampled, the switch-off came at any time since it was last seen on.
        since = off_us if interval is None else last_on_us
        known &= ~((press >= 0) & (since - override_us[np.maximum(press, 0)] <= 5 * US))
    if interval is None:
        known &= ~_by_light(t, value, off, motion)
    high = (off_us - last_motion) / US
    low = np.maximum((last_on_us - last_motion) / US, 0.0)
    if motion.resolution_s > 0:
        # A motion sample says only that somebody moved within it, so the true lag may be longer by up to one sample.
        high = high + motion.resolution_s
    outlasted_s = _outlasted_s(t, value, off_us[known], motion, interval or 0.0)
    found_lit_s = None if interval is None else _found_lit_s(t, value, off_us, motion, override_us)[known]
    return Lags(off_us[known], low[known], high[known], outlasted_s, least_s, found_lit_s)


def _outlasted_s(t_us: Ints, value: Floats, off_us: Ints, motion: MotionLog, interval_s: float) -> Floats:
    """Longest pause since the switch-off before through which the light stayed on. [s]."""
    begin, end = motion.end_us[:-1], motion.start_us[1:]
    dark = np.cumsum(np.append(0, value <= 0))
    # As many darks before what the light was doing as each pause began, as until it ended; none before the output was logged.
    lit = spread(dark, t_us, end) == spread(np.append(-1, dark[:-1]), t_us, begin)
    # A sample says only that somebody moved within it, and a dark shorter than the step of a sampled output is not seen.
    sure_s = ((end - begin) / US - motion.resolution_s - interval_s) * lit
    bounds = np.append(0, np.searchsorted(begin, off_us, side="left"))
    longest = np.maximum.reduceat(np.append(sure_s[: bounds[-1]], 0.0), bounds)[:-1]
    return np.where(np.diff(bounds) > 0, np.maximum(longest, 0.0), 0.0)


def _found_lit_s(t_us: Ints, value: Floats, off_us: Ints, motion: MotionLog, override_us: Ints) -> Floats:
    """Longest time since the last motion or press at which a sample found the light on, since the switch-off before. [s]."""
    lit_us = t_us[value > 0]
    last = np.searchsorted(motion.start_us, lit_us, side="right") - 1
    # Where the log of motion breaks off, nobody knows when somebody moved last.
    begins = motion.covered_us[:, 0]
    there = np.searchsorted(begins, lit_us, side="right") - 1
    known = (last >= 0) & (there >= 0)
    known[known] = motion.start_us[last[known]] >= begins[there[known]]
    # The pause that ends in the switch-off is told by its lag.
    ends = np.searchsorted(motion.start_us, off_us, side="left") - 1
    known &= ~np.isin(last, ends)
    lit_us, since_us = lit_us[known], motion.end_us[last[known]]
    if len(override_us):
        press = np.searchsorted(override_us, lit_us, side="right") - 1
        since_us = np.where(press >= 0, np.maximum(since_us, override_us[np.maximum(press, 0)]), since_us)
    longest = np.zeros(len(off_us) + 1)
    np.maximum.at(longest, np.searchsorted(off_us, lit_us, side="right"), (lit_us - since_us) / US)
    return longest[:-1]


def _by_light(t_us: Ints, value: Floats, off: Ints, motion: MotionLog) -> Bools:
    """Switch-offs of a control that sees its own lamps: soon after each other, and people moved in the dark without bringing the light back.

    A switch-off by hold-off is undone by the next movement; one by light is not.
    """
    off_us = t_us[off]
    lit = np.flatnonzero(value > 0)
    on_us = np.append(t_us[lit], np.iinfo(np.int64).max)[np.searchsorted(lit, off)]
    after = np.searchsorted(motion.start_us, off_us, side="right")
    moved = np.append(motion.start_us, np.iinfo(np.int64).max)[after] < on_us - round(SLACK_S * US)
    # a chain: the next switch-off follows soon, after a dark in which somebody moved
    linked = moved[:-1] & (np.diff(off_us) < HUNT_WITHIN_S * US)
    if len(off) < CHAIN:
        return np.zeros(len(off), dtype=bool)
    run = np.cumsum(np.append(0, ~linked))
    return np.asarray(np.bincount(run)[run] >= CHAIN)


def shared_value(low: Floats, high: Floats) -> tuple[float, float]:
    """Value that most intervals share, and the share of intervals that hold it.

    Examples
    --------
    >>> shared_value(np.array([290.0, 298.0, 100.0]), np.array([310.0, 302.0, 101.0]))
    (300.0, 0.6666666666666666)
    """
    edges = np.concatenate([low, high])
    # Where one ends as another begins, the beginning counts first: it stands first, and the order is stable.
    order = np.argsort(edges, kind="stable")
    depth = np.cumsum(np.where(order < len(low), 1, -1))
    best = int(np.argmax(depth))
    upper = edges[order[min(best + 1, len(order) - 1)]]
    return float((edges[order[best]] + upper) / 2), float(depth[best] / len(low))


def sharp_mode(lags: Lags, rows: npt.NDArray[np.intp] | Bools | slice) -> tuple[float, float] | None:
    """Hold-off and share explained for some of the switch-offs; ``None`` where there is no sharp mode."""
    low, high = lags.low_s[rows], lags.high_s[rows]
    if len(low) < MIN_SWITCH_OFFS:
        return None
    value, _ = shared_value(low - SLACK_S, high + SLACK_S)
    inside = (low - SLACK_S <= value) & (value <= high + SLACK_S)
    share = np.count_nonzero(inside) / len(inside)
    if share < MIN_SHARE:
        return None
    if value < lags.least_s - MISMATCH_S and (mine := lags.of(rows)).outlast(value).mean() > MOSTLY:
        # Sooner than anything that can be set, in light that stays on through longer pauses: people who switch off as they leave.
        return sharp_mode(mine.of(~inside), slice(None))
    high, low = high[inside], low[inside]
    narrow = np.count_nonzero(high - low <= 2 * SLACK_S) > 0.5 * len(high)
    return (_median(high) if narrow else value), share


def _median(values: Floats) -> float:
    """The median of values that are numbers: asked hundreds of times, of some hundreds of them."""
    middle = (len(values) - 1) // 2, len(values) // 2
    return float(np.partition(values, middle)[list(middle)].mean())


def _apart(lags: Lags, left: tuple[float, float], right: tuple[float, float], low: int, cut: int, high: int) -> bool:
    """Whether either part's hold-off explains far fewer switch-offs of the other part than that part's own does.

    Compared within each part, because a longer hold-off switches off far less often: of all switch-offs its own may be a tenth.
    """
    return (
        _explained(lags, left[0], slice(cut, high)) < CROSS_SHARE * right[1]
        and _explained(lags, right[0], slice(low, cut)) < CROSS_SHARE * left[1]
    )


def _split(lags: Lags, low: int, high: int, depth: int) -> list[tuple[int, float]]:
    """Hold-offs of switch-offs ``low:high``, split where two modes explain clearly more than one."""
    whole = sharp_mode(lags, slice(low, high))
    n = high - low
    if depth == 0 or n < 4 * MIN_SWITCH_OFFS:
        return [(low, whole[0])] if whole else []
    best: tuple[float, int] | None = None
    step = max(1, n // 40)
    for cut in range(low + 2 * MIN_SWITCH_OFFS, high - 2 * MIN_SWITCH_OFFS, step):
        left, right = sharp_mode(lags, slice(low, cut)), sharp_mode(lags, slice(cut, high))
        if left and right and _differ(left[0], right[0]) and _apart(lags, left, right, low, cut, high):
            explained = (left[1] * (cut - low) + right[1] * (high - cut)) / n
            if best is None or explained > best[0]:
                best = (explained, cut)
    if best is None:
        return [(low, whole[0])] if whole else []
    cut = best[1]
    return [*_split(lags, low, cut, depth - 1), *_split(lags, cut, high, depth - 1)]


def observe(lags: Lags) -> list[tuple[int, float]]:
    """Hold-offs that the log shows: ``(from, hold-off)`` with times in UTC epoch µs and hold-offs in s."""
    found = _split(lags, 0, len(lags.off_us), 3)
    merged: list[tuple[int, float]] = []
    for index, value in found:
        if not merged or abs(merged[-1][1] - value) > max(MISMATCH_S, MISMATCH_SHARE * value):
            merged.append((int(lags.off_us[index]), value))
    if merged:
        merged[0] = (np.iinfo(np.int64).min, merged[0][1])
    return merged


AS_WELL = 0.8
"""What was written down is believed where it explains so much of the switch-offs that the log's own value does. Chosen by us: ranges that end
where the next begin share that point, and a few chance ones make it look the best."""


def _as_written_down(
    observed: list[tuple[int, float]], documented: list[tuple[int, float]], lags: Lags
) -> list[tuple[int, float]]:
    """Hold-offs as they were written down where the log samples too coarsely to tell them from those that it shows.

    Where output or motion is sampled, every value of a whole range explains the switch-offs; the middle of the range is no better than any other.
    """
    until = [when for when, _ in observed[1:]] + [np.iinfo(np.int64).max]
    result = []
    for (when, value), end in zip(observed, until, strict=True):
        rows = np.flatnonzero((lags.off_us >= when) & (lags.off_us < end))
        coarse = len(rows) > 0 and float(np.median((lags.high_s - lags.low_s)[rows])) > 2 * SLACK_S
        written = [h for at, h in documented if at < end] if coarse else []
        as_well = [
            h for h in written[-1:] if _explained(lags.of(rows), h) >= AS_WELL * _explained(lags.of(rows), value)
        ]
        result.append((when, as_well[-1] if as_well else value))
    return result


def _explained(lags: Lags, value: float, rows: slice = slice(None)) -> float:
    return float(((lags.low_s[rows] - SLACK_S <= value) & (value <= lags.high_s[rows] + SLACK_S)).mean())


def _documented(site: Site, channel: Channel) -> list[tuple[int, float]]:
    steps: list[tuple[int, float]] = []
    if channel.hold_off_s is not None:
        steps.append((np.iinfo(np.int64).min, channel.hold_off_s))
    changes = sorted(
        (site.local_to_utc(c.from_), c.hold_off_s) for c in channel.settings_history if c.hold_off_s is not None
    )
    return [*steps, *((round(when.timestamp()) * US, hold_off_s) for when, hold_off_s in changes)]


def _observe_by_period(lags: Lags, documented: list[tuple[int, float]]) -> list[tuple[int, float]]:
    """Hold-offs that the log shows between documented changes; where a period shows none, what was written down stands."""
    edges = [when for when, _ in documented[1:]] + [np.iinfo(np.int64).max]
    if documented[0][0] != np.iinfo(np.int64).min:
        return observe(lags)
    steps: list[tuple[int, float]] = []
    any_seen = False
    for (when, hold_off_s), until in zip(documented, edges, strict=True):
        rows = (lags.off_us >= when) & (lags.off_us < until)
        seen = observe(lags.of(rows))
        any_seen |= bool(seen)
        steps += [(when, seen[0][1] if seen else hold_off_s), *seen[1:]]
    return steps if any_seen else []


def _differ(a: float, b: float) -> bool:
    return abs(a - b) > max(MISMATCH_S, MISMATCH_SHARE * b)


def hold_off_in_force(site: Site, channel: Channel, lags: Lags, *, built_in_s: float | None = None) -> HoldOffInForce:
    """Decide which hold-off was in force when; what the log shows wins over what was written down.

    Parameters
    ----------
    site, channel
        The building and the channel's entry in it.
    lags
        Switch-offs seen in the output.
    built_in_s
        Hold-off inside a held occupancy state, if that is all there is. [s]
    """
    documented = _documented(site, channel)
    observed = _observe_by_period(lags, documented) if len(documented) > 1 else observe(lags)
    documented_s = documented[-1][1] if documented else None
    if built_in_s is not None and not observed:
        observed = [(np.iinfo(np.int64).min, built_in_s)]
    if not observed:
        steps = documented or [(np.iinfo(np.int64).min, float("inf"))]
        if steps[0][0] != np.iinfo(np.int64).min:
            # Before the first documented change nothing is known; the change says nothing about what it replaced.
            steps = [(np.iinfo(np.int64).min, float("inf")), *steps]
        return HoldOffInForce(_ints(steps), _floats(steps), documented_s, None)
    observed = _as_written_down(observed, documented, lags)
    findings: list[Finding] = []
    observed_s = observed[-1][1]
    if documented_s is not None and _differ(observed_s, documented_s):
        findings.append(
            Finding(
                "hold-off-mismatch",
                "warning",
                f"site.toml says {documented_s:.0f} s, but the light goes off {observed_s:.0f} s after the last motion. "
                "The log is believed; check what is really set.",
                {"documented_s": documented_s, "observed_s": round(observed_s, 1), "switch_offs": len(lags.off_us)},
            )
        )
    if len(observed) > 1 and len(documented) <= 1:
        when = dt.datetime.fromtimestamp(observed[-1][0] / US, tz=dt.UTC)
        findings.append(
            Finding(
                "hold-off-changed",
                "info",
                f"The hold-off changed inside the log, from {observed[-2][1]:.0f} s to {observed_s:.0f} s; "
                "the periods are analysed with their own.",
                {"times": [when.isoformat()], "hold_offs_s": [round(v, 1) for _, v in observed]},
            )
        )
    # A documented change date is sharper than one found between two switch-offs.
    if len(documented) == len(observed) and not any(
        _differ(o[1], d[1]) for o, d in zip(observed, documented, strict=True)
    ):
        observed = [(d[0], o[1]) for o, d in zip(observed, documented, strict=True)]
    return HoldOffInForce(_ints(observed), _floats(observed), documented_s, observed_s, tuple(findings))


def _ints(steps: list[tuple[int, float]]) -> Ints:
    return np.array([s[0] for s in steps], dtype=np.int64)


def _floats(steps: list[tuple[int, float]]) -> Floats:
    return np.array([s[1] for s in steps], dtype=np.float64)


def observed_off_s(gaps: Gaps, lags: Lags) -> Floats:
    """For each gap, when inside it the light was seen to go off, after the gap's start. [s]; NaN if it did not."""
    result = np.full(len(gaps), np.nan)
    if len(lags.off_us) and len(gaps):
        at = np.searchsorted(gaps.start_us, lags.off_us, side="right") - 1
        lag = (lags.off_us - gaps.start_us[np.maximum(at, 0)]) / US
        inside = (at >= 0) & (lag <= gaps.gap_s[np.maximum(at, 0)] + SLACK_S)
        result[at[inside]] = lag[inside]
    return result

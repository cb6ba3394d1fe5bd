"""Was it really set? What the switch-offs after the date say of the hold-off, against what was said.

Each switch-off shows the hold-off as an interval: exact where output and motion are logged as events, as wide as a sample where they are
sampled. Of several settings that might have been in force, each explains a switch-off or not; a switch-off by daylight or by hand is explained
by chance, the more easily the wider its interval. The likelihood ratio of the settings decides, and of one setting giving way to another.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace

import numpy as np

from tuning.gaps import Bools as Grid
from tuning.hold_off import MIN_SWITCH_OFFS, MISMATCH_S, MISMATCH_SHARE, Lags, sharp_mode
from tuning.motion import US, Floats, Ints
from tuning.sentence import Sentence, say
from tuning.verification.results import SetCheck, SetStatus
from tuning.wording import duration

BY_HOLD_OFF = 0.6
"""Share of the switch-offs that are the hold-off's, the rest being presses and daylight. Chosen by us; little depends on it."""
SURE = 6.0
"""Log-likelihood by which another setting than the said one must be better before it is called (400 to 1). Chosen by us: a room that is
called wrongly costs a visit."""
OUTLASTED = 4.0
"""Log-likelihood that a hold-off loses where the light stayed on through a longer pause. Chosen by us: presses and missed movement do that, too."""
CONTRADICTED = 0.5
"""Of the switch-offs that could tell another setting from the said one, more than this share must do so before it is called. Chosen by us."""
LIT_LONGER = 0.2
"""A setting is not called where before more than this share of its switch-offs the light was on longer than it allows. Chosen by us: in 100
simulated logs the setting in force never was, and one that was too short by a third or more in a fifth to a third of them."""
LATE_S = 86_400.0
"""Up to a day late is as said. Chosen by us."""
GRID_S = 10.0
"""Steps of the hold-offs that are tried for what a log leaves open. [s]"""
EVERY_S = (10, 30, 60, 120, 300, 600)
"""How often a logger may be set to record. [s]"""


@dataclass(frozen=True)
class _Best:
    """The best explanation: one setting throughout, or a first giving way to a second at switch-off ``cut``."""

    first_s: float
    second_s: float
    cut: int
    gain: float


def tolerance_s(said_s: float, other_s: float | None = None) -> float:
    """How far an observed hold-off may be from a setting and still be it. [s]."""
    tolerance = max(MISMATCH_S, MISMATCH_SHARE * said_s)
    if other_s is None or other_s == said_s:
        return tolerance
    return min(tolerance, 0.4 * abs(other_s - said_s))


def _loglik(lags: Lags, hold_off_s: Floats, tolerances_s: Floats, scale_s: float) -> tuple[Grid, Floats]:
    """Whether each setting explains each switch-off, and its log-likelihood against chance; shape (settings, switch-offs)."""
    low, high = lags.low_s[None, :] - tolerances_s[:, None], lags.high_s[None, :] + tolerances_s[:, None]
    hit = (low <= hold_off_s[:, None]) & (hold_off_s[:, None] <= high)
    chance = np.clip((high - low) / scale_s, 0.01, 0.99)
    return hit, np.log(np.where(hit, BY_HOLD_OFF / chance + 1 - BY_HOLD_OFF, 1 - BY_HOLD_OFF))


@dataclass(frozen=True)
class _Told:
    """What each switch-off tells of each setting, shape (settings, switch-offs).

    Attributes
    ----------
    hit, outlasted, longer
        Whether the setting explains the switch-off; whether the light was on longer than the setting allows in a pause before it; and whether it was
        so in any pause, that before the switch-off itself among them, which the likelihood of the switch-off counts already.
    may_tell
        Chance that a switch-off under the setting lies so between two samples that it speaks against the said one.
    """

    hit: Grid
    outlasted: Grid
    longer: Grid
    may_tell: Floats


def _width_s(lags: Lags) -> Floats:
    """Width of each switch-off's interval before it was cut at the last motion: there it is as wide as where it was not. [s]."""
    width = lags.high_s - lags.low_s
    cut = lags.low_s <= 0
    if not cut.any():
        return width
    whole = float(np.median(width[~cut])) if not cut.all() else float(width.max())
    return np.where(cut, np.maximum(width, whole), width)


def _may_tell(lags: Lags, settings_s: Floats, said: int, tolerance_s: float) -> Floats:
    apart = np.abs(settings_s - settings_s[said]) - tolerance_s
    return np.clip(apart[:, None] / np.maximum(_width_s(lags), 1.0)[None, :], 0.0, 1.0)


def _best(told: _Told, likelihood: Floats, settings_s: Floats, said: int) -> _Best:
    """Explanation that beats "as said throughout" by most, one setting or two, each change of mind at its price.

    A coarse log shows two settings in the same switch-offs, save for a share that follows from how far they are apart and how coarse it is; another
    one than said is called only where most of that share of what it explains speaks against the said one.
    """
    hit = told.hit
    speaks = hit & (~hit[said] | (told.outlasted[said] & ~told.outlasted))
    against = np.cumsum(np.pad(speaks, ((0, 0), (1, 0))), axis=1)
    could = np.cumsum(np.pad(hit * told.may_tell, ((0, 0), (1, 0))), axis=1)
    longer = np.cumsum(np.pad(told.longer, ((0, 0), (1, 0))), axis=1)

    def contradicts(k: int, low: int, high: int) -> bool:
        speak, may = against[k, high] - against[k, low], could[k, high] - could[k, low]
        lit_longer = longer[k, high] - longer[k, low] > LIT_LONGER * (high - low)
        return bool(k == said or (speak > CONTRADICTED * may and not lit_longer))

    n = likelihood.shape[1]
    total = np.cumsum(np.concatenate([np.zeros((len(likelihood), 1)), likelihood], axis=1), axis=1)
    whole = total[:, -1]
    best = _Best(settings_s[said], settings_s[said], 0, 0.0)
    other = int(np.argmax(whole))
    if whole[other] - whole[said] > SURE and contradicts(other, 0, n):
        best = _Best(settings_s[other], settings_s[other], 0, float(whole[other] - whole[said]))
    price = SURE + math.log(max(n, 1))
    for first in range(len(settings_s)):
        for second in {said, other} | ({first} and set(range(len(settings_s))) if first == said else set()):
            if first == second:
                continue
            along = total[first] + whole[second] - total[second]
            cut = int(np.argmax(along))
            gain = float(along[cut] - whole[said])
            enough = MIN_SWITCH_OFFS <= cut <= n - MIN_SWITCH_OFFS
            called = enough and contradicts(first, 0, cut) and contradicts(second, cut, n)
            if called and gain > price and gain > best.gain + price:
                best = _Best(settings_s[first], settings_s[second], cut, gain)
    return best


def check_hold_off(
    lags: Lags,
    *,
    was_s: float | None,
    said_s: float,
    span_us: tuple[int, int],
    settable_s: tuple[int, ...],
) -> SetCheck:
    """Hold the switch-offs of a period against the hold-off that was said.

    Parameters
    ----------
    lags
        Switch-offs of the channel.
    was_s, said_s
        Hold-off before and as said. [s]
    span_us
        Begin and end of the period. [µs, UTC epoch]
    settable_s
        What the detector can be set to. [s]
    """
    rows = (lags.off_us >= span_us[0]) & (lags.off_us < span_us[1])
    mine = lags.of(rows)
    n = len(mine.off_us)
    if n < MIN_SWITCH_OFFS:
        return SetCheck(
            "cannot-tell",
            say(
                "Cannot be told from this log: it shows {n} switch-offs since, and {least} are needed to tell which hold-off is in force.",
                n=n,
                least=MIN_SWITCH_OFFS,
            ),
            switch_offs=n,
            to_do="Wait for more switch-offs, or read the hold-off at the detector.",
        )
    resolution_s = float(np.median(mine.high_s - mine.low_s))
    settings = _hypotheses(mine, was_s, said_s, settable_s)
    said = int(np.flatnonzero(settings == said_s)[0])
    tolerances = np.array([tolerance_s(s, said_s) for s in settings])
    if was_s is not None:
        tolerances[said] = tolerance_s(said_s, was_s)
    scale = 1.5 * float(settings.max())
    hit, likelihood = _loglik(mine, settings, tolerances, scale)
    outlasted = mine.outlast(settings[:, None]) | mine.found_lit(settings[:, None])
    likelihood -= OUTLASTED * outlasted
    longer = outlasted | mine.found_lit_at_last(settings[:, None])
    may_tell = _may_tell(mine, settings, said, tolerances[said])
    best = _best(_Told(hit, outlasted, longer, may_tell), likelihood, settings, said)
    observed = float(_seen(mine, best))
    if best.gain == 0.0 and likelihood[said].sum() < 0:
        return SetCheck(
            "cannot-tell",
            say(
                "Cannot be told from this log: most of {n} switch-offs since are not the hold-off's, because daylight or people switch off "
                "first, or the log samples too coarsely.",
                n=n,
            ),
            switch_offs=n,
            resolution_s=resolution_s,
            to_do="Read the hold-off at the detector, or wait for days on which the light goes off by itself.",
        )
    told = _told(mine.off_us, best, was_s, said_s, observed, span_us, resolution_s)
    if told.status != "as-said":
        return told
    last = mine.of(slice(best.cut, None))
    rival_s = _not_told_apart(last, said_s, _rivals(was_s, said_s, settable_s), scale)
    return told if rival_s is None else _cannot_tell(told, last, said_s, rival_s, was_s, max(settable_s))


def _rivals(was_s: float | None, said_s: float, settable_s: tuple[int, ...]) -> list[float]:
    """Hold-offs that a log must tell from the said one before it can show it: the one before, and half and twice of it as far as these can be set."""
    least, most = min(*settable_s, said_s), max(*settable_s, said_s)
    near = [s for s in (said_s / 2, 2 * said_s) if least <= s <= most]
    return [s for s in ([] if was_s is None else [was_s]) + near if s != said_s]


def _two(lags: Lags, said_s: float, rival_s: float, scale_s: float) -> Floats:
    """Log-likelihood of the said hold-off against a rival, by switch-off."""
    both = np.array([said_s, rival_s])
    tolerances = np.array([tolerance_s(said_s, rival_s), tolerance_s(rival_s, said_s)])
    _, likelihood = _loglik(lags, both, tolerances, scale_s)
    likelihood -= OUTLASTED * (lags.outlast(both[:, None]) | lags.found_lit(both[:, None]))
    return likelihood[0] - likelihood[1]


def _not_told_apart(lags: Lags, said_s: float, rivals_s: list[float], scale_s: float) -> float | None:
    """The first rival that would show the same log, throughout or in the later half of it; ``None`` where there is none."""
    for rival_s in rivals_s:
        gain = _two(lags, said_s, rival_s, scale_s)
        if gain.sum() < SURE or gain[len(gain) // 2 :].sum() < SURE / 2:
            return rival_s
    return None


def _agreeing(lags: Lags, scale_s: float, most_s: float) -> tuple[float, float]:
    """Shortest and longest hold-off that explain the switch-offs about as well as the best one does. [s]."""
    grid = np.arange(GRID_S, 1.5 * most_s + GRID_S, GRID_S)
    _, likelihood = _loglik(lags, grid, np.full(len(grid), MISMATCH_S), scale_s)
    total = (likelihood - OUTLASTED * (lags.outlast(grid[:, None]) | lags.found_lit(grid[:, None]))).sum(axis=1)
    agree = grid[total >= total.max() - SURE]
    return float(agree.min()), float(agree.max())


def _cannot_tell(
    told: SetCheck, lags: Lags, said_s: float, rival_s: float, was_s: float | None, most_s: float
) -> SetCheck:
    """Say that the log shows the same under two hold-offs, what it leaves open, and what would tell."""
    low_s, high_s = _agreeing(lags, 1.5 * max(most_s, said_s, rival_s), max(most_s, said_s, rival_s))
    low_s, high_s = min(low_s, said_s), max(high_s, said_s)
    width_s = float(np.median(_width_s(lags)))
    enough_s = max((s for s in EVERY_S if s <= abs(said_s - rival_s) / 2), default=EVERY_S[0])
    facts = {
        "said": _length(said_s), "rival": _length(rival_s), "width": _length(width_s), "n": len(lags.off_us),
        "low": _length(low_s), "high": _length(high_s), "every": _length(enough_s),
    }  # fmt: skip
    which = "the hold-off before" if rival_s == was_s else "half of it" if rival_s < said_s else "twice of it"
    message = say(
        "Cannot be told from this log: under {said}, as said, and under {rival}, "
        + which
        + ", it could look the same. {n} switch-offs are known to "
        "within {width} each and agree with every hold-off from {low} to {high}.",
        **facts,
    )
    if width_s > enough_s:
        to_do = say(
            "Record the output when it changes, or every {every} at least; or read the hold-off at the detector.",
            **facts,
        )
    else:
        to_do = say("Wait for more switch-offs, or read the hold-off at the detector.")
    return replace(
        told,
        status="cannot-tell",
        message=message,
        observed_s=None,
        since=None,
        until=None,
        agrees_from_s=low_s,
        agrees_to_s=high_s,
        to_do=to_do,
    )


def _hypotheses(lags: Lags, was_s: float | None, said_s: float, settable_s: tuple[int, ...]) -> Floats:
    """Settings that may have been in force: the said one, the one before, what can be set, and what the log itself shows."""
    values = {said_s, *map(float, settable_s)} | ({was_s} if was_s is not None else set())
    least = min(values)
    for part in (slice(None), slice(0, len(lags.off_us) // 2), slice(len(lags.off_us) // 2, None)):
        mode = sharp_mode(lags, part)
        # What comes sooner than anything that can be set is people who switch off as they leave.
        if mode is not None and mode[0] >= least - tolerance_s(least):
            values.add(mode[0])
    known = [said_s] + ([was_s] if was_s is not None else [])
    # What is one setting within the tolerance is one hypothesis.
    kept = list(known)
    for value in sorted(values):
        if value > 0 and all(abs(value - k) > tolerance_s(k) for k in kept):
            kept.append(value)
    return np.array(sorted(set(kept)))


def _seen(lags: Lags, best: _Best) -> float:
    mode = sharp_mode(lags, slice(best.cut, None))
    if mode is not None and abs(mode[0] - best.second_s) <= max(tolerance_s(best.second_s), mode[0] * 0.1):
        return mode[0]
    return best.second_s


def _length(seconds: float) -> str:
    number, unit = duration(seconds).split(" ")
    return Sentence(f"{number} {unit}", [(0, len(number))])


def _told(
    off_us: Ints,
    best: _Best,
    was_s: float | None,
    said_s: float,
    observed_s: float,
    span_us: tuple[int, int],
    resolution_s: float,
) -> SetCheck:
    n = len(off_us)
    # Between the last switch-off of the one setting and the first of the next: the latter is when it surely was in force.
    turned = dt.datetime.fromtimestamp(int(off_us[best.cut]) / US, tz=dt.UTC)
    days = (off_us[best.cut] - span_us[0]) / US / 86400
    facts = {
        "seen": _length(observed_s), "said": _length(said_s), "first": _length(best.first_s), "days": days
    }  # fmt: skip
    status: SetStatus
    since = until = None
    kept = "The light goes off {seen} after the last motion, as said."
    if best.first_s == best.second_s == said_s:
        status, text = "as-said", kept
    elif best.first_s == best.second_s == was_s:
        status, text = "never", "The light still goes off {seen} after the last motion; {said} was never set."
    elif best.first_s == best.second_s:
        status, text = "another-value", "The light goes off {seen} after the last motion; {said} was said."
    elif best.second_s == said_s:
        since = turned
        status, text = "as-said", kept
        if days * 86400 > LATE_S:
            status = "later"
            text = "Set {days:.0f} days later than said: until then the light went off {first} after the last motion."
    elif best.first_s == said_s:
        until = turned
        status, text = "set-back", "In force for {days:.0f} days, then changed to {seen}."
    else:
        since = turned
        status, text = (
            "another-value",
            "The light goes off {seen} after the last motion at last; {said} was said and never seen.",
        )
    text = say(text, **facts)
    return SetCheck(status, text, round(observed_s, 1), since, until, n, resolution_s)

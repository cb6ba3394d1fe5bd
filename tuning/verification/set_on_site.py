"""Was it really set? What the switch-offs after the date say of the hold-off, against what was said.

Each switch-off shows the hold-off as an interval: exact where output and motion are logged as events, as wide as a sample where they are
sampled. Of several settings that might have been in force, each explains a switch-off or not; a switch-off by daylight or by hand is explained
by chance, the more easily the wider its interval. The likelihood ratio of the settings decides, and of one setting giving way to another.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

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
LATE_S = 86_400.0
"""Up to a day late is as said. Chosen by us."""


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


def _best(hit: Grid, likelihood: Floats, settings_s: Floats, said: int) -> _Best:
    """Explanation that beats "as said throughout" by most, one setting or two, each change of mind at its price.

    A coarse log shows two settings that it cannot tell apart in the same switch-offs; another one than said is called only where most of what it
    explains speaks against the said one.
    """
    against = np.cumsum(np.pad(hit & ~hit[said], ((0, 0), (1, 0))), axis=1)
    explained = np.cumsum(np.pad(hit, ((0, 0), (1, 0))), axis=1)

    def contradicts(k: int, low: int, high: int) -> bool:
        return bool(
            k == said or against[k, high] - against[k, low] > CONTRADICTED * (explained[k, high] - explained[k, low])
        )

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
                "The log shows {n} switch-offs since; {least} are needed to tell which hold-off is in force.",
                n=n,
                least=MIN_SWITCH_OFFS,
            ),
            switch_offs=n,
        )
    resolution_s = float(np.median(mine.high_s - mine.low_s))
    settings = _hypotheses(mine, was_s, said_s, settable_s)
    said = int(np.flatnonzero(settings == said_s)[0])
    tolerances = np.array([tolerance_s(s, said_s) for s in settings])
    if was_s is not None:
        tolerances[said] = tolerance_s(said_s, was_s)
    scale = 1.5 * float(settings.max())
    hit, likelihood = _loglik(mine, settings, tolerances, scale)
    likelihood -= OUTLASTED * mine.outlast(settings[:, None])
    best = _best(hit, likelihood, settings, said)
    observed = float(_seen(mine, best))
    if best.gain == 0.0 and likelihood[said].sum() < 0:
        return SetCheck(
            "cannot-tell",
            say(
                "None of {n} switch-offs since tells the hold-off: daylight or people switch off first, or the log samples too coarsely.",
                n=n,
            ),
            switch_offs=n,
            resolution_s=resolution_s,
        )
    return _told(mine.off_us, best, was_s, said_s, observed, span_us, resolution_s)


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

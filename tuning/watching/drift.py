"""Daily values → has one of them changed since the reference days, and since when.

After weekday effects are taken off, the mean of the last few days is held against that of the reference days, for windows of several lengths at
once, so that a large change shows within days and a small one within weeks; a day that is odd by itself counts no more than
``MOST_ODD`` standard deviations. Where one direction and size are looked for, the days are summed up instead, less ``ALLOWED`` each, from the last
day on which the sum was not above nothing: that finds such a change sooner than windows of all lengths. How far such means and sums stray by
themselves is asked of the reference days: many years are drawn from them, in blocks of consecutive days so that what hangs together stays together,
each with reference days of its own, so that the doubt about the reference counts too. The limit is the one that these years cross at the wanted
rate.

References
----------
Chu, Stinchcombe, White, "Monitoring structural change", Econometrica 64(5), 1996, pp. 1045–1065: monitoring against a reference period. Künsch,
"The jackknife and the bootstrap for general stationary observations", Annals of Statistics 17(3), 1989, pp. 1217–1241: blocks. Page, "Continuous
inspection schemes", Biometrika 41, 1954, pp. 100–115: sums. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tuning.motion import Floats, Ints

WINDOWS = (4, 6, 9, 13, 19, 28, 42)
"""Days that are averaged, of those that can tell. Chosen by us: from most of a week to two months."""
MOST_ODD = 3.0
"""Standard deviations that a day counts at most. Chosen by us: a party or an open house is no drift."""
ALLOWED = 0.35
"""Standard deviations a day that a sum is let off: half the shift that is found soonest. Chosen by us: 0.7 is found in three working weeks."""
BLOCK_DAYS = 5
"""Days that are drawn together. Chosen by us: a working week."""
YEARS = 300
"""Years drawn to find the limit. Chosen by us: the limit is crossed in some dozens of them."""
LEAST_REFERENCE = 12
"""Reference days that can tell, below which nothing is watched. Chosen by us: two weeks and a bit."""
REST = 0.5
"""Below this share of the limit a statistic has come to rest, and what goes over the limit later is another change. Chosen by us."""
YEAR_DAYS = 365.25
COVER = 0.9
"""What intervals of times and sizes hold. [share]"""


@dataclass(frozen=True)
class Series:
    """Daily values on a scale on which days spread evenly, those that can tell only.

    Attributes
    ----------
    day
        Number of each day, increasing; ``weekday`` 0 Monday … 6 Sunday.
    value, weight
        What it says, and how much it rests on.
    floor
        The least standard deviation that is believed.
    least
        A smaller shift is not worth a word.
    upward
        Only a shift upward is looked for.
    """

    day: Ints
    weekday: Ints
    value: Floats
    weight: Floats
    floor: float
    least: float = 0.0
    upward: bool = False


@dataclass(frozen=True)
class Change:
    """A change found.

    Attributes
    ----------
    alarm
        Day on which it was found.
    first_alarm
        Day on which anything was found since the reference days; earlier than ``alarm`` where that passed and this came later.
    since, since_low, since_high
        First day after the change, with a 90 % interval.
    shift, shift_low, shift_high
        How much the values moved on their scale, with a 90 % interval.
    before
        Their mean over the reference days.
    lasting
        Whether the last days are still different.
    """

    alarm: int
    first_alarm: int
    since: int
    since_low: int
    since_high: int
    before: float
    shift: float
    shift_low: float
    shift_high: float
    lasting: bool


def find_change(series: Series, *, reference_to: int, rate_per_year: float, rng: np.random.Generator) -> Change | None:
    """Find the latest change after the reference days: one that passed does not hide what came after it.

    Parameters
    ----------
    series
        Daily values.
    reference_to
        Number of the first day that is no reference day.
    rate_per_year
        False alarms a year that are put up with, 0…1.
    rng
        Draws the years.
    """
    n = int(np.searchsorted(series.day, reference_to))
    if n < LEAST_REFERENCE or len(series.day) - n < WINDOWS[0]:
        return None
    values = series.value - _weekday_effects(series, n)
    per_day = n / max(int(series.day[n - 1] - series.day[0]) + 1, 1)
    ahead = max(round(per_day * YEAR_DAYS), WINDOWS[-1])
    limit = _limit(values[:n], series.weight[:n], series, ahead, rate_per_year, rng)
    strayed, mean, sd = _strayed(values[None], series.weight[None], n, series)
    over = np.flatnonzero(strayed[0] > limit)
    if len(over) == 0:
        return None
    rested = np.flatnonzero(strayed[0, : over[-1]] < REST * limit)
    alarm = n + int(over[over > (rested[-1] if len(rested) else -1)][0])
    change = _described(series, (values - mean[0]) / sd[0], n, alarm, float(mean[0]), float(sd[0]))
    return replace(change, first_alarm=int(series.day[n + over[0]]))


def limit_of(series: Series, *, reference_to: int, rate_per_year: float, rng: np.random.Generator) -> float | None:
    """The limit alone, in standard deviations; ``None`` where nothing can be watched. For tests and pictures."""
    n = int(np.searchsorted(series.day, reference_to))
    if n < LEAST_REFERENCE:
        return None
    values = series.value - _weekday_effects(series, n)
    per_day = n / max(int(series.day[n - 1] - series.day[0]) + 1, 1)
    ahead = max(round(per_day * YEAR_DAYS), WINDOWS[-1])
    return _limit(values[:n], series.weight[:n], series, ahead, rate_per_year, rng)


def _weekday_effects(series: Series, n: int) -> Floats:
    """How much the weekday of each day adds, by the reference days; the fewer these are, the nearer to nothing."""
    weekday, value, weight = series.weekday[:n], series.value[:n], series.weight[:n]
    mean = np.average(value, weights=weight)
    total = np.bincount(weekday, weight, 7)
    count = np.bincount(weekday, minlength=7)
    own = np.bincount(weekday, weight * (value - mean), 7) / np.maximum(total, 1e-12)
    used = count > 1
    if used.sum() < 2:
        return np.zeros(len(series.day))
    within = np.sum(weight * (value - mean - own[weekday]) ** 2) / np.sum(weight) * n / max(n - used.sum(), 1)
    between = max(float(np.average(own[used] ** 2, weights=count[used])) - within / float(count[used].mean()), 0.0)
    kept = between / (between + within / np.maximum(count, 1) + 1e-12)
    return (own * kept)[series.weekday]


def _strayed(values: Floats, weight: Floats, n: int, series: Series) -> tuple[Floats, Floats, Floats]:
    """How far the last days lie from the reference days: the farthest mean of all windows, or the sum where only one direction counts.

    Parameters
    ----------
    values, weight
        ``(paths, days)``; the first ``n`` days are the reference.
    series
        Its ``floor``, ``least`` and ``upward`` hold.

    Returns
    -------
    ``(paths, days − n)`` in standard deviations; and the reference days' mean and standard deviation, ``(paths,)``.
    """
    ref, w = values[:, :n], weight[:, :n]
    total = w.sum(axis=1)
    mean = (w * ref).sum(axis=1) / total
    sd = np.sqrt((w * (ref - mean[:, None]) ** 2).sum(axis=1) / total * n / (n - 1))
    sd = np.maximum(sd, series.floor)
    whole = (values[:, n:] - mean[:, None]) / sd[:, None]
    z = np.clip(whole, -MOST_ODD, MOST_ODD)
    # The clipped reference days' own mean, so that a skewed spread does not show as a shift.
    at_rest = np.clip((ref - mean[:, None]) / sd[:, None], -MOST_ODD, MOST_ODD)
    z = z - ((w * at_rest).sum(axis=1) / total)[:, None]
    mine = weight[:, n:]
    if series.upward:
        total_s = np.cumsum(mine * (z - ALLOWED), axis=1) * (n / total)[:, None]
        return total_s - np.minimum(np.minimum.accumulate(total_s, axis=1), 0.0), mean, sd
    doubt = (w**2).sum(axis=1) / total**2
    sums = [np.pad(np.cumsum(x, axis=1), ((0, 0), (1, 0))) for x in (mine * z, mine, mine**2, mine * whole)]
    days = z.shape[1]
    strayed = np.zeros_like(z)
    for window in WINDOWS:
        if window > days:
            break
        s, t, q, r = (x[:, window:] - x[:, :-window] for x in sums)
        away = np.abs(s / t) / np.sqrt(q / t**2 + doubt[:, None])
        away = np.where(np.abs(r / t) * sd[:, None] >= series.least, away, 0.0)
        strayed[:, window - 1 :] = np.maximum(strayed[:, window - 1 :], away)
    return strayed, mean, sd


def _limit(values: Floats, weight: Floats, series: Series, ahead: int, rate: float, rng: np.random.Generator) -> float:
    """The limit that years drawn from the reference days cross at a rate."""
    n = len(values)
    residual = values - np.average(values, weights=weight)
    # Blocks of few days, and effects taken off, make drawn years calmer than real ones.
    residual = residual * np.sqrt(n / max(n - BLOCK_DAYS - 1, 1))
    blocks = -(-(n + ahead) // BLOCK_DAYS)
    first = rng.integers(0, n, (YEARS, blocks))
    pick = ((first[:, :, None] + np.arange(BLOCK_DAYS)) % n).reshape(YEARS, -1)[:, : n + ahead]
    drawn = _strayed(residual[pick], weight[pick], n, series)[0].max(axis=1)
    # Days that never differed say nothing of how they might: no limit below that of days that spread evenly.
    steady = replace(series, floor=1e-9, least=0.0)
    even = _strayed(rng.standard_normal((YEARS, n + ahead)), np.ones((YEARS, n + ahead)), n, steady)[0].max(axis=1)
    share = float(np.exp(-rate))
    return float(max(np.quantile(drawn, share), np.quantile(even, share)))


def _described(series: Series, whole: Floats, n: int, alarm: int, mean: float, sd: float) -> Change:
    z, last = np.clip(whole, -MOST_ODD, MOST_ODD), len(series.day)
    recent = slice(max(last - 10, n), last)
    found = z[max(alarm - WINDOWS[1] + 1, n) : alarm + 1]
    usual = float(np.mean(found))
    lasting = last - 1 - alarm < 5 or float(np.mean(z[recent])) * np.sign(usual) > 0.4 * abs(usual)
    end = last if lasting else alarm + 1
    weight = series.weight[n:end] / np.mean(series.weight[:n])
    after = np.cumsum((weight * z[n:end])[::-1])[::-1]
    size = np.cumsum(weight[::-1])[::-1]
    # Twice the log of the likelihood ratio of a change on each day, by the mean since.
    gain = 0.5 * after**2 / np.maximum(size, 1e-9)
    gain[max(alarm - n, 0) + 1 :] = -np.inf
    best = int(np.argmax(gain))
    chance = np.exp(gain - gain[best])
    order = np.argsort(-chance)
    inside = order[: int(np.searchsorted(np.cumsum(chance[order]) / chance.sum(), COVER)) + 1]
    shift = float(np.average(whole[n + best : end], weights=weight[best:]))
    error = 1.645 * np.sqrt(1 / size[best] + 1 / n)
    return Change(
        alarm=int(series.day[alarm]),
        first_alarm=int(series.day[alarm]),
        since=int(series.day[n + best]),
        since_low=int(series.day[n + inside.min()]),
        since_high=int(series.day[n + inside.max()]),
        before=mean,
        shift=float(shift * sd),
        shift_low=float((shift - error) * sd),
        shift_high=float((shift + error) * sd),
        lasting=bool(lasting),
    )


__all__ = ["COVER", "LEAST_REFERENCE", "Change", "Series", "find_change", "limit_of"]

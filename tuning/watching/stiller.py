"""Pauses of each day by length → how much stiller people are than on the reference days.

Where people stay for seconds, most pauses lie between one person and the next, or are movements at the door, and no mean of them tells of
stillness. So each length is scored by how much likelier it would be if people kept still for longer: the logarithm of its density then over its
density now, with the density now smoothed from the room's own reference days. What comes and goes by chance is as likely at any moment; its part
is taken from the longest pauses and does not stretch. Nor do movements on the way in and out, seconds apart as they are; how many of the short pauses
are theirs no length tells, so both ends are believed in, none and nearly all, and the two scores are added on an equal footing. Only the shares of
lengths count, not how many pauses there are: more visits are no stillness. Where more people on a day bring other lengths with them, that is learned
from the reference days and taken off.

References
----------
Neyman, Pearson, "On the problem of the most efficient tests of statistical hypotheses", Phil. Trans. A 231, 1933: the likelihood ratio. James, Stein,
"Estimation with quadratic loss", Proc. 4th Berkeley Symposium 1, 1961: shrinking. From memory.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl

from tuning.motion import Floats
from tuning.watching.daily import LENGTH_EDGES_S

LOOKED_FOR = 2.0
"""The factor that scores are made for. Chosen by us: a doubling of stillness is to be found."""
DOOR_S = 12.0
"""Pauses up to this may be movements on the way in or out. Chosen by us on simulated rooms: 8 to 12 s tell doubled stillness apart equally well."""
LEAST_TRAFFIC = 1.0
"""An effect of traffic below so many standard errors is not believed. Chosen by us: the noise alone brings one."""
SMOOTHED = 0.4
"""Standard deviation of the kernel, on the logarithm of 1 s more than the pause. Chosen by us on simulated rooms."""
TRAFFIC_FROM = 0.4
"""Pauses of more than this share of the longest are taken to lie between people who come by chance. Chosen by us."""
LEAST_SHARE = 1e-3
"""No length is held to be rarer than this share of all, spread over the lengths. Chosen by us."""

_Y = (np.log1p(LENGTH_EDGES_S[:-1]) + np.log1p(LENGTH_EDGES_S[1:])) / 2
_S = np.expm1(_Y)


def stiller(frame: pl.DataFrame, reference_to: dt.date) -> pl.DataFrame:
    """Put the day's stillness against the reference days in place of its pauses.

    Parameters
    ----------
    frame
        DAILY of days with ``pauses_by_length``.
    reference_to
        First day that is no reference day.

    Returns
    -------
    The days with pauses: ``pauses_by_length`` the logarithm to base 2 of how many times as still people are if all pauses were theirs (what is mixed
    in makes it smaller), 0 over all reference days; ``n_by_length`` the number of pauses.
    """
    frame = frame.filter(pl.col("pauses_by_length").cast(pl.List(pl.Float64())).list.sum() > 0)
    before = (frame["day"] < reference_to).to_numpy()
    if not before.any():
        return frame.clear().with_columns(
            pauses_by_length=pl.lit(None, pl.Float64()), n_by_length=pl.lit(None, pl.Float64())
        )
    counts = np.stack(frame["pauses_by_length"].to_list()).astype(np.float64)
    score, doubled = scores(counts[before].sum(axis=0))
    n = counts.sum(axis=1)
    return frame.with_columns(
        pauses_by_length=pl.Series(counts @ score / n / max(doubled, 1e-9)), n_by_length=pl.Series(n)
    )


def scores(counts: Floats) -> tuple[Floats, float]:
    """Return what each length says for longer stillness, 0 in the mean of the reference, and the mean of a doubling.

    Parameters
    ----------
    counts
        Pauses of the reference days by length, ``(lengths,)``; at least one.
    """
    now = _smooth(counts)
    longest = _S[np.flatnonzero(counts)[-1]]
    long = (longest * TRAFFIC_FROM < _S) & (longest >= _S)
    # Even over time is a density that grows with the length on the logarithm.
    traffic = np.minimum(now[long].sum() / (_S[long] + 1).sum() * (_S + 1), now)
    stay = now - traffic
    per_s = stay / (_S + 1)
    # People who stay make no fewer pauses a second just below the limit of the door than at it; what is above that may be the door's.
    beyond_door = np.where(_S < DOOR_S, np.minimum(per_s, np.interp(np.log1p(DOOR_S), _Y, per_s)), per_s) * (_S + 1)
    share_now, n = _shares(now), counts.sum()
    score, shares_doubled = np.zeros(len(counts)), []
    for stretching in (stay, beyond_door):
        shares_then = _shares(_stretched(stretching, LOOKED_FOR) + now - stretching)
        of_this = np.log(shares_then / share_now)
        of_this = of_this - counts @ of_this / n
        score = score + of_this / max(float(np.sqrt(counts @ of_this**2 / n)), 1e-9)
        shares_doubled.append(_shares(_stretched(stretching, 2.0) + now - stretching))
    return score, float(np.mean(shares_doubled, axis=0) @ score)


def beside_traffic(frame: pl.DataFrame, reference_to: dt.date) -> pl.DataFrame:
    """Take off what more or fewer pauses a day bring with them by themselves, as far as the reference days show it.

    Parameters
    ----------
    frame
        What :func:`stiller` returns, without days of too few people.
    reference_to
        First day that is no reference day.
    """
    before = (frame["day"] < reference_to).to_numpy()
    if before.sum() < 4:
        return frame
    value, n = (frame[name].to_numpy() for name in ("pauses_by_length", "n_by_length"))
    weight, busy = np.minimum(n, np.median(n[before]))[before], np.log(n)
    x = busy[before] - np.average(busy[before], weights=weight)
    y = value[before] - np.average(value[before], weights=weight)
    spread = float((weight * x**2).sum())
    slope = float((weight * x * y).sum()) / max(spread, 1e-12)
    left = float((weight * (y - slope * x) ** 2).sum() / (len(x) - 2))
    # Shrunk as by James and Stein: a slope within its own error is none.
    kept = max(1.0 - LEAST_TRAFFIC**2 * left / max(slope**2 * spread, 1e-12), 0.0)
    # Nothing is known of days busier or quieter than those of the reference.
    known = np.clip(busy, busy[before].min(), busy[before].max()) - np.average(busy[before], weights=weight)
    return frame.with_columns(pauses_by_length=pl.Series(value - kept * slope * known))


def _stretched(density: Floats, factor: float) -> Floats:
    """Density on the logarithm of all lengths a factor longer."""
    from_s = _S / factor
    return np.interp(np.log1p(from_s), _Y, density) * (_S + 1) / (from_s + 1) / factor


def _smooth(counts: Floats) -> Floats:
    step = _Y[1] - _Y[0]
    reach = min(int(4 * SMOOTHED / step), len(counts) - 1)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * step / SMOOTHED) ** 2)
    return np.convolve(np.pad(counts, reach, mode="symmetric"), kernel / kernel.sum(), "valid")


def _shares(x: Floats) -> Floats:
    x = x + LEAST_SHARE * x.sum() / len(x)
    return x / x.sum()

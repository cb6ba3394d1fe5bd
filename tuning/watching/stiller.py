"""Pauses of each day by length → how much stiller people are than on the reference days.

Where people stay for seconds, most pauses lie between one person and the next, or are movements at the door, and no mean of them tells of
stillness. So each length is scored by how much likelier it would be if people kept still for longer: the logarithm of its density then over its
density now, with the density now smoothed from the room's own reference days. What comes and goes by chance is as likely at any moment; its part
is taken from the longest pauses and does not stretch. Only the shares of lengths count, not how many pauses there are: more visits are no stillness.

References
----------
Neyman, Pearson, "On the problem of the most efficient tests of statistical hypotheses", Phil. Trans. A 231, 1933: the likelihood ratio. From memory.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl

from tuning.motion import Floats
from tuning.watching.daily import LENGTH_EDGES_S

LOOKED_FOR = np.sqrt(2.0)
"""The factor that scores are made for. Chosen by us: half of a doubling, as what is mixed in hides part of it."""
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

    def stretched(factor: float) -> Floats:
        from_s = _S / factor
        return np.interp(np.log1p(from_s), _Y, stay) * (_S + 1) / (from_s + 1) / factor + traffic

    share_now, share_then = (_shares(x) for x in (now, stretched(float(LOOKED_FOR))))
    score = np.log(share_then / share_now)
    score = score - counts @ score / counts.sum()
    return score, float(_shares(stretched(2.0)) @ score)


def _smooth(counts: Floats) -> Floats:
    step = _Y[1] - _Y[0]
    reach = min(int(4 * SMOOTHED / step), len(counts) - 1)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * step / SMOOTHED) ** 2)
    return np.convolve(np.pad(counts, reach, mode="symmetric"), kernel / kernel.sum(), "valid")


def _shares(x: Floats) -> Floats:
    x = x + LEAST_SHARE * x.sum() / len(x)
    return x / x.sum()

"""What other detectors and meters would have seen of a simulated room: the corridor outside, the door, a screen on the desk.

Made from the true presence alone (``truth/presence.parquet``), with misses, delays and traffic that has nothing to do with the room.
"""

import numpy as np
import polars as pl
from numpy.typing import NDArray

Times = NDArray[np.float64]


def _edges(presence: pl.DataFrame) -> tuple[Times, Times]:
    """Times at which the room fills and empties, UTC epoch. [s]."""
    start, end = (presence[c].dt.epoch("us").to_numpy() / 1e6 for c in ("start", "end"))
    return start, end


def _rows(room: str, channel: str, quantity: str, detector: str | None, t_s: Times, value: Times) -> pl.DataFrame:
    order = np.argsort(t_s, kind="stable")
    time = pl.Series("time", np.round(t_s[order] * 1e6).astype(np.int64)).cast(pl.Datetime("us", "UTC"))
    frame = pl.DataFrame({"time": time, "value": value[order].astype(float)})
    names = {"room": room, "channel": channel, "quantity": quantity, "detector": detector}
    return frame.with_columns(pl.lit(v, dtype=pl.String).alias(k) for k, v in names.items())


def corridor(
    rng: np.random.Generator, presence: pl.DataFrame, *, seen: float = 0.9, passers_per_h: float = 12.0
) -> pl.DataFrame:
    """Movement in the corridor outside: who comes, who leaves, and others by day.

    Parameters
    ----------
    seen
        Share of comings and goings that its detector sees.
    passers_per_h
        Others who pass by between 7 and 19 h UTC. [1/h]
    """
    come, go = _edges(presence)
    came = come[rng.random(len(come)) < seen]
    gone = go[rng.random(len(go)) < seen]
    first, last = float(come.min()), float(go.max())
    others = first + rng.random(rng.poisson(passers_per_h * (last - first) / 3600)) * (last - first)
    others = others[(others % 86_400 >= 7 * 3600) & (others % 86_400 < 19 * 3600)]
    t = np.concatenate([came - rng.uniform(1, 9, len(came)), gone + rng.uniform(0.5, 9, len(gone)), others])
    t = np.concatenate([t, t + rng.uniform(1, 4, len(t))])
    return _rows("outside", "", "motion", None, t, np.ones(len(t)))


def door(rng: np.random.Generator, presence: pl.DataFrame, room: str, *, seen: float = 0.85) -> pl.DataFrame:
    """A second detector of the room that sees its door and nothing else."""
    come, go = _edges(presence)
    t = np.concatenate([come + rng.uniform(0, 1.5, len(come)), go - rng.uniform(0, 1.5, len(go))])
    t = t[rng.random(len(t)) < seen]
    return _rows(room, "", "motion", "door", t, np.ones(len(t)))


def screen(rng: np.random.Generator, presence: pl.DataFrame, room: str, *, careful: float = 0.5) -> pl.DataFrame:
    """Power of a screen that people switch on when they come; a share put it to sleep on leaving, else it sleeps ten minutes later. [W]."""
    come, go = _edges(presence)
    delay = np.where(rng.random(len(go)) < careful, rng.uniform(1, 15, len(go)), 600.0)
    on, off = come + rng.uniform(5, 40, len(come)), go + delay
    keep = on < off
    on, off = on[keep], off[keep]
    # Whoever is back before it sleeps finds it on.
    awake = np.append(off[:-1] >= on[1:], False)
    on, off = on[np.append(True, ~awake[:-1])], off[~awake]
    t = np.concatenate([on, off])
    return _rows(room, "screen", "power", None, t, np.repeat([62.0, 1.5], [len(on), len(off)]))

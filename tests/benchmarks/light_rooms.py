"""Rooms for judging the split of a reading: broken cloud, blinds, people who react within seconds, and many kinds of log.

Shares nothing with ``tuning`` nor with ``tests.simulation``: here the daylight is a telegraph of sun and cloud, lamps follow a
continuous loop, scenes or a switch, and outputs are logged late, seldom or rounded.
"""

from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
GRID_S = 10.0
DAY_S = 86400
START_US = 1_740_960_000_000_000  # Monday 3 March 2025, 00:00 UTC


@dataclass(frozen=True)
class LightRoom:
    """A room's light log and its truth. Series are frames ``time``, ``value``.

    ``k`` holds by detector (a channel's own) the contribution of every channel at full output. [lx]
    """

    readings: dict[str, pl.DataFrame]
    outputs: dict[str, pl.DataFrame]
    k: dict[str, dict[str, float]]
    apart: bool
    kind: dict[str, object]
    latitude: float
    longitude: float
    daylight: dict[str, Floats] = field(repr=False)
    """By detector, on the grid of 10 s from ``START_US``. [lx]"""


def _frame(t_s: Floats, value: Floats) -> pl.DataFrame:
    at = pl.Series("time", START_US + np.round(t_s * 1e6).astype(np.int64)).cast(pl.Datetime("us", "UTC"))
    return pl.DataFrame({"time": at, "value": value.astype(float)})


def _sun(t_s: Floats, day_of_year: int, latitude: float) -> Floats:
    """Sine of the sun's elevation, by declination and hour angle at longitude 0."""
    day = day_of_year + t_s / DAY_S
    declination = np.radians(-23.44) * np.cos(2 * np.pi * (day + 10) / 365.25)
    hour = 2 * np.pi * (t_s / DAY_S % 1 - 0.5)
    lat = np.radians(latitude)
    return np.asarray(np.sin(lat) * np.sin(declination) + np.cos(lat) * np.cos(declination) * np.cos(hour))


def _telegraph(rng: np.random.Generator, n: int, mean_on_s: float, mean_off_s: float) -> Floats:
    lengths = rng.exponential(np.tile([mean_on_s, mean_off_s], n // 20 + 50)) / GRID_S
    edge = np.cumsum(np.maximum(lengths, 1)).astype(int)
    state = np.zeros(n)
    for a, b in zip(edge[:-1:2], edge[1::2], strict=False):
        if a >= n:
            break
        state[a:b] = 1.0
    return state


def _sky(rng: np.random.Generator, days: int, day_of_year: int, latitude: float) -> Floats:
    """Daylight outdoors, relative, on the grid."""
    n = int(days * DAY_S / GRID_S)
    t = np.arange(n) * GRID_S
    up = np.maximum(_sun(t, day_of_year, latitude), 0)
    cloud = _telegraph(rng, n, rng.uniform(300, 2400), rng.uniform(300, 3600))
    ramp = int(rng.integers(2, 20))
    cloud = np.convolve(cloud, np.ones(ramp) / ramp, mode="same")
    grey = np.repeat(rng.random(days), n // days)  # from clear days to wholly grey ones
    wander = np.repeat(np.exp(0.25 * np.cumsum(rng.normal(0, 0.3, n // 60 + 1)) * 0.3), 60)[:n]
    wander = np.clip(wander / np.median(wander), 0.4, 2.0)
    light = up * (0.15 + 0.85 * (1 - cloud * (1 - 0.3 * grey)) * (1 - 0.6 * grey)) * wander
    return np.asarray(light)


def _blinds(rng: np.random.Generator, light: Floats, days: int) -> Floats:
    factor = np.ones(light.size)
    per_day = light.size // days
    for day in range(days):
        for _ in range(rng.poisson(0.8)):
            a = day * per_day + int(rng.uniform(8, 17) * 360)
            factor[a : a + int(rng.uniform(0.3, 4) * 360)] = rng.uniform(0.1, 0.6)
    return factor


def _stays(rng: np.random.Generator, days: int) -> Floats:
    """Begin and end of lit stretches [s], shape (n, 2); some false-offs, ended by a reaction within seconds."""
    rows = []
    for day in range(days):
        if day % 7 >= 5 and rng.random() < 0.8:
            continue
        t = day * DAY_S + rng.uniform(6.5, 9.5) * 3600
        end = day * DAY_S + rng.uniform(14, 21) * 3600
        while t < end:
            stop = min(t + rng.exponential(3600) + 300, end + 600)
            rows.append((t, stop))
            t = stop + (rng.uniform(2, 8) if rng.random() < 0.3 else rng.exponential(1200) + 20)
    return np.asarray(rows) if rows else np.empty((0, 2))


def _output(rng: np.random.Generator, stays: Floats, daylight: Floats, k: float, control: str) -> tuple[Floats, Floats]:
    """Moments at which the output changes [s] and the output from then on (0…1)."""
    times: list[Floats] = []
    values: list[Floats] = []
    target, least = k * rng.uniform(0.5, 0.95), rng.choice([0.0, 0.05, 0.1])
    step = rng.choice([0.01, 0.02, 0.05])
    for a, b in stays:
        grid = np.arange(np.ceil(a / GRID_S), np.ceil(b / GRID_S)).astype(int)
        grid = grid[grid < daylight.size]
        if control == "dimmed" and grid.size:
            wanted = np.clip((target - daylight[grid]) / k, least, 1)
            level = np.round(wanted / step) * step
            move = np.append(True, np.diff(level) != 0)
            t, v = grid[move] * GRID_S, level[move]
            t[0] = a
        elif control == "scenes":
            t = np.array([a, *([rng.uniform(a, b)] if rng.random() < 0.2 else [])])
            v = rng.choice([0.3, 0.5, 0.7, 1.0], t.size)
        else:
            t, v = np.array([a]), np.array([1.0])
        times += [t, np.array([b])]
        values += [v, np.zeros(1)]
    t, v = np.concatenate(times), np.round(np.concatenate(values), 2)
    keep = np.append(True, np.diff(v) != 0) & np.append(np.diff(t) > 0, True)
    return t[keep], v[keep]


def _held(t: Floats, change: tuple[Floats, Floats], lag_s: float) -> Floats:
    """Output as the detector sees it: a lamp that needs `lag_s` for a move."""
    at = np.searchsorted(change[0], t, side="right") - 1
    now = np.where(at >= 0, change[1][np.maximum(at, 0)], 0.0)
    before = np.where(at >= 1, change[1][np.maximum(at - 1, 0)], 0.0)
    since = t - change[0][np.maximum(at, 0)]
    share = np.where(at >= 0, np.clip(since / max(lag_s, 1e-6), 0, 1), 1.0)
    return np.asarray(before + (now - before) * share)


def _on_change(t: Floats, lx: Floats, share: float, least: float) -> NDArray[np.int64]:
    kept, last = [0], lx[0]
    for i in range(1, lx.size):
        if abs(lx[i] - last) > max(least, share * last):
            kept.append(i)
            last = lx[i]
    return np.asarray(kept)


def light_room(seed: int, *, days: int = 42, channels: int | None = None, together: bool | None = None) -> LightRoom:
    """Draw a room and its log.

    Parameters
    ----------
    seed
        Draws everything.
    days
        Length of the log.
    channels
        1 or 2; drawn if not given.
    together
        Whether two channels are always switched and dimmed as one; drawn if not given.
    """
    rng = np.random.default_rng(seed)
    latitude, day_of_year = rng.uniform(35, 60), int(rng.integers(1, 365))
    control = str(rng.choice(["dimmed", "dimmed", "switched", "scenes"]))
    names = ["wall", "window"][: channels or int(rng.choice([1, 1, 2]))]
    together = bool(rng.random() < 0.3) if together is None else together
    sky = _sky(rng, days, day_of_year, latitude)
    sky = sky * _blinds(rng, sky, days) * np.exp(rng.uniform(np.log(30), np.log(3000)))
    share = {"wall": rng.uniform(0.2, 0.7) if len(names) == 2 else 1.0, "window": 1.0}
    stray = float(rng.choice([0.0, 0.0, rng.uniform(0, 4)]))
    own = {n: float(np.exp(rng.uniform(np.log(60), np.log(800)))) for n in names}
    k = {n: {m: own[m] if m == n else own[m] * rng.uniform(0.05, 0.4) for m in names} for n in names}
    stays = {n: _stays(rng, days) for n in names}
    if together or rng.random() < 0.3:
        stays = dict.fromkeys(names, stays[names[0]])  # switched by the same people, dimmed each for itself
    change = {n: _output(rng, stays[n], sky * share[n], own[n], control) for n in names}
    if together:
        change = dict.fromkeys(names, change[names[0]])
    lag = float(rng.choice([0.0, 0.7, 2.0]))
    kind = str(rng.choice(["samples", "samples", "changes"]))
    period = float(rng.choice([30, 60, 60, 300, 300]))
    output_kind = str(rng.choice(["changes", "changes", "samples"]))
    readings = {}
    for n in names:
        if kind == "samples":
            t = np.arange(rng.uniform(0, period), days * DAY_S - GRID_S, period)
        else:
            after = np.concatenate([c[0] for c in change.values()]) + lag + 0.5
            t = np.unique(
                np.concatenate([np.arange(0, days * DAY_S - GRID_S, 15.0), after[after < days * DAY_S - GRID_S]])
            )
        day = np.interp(t, np.arange(sky.size) * GRID_S, sky) * share[n] + stray
        true = day + sum(k[n][m] * _held(t, change[m], lag) for m in names)
        lx = np.round(true * (1 + 0.01 * rng.standard_normal(t.size)))
        if kind == "changes":
            at = _on_change(t, lx, rng.uniform(0.02, 0.08), rng.uniform(2, 10))
            t, lx = t[at], lx[at]
        readings[n] = _frame(t, lx)
    outputs = {}
    late = float(rng.uniform(0, 0.8))
    for n in names:
        t, v = change[n]
        if output_kind == "samples":
            grid = np.arange(period * rng.uniform(0, 1), days * DAY_S, period)
            outputs[n] = _frame(grid, 100 * _held(grid, change[n], 0))
        else:
            outputs[n] = _frame(t + late, 100 * v)
    told = {
        "control": control,
        "reading": kind,
        "period_s": period,
        "output": output_kind,
        "lag_s": lag,
        "channels": len(names),
    }
    light = {n: sky * share[n] + stray for n in names}
    first, last = change[names[0]], change[names[-1]]
    as_one = len(first[0]) == len(last[0]) and bool((first[1] == last[1]).all() and (first[0] == last[0]).all())
    return LightRoom(readings, outputs, k, len(names) == 1 or not as_one, told, latitude, 0.0, light)

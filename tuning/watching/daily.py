"""What each day says of a room: a handful of numbers a day, chosen so that settings and seasons move none of them.

A hold-off that is changed on site, or daylight that lengthens, is no drift of the room. So presence is counted over pauses of a fixed length,
stillness over pauses shorter than any hold-off that was in force, the lamps by what each move of their output adds to the reading, and the
night by the clock. False-offs a week and the share of reactions are *not* watched: both hang on the hold-off and on daylight.
"""

from __future__ import annotations

from collections.abc import Mapping
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from tuning.gaps import ENDED_BY_MOTION, Gaps
from tuning.light.lamp_steps import moves, usable_points
from tuning.motion import US, Floats, Ints, MotionLog, merge_intervals
from tuning.quality.days import hours_inside, midnights
from tuning.stretches import number_of

DAILY = pl.Schema(
    {
        "day": pl.Date(),
        "presence_h": pl.Float64(),
        "visits": pl.Float64(),
        "stillness_s": pl.Float64(),
        "pauses": pl.Float64(),
        "pauses_by_length": pl.List(pl.Float64()),
        "lamp_lx": pl.Float64(),
        "night_triggers": pl.Float64(),
        "lone_triggers": pl.Float64(),
    }
)
"""One local day. Null where the day cannot tell: less than ``LEAST_COVERED`` of it logged, or too few pauses or switchings.

``presence_h``: hours between 5 and 22 o'clock in visits. [h] ``visits``: their number. ``stillness_s``: typical pause of a present person, the
geometric mean of the pauses between ``SHORTEST_S`` and the longest that no hold-off cut [s]. ``pauses``: how many. ``pauses_by_length``: how many
there were between the edges of ``LENGTH_EDGES_S``, counted from the detector's dead time on. ``lamp_lx``: the channel's lamps at full output, by
the day's switchings [lx]. ``night_triggers``: visits that begin between 22 and 5 o'clock. ``lone_triggers``: visits of a movement or two by day.
"""

LEAST_COVERED = 0.9
"""Share of a day that must be logged. Chosen by us."""
VISIT_GAP_S = 300.0
"""A pause longer than this ends a visit. Chosen by us: who sits still for longer between every two movements is rare."""
SHORTEST_S = 5.0
"""Shorter pauses are the detector's dead time and bursts at the door. Chosen by us."""
LONGEST_S = 170.0
"""Longer pauses may be absences. Chosen by us: below the shortest usual hold-off of 3 min."""
LEAST_SPAN_S = 15.0
"""A hold-off so short that pauses up to twice this are cut leaves no stillness to see. Chosen by us."""
LEAST_PAUSES = 12
"""Fewer pauses a day tell nothing of stillness. Chosen by us."""
LENGTH_EDGES_S = np.expm1(np.linspace(0.0, np.log1p(VISIT_GAP_S), 61))
"""Edges by which pauses are counted, less the dead time [s]: even on the logarithm, but for the first second. Chosen by us."""
DEAD_SHARE = 0.002
"""So few pauses are shorter than the dead time by chance. Chosen by us."""
LEAST_MOVE = 0.2
"""Output moves of less than a fifth of full tell too little of the lamps. Chosen by us."""
MOST_DRIFT = 0.25
"""Moves beside which daylight went by more than this share of them are set aside. Chosen by us."""
OWN_PART = 0.2
"""A step of several channels in which the own lamps have less than this part tells nothing of them. Chosen by us."""
LONE_S = 8.0
LONE_MOTIONS = 2
"""A visit so short with so few movements is a lone trigger: somebody who passes, or nobody. Chosen by us."""
NIGHT_FROM_H, NIGHT_TO_H = 22.0, 5.0


def daily_series(
    motion: MotionLog,
    gaps: Gaps,
    *,
    hold_off_s: float,
    zone: ZoneInfo,
    reading: pl.DataFrame,
    outputs: Mapping[str, pl.DataFrame],
    channel: str,
) -> pl.DataFrame:
    """Summarise a channel day by day.

    Parameters
    ----------
    motion, gaps
        The channel's motions, and the pauses between them.
    hold_off_s
        The shortest hold-off that was ever in force; infinite where nothing switches off. [s]
    zone
        Of the building.
    reading
        ``time``, ``value`` [lx] of the channel's detector; may be empty.
    outputs
        By channel of the room: ``time``, ``value`` [percent]; may be empty.
    channel
        Whose lamps are asked for.

    Returns
    -------
    DAILY, one row a local day, without breaks.
    """
    if len(motion.start_us) == 0 or len(motion.covered_us) == 0:
        return pl.DataFrame(schema=DAILY)
    days, edges = midnights((int(motion.covered_us[0, 0]), int(motion.covered_us[-1, 1])), zone)
    whole = hours_inside(motion.covered_us, edges) >= LEAST_COVERED * np.diff(edges) / US / 3600
    columns = _by_visits(motion, edges)
    columns |= _by_pauses(motion, gaps, edges, hold_off_s)
    columns["lamp_lx"] = _lamp(reading, outputs, channel, edges)
    told = {name: np.where(whole, values, np.nan) for name, values in columns.items()}
    frame = pl.DataFrame({"day": days} | told).with_columns(pl.all().exclude("day").fill_nan(None))
    counts = pl.Series("pauses_by_length", _by_length(motion, gaps, edges, hold_off_s), pl.List(pl.Float64()))
    return frame.with_columns(pl.when(pl.Series(whole & (counts.list.len() > 0).to_numpy())).then(counts)).select(
        pl.col(name).cast(kind) for name, kind in DAILY.items()
    )


def _day_of(t_us: Ints, edges_us: Ints) -> Ints:
    return np.searchsorted(edges_us, t_us, side="right") - 1


_FINE_S = 0.05
_EDGE_BEFORE: Ints = np.searchsorted(LENGTH_EDGES_S, np.arange(0.0, VISIT_GAP_S + _FINE_S, _FINE_S), side="right") - 1
"""Last edge at or before each twentieth of a second; no two edges are as close as that."""


def _length_of(pause_s: Floats) -> Ints:
    """Number of the last edge at or before each pause of at most ``VISIT_GAP_S``: looked up, which is quicker than searching."""
    edge = _EDGE_BEFORE[(pause_s / _FINE_S).astype(np.int64)]
    return edge + (pause_s >= LENGTH_EDGES_S[np.minimum(edge + 1, len(LENGTH_EDGES_S) - 1)])


def _count(at_us: Ints, edges_us: Ints) -> Floats:
    return np.histogram(at_us, edges_us)[0].astype(np.float64)


def _by_visits(motion: MotionLog, edges: Ints) -> dict[str, Floats]:
    start, end = motion.start_us, motion.end_us
    opens = np.append(True, start[1:] - end[:-1] > VISIT_GAP_S * US)
    first = np.flatnonzero(opens)
    last = np.append(first[1:], len(start)) - 1
    begin, until = start[first], end[last]
    hour = (begin - edges[np.clip(_day_of(begin, edges), 0, len(edges) - 2)]) / US / 3600
    by_night = (hour >= NIGHT_FROM_H) | (hour < NIGHT_TO_H)
    lone = (until - begin <= (LONE_S + motion.resolution_s) * US) & (last - first < LONE_MOTIONS)
    day_from, day_to = edges[:-1] + round(NIGHT_TO_H * 3600) * US, edges[:-1] + round(NIGHT_FROM_H * 3600) * US
    bounds = np.stack([day_from, day_to], axis=1).ravel()
    inside = np.stack(merge_intervals(begin, until), axis=1)
    return {
        "presence_h": hours_inside(inside, bounds)[::2],
        "visits": _count(begin[~by_night & ~lone], edges),
        "night_triggers": _count(begin[by_night], edges),
        "lone_triggers": _count(begin[~by_night & lone], edges),
    }


def _by_pauses(motion: MotionLog, gaps: Gaps, edges: Ints, hold_off_s: float) -> dict[str, Floats]:
    size = len(edges) - 1
    longest = min(LONGEST_S, 0.95 * hold_off_s)
    shortest = max(SHORTEST_S, 1.5 * motion.resolution_s, motion.stretch_s)
    if motion.kind == "held" or longest < 2 * max(shortest, LEAST_SPAN_S):
        unknown = np.full(size, np.nan)
        return {"stillness_s": unknown, "pauses": unknown}
    keep = np.flatnonzero((gaps.gap_s >= shortest) & (gaps.gap_s <= longest) & (gaps.end_kind == ENDED_BY_MOTION))
    g, day = gaps.gap_s[keep], number_of(edges[1:-1], gaps.start_us[keep])
    n = np.bincount(day, minlength=size)
    enough = n >= LEAST_PAUSES
    return {
        "stillness_s": np.where(enough, np.exp(np.bincount(day, np.log(g), size) / np.maximum(n, 1)), np.nan),
        "pauses": np.where(enough, n, np.nan),
    }


def _by_length(motion: MotionLog, gaps: Gaps, edges: Ints, hold_off_s: float) -> Floats:
    """Pauses of each day by length, ``(days, lengths)``; no lengths where the log holds none."""
    size, longest = len(edges) - 1, min(VISIT_GAP_S, 0.95 * hold_off_s)
    if motion.kind == "held" or longest < 4 * max(SHORTEST_S, motion.resolution_s):
        return np.empty((size, 0))
    keep = np.flatnonzero((gaps.gap_s <= longest) & (gaps.end_kind == ENDED_BY_MOTION))
    g, day = gaps.gap_s[keep], number_of(edges[1:-1], gaps.start_us[keep])
    if len(g) == 0:
        return np.empty((size, 0))
    lengths = len(LENGTH_EDGES_S) - 1
    after = np.maximum(g - np.quantile(g, DEAD_SHARE), 0.0)
    at = np.minimum(_length_of(after), lengths - 1)
    return np.bincount(day * lengths + at, minlength=size * lengths).reshape(size, lengths).astype(np.float64)


def _lamp(reading: pl.DataFrame, outputs: Mapping[str, pl.DataFrame], channel: str, edges: Ints) -> Floats:
    unknown = np.full(len(edges) - 1, np.nan)
    if reading.is_empty() or channel not in outputs or outputs[channel].is_empty():
        return unknown
    shown = {name: frame for name, frame in outputs.items() if not frame.is_empty()}
    points = usable_points(reading, shown)
    if points.t_us.size < 3:
        return unknown
    step = moves(points)
    mine = list(shown).index(channel)
    lx = step.d_lx - np.where(np.isnan(step.drift), 0.0, step.drift)
    clear = step.near & (np.abs(step.d_lx - lx) <= MOST_DRIFT * np.abs(lx))
    moved = step.d_output
    clear &= (np.abs(moved[:, mine]) >= LEAST_MOVE) & (lx * moved[:, mine] > 0)
    moved, lx, t_us = moved[clear], lx[clear], step.t_us[clear]
    if len(lx) == 0:
        return unknown
    # Channels that switch together share one step: it is told as if the channel's part of it had stayed what it is over the whole log.
    parts = _parts(moved, lx)
    foretold = moved @ parts
    own = (
        (parts[mine] > 0) & (np.abs(moved[:, mine]) * parts[mine] >= OWN_PART * np.abs(foretold)) & (foretold * lx > 0)
    )
    full, day = (parts[mine] * lx / np.where(own, foretold, 1.0))[own], _day_of(t_us[own], edges)
    table = pl.DataFrame({"day": day, "full": full}).group_by("day").agg(pl.col("full").median())
    inside = table.filter(pl.col("day").is_between(0, len(unknown) - 1))
    unknown[inside["day"].to_numpy()] = inside["full"].to_numpy()
    return unknown


def _parts(moved: Floats, lx: Floats) -> Floats:
    """What each channel adds at full output, about: least squares over all steps, once more without those that fit worst. [lx]."""
    if moved.shape[1] == 1:
        return np.array([np.median(lx / moved[:, 0])])
    parts = np.linalg.lstsq(moved, lx, rcond=0.05)[0]
    off = np.abs(lx - moved @ parts)
    keep = off <= 3 * np.median(off) + 1.0
    return np.linalg.lstsq(moved[keep], lx[keep], rcond=0.05)[0]

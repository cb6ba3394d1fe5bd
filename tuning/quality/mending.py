"""Readings → readings that can be analysed: clocks brought together, what is no evidence marked and left out, all of it counted.

Flags are columns: what is left out stays in the frame with the reason beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import polars as pl

from tuning.logs import sampling_interval_s
from tuning.motion import US, Ints, by_series, times_us
from tuning.quality.outages import Outage
from tuning.quality.sentinels import sentinels
from tuning.quality.skew import NOTABLE_S, Skew, clock_skew
from tuning.quality.stuck import stuck_stretches
from tuning.readings import RoomReadings
from tuning.results import Finding
from tuning.schemas import READINGS
from tuning.sentence import joined, say
from tuning.site import Room
from tuning.wording import iso_times

WARM_UP_S = 60.0
"""Detectors light up for about half a minute while they warm up (common practice, no source); twice that is left out. Chosen by us."""
ALL_CHANNELS = 0.8
"""Share of a room's channels that come on together when the supply returns. Chosen by us: not every load need be logged."""

FLAGGED = pl.Schema(
    {**READINGS, "moved_s": pl.Float64(), "warm_up": pl.Boolean(), "stuck": pl.Boolean(), "no_value": pl.Boolean()}
)
"""READINGS plus: by how much the clock of the row was set right [s], and three reasons to leave it out."""
Parts = dict[str, pl.DataFrame]


@dataclass(frozen=True)
class Mended:
    """One room's readings after mending.

    Attributes
    ----------
    by_quantity
        FLAGGED frames, each sorted by time.
    findings
        What was mended, by channel; under "" what concerns all channels of the room.
    as_logged
        The readings before mending.
    """

    by_quantity: Parts
    findings: dict[str, tuple[Finding, ...]]
    as_logged: RoomReadings

    @cached_property
    def readings(self) -> RoomReadings:
        """Readings that count as evidence; a stuck reading still shows that the log was taken, under a name of its own."""
        if not any(self.findings.values()):
            return self.as_logged
        kept = self.flagged.filter(~(pl.col("warm_up") | pl.col("no_value")))
        if kept["stuck"].any():
            stuck = pl.concat_str("quantity", pl.lit(" (stuck)"))
            kept = kept.with_columns(quantity=pl.when("stuck").then(stuck).otherwise("quantity"))
        return RoomReadings(kept.select(READINGS.names()))

    @property
    def flagged(self) -> pl.DataFrame:
        """FLAGGED frame of all quantities, sorted by time."""
        return pl.concat([FLAGGED.to_frame(), *self.by_quantity.values()]).sort("time", maintain_order=True)

    def of_channel(self, name: str) -> tuple[Finding, ...]:
        """Findings that concern a channel."""
        return self.findings.get("", ()) + self.findings.get(name, ())


def mend(room: Room, readings: RoomReadings, *, outages: Sequence[Outage] = ()) -> Mended:
    """Set the clocks of a room right, and mark what is no evidence.

    Parameters
    ----------
    room
        The room's entry in site.toml.
    readings
        What it logged.
    outages
        Stretches in which the whole building was silent.
    """
    findings: dict[str, tuple[Finding, ...]] = {}
    unflagged = {"moved_s": pl.lit(0.0)} | dict.fromkeys(("warm_up", "stuck", "no_value"), pl.lit(value=False))
    flagged = {quantity: rows.with_columns(**unflagged) for quantity, rows in readings.by_quantity.items()}
    for name in room.channels:
        skew = _skew_of(readings, name)
        if skew is not None and abs(skew.most_s) >= NOTABLE_S:
            moved = _moved(flagged, name, skew)
            findings[name] = (_skew_finding(skew, list(moved)),)
            flagged |= moved
    marked, supply = _warm_ups(flagged, room, outages)
    flagged |= marked
    marked, sensors = _light_sensors(flagged)
    flagged |= marked
    for channel_name, found in sensors.items():
        findings[channel_name] = findings.get(channel_name, ()) + found
    findings[""] = findings.get("", ()) + supply
    return Mended(flagged, findings, readings)


def _skew_of(readings: RoomReadings, name: str) -> Skew | None:
    output = readings.own("output", name)
    if output.is_empty():
        return None
    rows = readings.of_channel("motion", name)
    one = next(iter(by_series(rows, "detector")), rows)
    resolution_s = 0.0 if (one["value"] > 0).all() else sampling_interval_s(one["time"]) or 0.0
    moved = times_us(rows)[rows["value"].to_numpy() > 0]
    return clock_skew(output, moved, moved, resolution_s=resolution_s)


def _moved(flagged: Parts, name: str, skew: Skew) -> Parts:
    """Bring a channel's light onto the clock of its motion; what already goes with that clock stays."""
    mine = pl.col("channel") == name
    output = flagged["output"].filter(mine)
    at = times_us(output)
    on = output["value"].to_numpy() > 0
    switched = np.flatnonzero(on[1:] != on[:-1]) + 1
    moved = {}
    for quantity in ("output", "illuminance", "power", "override"):
        part = flagged.get(quantity, FLAGGED.to_frame())
        rows = part.filter(mine)
        along = quantity == "output" or (
            not rows.is_empty() and _goes_with_output(rows, at[switched], on[switched], skew, quantity)
        )
        if not along:
            continue
        late = np.round(skew.at(times_us(part)), 6)
        late_us = pl.Series(np.round(late * US).astype(np.int64))
        moved[quantity] = part.with_columns(
            time=pl.when(mine).then(pl.col("time") - pl.lit(late_us).cast(pl.Duration("us"))).otherwise(pl.col("time")),
            moved_s=pl.when(mine).then(pl.Series(-late)).otherwise(pl.col("moved_s")),
        ).sort("time", maintain_order=True)
    return moved


def _goes_with_output(rows: pl.DataFrame, at_us: np.ndarray, on: np.ndarray, skew: Skew, quantity: str) -> bool:
    """Whether a series is stamped by the clock of the output rather than by that of the motion."""
    t, value = times_us(rows), rows["value"].to_numpy()

    def agreement(when: np.ndarray) -> float:
        if quantity == "override":
            near = np.clip(np.searchsorted(when, t), 1, max(len(when) - 1, 1))
            apart = np.minimum(np.abs(when[near] - t), np.abs(t - when[near - 1])) if len(when) > 1 else t * 0
            return float(np.mean(apart <= 10 * US))
        index = np.searchsorted(t, when)
        usual = np.median(np.diff(t)) if len(t) > 1 else 0
        settle = round(min(max(4 * US, float(usual)), 300 * US))
        before = np.clip(np.searchsorted(t, when - 2 * US, side="right") - 1, 0, len(t) - 1)
        after = np.clip(np.searchsorted(t, when + settle, side="right") - 1, 0, len(t) - 1)
        known = (index > 0) & (index < len(t))
        step = (value[after] - value[before]) * np.where(on, 1, -1)
        return float(np.mean(np.clip(step[known], -1000, 1000))) if known.any() else 0.0

    return agreement(at_us) >= agreement(at_us - np.round(skew.at(at_us) * US).astype(np.int64))


def _skew_finding(skew: Skew, moved: list[str]) -> Finding:
    told = {
        "steady": f"The light is stamped {_late(skew.most_s)} against motion",
        "drift": f"The clock of the light runs against that of motion: the light is stamped {_late(float(skew.late_s[0]))} at first and "
        f"{_late(float(skew.late_s[-1]))} in the end",
        "jumps": "The clock of the light, or that of motion, was set inside the log: the light is stamped "
        + ", then ".join(_late(float(s)) for s in skew.late_s),
    }[skew.way]
    evidence: dict[str, object] = {
        "late_s": round(skew.most_s, 1),
        "switch_ons": skew.switch_ons,
        "agreeing_share": round(skew.share, 2),
        "moved": moved,
    }
    if skew.way != "steady":
        evidence |= {"times": iso_times(skew.at_us), "late_by_time_s": [round(float(s), 1) for s in skew.late_s]}
    return Finding(
        "clock-skew",
        "warning",
        f"{told} ({skew.share:.0%} of {skew.switch_ons} switch-ons agree). The analysis has moved {', '.join(moved)} onto the clock of the "
        "motion. Set the clocks of the loggers, or let one time server do it.",
        evidence,
    )


def _late(seconds: float) -> str:
    return "on time" if abs(seconds) < 1 else f"{abs(seconds):.0f} s {'late' if seconds > 0 else 'early'}"


def _warm_ups(flagged: Parts, room: Room, outages: Sequence[Outage]) -> tuple[Parts, tuple[Finding, ...]]:
    """Mark what detectors and lamps do while they warm up after an interruption of the supply."""
    if not outages or "output" not in flagged:
        return {}, ()
    lit = {name for name, channel in room.channels.items() if channel.control != "relay"}
    lit &= set(flagged["output"]["channel"].unique())
    if not lit:
        return {}, ()
    ends = []
    for outage in outages:
        began = (
            flagged["output"]
            .filter(
                (pl.col("value") > 0)
                & pl.col("time")
                .dt.epoch("us")
                .is_between(outage.end_us - US, outage.end_us + round(WARM_UP_S * US / 2))
            )["channel"]
            .unique()
        )
        if len(lit & set(began)) >= ALL_CHANNELS * len(lit):
            ends.append(outage)
    if not ends:
        return {}, ()
    at = pl.col("time").dt.epoch("us")
    inside = pl.any_horizontal(at.is_between(o.end_us - US, o.end_us + round(WARM_UP_S * US)) for o in ends)
    marked: Parts = {
        quantity: flagged[quantity].with_columns(warm_up=pl.col("warm_up") | inside)
        for quantity in ("motion", "occupied", "output")
        if quantity in flagged
    }
    rows = sum(int(part["warm_up"].sum()) for part in marked.values())
    states = _states_after(marked["output"], lit, ends)
    marked["output"] = pl.concat([marked["output"], *states]).sort("time", maintain_order=True)
    hours = sum(o.hours for o in ends)
    finding = Finding(
        "supply-interruption",
        "info",
        say(
            "The supply was interrupted {times} times, {hours:.1f} h in all; each time all lamps came on when it returned, which is the "
            "detectors warming up and nobody's presence. {rows} rows of these minutes are left out.",
            times=len(ends),
            hours=hours,
            rows=rows,
        ),
        {"times": iso_times(np.array([o.start_us for o in ends])), "hours": round(hours, 2), "rows_left_out": rows},
    )
    return marked, (finding,)


def _states_after(marked: pl.DataFrame, lit: set[str], ends: Sequence[Outage]) -> list[pl.DataFrame]:
    """Rows that say what the lamps did instead: dark while there was no supply, then what they did after warming up."""
    frames = []
    for outage in ends:
        rows = marked.filter(
            pl.col("channel").is_in(list(lit))
            & pl.col("warm_up")
            & (pl.col("time").dt.epoch("us") >= outage.end_us - US)
        )
        rows = rows.filter(pl.col("time").dt.epoch("us") <= outage.end_us + round(WARM_UP_S * US))
        last = rows.group_by("channel", maintain_order=True).last().select(marked.columns)
        still_on = last.filter(pl.col("value") > 0).with_columns(warm_up=pl.lit(value=False))
        dark = last.with_columns(
            time=pl.lit(outage.start_us + US).cast(pl.Datetime("us", "UTC")),
            value=pl.lit(0.0),
            warm_up=pl.lit(value=False),
        )
        frames += [dark, still_on]
    return frames


def _light_sensors(flagged: Parts) -> tuple[Parts, dict[str, tuple[Finding, ...]]]:
    """Mark readings of light sensors that are no value, or no longer move."""
    findings: dict[str, tuple[Finding, ...]] = {}
    if "illuminance" not in flagged:
        return {}, findings
    marked, outputs = flagged["illuminance"], flagged.get("output", FLAGGED.to_frame())
    for rows in by_series(marked, "channel", "detector"):
        channel, detector = rows["channel"][0], rows["detector"][0]
        mine = pl.col("channel").eq_missing(channel) & pl.col("detector").eq_missing(detector)
        odd = sentinels(rows["value"])
        seen = rows.filter(~odd)
        told: tuple[Finding, ...] = ()
        if odd.any():
            numbers = rows["value"].filter(odd).unique().sort().to_list()
            marked = marked.with_columns(no_value=pl.col("no_value") | (mine & pl.col("value").is_in(numbers)))
            told += (_sentinel_finding(rows.filter(odd), numbers),)
        own = outputs if channel is None else outputs.filter(pl.col("channel") == channel)
        stretches = stuck_stretches(seen.select("time", "value"), own.select("time", "value"))
        if len(stretches):
            at = pl.col("time").dt.epoch("us")
            held = pl.any_horizontal(at.is_between(int(a), int(b)) for a, b in stretches)
            before = int(marked["stuck"].sum())
            marked = marked.with_columns(stuck=pl.col("stuck") | (mine & held))
            told += (_stuck_finding(stretches, int(marked["stuck"].sum()) - before),)
        if told:
            findings[channel or ""] = findings.get(channel or "", ()) + told
    return {"illuminance": marked}, findings


def _sentinel_finding(rows: pl.DataFrame, numbers: list[float]) -> Finding:
    said = joined((say("{n:g}", n=n) for n in numbers), ", ")
    return Finding(
        "no-values",
        "info",
        say(
            "{rows} readings of {said} lx, far above all others, stand for no value; left out. See why the sensor or its line drops out.",
            rows=rows.height,
            said=said,
        ),
        {"times": iso_times(times_us(rows)), "rows_left_out": rows.height},
    )


def _stuck_finding(stretches: Ints, left_out: int) -> Finding:
    hours = float((stretches[:, 1] - stretches[:, 0]).sum()) / US / 3600
    return Finding(
        "stuck-series",
        "warning",
        f"The illuminance stands still for {hours:.0f} h while the lamps go on and off. {left_out} readings are left out. "
        "Look at the light sensor and whether its log still hangs on it.",
        {"times": iso_times(stretches[:, 0]), "hours": round(hours, 1), "rows_left_out": left_out},
    )

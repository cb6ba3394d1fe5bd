"""A made-up analysis to draw: plausible numbers, nothing computed by the estimator.

Each is made once in a process: most tests of pages and workspaces begin with one, and nothing in it can be changed.
"""

from __future__ import annotations

import datetime as dt
import functools
from dataclasses import replace

import numpy as np
import polars as pl

from tuning.results import (
    Analysis,
    ChannelResult,
    Decision,
    DelayPoint,
    Finding,
    LightResult,
    PerWeek,
    Sensitivity,
    Settings,
    Sureness,
    TargetPoint,
)
from tuning.schemas import DRAWS, EPISODES, GAPS, MOTIONS, SWITCH_OFFS

US = 1_000_000
ZONE = "Europe/Copenhagen"
START = dt.datetime(2026, 3, 15, 23, tzinfo=dt.UTC)
"""Monday 16 March 2026, local midnight; the clocks change on 29 March."""
DAYS = 21
HOLDS = (60, 120, 180, 300, 600, 900, 1200, 1800)


def _motions(rng: np.random.Generator) -> np.ndarray:
    """Instants of movement: two stays a working day, pauses of some tens of seconds. UTC epoch [µs]."""
    start = round(START.timestamp())
    stays = [
        start + day * 86400 + hour * 3600 + rng.integers(0, 1800)
        for day in range(DAYS)
        if (day % 7) < 5
        for hour in (8, 13)
    ]
    pauses = rng.gamma(0.5, 80.0, size=(len(stays), 200)).cumsum(axis=1)
    times = (np.array(stays)[:, None] + pauses).ravel()
    return np.unique((times * 1e6).astype(np.int64))


def frames(room: str, channel: str, *, hold_off_s: float, seed: int) -> dict[str, pl.DataFrame]:
    """Motions, gaps, switch-offs, episodes and output that agree with each other."""
    at = _motions(np.random.default_rng(seed))
    gap = np.diff(at) / 1e6
    still = 1 / (1 + (gap / 900) ** 3)
    expired = np.append(gap > hold_off_s, True)
    last = np.flatnonzero(expired)
    first = np.append(0, last[:-1] + 1)
    off = at[last] + round(hold_off_s * 1e6)
    names = {"room": room, "channel": channel}
    motions = pl.DataFrame(names | {"start": at, "end": at}, schema_overrides={"room": pl.String})
    gaps = pl.DataFrame(names | {"start": at[:-1], "gap_s": gap, "end_kind": "motion"})
    offs = pl.DataFrame(
        names
        | {
            "time": off[:-1],
            "gap_s": gap[expired[:-1]],
            "resumed_after_s": gap[expired[:-1]] - hold_off_s,
            "daylight_lx": 20.0,
            "p_false": still[expired[:-1]],
            "review": None,
        }
    ).select(list(SWITCH_OFFS))
    stays = pl.DataFrame(
        names
        | {
            "start": at[first],
            "end": at[last],
            "motions": (last - first + 1).astype(np.uint32),
            "lit_s": (off - at[first]) / 1e6,
            "lit_empty_s": hold_off_s,
            "ended_by": "hold-off",
        }
    )
    output = pl.DataFrame(
        {
            "time": np.column_stack([at[first], off]).ravel(),
            "output_pct": np.tile([80.0, 0.0], len(first)),
        }
    ).cast({"time": pl.Datetime("us", "UTC")})
    return {
        "motions": motions.cast(dict(MOTIONS)),
        "gaps": gaps.cast(dict(GAPS)).with_columns(p_still=still, p_minding=still),
        "switch_offs": offs.cast(dict(SWITCH_OFFS)),
        "episodes": stays.cast(dict(EPISODES)),
        "output": output,
    }


def curve(hold_off_s: float) -> tuple[DelayPoint, ...]:
    """A delay curve that falls and rises as they do."""
    points = []
    for hold in HOLDS:
        false, wasted = 300.0 * (60 / hold) ** 1.8, 1.2 * (hold / 60) ** 0.7
        cost = 0.35 * false + 0.09 * wasted
        points.append(
            DelayPoint(
                hold_off_s=float(hold),
                false_offs=false,
                false_offs_low=0.8 * false,
                false_offs_high=1.3 * false,
                switch_offs=false + 30,
                wasted_on_h=wasted,
                wasted_on_h_low=0.9 * wasted,
                wasted_on_h_high=1.1 * wasted,
                lit_h=30 + wasted,
                energy_kwh=9 + 0.3 * wasted,
                cost=cost,
                cost_low=0.8 * cost,
                cost_high=1.3 * cost,
                basis="observed" if hold <= hold_off_s else "extrapolated",
                allowed=hold >= 120,
            )
        )
    return tuple(points)


def draws(points: tuple[DelayPoint, ...]) -> pl.DataFrame:
    """Resamples that agree with a delay curve of :func:`curve`: means as there, spread by a tenth."""
    factor = np.concatenate([[1.0], np.tile([0.9, 1.1], 20)])
    rows = [
        {
            "hold_off_s": p.hold_off_s,
            **{name: (p.false_offs * factor).tolist() for name in ("false_offs", "false_offs_wide")},
            # The curve's cost holds 0.09 for an hour of waste, which is 0.3 kWh at 0.30.
            **{name: (0.3 * p.wasted_on_h * factor).tolist() for name in ("wasted_kwh", "wasted_kwh_wide")},
        }
        for p in points
    ]
    return pl.DataFrame(rows, schema=DRAWS)


@functools.cache
def light() -> LightResult:
    """Daylight of three weeks, every quarter of an hour, under a target of 500 lx."""
    hour = np.arange(DAYS * 96) / 4
    daylight = np.maximum(0.0, 420 * np.sin((hour % 24 - 6) / 12 * np.pi))
    lit = ((hour % 24) > 8) & ((hour % 24) < 17)
    output = np.where(lit, np.clip((500 - daylight) / 5, 0, 100), 0)
    time = [START + dt.timedelta(hours=float(h)) for h in hour]
    frame = pl.DataFrame(
        {"time": time, "reading_lx": daylight + 5 * output, "daylight_lx": daylight, "output_pct": output}
    ).cast({"time": pl.Datetime("us", "UTC")})
    return LightResult(
        electric_lx_at_full=500.0,
        electric_low=480.0,
        electric_high=520.0,
        steps=42,
        neighbours={"window": 60.0},
        recommended_target_lx=400.0,
        target_low_lx=380.0,
        target_high_lx=430.0,
        target_curve=tuple(
            TargetPoint(float(t), 4 + t / 100, max(0.0, 0.8 - t / 450), min(1.0, t / 900))
            for t in (300, 350, 400, 450, 500, 600)
        ),
        task_lx_lit=pl.DataFrame({"task_lx": (daylight + 5 * output)[lit], "lit": output[lit] > 0}),
        daylight=frame,
    )


@functools.cache
def channel(
    room: str = "r101",
    name: str = "wall",
    *,
    decision: Decision = "change",
    hold_off_s: float = 300.0,
    new_s: float = 600.0,
    room_name: str = "Reading room",
    seed: int = 1,
) -> ChannelResult:
    """One channel with everything in it."""
    points = curve(hold_off_s)
    by_hold = {p.hold_off_s: PerWeek(p.false_offs, p.wasted_on_h, p.energy_kwh, p.cost) for p in points}
    return ChannelResult(
        room=room,
        channel=name,
        room_name=room_name,
        use="reading room",
        control="dimmed",
        load_w=320.0,
        start=START,
        end=START + dt.timedelta(days=DAYS),
        days=float(DAYS),
        usable_days=DAYS - 0.5,
        current=Settings(hold_off_s, 500.0, "auto-on"),
        observed_hold_off_s=hold_off_s + 1.6,
        recommended=Settings(new_s, 400.0 if decision in ("change", "trial") else 500.0, "auto-on"),
        decision=decision,
        reasons=(
            "In 2.9 weeks the light went off 140 times at 5 min; about 52 times somebody was still in the room.",
            "At 10 min it would be about 4.8 false-offs a week instead of 17, for 2.3 h more light with nobody there a week.",
        ),
        current_rates=by_hold[hold_off_s],
        recommended_rates=by_hold[new_s],
        delay_curve=points,
        light=light(),
        findings=(
            Finding(
                "triggers-without-people",
                "warning",
                "31 lone triggers between 22:00 and 05:00 in 9 of 21 nights.",
                {"times": ["2026-03-17T01:12:00+00:00"], "nights": 9},
            ),
            Finding("sampled-motion", "info", "Motion is sampled every 10 s.", {"resolution_s": 10.0}),
        ),
        sensitivity=Sensitivity(
            by_false_off_cost=((0.0875, 300.0), (0.175, 600.0), (0.35, 600.0), (0.7, 900.0), (1.4, 1200.0)),
            by_price=((0.075, 900.0), (0.15, 600.0), (0.3, 600.0), (0.6, 600.0), (1.2, 300.0)),
            flips_at_cost=(0.12, 0.61),
            break_even_s=13125.0,
        ),
        draws=draws(points),
        sure=None if new_s == hold_off_s else Sureness(0.97, 1.0, 9.0),
        **frames(room, name, hold_off_s=hold_off_s, seed=seed),
    )


@functools.cache
def bare(room: str = "r104", name: str = "fan") -> ChannelResult:
    """A channel of whose motion the log holds nothing."""
    return replace(
        channel(room, name, decision="more-data", room_name="Store"),
        control="relay",
        start=None,
        end=None,
        days=0.0,
        usable_days=0.0,
        current=Settings(None, None, "auto-on"),
        recommended=Settings(None, None, "auto-on"),
        current_rates=None,
        recommended_rates=None,
        reasons=("The logs hold no motion of this channel.",),
        delay_curve=(),
        light=LightResult(),
        findings=(Finding("no-motion", "warning", "The logs hold no motion for r104/fan."),),
        sensitivity=Sensitivity(),
        observed_hold_off_s=None,
        motions=None,
        gaps=None,
        switch_offs=None,
        episodes=None,
        output=None,
        draws=None,
        sure=None,
    )


HOSTILE = 'Plant <b>& "boiler"</b> <script>alert(1)</script>'


@functools.cache
def analysis() -> Analysis:
    """A building of four rooms, one of them with a hostile name."""
    return Analysis(
        site="Harbour House",
        currency="EUR",
        time_zone=ZONE,
        generated=dt.datetime(2026, 4, 13, 9, tzinfo=dt.UTC),
        version="0.1.0",
        channels=(
            channel(),
            channel("r101", "window", decision="keep", hold_off_s=600.0, new_s=600.0, seed=2),
            channel("r102", "all", decision="trial", hold_off_s=120.0, new_s=900.0, room_name="Seminar room", seed=3),
            channel("r103/b", "all", decision="fix-first", hold_off_s=300.0, new_s=300.0, room_name=HOSTILE, seed=4),
            bare(),
        ),
        findings=(Finding("rows-dropped", "info", "12 rows of log.csv have no time.", {"rows": 12}),),
        cost_per_false_off=0.35,
        electricity_price=0.30,
    )

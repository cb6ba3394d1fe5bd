"""What a year makes of a target that was found in one season."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from tuning.gaps import Bools
from tuning.light.lit_time import Moments
from tuning.motion import Floats
from tuning.power import power_of_output
from tuning.results import Finding, LightResult
from tuning.site import Channel
from tuning.target.task import HOURS_PER_WEEK, LIT_SHARE, SLACK_LX, Task

WEEKS_PER_MONTH = 365.25 / 12 / 7
SEASON_SHARE = 0.10
"""A month in which the task lacks light in more than a tenth of the lit occupied time is worth a warning. Chosen by us: twice what is allowed."""
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December",
)  # fmt: skip


def with_year(
    light: LightResult,
    year: Moments,
    output: Floats,
    channel: Channel,
    *,
    task: Task,
    counted: Bools,
    targets: Floats,
    under_share: Floats,
) -> LightResult:
    """Add what a year makes of the recommended target.

    Parameters
    ----------
    light
        What is known so far, with the recommended target.
    year
        Lit occupied time of a year; ``day`` is the month.
    output
        Output at each moment under the recommended target, 0…1.
    channel
        For its power.
    task
        What the task gets and needs.
    counted
        At which moments a task without enough light counts.
    targets
        Targets that can be set, increasing. [lx]
    under_share
        Share of the time in which the task lacks light, shape (months, targets).
    """
    if light.recommended_target_lx is None:
        return light
    months = _months(year, output, counted, task, channel)
    finding = _season(months, light.recommended_target_lx, targets, under_share)
    return replace(
        light,
        months=months,
        yearly_kwh=float(months["energy_kwh"].sum()),
        findings=(*light.findings, finding),
    )


def _months(year: Moments, output: Floats, counted: Bools, task: Task, channel: Channel) -> pl.DataFrame:
    """By month: mean daylight at the detector while occupied, under-lit share and energy."""
    dark = task.illuminance(year, output) < task.need_lx - SLACK_LX
    watts = power_of_output(100 * output, channel, channel.power_w)
    rest_w = channel.standby_w * max(HOURS_PER_WEEK - task.hours, 0.0)
    lit = year.weight * counted
    frame = pl.DataFrame(
        {"month": year.day, "w": year.weight, "lit": lit, "dark": dark, "watts": watts, "lx": year.daylight}
    )
    w = pl.col("w")
    mean_w = (pl.col("watts") * w).sum() / w.sum()
    table = frame.group_by("month", maintain_order=True).agg(
        ((pl.col("lx") * w).sum() / w.sum()).alias("daylight_lx"),
        ((pl.col("lit") * pl.col("dark")).sum() / pl.col("lit").sum().clip(1e-9)).alias("under_lit_share"),
        ((mean_w * task.hours + rest_w) / 1000 * WEEKS_PER_MONTH).alias("energy_kwh"),
    )
    return table.sort("month")


def _season(months: pl.DataFrame, recommended: float, targets: Floats, under_share: Floats) -> Finding:
    worst = months.sort("under_lit_share", descending=True).row(0, named=True)
    yearly = float(months["energy_kwh"].sum())
    lead = f"Over a year, with the daylight of other months estimated from the sun's position, {recommended:.0f} lx would take about {yearly:.0f} kWh"
    lacking = 100 * worst["under_lit_share"]
    text = (
        f"{lead}, and the task would have enough light in every month."
        if lacking < 0.5
        else f"{lead}; the task would lack light in {lacking:.0f} % of the lit occupied time in {MONTHS[int(worst['month']) - 1]}, its worst month."
    )
    evidence = {
        "yearly_kwh": round(yearly, 1),
        "worst_month": int(worst["month"]),
        "share": round(worst["under_lit_share"], 3),
    }
    if worst["under_lit_share"] <= SEASON_SHARE:
        return Finding("season", "info", text, evidence)
    enough = np.all(under_share <= 1 - LIT_SHARE, axis=0, keepdims=True)[0]
    # the first from which on every target is enough in every month
    from_here = np.logical_and.accumulate(enough[::-1])[::-1]
    if from_here.any():
        every_month = float(targets[int(from_here.argmax())])
        text += f" A target of {every_month:.0f} lx would do in every month."
        evidence["every_month_lx"] = every_month
    return Finding("season", "warning", text, evidence)

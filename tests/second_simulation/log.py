"""What is known of a room: triggers by event, outputs by change of value, illuminance now and then, readings by hand."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tests.second_simulation.lights import Lights
from tests.second_simulation.loop import MINUTE_S, Run

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class LightLog:
    """A reading every ``every_s``, and in half of the rooms also shortly ``after_switching``; noise as a share of it and in lux."""

    every_s: float
    first_s: float
    after_switching: bool
    noise: float
    noise_lx: float


def draw_light_log(rng: np.random.Generator) -> LightLog:
    """Draw how a room's illuminance is logged."""
    every_s = float(rng.choice([60, 60, 120, 180, 300]))
    return LightLog(
        every_s,
        rng.uniform(0, every_s),
        bool(rng.random() < 0.5),
        rng.uniform(0.005, 0.02),
        rng.uniform(0.5, 3),
    )


def log_rows(
    rng: np.random.Generator, how: LightLog, channels: tuple[str, ...], lights: Lights, run: Run, daylight_lx: Floats
) -> pl.DataFrame:
    """Rows (``t`` [s], channel, quantity, value), in order of time. A log begins with the outputs at nought."""
    minutes = daylight_lx.shape[1]
    of = [run.output_channel == c for c in range(len(channels))]
    since_s = [np.concatenate([[0.0], run.output_s[mine]]) for mine in of]
    output = [np.concatenate([[0.0], run.output[mine]]) for mine in of]
    parts = [_rows(run.motion_s, None, "motion", np.ones(len(run.motion_s)))]
    for c, channel in enumerate(channels):
        t = np.arange(how.first_s, minutes * MINUTE_S, how.every_s)
        if how.after_switching:
            switched_s = since_s[c][np.diff(output[c] > 0, prepend=False)]
            t = np.union1d(t, switched_s + rng.uniform(2, 8))
            t = t[t < minutes * MINUTE_S]
        lx = np.interp(t / MINUTE_S, np.arange(minutes) + 0.5, daylight_lx[c])
        for by, lamp_lx in ((c, lights.lamp_lx[c]), (1 - c, lights.other_lx[c]))[: len(channels)]:
            lx += lamp_lx * output[by][np.searchsorted(since_s[by], t, side="right") - 1]
        lx = lx * (1 + how.noise * rng.standard_normal(len(t))) + how.noise_lx * rng.standard_normal(len(t))
        parts.append(_rows(t, channel, "illuminance", np.round(np.clip(lx, 0, None))))
        parts.append(_rows(since_s[c], channel, "output", np.round(100 * output[c], 1)))
    return pl.concat(parts).sort("t", maintain_order=True)


def _rows(t: Floats, channel: str | None, quantity: str, value: Floats) -> pl.DataFrame:
    return pl.DataFrame({"t": t, "value": value}).select(
        "t", pl.lit(channel, pl.String).alias("channel"), pl.lit(quantity).alias("quantity"), "value"
    )


class Reading(NamedTuple):
    """A luxmeter at the task beside the detector's display [lx], at an output [%]."""

    channel: str
    output_pct: int
    task_lx: float
    detector_lx: float


def hand_readings(
    rng: np.random.Generator, channels: tuple[str, ...], lights: Lights, daylight_lx: Floats
) -> list[Reading]:
    """Readings of each channel: on a bright day with the lamps off, and at night at full output; each off by 2 %."""
    found = []
    for c, channel in enumerate(channels):
        bright_lx = max(5.0, float(np.percentile(daylight_lx[c], 75)) * rng.uniform(0.6, 1.5))
        for output_pct, lx, at_task in (
            (0, bright_lx, lights.task_per_daylight[c]),
            (100, lights.lamp_lx[c], lights.task_per_lamp[c]),
        ):
            task, detector = 1 + 0.02 * rng.standard_normal(2)
            found.append(Reading(channel, output_pct, at_task * lx * task, lx * detector))
    return found

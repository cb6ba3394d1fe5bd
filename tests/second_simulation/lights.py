"""The lights of a room: one channel or two, what they give, and what the control makes of it."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tests.second_simulation.compiled import compiled

DIMMED, SWITCHED, RELAY = range(3)
CONTROLS = ("dimmed", "switched", "relay")
"""Held at a target; switched on below the target and off far above it; switched on by movement alone."""

TWO_CHANNELS = ("wall", "window")
DAYLIGHT_AT_WALL = (0.2, 0.45)
SHARES_OF_LOAD = (0.6, 0.4)
FAR_ABOVE = 1.25
"""A switched light goes off where the reading is above its target by so many times what its lamps give."""
SETTLES = 4
"""Two dimmed lights that see each other find their outputs by turns, so many times."""


class Lights(NamedTuple):
    """One entry per channel: what its lamps give at full output at its own detector [lx], what the other's give there, target in the reading [lx],
    least output (0 to 1), light at the task per light at the detector of daylight and of lamps, load and standby [W], what is required at the task
    [lx], and which of `CONTROLS`.
    """

    lamp_lx: NDArray[np.float64]
    other_lx: NDArray[np.float64]
    target_lx: NDArray[np.float64]
    least_output: NDArray[np.float64]
    task_per_daylight: NDArray[np.float64]
    task_per_lamp: NDArray[np.float64]
    load_w: NDArray[np.float64]
    standby_w: NDArray[np.float64]
    required_lx: NDArray[np.float64]
    control: NDArray[np.int64]


def draw_lights(
    rng: np.random.Generator, required_lx: float, load_w: float, channels: int, *, interior: bool
) -> Lights:
    """Draw a room's lights; the window row of two is mostly dimmed, else as the wall row. Interior rooms have no dimmed ones."""
    task_per_lamp = rng.uniform(0.9, 1.8, channels)
    task_per_daylight = task_per_lamp * np.exp(rng.normal(-0.1, 0.35, channels))
    drawn = int(rng.choice(3, p=(0.0, 0.3, 0.7) if interior else (0.68, 0.32, 0.0)))
    control = np.array([drawn, DIMMED if rng.random() < 0.8 else drawn][:channels])
    lamp_lx = required_lx / task_per_lamp * rng.uniform(1.1, 1.9, channels)
    needed_lx = required_lx / np.where(control == DIMMED, task_per_lamp, task_per_daylight)
    target_lx = np.round(needed_lx * rng.uniform(0.95, 1.3, channels) / 10) * 10
    reachable_lx = np.round(lamp_lx * 1.05 / 10) * 10
    return Lights(
        lamp_lx=lamp_lx,
        other_lx=lamp_lx[::-1] * rng.uniform(0.05, 0.25, channels) * (channels > 1),
        target_lx=np.where(control == DIMMED, np.minimum(target_lx, reachable_lx), target_lx),
        least_output=rng.choice([0.01, 0.05, 0.1], channels),
        task_per_daylight=task_per_daylight,
        task_per_lamp=task_per_lamp,
        load_w=np.round(load_w * np.array(SHARES_OF_LOAD if channels > 1 else (1.0,))),
        standby_w=rng.choice([0.0, 0.5, 1.0, 2.0], channels),
        required_lx=np.full(channels, required_lx),
        control=control,
    )


@compiled
def settle(
    output: NDArray[np.float64], lit: NDArray[np.bool_], lights: Lights, daylight_lx: NDArray[np.float64]
) -> None:
    """Put into ``output`` what each channel burns at (0 to 1), under the daylight at each detector."""
    channels = len(output)
    for c in range(channels):
        output[c] = 1.0 if lit[c] else 0.0
    for _ in range(SETTLES if channels > 1 else 1):
        for c in range(channels):
            if lit[c] and lights.control[c] == DIMMED:
                lacking_lx = lights.target_lx[c] - daylight_lx[c]
                if channels > 1:
                    lacking_lx -= lights.other_lx[c] * output[1 - c]
                output[c] = min(max(lacking_lx / lights.lamp_lx[c], lights.least_output[c]), 1.0)


@compiled
def reading_lx(c: int, output: NDArray[np.float64], lights: Lights, daylight_lx: NDArray[np.float64]) -> float:
    """What the detector of a channel reads [lx]."""
    own_lx = daylight_lx[c] + lights.lamp_lx[c] * output[c]
    return own_lx + lights.other_lx[c] * output[1 - c] if len(output) > 1 else own_lx


@compiled
def minds(rng: np.random.Generator, c: int, lights: Lights, daylight_lx: NDArray[np.float64], sigma: float) -> bool:
    """Whether who is left in the dark misses a channel: daylight at the task is too little, as they see it at that moment."""
    return (
        lights.task_per_daylight[c] * daylight_lx[c] * math.exp(sigma * rng.standard_normal()) < lights.required_lx[c]
    )

"""True light of a room: the smallest target that keeps the task lit, and readings taken with a hand-held luxmeter."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.simulation.daylight import ChannelLight, channel_lights, controlled_output, daylight_knots
from tests.simulation.days import GRID_S, make_calendar
from tests.simulation.parameters import Channel, RoomParameters
from tests.simulation.scene import merge_presence, time_present
from tests.simulation.uses import USES

FloatArray = NDArray[np.float64]

_HIGHEST = 3.0
LIT_SHARE = 0.95  # share of lit occupied time in which the task has to have what it needs


def _occupied(
    room: RoomParameters, rng: np.random.Generator, weeks: int
) -> tuple[FloatArray, tuple[ChannelLight, ...]]:
    """Presence in every minute (0 … 1) and the light of every channel, over repetitions of the log's weeks."""
    calendar = make_calendar(room.first_monday, weeks, room.place, max(1, round(24 / weeks)))
    start, end = merge_presence(USES[room.use].visits(rng, calendar, room.schedule))
    edges: FloatArray = np.arange(round(calendar.span_s / GRID_S) + 1, dtype=np.float64) * GRID_S
    return np.diff(time_present(edges, start, end)) / GRID_S, channel_lights(
        room, *daylight_knots(rng, calendar, room.sky)
    )


def _lit_share(
    channel: Channel,
    light: ChannelLight,
    spill_lx: FloatArray,
    weight: FloatArray,
    required_lx: float,
    target_lx: float,
) -> float:
    """Share of lit occupied time in which the task has `required_lx` under a target [lx]."""
    output = controlled_output(channel, light.daylight_lx + spill_lx, target_lx)
    lit = weight * (output > 0)
    task = light.task_daylight_lx + channel.task_per_lamp * (channel.lamp_lx * output + spill_lx)
    # Half a lux of slack: at night the task sits exactly at the target times the ratio.
    return float(lit[task >= required_lx - 0.5].sum() / max(lit.sum(), 1e-9))


def _smallest(channel: Channel, share: Any) -> tuple[float | None, bool]:
    """Smallest sufficient target [lx] by bisection, and whether any is."""
    high = _HIGHEST * channel.lamp_lx + 2000.0
    if share(high) < LIT_SHARE:
        return None, False
    low = 0.0
    while high - low > 0.5:
        middle = (low + high) / 2
        low, high = (low, middle) if share(middle) >= LIT_SHARE else (middle, high)
    return high, True


def light_truth(rng: np.random.Generator, room: RoomParameters, *, weeks: int) -> dict[str, dict[str, Any]]:
    """Per channel: lamp contributions, task ratios and, for dimmed control, the smallest sufficient target.

    Returns
    -------
    dict
        ``lamp_lx`` (k), ``lamp_from_other_lx`` (k′), ``task_per_daylight``, ``task_per_lamp``, and where dimmed
        ``smallest_target_lx`` (None if not reachable), ``reachable``, ``lacking_at_full`` (share of the time without
        enough light at full output), ``smallest_allowed_lx`` (None if none is enough).
    """
    weight, lights = _occupied(room, rng, weeks)
    found: dict[str, dict[str, Any]] = {}
    for c, channel in enumerate(room.channels):
        spill = np.zeros_like(weight)
        other = room.channels[1 - c] if len(room.channels) == 2 else None
        if other is not None:
            spill = lights[1 - c].output * other.lamp_lx * other.to_other
        row: dict[str, Any] = {
            "lamp_lx": channel.lamp_lx,
            "lamp_from_other_lx": other.lamp_lx * other.to_other if other is not None else 0.0,
            "task_per_daylight": channel.task_per_daylight,
            "task_per_lamp": channel.task_per_lamp,
        }
        if channel.control == "dimmed":

            def share(target: float, c: int = c, spill: FloatArray = spill) -> float:
                return _lit_share(room.channels[c], lights[c], spill, weight, room.required_lx, target)

            row["smallest_target_lx"], row["reachable"] = _smallest(channel, share)
            row["lacking_at_full"] = 1.0 - share(_HIGHEST * channel.lamp_lx + 2000.0)
            enough = [t for t in channel.allowed_target_lx if share(float(t)) >= LIT_SHARE]
            row["smallest_allowed_lx"] = min(enough) if enough else None
        found[channel.name] = row
    return found


def spot_readings(rng: np.random.Generator, room: RoomParameters) -> dict[str, list[dict[str, float]]]:
    """Luxmeter readings per channel: lamps only, and in rooms with windows daylight only; a few percent off."""
    readings: dict[str, list[dict[str, float]]] = {}
    for channel in room.channels:
        rows = []
        for _ in range(int(rng.integers(1, 3))):
            pct = float(rng.choice([100, 100, 60]))
            at_detector = channel.lamp_lx * pct / 100
            rows.append((pct, channel.task_per_lamp * at_detector, at_detector))
        if room.sky.windows:
            for _ in range(int(rng.integers(1, 3))):
                at_detector = rng.uniform(60, 600)
                rows.append((0.0, channel.task_per_daylight * at_detector, at_detector))
        off = rng.normal(1.0, 0.02, (len(rows), 2))
        made = [
            {"output_pct": p, "task_lx": round(task * e[0]), "detector_lx": round(det * e[1])}
            for (p, task, det), e in zip(rows, off, strict=True)
        ]
        readings[channel.name] = made if channel.spot_readings else []
    return readings

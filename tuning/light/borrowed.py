"""A channel without a reading of its own: what another channel's detector in the room says about its lamps.

Two lighting groups often share one detector that reads illuminance. Where the switching of the other group is seen in that reading, its
lamps are known there, too. What they are *not* known in is the channel's own reading, if it has a detector that does not log it: a target
is only worked out where the hand readings show that they were taken beside the detector whose log is used.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import polars as pl

from tuning.light.split import UNSEEN_LX, LightSplit, split_light
from tuning.results import Finding
from tuning.site import SpotReading

SPOTS_WITHIN = 0.25
"""A hand reading under the lamps lies so near what the log's detector should show then, if it was taken beside it. Chosen by us."""
HALF_PCT = 50.0


def borrowed_split(
    readings: Mapping[str, pl.DataFrame],
    outputs: Mapping[str, pl.DataFrame],
    *,
    channel: str,
    latitude: float | None = None,
    longitude: float | None = None,
) -> LightSplit | None:
    """Split the reading of another channel's detector, where the channel's own switching is seen in it.

    Parameters
    ----------
    readings
        By other channel of the room: ``time``, ``value`` [lx].
    outputs
        By channel: ``time``, ``value`` [%].
    channel
        The channel without a reading.
    latitude, longitude
        Of the building, where known. [deg]

    Returns
    -------
    The split of the reading in which the channel's lamps show most, with ``borrowed_from``; ``None`` where they show in none, or cannot be told
    from those of another channel.
    """
    if channel not in outputs or outputs[channel].is_empty():
        return None
    best: LightSplit | None = None
    for name, reading in readings.items():
        split = split_light(reading, outputs, own_channel=channel, latitude=latitude, longitude=longitude)
        lamp = split.lamps.get(channel)
        if lamp is None or not lamp.separable or lamp.low_lx < UNSEEN_LX:
            continue
        if best is None or lamp.at_full_lx > best.lamps[channel].at_full_lx:
            best = replace(split, borrowed_from=name, findings=(*split.findings, _told(channel, name, lamp.at_full_lx)))
    return best


def _told(channel: str, name: str, lx: float) -> Finding:
    text = (
        f"Channel {channel} logs no illuminance of its own; its lamps are seen in the reading of {name}, where they add {lx:.0f} lx at full "
        "output. Illuminances of this channel are in that reading."
    )
    return Finding("borrowed-reading", "info", text, {"reading_of": name, "at_full_lx": round(lx, 1)})


def beside_the_detector(spots: tuple[SpotReading, ...], *, at_full_lx: float) -> bool:
    """Whether hand readings under the lamps were taken beside the detector whose reading is used.

    Parameters
    ----------
    spots
        Luxmeter readings; those at half output and more, with the detector's value, can tell.
    at_full_lx
        The channel's lamps in that reading at full output. [lx]
    """
    seen = [s for s in spots if s.output_pct >= HALF_PCT and s.detector_lx]
    expected = [(s.detector_lx or 0.0, at_full_lx * s.output_pct / 100) for s in seen]
    return bool(expected) and all(abs(lx - wanted) <= SPOTS_WITHIN * wanted for lx, wanted in expected)

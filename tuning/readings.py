"""READINGS of one room, looked up by quantity and channel."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import polars as pl

from tuning.schemas import READINGS, require

_NONE = READINGS.to_frame()


class RoomReadings:
    """READINGS of one room.

    Many steps ask for the same rows, so each look-up is done once and kept.

    Parameters
    ----------
    readings
        READINGS of the room, sorted by time; or by quantity those of each.

    Raises
    ------
    TypeError
        If a frame is no READINGS.
    """

    def __init__(self, readings: pl.DataFrame | Mapping[str, pl.DataFrame]) -> None:
        if isinstance(readings, pl.DataFrame):
            parts = readings.partition_by("quantity", as_dict=True)
            readings = {str(quantity): part for (quantity,), part in parts.items()}
        for frame in readings.values():
            require(frame, READINGS, "readings")
        self.by_quantity = readings
        self.quantities = frozenset(readings)
        """What was logged."""
        self._channel: dict[tuple[str, str], pl.DataFrame] = {}
        self._own: dict[tuple[str, str], pl.DataFrame] = {}

    @cached_property
    def frame(self) -> pl.DataFrame:
        """All of them, sorted by time."""
        return pl.concat([_NONE, *self.by_quantity.values()]).sort("time", maintain_order=True)

    def of(self, quantity: str) -> pl.DataFrame:
        """READINGS of a quantity."""
        return self.by_quantity.get(quantity, _NONE)

    def of_channel(self, quantity: str, channel: str) -> pl.DataFrame:
        """Those of them that concern a channel: its own and those that the whole room shares."""
        if (quantity, channel) not in self._channel:
            rows = self.of(quantity)
            mine = rows.filter(pl.col("channel").is_null() | (pl.col("channel") == channel))
            self._channel[quantity, channel] = rows if mine.height == rows.height else mine
        return self._channel[quantity, channel]

    def own(self, quantity: str, channel: str) -> pl.DataFrame:
        """The channel's own rows of a quantity: ``time``, ``value``."""
        if (quantity, channel) not in self._own:
            rows = self.of_channel(quantity, channel)
            self._own[quantity, channel] = rows.filter(pl.col("channel") == channel).select("time", "value")
        return self._own[quantity, channel]

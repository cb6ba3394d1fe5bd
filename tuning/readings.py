"""READINGS of one room, looked up by quantity and channel."""

from __future__ import annotations

import polars as pl

from tuning.schemas import READINGS, require


class RoomReadings:
    """READINGS of one room.

    Many steps ask for the same rows, so each look-up is done once and kept, without the columns that say the same in every row of it.

    Parameters
    ----------
    frame
        READINGS of the room, sorted by time.

    Raises
    ------
    TypeError
        If the frame is no READINGS.
    """

    def __init__(self, frame: pl.DataFrame) -> None:
        require(frame, READINGS, "readings")
        self.frame = frame
        # Of texts only their hashes are held beside each other: they are many, and all but a few the same.
        self.quantities = frozenset(frame["quantity"].filter(frame["quantity"].hash().is_first_distinct()))
        """What was logged."""
        self._quantity: dict[str, pl.DataFrame] = {}
        self._channel: dict[tuple[str, str], pl.DataFrame] = {}
        self._own: dict[tuple[str, str], pl.DataFrame] = {}

    def of(self, quantity: str) -> pl.DataFrame:
        """Rows of a quantity: ``time``, ``channel``, ``detector``, ``value``."""
        if quantity not in self._quantity:
            rows = self.frame.select("time", "channel", "detector", "value")
            here = quantity in self.quantities
            self._quantity[quantity] = rows.filter(self.frame["quantity"] == quantity) if here else rows.clear()
        return self._quantity[quantity]

    def of_channel(self, quantity: str, channel: str) -> pl.DataFrame:
        """Those of them that concern a channel: its own and those that the whole room shares."""
        if (quantity, channel) not in self._channel:
            rows = self.of(quantity)
            shared = rows["channel"].null_count() == rows.height
            self._channel[quantity, channel] = (
                rows if shared else rows.filter(pl.col("channel").is_null() | (pl.col("channel") == channel))
            )
        return self._channel[quantity, channel]

    def own(self, quantity: str, channel: str) -> pl.DataFrame:
        """The channel's own rows of a quantity: ``time``, ``value``."""
        if (quantity, channel) not in self._own:
            rows = self.of_channel(quantity, channel)
            self._own[quantity, channel] = rows.filter(rows["channel"] == channel).select("time", "value")
        return self._own[quantity, channel]

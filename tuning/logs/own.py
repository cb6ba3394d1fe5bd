"""Results of holdoff itself, which may lie beside the logs and are none."""

from __future__ import annotations

from pathlib import Path

import polars as pl
from polars.exceptions import PolarsError

from tuning.schemas import EPISODES, SWITCH_OFFS

MARK = "holdoff"
"""Key of the metadata of every Parquet file that this program writes as a result."""
HEADS = (b"room,room_name,channel,decision,", b"room,room_name,channel,detector_position,decision,")
"""How the tables of settings begin, that of `recommend` and that of the sheet."""


def is_own_result(path: Path) -> bool:
    """Whether a file is what ``holdoff events`` or ``holdoff recommend --csv`` wrote: by its mark, else by its columns."""
    try:
        with path.open("rb") as stream:
            head = stream.read(64)
        if head.startswith(b"PAR1"):
            names = pl.read_parquet_schema(path)
            if list(names) in (EPISODES.names(), SWITCH_OFFS.names()):
                return True
            return MARK in pl.read_parquet_metadata(path)
        return head.removeprefix(b"\xef\xbb\xbf").startswith(HEADS)
    except (OSError, PolarsError, ValueError, pl.exceptions.PanicException):
        # Whatever it is, the reader says what is wrong with it.
        return False

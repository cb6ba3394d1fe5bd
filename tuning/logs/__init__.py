"""Files → readings: any export, in one compact table.

``sources`` and ``text`` open containers and encodings, ``times``, ``zones``, ``clock`` and ``values`` read the columns, ``layouts`` puts
them into the ``store``, ``reader`` does so for a whole folder, ``saved`` keeps the result as Parquet, and ``notes`` tells what was noticed.
"""

from tuning.logs.reader import Logs, no_logs, read_frame, read_logs
from tuning.logs.sampling import longest_wait_s, looked_at_every_s, sampling_interval_s
from tuning.logs.saved import load_logs, save_logs

__all__ = [
    "Logs",
    "load_logs",
    "longest_wait_s",
    "looked_at_every_s",
    "no_logs",
    "read_frame",
    "read_logs",
    "sampling_interval_s",
    "save_logs",
]

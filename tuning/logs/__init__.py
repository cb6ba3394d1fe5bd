"""Files → readings: any export, in one compact table.

``sources`` and ``text`` open containers and encodings, ``times``, ``zones``, ``clock`` and ``values`` read the columns, ``layouts`` puts
them into the ``store``, ``reader`` does so for a whole folder, and ``notes`` tells what was noticed.
"""

from tuning.logs.reader import Logs, read_frame, read_logs
from tuning.logs.sampling import longest_wait_s, sampling_interval_s

__all__ = ["Logs", "longest_wait_s", "read_frame", "read_logs", "sampling_interval_s"]

"""Files → readings: any export, in one compact table.

``files`` opens containers and encodings, ``times`` and ``values`` read the columns, ``table`` joins all files into one.
"""

from tuning.logs.sampling import sampling_interval_s
from tuning.logs.table import Logs, read_frame, read_logs

__all__ = ["Logs", "read_frame", "read_logs", "sampling_interval_s"]

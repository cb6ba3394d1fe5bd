"""What is wrong with a log, and what of it the analysis mends: clocks, stretched motion, supply, dead and stuck series."""

from tuning.quality.mending import FLAGGED, Mended, mend
from tuning.quality.outages import Outage, find_outages

__all__ = ["FLAGGED", "Mended", "Outage", "find_outages", "mend"]

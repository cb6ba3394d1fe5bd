"""What a building's owner asks of its light: energy, cost, emissions, LENI and the occupancy factor, as now and as advised."""

from tuning.owner.document import report_document
from tuning.owner.report import OwnerReport, RoomReport, owner_report
from tuning.owner.year import YearFigures

__all__ = ["OwnerReport", "RoomReport", "YearFigures", "owner_report", "report_document"]

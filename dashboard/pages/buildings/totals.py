"""What a building comes to in one line of the list: what its recommendations are worth, what needs attention, what is undecided."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from dashboard.pages.building.ranking import attention
from dashboard.workspace import Workspace, analyses

KEPT = 4096
"""Buildings whose sums are kept in memory; they are some numbers each. Chosen by us."""


@dataclass(frozen=True)
class Totals:
    """Of one analysis. ``worth`` is what setting all recommendations saves a week; ``attention`` counts what needs somebody on site."""

    currency: str
    worth: float
    attention: int


@lru_cache(maxsize=KEPT)
def totals(ws: Workspace, building: str, analysis: int) -> Totals:
    """Sum an analysis up; it never changes, so that is done once."""
    found = analyses.summary(ws, building, analysis)
    worth = sum(c.worth_per_week for c in found.channels if c.decision in ("change", "trial"))
    return Totals(found.currency, worth, len(attention(found)))

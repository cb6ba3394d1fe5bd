"""Simulated rooms with known presence under a closed-loop presence detector, for tests.

Shares nothing with ``tuning``: this is what its estimates are judged by.
"""

from tests.simulation.building import write_building
from tests.simulation.room import SimulatedRoom, simulate
from tests.simulation.stillness import FAMILIES
from tests.simulation.uses import USES

__all__ = ["FAMILIES", "USES", "SimulatedRoom", "simulate", "write_building"]

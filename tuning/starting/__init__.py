"""Starting settings for rooms that have no log yet: from field data, the table of room uses, and own rooms of the same use."""

from tuning.starting.beliefs import EstateBeliefs, read_beliefs
from tuning.starting.document import starting_document
from tuning.starting.expect import Expected
from tuning.starting.settings import StartingSettings, starting_settings, task_per_detector

__all__ = [
    "EstateBeliefs",
    "Expected",
    "StartingSettings",
    "read_beliefs",
    "starting_document",
    "starting_settings",
    "task_per_detector",
]

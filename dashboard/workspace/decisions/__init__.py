"""What people decide about channels: accept, adjust, reject; undo; set on site.

Every decision keeps who, when, and the analysis it rests on, which keeps the logs, the version and the facts.
"""

from dashboard.workspace.choices import Choice, Kind, Mark, Place, acceptable, extra_cost
from dashboard.workspace.decisions.deciding import decide, undo, undo_batch
from dashboard.workspace.decisions.records import ChannelState, Decision, Visit
from dashboard.workspace.decisions.standing import decided, history, states
from dashboard.workspace.decisions.visits import mark_set, unmark_set

__all__ = [
    "ChannelState",
    "Choice",
    "Decision",
    "Kind",
    "Mark",
    "Place",
    "Visit",
    "acceptable",
    "decide",
    "decided",
    "extra_cost",
    "history",
    "mark_set",
    "states",
    "undo",
    "undo_batch",
    "unmark_set",
]

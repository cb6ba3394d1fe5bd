"""Watch: whether a room has changed since its settings were decided.

daily (what each day says of a channel) → statistics (which of it is watched, on what scale, on which days) → drift (a change-point test whose limit
is drawn from the room's own reference days) → room (what has drifted, in words). look joins them over a building and asks of every
room that drifted whether a better setting is worth a visit now; shown writes the outcome for terminals and other programs.
"""

from tuning.watching.room import FALSE_ALARMS, Drift, Watched, watch_room

__all__ = ["FALSE_ALARMS", "Drift", "Watched", "watch_room"]

"""The seven uses, and the ranges that their rooms are drawn from."""

from dataclasses import dataclass

from tests.second_simulation.people import Desks, Habits, Lessons, ManyDesks, Meetings, Passage, Readers, Visits


@dataclass(frozen=True)
class Use:
    """Ranges of the median stillness [s] and of the load [W]; what may be required at the task [lx]; shares of rooms."""

    habits: type[Habits]
    stillness_s: tuple[float, float]
    load_w: tuple[float, float]
    required_lx: tuple[int, ...] = (500,)
    interior: float = 0.0
    two_channels: float = 0.3


USES = {
    "office": Use(Desks, (5, 55), (80, 350)),
    "open-plan office": Use(ManyDesks, (6, 150), (300, 1000)),
    "meeting room": Use(Meetings, (4, 60), (150, 500)),
    "classroom": Use(Lessons, (6, 140), (300, 800), required_lx=(300, 500)),
    "corridor": Use(Passage, (2, 10), (150, 600), required_lx=(100,), interior=0.5),
    "toilet": Use(Visits, (4, 60), (60, 250), required_lx=(200,), interior=0.5, two_channels=0.0),
    "reading room": Use(Readers, (6, 90), (200, 800)),
}
"""In the order in which they take turns."""

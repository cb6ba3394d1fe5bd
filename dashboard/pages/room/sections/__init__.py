"""Sections of the room page, a module for each question: ``section()`` lays it out, ``register(app, stores)`` fills it."""

from __future__ import annotations

from types import ModuleType

from dashboard.pages.room.sections import days, delay, light, mode, pauses, review, tryout, watching

FIRST: tuple[ModuleType, ...] = (delay, tryout)
"""What is there at once: what a decision rests on."""
LATER: dict[str, tuple[ModuleType, ...]] = {
    "days": (days, review),
    "light": (pauses, light),
    "use": (mode, watching),
}
"""What is put there when it comes near, by the name of its place; what speaks with each other comes together."""
SECTIONS: tuple[ModuleType, ...] = (*FIRST, *(section for together in LATER.values() for section in together))
"""In the order of the page."""

__all__ = ["FIRST", "LATER", "SECTIONS"]

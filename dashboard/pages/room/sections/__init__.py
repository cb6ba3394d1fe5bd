"""Sections of the room page, a module for each question: ``section()`` lays it out, ``register(app, stores)`` fills it."""

from __future__ import annotations

from types import ModuleType

from dashboard.pages.room.sections import days, delay, light, mode, pauses, review, tryout, watching

SECTIONS: tuple[ModuleType, ...] = (delay, tryout, days, review, pauses, light, mode, watching)
"""In the order of the page."""

__all__ = ["SECTIONS"]

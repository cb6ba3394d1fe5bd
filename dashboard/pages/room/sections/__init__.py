"""Sections of the room page, one module each: ``section()`` lays it out, ``register(app, stores)`` fills it."""

from __future__ import annotations

from types import ModuleType

from dashboard.pages.room.sections import days, delay, light_day, pauses, review, season, target, task, tryout

SECTIONS: tuple[ModuleType, ...] = (delay, tryout, days, review, pauses, target, task, light_day, season)
"""In the order of the page."""

__all__ = ["SECTIONS"]

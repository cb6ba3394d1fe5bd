"""What somebody may want for a channel: what settings it comes to, what is beyond a floor or a limit, and what it costs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from dashboard.workspace.errors import RefusedError, WrongValueError
from tuning.results import ChannelResult, Settings
from tuning.sentence import Sentence, say
from tuning.site import Channel, Site
from tuning.starting import task_per_detector
from tuning.wording import duration

Kind = Literal["accept", "adjust", "reject", "starting"]
"""``starting``: settings to start with in a channel that has no log."""
Place = tuple[str, str]
"""Room and channel."""
Mark = Literal["below-floor", "beyond-code-limit", "below-target-floor", "not-settable"]
MARK_NEEDS_REASON: frozenset[str] = frozenset({"below-floor", "beyond-code-limit", "below-target-floor"})


@dataclass(frozen=True)
class Choice:
    """What somebody wants for one channel.

    Attributes
    ----------
    settings
        With ``adjust`` and ``starting``: what to set. Otherwise ``None``.
    reason
        Needed to reject, and for settings beyond floor or limit.
    revision
        The channel's revision that the page showed (:class:`ChannelState`).
    """

    room: str
    channel: str
    kind: Kind
    revision: int
    settings: Settings | None = None
    reason: str = ""


def acceptable(found: ChannelResult) -> bool:
    """Whether there are settings to accept: without a hold-off and a target nobody knows what to set."""
    return found.recommended.hold_off_s is not None or found.recommended.target_lx is not None


def chosen(choice: Choice, found: ChannelResult) -> Settings:
    """Settings that a choice comes to.

    Raises
    ------
    WrongValueError
        If an adjusted one is none.
    RefusedError
        If there is nothing to accept.
    """
    if choice.kind == "accept":
        if not acceptable(found):
            raise RefusedError(
                f"Nothing was saved: {found.room_name}, {found.channel} has no settings to accept, because its log tells none. "
                "See its findings, or adjust it to settings of your own."
            )
        return found.recommended
    if choice.kind == "reject":
        return found.current
    if choice.settings is None:
        raise WrongValueError(("settings",), "say what to set")
    hold, target = choice.settings.hold_off_s, choice.settings.target_lx
    for name, value in (("hold_off_s", hold), ("target_lx", target)):
        if value is not None and not (np.isfinite(value) and value > 0):
            raise WrongValueError((choice.room, choice.channel, name), "it must be greater than 0")
    if choice.settings.mode not in ("auto-on", "manual-on"):
        raise WrongValueError((choice.room, choice.channel, "mode"), "it is auto-on or manual-on")
    return choice.settings


def marks_of(site: Site, found: ChannelResult, settings: Settings) -> tuple[Mark, ...]:
    """What of some settings lies beyond a floor, a limit, or what can be set."""
    room = site.rooms[found.room]
    channel = room.channels[found.channel]
    hold, target, limit = settings.hold_off_s, settings.target_lx, site.site.max_hold_off_s
    marks: list[Mark] = []
    if hold is not None and hold < room.beliefs.minimum_hold_off_s:
        marks.append("below-floor")
    if hold is not None and limit is not None and hold > limit:
        marks.append("beyond-code-limit")
    if (
        target is not None
        and channel.control == "dimmed"
        and target * _task_per_electric(found, channel) < room.beliefs.minimum_target_lx
    ):
        marks.append("below-target-floor")
    in_force = (found.current.hold_off_s, found.current.target_lx)
    listed = hold is None or hold == in_force[0] or hold in channel.allowed_hold_off_s
    lit = target is None or target == in_force[1] or target in (channel.allowed_target_lx or (target,))
    if not (listed and lit):
        marks.append("not-settable")
    return tuple(marks)


def _task_per_electric(found: ChannelResult, channel: Channel) -> float:
    """Task illuminance per lx of lamps at the detector: as the log tells, before there is one from the readings by hand."""
    by_hand = None if found.start is not None else task_per_detector(channel)
    return found.light.task_per_electric if by_hand is None else by_hand


def reasons_needed(
    choice: Choice, found: ChannelResult, settings: Settings, marks: Sequence[Mark], site: Site
) -> list[str]:
    """Say what needs a reason and has none: a rejection, and settings beyond a floor or a limit."""
    if choice.reason.strip():
        return []
    name = f"{found.room_name}, {found.channel}"
    if choice.kind == "reject":
        return [f"{name}: a rejection says why"]
    room = site.rooms[found.room]
    told = {
        "below-floor": say(
            "{hold} is below the safety floor of {floor} for the use {use}",
            hold=duration(settings.hold_off_s or 0),
            floor=duration(room.beliefs.minimum_hold_off_s),
            use=f"'{room.use}'",
        ),
        "beyond-code-limit": say(
            "{hold} is beyond the code limit of {limit}",
            hold=duration(settings.hold_off_s or 0),
            limit=duration(site.site.max_hold_off_s or 0),
        ),
        "below-target-floor": say(
            "{lx:g} lx gives the task less than the safety floor of {floor:g} lx for the use {use}",
            lx=settings.target_lx or 0.0,
            floor=room.beliefs.minimum_target_lx,
            use=f"'{room.use}'",
        ),
    }
    return [Sentence(f"{name}: ") + told[m] for m in marks if m in MARK_NEEDS_REASON]


def extra_cost(found: ChannelResult, settings: Settings, *, price: float) -> float | None:
    """What settings cost a week against the recommended ones: nuisance, waste, and the target's energy. ``None`` where no curve says.

    Between candidates of the delay curve the cost is read along the logarithm of the hold-off.
    """
    total = 0.0
    if settings.hold_off_s != found.recommended.hold_off_s:
        if not found.delay_curve or settings.hold_off_s is None or found.recommended.hold_off_s is None:
            return None
        hold = np.log([p.hold_off_s for p in found.delay_curve])
        asked = np.log([settings.hold_off_s, found.recommended.hold_off_s])
        if asked.min() < hold[0] or asked.max() > hold[-1]:
            return None
        mine, best = np.interp(asked, hold, found.cost_at_target or [p.cost for p in found.delay_curve])
        total += float(mine - best)
    if settings.target_lx != found.recommended.target_lx:
        curve = found.light.target_curve
        if not curve or settings.target_lx is None or found.recommended.target_lx is None:
            return None
        lux = [p.target_lx for p in curve]
        asked = np.array([settings.target_lx, found.recommended.target_lx])
        if asked.min() < lux[0] or asked.max() > lux[-1]:
            return None
        mine, best = np.interp(asked, lux, [p.energy_kwh for p in curve])
        total += float(mine - best) * price
    return total

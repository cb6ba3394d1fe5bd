"""What a verification hands out: frozen, with units in the names. Nothing here computes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from tuning.results import Finding, Settings

Verdict = Literal["as-predicted", "better", "worse", "too-early", "not-set"]
"""``as-predicted``, ``better`` and ``worse`` are said of the cost a week, before against after: ``better`` is surely better than before but
not what was predicted; ``worse`` is surely worse than before. ``not-set`` where the settings that were said are not in force."""
SetStatus = Literal["as-said", "later", "never", "set-back", "another-value", "cannot-tell"]
QUANTITIES = ("false_offs", "wasted_on_h", "energy_kwh", "cost")


@dataclass(frozen=True)
class Estimate:
    """A rate a week with its 90 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Compared:
    """One quantity a week at the same presence and the same daylight.

    Attributes
    ----------
    before, after, change
        Realised; ``change`` is after less before.
    predicted, predicted_change
        What the log before foretold for the new settings, carried to the same presence hours.
    held
        Whether what happened lies within the prediction's 90 % interval, that of the measurement included.
    by_controls
        The change as the difference in differences against rooms left alone; ``None`` without usable ones.
    logged_before, logged_after
        As logged, not carried to the same conditions.
    """

    before: Estimate
    after: Estimate
    change: Estimate
    predicted: Estimate
    predicted_change: Estimate
    held: bool
    by_controls: Estimate | None
    logged_before: float
    logged_after: float


@dataclass(frozen=True)
class SetCheck:
    """Whether the settings that were said are in force.

    ``since`` is when they came into force as far as the log tells, ``until`` when they were set back. ``observed_s`` is the hold-off seen at the
    end of the period [s], ``switch_offs`` how many it rests on, ``resolution_s`` how finely the log tells it [s]. ``target`` and ``mode`` say
    what was seen of them, where they were to change; ``other_settings`` names those of them that are not as said. Where the log cannot tell because
    it is too coarse, every hold-off from ``agrees_from_s`` to ``agrees_to_s`` agrees with it [s], and ``to_do`` says what would tell.
    """

    status: SetStatus
    message: str
    observed_s: float | None = None
    since: dt.datetime | None = None
    until: dt.datetime | None = None
    switch_offs: int = 0
    resolution_s: float = 0.0
    target: str = ""
    mode: str = ""
    other_settings: tuple[str, ...] = ()
    agrees_from_s: float | None = None
    agrees_to_s: float | None = None
    to_do: str = ""


@dataclass(frozen=True)
class Replay:
    """How well the lit time of each day follows from movement and hold-off: bias and scatter against the logged one, as shares of its mean."""

    nmbe: float
    cv_rmse: float
    days: int


@dataclass(frozen=True)
class Conditions:
    """What was made the same: presence [h a week] and daylight at the detector [lx, median over presence], before and after; NaN unknown."""

    presence_before_h: float
    presence_after_h: float
    daylight_before_lx: float
    daylight_after_lx: float


@dataclass(frozen=True)
class Verified:
    """One change of one channel.

    Attributes
    ----------
    set_at
        When it was said to be set, UTC.
    before_days, after_days
        Usable days of log on either side.
    quantities
        By name of ``QUANTITIES``; empty where nothing can be compared.
    more_days
        With ``too-early``: days of log more that will tell, ``None`` where waiting alone will not.
    controls
        Rooms and channels that served as controls, and why there are none.
    option
        "A" or "B": how power comes in, in the terms of IPMVP.
    """

    room: str
    room_name: str
    channel: str
    set_at: dt.datetime
    was: Settings
    said: Settings
    before_days: float
    after_days: float
    set_check: SetCheck
    verdict: Verdict
    reasons: tuple[str, ...]
    quantities: dict[str, Compared]
    more_days: int | None
    controls: tuple[str, ...]
    no_controls: str
    conditions: Conditions | None
    replay: Replay | None
    option: Literal["A", "B"]
    findings: tuple[Finding, ...] = ()

    @property
    def really_set(self) -> bool | None:
        """Whether the settings are in force as said; ``None`` where the log cannot tell."""
        if self.set_check.other_settings or self.set_check.status not in ("as-said", "cannot-tell"):
            return False
        return True if self.set_check.status == "as-said" else None

    @property
    def attention(self) -> int:
        """Rank for a list: what needs somebody first."""
        order = ("worse", "not-set", "too-early", "better", "as-predicted")
        return order.index(self.verdict) * 2 + (self.really_set is not False)


@dataclass(frozen=True)
class Verification:
    """A building's changes, what needs attention first."""

    site: str
    currency: str
    time_zone: str
    generated: dt.datetime
    version: str
    changes: tuple[Verified, ...]
    untouched: tuple[str, ...]
    findings: tuple[Finding, ...] = ()


def cannot_tell(changes: Sequence[Verified]) -> list[Verified]:
    """Changes of which the log tells neither that the settings are in force as said nor that they are not."""
    return [v for v in changes if v.really_set is None]

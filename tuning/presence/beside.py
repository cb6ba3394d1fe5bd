"""Several lights in one room, and whose going dark people reacted to.

People react to whichever light they miss. Where several go dark at the same moment, it is one question whether somebody was there, asked once
for the room: whoever minds one of them moves. Of that, each channel is answerable for the share in which its own darkness hurts, as the
daylight left at its place says. Where they go dark one after the other, a reaction to an earlier one cuts short what a later one would have
seen; and whether the earlier one is missed while the later still burns is asked of the log: as many move soon after it went dark as mind
it, the others sit on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tuning.light.circumstances import Circumstances
from tuning.motion import Floats, Ints
from tuning.presence.stillness import REACTION_LIMIT_S, Classified

TOGETHER = 0.03
"""Hold-offs within so much of each other are one. Chosen by us: what lags of logs and clocks of detectors make."""
MISSED_PRIOR = (2.0, 0.5)
"""Beta belief about the share of people who miss a light while another one still burns. Chosen by us: most do, or it would not hang there."""
ROUNDS = 4
ALL_MISS = 0.97
"""From this share on everybody misses it, and nothing is classified again. Chosen by us."""
Classify = Callable[[Floats, Floats, Floats], Classified]
"""Classifies a channel's gaps under hold-offs [s], with light on and people who mind, each per gap."""


@dataclass(frozen=True)
class Companion:
    """Another light of the room under the same movements: when each gap began, its hold-off in force in each [s], and its circumstances."""

    name: str
    start_us: Ints
    hold_off_s: Floats
    around: Circumstances


@dataclass(frozen=True)
class Together:
    """Lights that go dark at the same moment, as one: lit where any is, minded as far as any is."""

    lit: Floats
    minds: Floats

    def own(self, around: Circumstances) -> Floats:
        """Share of the reactions that one of the lights is answerable for, per gap."""
        mine = np.where(around.lit > 0.5, around.minds, 0.0)
        return np.asarray(np.clip(mine / np.maximum(self.minds, 1e-9), 0, 1))


def when_dark(hold_off_s: Floats, beside: Companion) -> int:
    """−1 where the companion goes dark clearly earlier, 1 later, 0 at the same moment."""
    own, other = float(np.median(hold_off_s)), float(np.median(beside.hold_off_s))
    if not np.isfinite(own) or not np.isfinite(other):
        return 1 if np.isfinite(own) else 0
    ratio = other / own
    return 0 if abs(ratio - 1) <= TOGETHER else int(np.sign(ratio - 1))


def together(around: Circumstances, others: Sequence[Companion]) -> Together:
    """Take lights that go dark at the same moment as one. They share their daylight, so whoever misses the darker place is among all."""
    lit, minds = around.lit, np.where(around.lit > 0.5, around.minds, 0.0)
    if not others:
        return Together(lit, around.minds)
    for other in others:
        lit = np.maximum(lit, other.around.lit)
        minds = np.maximum(minds, np.where(other.around.lit > 0.5, other.around.minds, 0.0))
    return Together(lit, minds)


def reactions_before(earlier: Sequence[Companion], classify: Classify) -> Floats | None:
    """Probability per gap that it ended in a reaction to a light that goes dark earlier; ``None`` without such lights."""
    found = [classify(c.hold_off_s, c.around.lit, c.around.minds).reaction for c in earlier]
    return np.max(found, axis=0) if found else None


def share_who_miss(
    gap_s: Floats, hold_off_s: Floats, own: Together, later: Companion, classify: Classify
) -> tuple[float, Classified]:
    """Share of those present who react to this light's going dark while a later one still burns, and the classification with it.

    Parameters
    ----------
    gap_s
        Gaps. [s]
    hold_off_s
        This light's hold-off in each. [s]
    own
        This light, with those that go dark at the same moment.
    later
        The one that burns longer. In its eyes all gaps shorter than its hold-off are as they are.
    classify
        Classifies.
    """
    eyes = classify(later.hold_off_s, later.around.lit, later.around.minds)
    asked = (own.lit > 0.5) & (own.minds > 0.5) & (later.around.lit > 0.5)
    sat_on = asked & (gap_s > hold_off_s + REACTION_LIMIT_S)
    stayed = float(eyes.p_still[sat_on].sum())
    share, seen = 1.0, classify(hold_off_s, own.lit, own.minds)
    for _ in range(ROUNDS):
        reacted = float(seen.reaction[asked].sum())
        share = (MISSED_PRIOR[0] + reacted) / (sum(MISSED_PRIOR) + reacted + stayed)
        if share >= ALL_MISS:
            return 1.0, seen
        seen = classify(hold_off_s, own.lit, own.minds * np.where(asked, share, 1.0))
    return share, seen


def missed(around: Circumstances, later: Companion, share: float) -> Circumstances:
    """Circumstances in which only a share mind the dark while the later light burns."""
    return replace(around, minds=around.minds * np.where(later.around.lit > 0.5, share, 1.0))


def with_reactions(seen: Classified, elsewhere: Floats) -> Classified:
    """The same with reactions to another light: whoever reacted was there, and their stillness was cut short."""
    return replace(seen, p_still=np.maximum(seen.p_still, elsewhere), reaction=np.maximum(seen.reaction, elsewhere))

"""Before and after, carried to the same presence hours and the same daylight.

The conditions are those of the whole log, before and after together, each stretch counting by its length ("normalised savings" of IPMVP: both
periods are adjusted to one set of conditions, not one to the other).

*False-offs* come from each stretch under its own settings: how often one happens per hour in which somebody was there who would have minded the
dark. That hour is where occupancy and daylight come in; the rate times the hours of the whole log is the figure.

*Wasted on-time* and energy: an absence is as long as it is, whatever the hold-off. So each hold-off that was in force is applied to every
absence of both stretches, in the daylight that there was; what differs is the hold-off alone. Where the target changed too, the response of the
control to the daylight of each moment is applied in the same way. Where the mode changed, or the light cannot be told apart, each stretch keeps its
own absences, and they are carried over by the hours of presence.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tuning.motion import Floats
from tuning.rates import Rates
from tuning.results import Settings
from tuning.verification.parts import Part

BEFORE, AFTER = 0, 1


@dataclass(frozen=True)
class Week:
    """A week under one setting; every array of shape (draws,), the first being the whole log and the others resampled days."""

    false_offs: Floats
    wasted_on_h: Floats
    wasted_kwh: Floats
    energy_kwh: Floats

    def cost(self, per_false_off: float, price: float) -> Floats:
        """Nuisance, and energy burnt for nobody."""
        return self.false_offs * per_false_off + self.wasted_kwh * price


@dataclass(frozen=True)
class Carried:
    """Weeks at the same conditions, and the weeks as logged.

    ``own_before`` and ``own_after`` rest on their own stretch alone and are carried over by hours of presence: the measure that is compared
    with rooms left alone. ``paired`` tells whether ``before`` and ``after`` apply both settings to the absences of both stretches.
    """

    before: Week
    after: Week
    predicted: Week
    own_before: Week
    own_after: Week
    logged_before: Week
    logged_after: Week
    paired: bool


def carry(before: Part, after: Part, was: Settings, said: Settings) -> Carried:
    """Carry both stretches to the conditions of the whole log.

    Parameters
    ----------
    before, after
        The stretches, with rates under the hold-offs before and after.
    was, said
        Settings of the two.
    """
    share = after.weeks / (before.weeks + after.weeks)

    def both(b: Floats, a: Floats) -> Floats:
        return (1 - share) * b + share * a

    presence, minding = both(before.presence_h, after.presence_h), both(before.minding_h, after.minding_h)
    old, new = _under_target(before, after, was, said)
    logged_before, logged_after = _week(before.doubted, BEFORE), _week(after.doubted, AFTER)
    foretold = _week(old[1], AFTER) if old[1] is not None else _week(before.doubted, AFTER)
    own_before = _scaled(_counted(logged_before, before), before, presence, minding)
    own_after = _scaled(_counted(logged_after, after), after, presence, minding)
    predicted = _scaled(_keeping_people(foretold, before, old[1]), before, presence, minding)
    if was.mode != said.mode or old[1] is None or new[0] is None:
        return Carried(
            own_before, own_after, predicted, own_before, own_after, logged_before, logged_after, paired=False
        )
    b0, b1, a0, a1 = (
        _week(r, k) for r, k in ((before.doubted, BEFORE), (old[1], AFTER), (new[0], BEFORE), (after.doubted, AFTER))
    )
    b1, a0 = _keeping_people(b1, before, old[1]), _keeping_people(a0, after, new[0], own=AFTER, other=BEFORE)
    misfit = _misfit(before)
    rest = {
        side: Week(
            own.false_offs,
            both(b.wasted_on_h, a.wasted_on_h) * misfit,
            both(b.wasted_kwh, a.wasted_kwh) * misfit,
            both(b.energy_kwh, a.energy_kwh),
        )
        for side, own, b, a in ((BEFORE, own_before, b0, a0), (AFTER, own_after, b1, a1))
    }
    return Carried(
        rest[BEFORE], rest[AFTER], predicted, own_before, own_after, logged_before, logged_after, paired=True
    )


def _under_target(
    before: Part, after: Part, was: Settings, said: Settings
) -> tuple[tuple[Rates, Rates | None], tuple[Rates | None, Rates]]:
    """Rates of each stretch under the target before and the target after, with the doubt; ``None`` where the control's response is not known."""
    if was.target_lx == said.target_lx:
        return (before.doubted, before.doubted), (after.doubted, after.doubted)

    def under(part: Part, target_lx: float | None) -> Rates | None:
        return None if part.pairs is None or target_lx is None else part.pairs.at(target_lx).doubted()

    return (before.doubted, under(before, said.target_lx)), (under(after, was.target_lx), after.doubted)


def _week(rates: Rates, k: int) -> Week:
    return Week(rates.false_offs[:, k], rates.wasted_on_h[:, k], rates.wasted_kwh[:, k], rates.energy_kwh[:, k])


def _keeping_people(week: Week, part: Part, rates: Rates | None, *, own: int = BEFORE, other: int = AFTER) -> Week:
    """Light for people is the same under either hold-off, and only light for nobody differs.

    A pause that a reaction ended is cut to the hold-off in force; applied to it, another hold-off would seem to change the light of people too.
    """
    of = part.doubted if rates is None else rates
    return replace(week, energy_kwh=of.energy_kwh[:, own] - of.wasted_kwh[:, own] + of.wasted_kwh[:, other])


MISFIT = 0.06
"""Spread of the wasted time about its estimate that neither resampled days nor the doubt about who was there hold, as a share. Chosen by
us on simulated buildings, in which the intervals without it held the truth in 85 % of channels."""


def _misfit(part: Part) -> Floats:
    """Draws of that spread, common to both settings; the first draw, the log itself, stays."""
    draws = np.exp(np.random.default_rng([part.given.seed, 1]).normal(0.0, MISFIT, len(part.rates.days.weeks)))
    draws[0] = 1.0
    return draws


HALF_AN_EVENT = 0.5
"""Fewer expected events than this count as none."""
RATES_SHAPE = 0.2
"""Shape of the gamma distribution by which rates of false-offs spread among rooms: over decades, from next to none to dozens a week. Chosen by us on
simulated rooms (maximum likelihood over the 114 true rates of 57 channels: 0.22)."""


def _counted(week: Week, part: Part) -> Week:
    """Draws of false-offs as a count could have come out: what a count of none leaves open more, and none where less than half an event is expected.

    A rate near nothing rests on belief rather than on events. With rates spread over rooms as a gamma distribution far wider than one log can
    see, a count of none leaves a gamma distribution of the same shape and the length of the log. (Jeffreys' prior, of shape a half, takes more
    rooms to have some false-offs than do.) The first draw, the log itself, stays.
    """
    weeks = part.rates.days.weeks[:, 0]
    rng = np.random.default_rng(part.given.seed)
    draws = week.false_offs + rng.gamma(RATES_SHAPE, 1.0, len(weeks)) / weeks
    draws = np.where(draws * weeks < HALF_AN_EVENT, 0.0, draws)
    draws[0] = week.false_offs[0]
    return replace(week, false_offs=draws)


def _scaled(week: Week, part: Part, presence_h: Floats, minding_h: Floats) -> Week:
    by_presence = presence_h / np.maximum(part.presence_h, 1e-9)
    by_minding = minding_h / np.maximum(part.minding_h, 1e-9)
    return Week(
        week.false_offs * by_minding,
        week.wasted_on_h * by_presence,
        week.wasted_kwh * by_presence,
        week.energy_kwh * by_presence,
    )

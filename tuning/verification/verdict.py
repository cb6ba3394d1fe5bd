"""As predicted, better, worse, or too early to tell; and how many more days will tell."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tuning.sentence import say
from tuning.verification.compare import half_width
from tuning.verification.results import Compared, Estimate, Verdict

LEAST_DAYS = 7.0
"""Log on either side before anything is said. Chosen by us: one of each weekday."""
MOST_DAYS = 180
"""Longer than this nobody waits, and the season is another. Chosen by us."""
SMALL_SHARE = 0.1
"""A change surely below a tenth of the cost before is none that matters. Chosen by us."""
STEP_DAYS = 7


@dataclass(frozen=True)
class Judgement:
    """A verdict with its reasons; ``more_days`` with ``too-early``."""

    verdict: Verdict
    reasons: tuple[str, ...]
    more_days: int | None = None


def judge(cost: Compared, *, before_days: float, after_days: float, currency: str, worth_a_visit: float) -> Judgement:
    """Judge by what a week costs, before against after.

    Parameters
    ----------
    cost
        Cost a week at the same conditions.
    before_days, after_days
        Usable log on either side. [d]
    currency
        For the words.
    worth_a_visit
        A change smaller than this a week matters to nobody. [currency]
    """
    short = min(before_days, after_days)
    if before_days < LEAST_DAYS:
        text = say(
            "The log before the change covers {days:.0f} days; {least:.0f} are needed, and waiting does not bring them.",
            days=before_days,
            least=LEAST_DAYS,
        )
        return Judgement("too-early", (text,))
    if short < LEAST_DAYS:
        least = math.ceil(LEAST_DAYS - after_days)
        return Judgement(
            "too-early",
            (say("{days:.0f} days of log since; {more} more are needed at least.", days=after_days, more=least),),
            least,
        )
    change = cost.change
    small = max(worth_a_visit, SMALL_SHARE * abs(cost.before.value))
    if change.low > 0:
        said = say("A week costs {span} more than before.", span=_span(change, currency))
        return Judgement("worse", (said, _prediction(cost, currency)))
    if change.high < 0:
        said = say("A week costs {span} less than before.", span=_span(_turned(change), currency))
        verdict: Verdict = "as-predicted" if cost.held else "better"
        return Judgement(verdict, (said, _prediction(cost, currency)))
    if -small <= change.low and change.high <= small:
        said = say(
            "A week costs what it cost before, within {within:.2f} {currency}.",
            within=max(-change.low, change.high),
            currency=currency,
        )
        if cost.held:
            return Judgement("as-predicted", (said, _prediction(cost, currency)))
    more = days_more(change, after_days)
    seen = say(
        "So far a week costs between {low} and {high} {currency} against before, which may be either way.",
        low=_signed(change.low),
        high=_signed(change.high),
        currency=currency,
    )
    if more is None:
        return Judgement("too-early", (seen, "The difference is too small for this log to tell within half a year."))
    return Judgement("too-early", (seen, say("About {more} more days will tell.", more=more)), more)


def days_more(change: Estimate, after_days: float) -> int | None:
    """Days of log more until the interval of a change leaves zero, if the change is as large as it seems; ``None`` beyond half a year.

    The half width falls with the root of the days.
    """
    if change.value == 0:
        return None
    need = after_days * ((half_width(change) / abs(change.value)) ** 2 - 1)
    days = max(STEP_DAYS, math.ceil(need / STEP_DAYS) * STEP_DAYS)
    return days if days <= MOST_DAYS else None


def _turned(e: Estimate) -> Estimate:
    return Estimate(-e.value, -e.high, -e.low)


def _span(e: Estimate, currency: str) -> str:
    return say(
        "{value:.2f} {currency} ({low:.2f} to {high:.2f})", value=e.value, low=e.low, high=e.high, currency=currency
    )


def _signed(value: float) -> str:
    return say("{sign}{size:.2f}", sign="−" if value < 0 else "+", size=abs(value))


def _prediction(cost: Compared, currency: str) -> str:
    foretold = say(
        "Predicted was {change} {currency} a week", change=_signed(cost.predicted_change.value), currency=currency
    )
    if cost.held:
        return foretold + "; what happened agrees with that."
    more = cost.change.value < cost.predicted_change.value
    return foretold + f"; what happened is {'better' if more else 'less good'} than that."

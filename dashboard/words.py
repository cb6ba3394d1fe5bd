"""Numbers and terms as people read them; the pages and the report say everything in the same words."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final
from zoneinfo import ZoneInfo

from dashboard.reader import number, said, write
from tuning.results import Analysis, ChannelResult, Decision, Finding, Severity
from tuning.wording import duration, often

NBSP: Final = "\u00a0"
NONE: Final = "–"

DECISION_WORD: Final[dict[Decision, str]] = {
    "change": "Change",
    "trial": "Trial",
    "keep": "Keep",
    "more-data": "More data",
    "fix-first": "Fix first",
}
DECISION_MEANING: Final[dict[Decision, str]] = {
    "change": "Set the new value; the log is sure enough that it costs less.",
    "trial": "Set the longer hold-off for a stated time, then read the log again: it cannot show what lies beyond the one in force.",
    "keep": "Leave the settings as they are.",
    "more-data": "The log is too short or too thin to decide; leave the settings and come back.",
    "fix-first": "Something on site has to be mended before a setting can be judged.",
}
SEVERITY_WORD: Final[dict[Severity, str]] = {"info": "Note", "warning": "Warning", "blocking": "Fix first"}

CAUTIONS: Final = (
    ("Authorised people only.", "Settings are changed only by people whom the building's operator has authorised."),
    (
        "Mains wiring can kill.",
        "Work on wiring only by licensed electricians, with the circuit switched off, locked and proven dead.",
    ),
    (
        "Emergency and escape lighting",
        "is never governed by these settings. If a channel here feeds it, stop and have the installation checked.",
    ),
    (
        "Local codes prevail.",
        "Where a code, a permit or a risk assessment asks for more light or a longer hold-off, follow that.",
    ),
)
METHOD: Final = (
    "Pauses between movements are read from the log. Up to the hold-off in force every pause is seen whole, so the count of expiries is "
    "exact there; beyond it the log is cut off, and the curve is continued from how long people kept still, with days resampled for the "
    "90 % band. That part is marked as extrapolated.",
    "Whether somebody was still there in a pause is a probability, learnt from the movement around its two ends, from the length and from "
    "reactions just after a switch-off. A single pause can be judged wrongly; the sums are what counts.",
    "A false-off is counted only where the person minds: with enough daylight left on the task nobody is in the dark.",
    "Cost a week = false-offs × cost of a false-off + energy burnt for nobody × price. The recommended setting has the least expected cost "
    "among those allowed by the safety floor of the room's use, the code limit and the building's ceiling.",
    "Illuminance is the detector's own reading unless it says “at the task”. Without two spot readings at the task the relation of the two "
    "is assumed, not measured.",
)


def hold(seconds: float | None) -> str:
    """Write a hold-off; ``none`` where nothing switches off."""
    return "none" if seconds is None else write(duration(seconds)).replace(" ", NBSP)


def lux(value: float | None) -> str:
    """Write an illuminance."""
    return NONE if value is None else f"{number(value)}{NBSP}lx"


def money(value: float, currency: str) -> str:
    """Write an amount with its currency.

    Examples
    --------
    >>> money(-3.456, "EUR").replace(chr(160), " "), money(1234.5, "EUR").replace(chr(160), " ")
    ('EUR −3.46', 'EUR 1,234')
    """
    size = f"{abs(value):,.0f}" if abs(value) >= 1000 else f"{abs(value):.2f}"
    minus = "−" if value < 0 and float(size.replace(",", "")) != 0 else ""
    return f"{currency}{NBSP}{minus}{write(size)}"


def weekly(value: float) -> str:
    """Write a weekly rate; what rounds to nothing is 0."""
    return "0" if value < 0.005 else write(often(value))


def hours(value: float) -> str:
    """Write hours a week without its unit."""
    return number(value, 0 if value >= 100 else 1)


def percent(share: float) -> str:
    """Write a share as a percentage."""
    return f"{100 * share:.0f}{NBSP}%"


def local_time(iso: str, zone: str) -> str:
    """Write an ISO 8601 time in the building's zone; what is no time is given back as it is.

    Examples
    --------
    >>> local_time("2026-03-17T01:12:00+00:00", "Europe/Copenhagen")
    'Tue 17 Mar 2026, 02:12:00'
    """
    try:
        when = dt.datetime.fromisoformat(iso)
    except ValueError:
        return iso
    if when.tzinfo is not None:
        when = when.astimezone(ZoneInfo(zone))
    return f"{when:%a} {when.day} {when:%b %Y, %H:%M:%S}"


def span(result: ChannelResult, zone: str) -> str:
    """Write from when to when the log runs, in the building's zone."""
    if result.start is None or result.end is None:
        return "no log"
    first, last = (t.astimezone(ZoneInfo(zone)) for t in (result.start, result.end))
    return f"{first.day} {first:%b %Y} to {last.day} {last:%b %Y}"


def evidence(finding: Finding, zone: str) -> list[tuple[str, str]]:
    """A finding's evidence as pairs of what and how much, times in the building's zone."""
    return [(_quantity(key), _fact(value, zone)) for key, value in finding.evidence.items()]


UNITS: Final = {"s": "s", "lx": "lx", "kwh": "kWh", "w": "W", "pct": "%", "h": "h"}


def code(finding: Finding) -> str:
    """A finding's code as people read it.

    Examples
    --------
    >>> code(Finding("hold-off-too-long", "warning", ""))
    'hold-off too long'
    """
    return finding.code.replace("-", " ").replace("hold off", "hold-off").replace("over lit", "over-lit")


def _quantity(key: str) -> str:
    """A key with a unit suffix as people write it.

    Examples
    --------
    >>> _quantity("resolution_s"), _quantity("at_full_lx"), _quantity("hours")
    ('resolution [s]', 'at full [lx]', 'hours')
    """
    name, _, unit = key.rpartition("_")
    return f"{name.replace('_', ' ')} [{UNITS[unit]}]" if name and unit in UNITS else key.replace("_", " ")


def _fact(value: object, zone: str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return write(f"{value:g}") if math.isfinite(value) else NONE
    if isinstance(value, list | tuple):
        return "; ".join(_fact(v, zone) for v in value)
    if isinstance(value, dict):
        return "; ".join(f"{k} {_fact(v, zone)}" for k, v in value.items())
    return local_time(value, zone) if isinstance(value, str) else str(value)


@dataclass(frozen=True)
class Pair:
    """A figure now and after the change, as text; ``new`` is ``None`` where nothing changes or nothing is known."""

    now: str
    new: str | None

    @property
    def text(self) -> str:
        """Both in one line."""
        return self.now if self.new is None else f"{self.now} → {self.new}"


def pair(now: str, new: str) -> Pair:
    """Join two texts; the second is dropped where it says the same."""
    return Pair(now, None if now == new else new)


def hold_pair(c: ChannelResult) -> Pair:
    """Hold-off now and recommended."""
    return pair(hold(c.current.hold_off_s), hold(c.recommended.hold_off_s))


def target_pair(c: ChannelResult) -> Pair:
    """Target illuminance now and recommended; a relay has none."""
    return Pair(NONE, None) if c.control == "relay" else pair(lux(c.current.target_lx), lux(c.recommended.target_lx))


def false_offs_pair(c: ChannelResult) -> Pair:
    """False-offs a week now and then."""
    return _rate_pair(c, "false_offs", weekly)


def wasted_pair(c: ChannelResult) -> Pair:
    """Hours a week lit with nobody there, now and then."""
    return _rate_pair(c, "wasted_on_h", hours)


def _rate_pair(c: ChannelResult, field: str, say: Callable[[float], str]) -> Pair:
    now = None if c.current_rates is None else say(getattr(c.current_rates, field))
    new = None if c.recommended_rates is None else say(getattr(c.recommended_rates, field))
    if now is None or new is None:
        return pair(now or NONE, new or NONE)
    return pair(now, new)


def worth(c: ChannelResult, currency: str) -> str:
    """What the recommendation saves a week; a dash where there is nothing to compare or nothing changes."""
    if c.current_rates is None or c.recommended_rates is None or c.decision not in ("change", "trial"):
        return NONE
    return money(c.worth_per_week, currency)


def room_title(c: ChannelResult) -> str:
    """A room's name, with its id where that says more."""
    return c.room_name or c.room


def plain_summary(c: ChannelResult, analysis: Analysis) -> str:
    """The recommendation as plain text, to paste into a job sheet or a message."""
    lines = [
        f"{analysis.site} · {room_title(c)} ({c.room}) · channel {c.channel}",
        f"{DECISION_WORD[c.decision]}: hold-off {hold_pair(c).text}, target {target_pair(c).text}, mode {c.recommended.mode}",
        f"False-offs a week: {false_offs_pair(c).text}",
        f"Wasted on-time, h a week: {wasted_pair(c).text}",
        f"Saves a week: {worth(c, analysis.currency)}",
        *(said(r) for r in c.reasons),
    ]
    return "\n".join(lines).replace(NBSP, " ")


@dataclass(frozen=True)
class Moved:
    """One assumption, its values and the cheapest hold-off at each, as text; ``base`` is the index of the value in use."""

    assumption: str
    values: tuple[str, ...]
    cheapest: tuple[str, ...]
    base: int | None


def _cents(value: float) -> str:
    return number(value, 2)


def sensitivities(c: ChannelResult, analysis: Analysis) -> list[Moved]:
    """How the cheapest hold-off moves with each assumption."""
    s, currency = c.sensitivity, analysis.currency
    priced = analysis.cost_per_false_off if c.cost_per_false_off is None else c.cost_per_false_off
    given = (
        (f"cost of a false-off [{currency}]", s.by_false_off_cost, priced, _cents),
        (f"price of electricity [{currency} per kWh]", s.by_price, analysis.electricity_price, _cents),
        ("window for a reaction [s]", s.by_window_s, None, number),
    )
    return [
        Moved(
            name,
            tuple(say(v) for v, _ in pairs),
            tuple(hold(best) for _, best in pairs),
            next((i for i, (v, _) in enumerate(pairs) if used is not None and math.isclose(v, used)), None),
        )
        for name, pairs, used, say in given
        if pairs
    ]


def sensitivity_sentences(c: ChannelResult, analysis: Analysis) -> list[str]:
    """At what cost another setting becomes the cheapest, and the break-even."""
    s, currency, told = c.sensitivity, analysis.currency, []
    low, high = s.flips_at_cost
    sides = [f"{word} {money(v, currency)}" for word, v in (("below", low), ("above", high)) if v is not None]
    if sides:
        told.append(f"Another hold-off becomes the cheapest where a false-off costs {' or '.join(sides)}.")
    if s.by_false_off_cost and low is None and high is None:
        told.append("No cost of a false-off within a factor of 100 makes another hold-off the cheapest.")
    if s.break_even_s is not None and math.isfinite(s.break_even_s):
        told.append(f"The light burns as much as one false-off costs in {_long(s.break_even_s)}.")
    return told


def _long(seconds: float) -> str:
    return f"{number(seconds / 3600, 1)}{NBSP}h" if seconds >= 7200 else write(duration(seconds))

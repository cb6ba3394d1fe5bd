"""Auto-on or manual-on, in words: what manual-on would bring and cost, whether it may be set, and why it is or is not recommended."""

from __future__ import annotations

from dashboard.reader import number
from dashboard.words import NBSP, money, weekly
from tuning.results import Analysis, ChannelResult, ModeAdvice

TITLE = "Auto-on or manual-on"
CAPTION = (
    "Under manual-on people press to have light, and it goes off by absence as now. A week under it beside a week of this log, "
    "under the hold-off in force; in brackets 90 %."
)


def mode_rows(c: ChannelResult, analysis: Analysis) -> list[tuple[str, str]]:
    """What manual-on would save and cost a week, line by line; empty where it is not judged."""
    m, currency = c.mode, analysis.currency
    if m is None:
        return []
    low, high = m.saved_kwh_interval
    presses_low, presses_high = m.presses_interval
    worth_low, worth_high = m.worth_interval
    return [
        ("Switch-ons now", weekly(m.switch_ons)),
        ("of these, needed by nobody", weekly(m.unneeded)),
        ("… passers-by, or nobody who stayed", weekly(m.passers)),
        ("… visits of moments", weekly(m.moments)),
        ("… daylight was enough", weekly(m.bright)),
        ("Presses that people would make", f"{weekly(m.presses)} ({weekly(presses_low)} to {weekly(presses_high)})"),
        ("Energy saved", f"{number(m.saved_kwh, 2)} ({number(low, 2)} to {number(high, 2)}){NBSP}kWh"),
        ("Its price", money(m.saved_kwh * analysis.electricity_price, currency)),
        ("What the presses cost people", money(m.presses_cost, currency)),
        (
            "Worth, less the presses",
            f"{money(m.worth, currency)} ({number(worth_low, 2)} to {number(worth_high, 2)})",
        ),
        ("Fits the use of the room", "yes" if m.fits else "no"),
        ("The local code allows it", "yes, as the building's facts say" if m.allowed else "no"),
    ]


def mode_verdict(c: ChannelResult) -> str:
    """Why manual-on is recommended or not, in a sentence or two."""
    m = c.mode
    if m is None:
        return _not_judged(c)
    if m.recommended == "manual-on":
        return "Manual-on is recommended: it pays in nine of ten resampled weeks, and use and code allow it."
    against = _against(c, m)
    return f"Auto-on is recommended: {against}."


def _not_judged(c: ChannelResult) -> str:
    if c.control == "relay":
        return "Not judged: this channel switches no light."
    if c.current.mode == "manual-on":
        return (
            "The channel is set to manual-on. Its log does not show who would have had light without a press, so auto-on cannot be "
            "compared with it."
        )
    return "Not judged: the log shows no switch-off by which one stay could be told from the next."


def _against(c: ChannelResult, m: ModeAdvice) -> str:
    if not m.fits:
        return f"in a room of this use ({c.use}) people may walk in the dark to find a press, or share one light"
    if not m.allowed:
        return "the building's facts say that the local code does not let people switch light on by a press"
    if c.decision in ("more-data", "fix-first"):
        return (
            "nothing is changed before the log is longer"
            if c.decision == "more-data"
            else "what is wrong must be mended first"
        )
    if m.worth_interval[1] <= 0:
        return "the presses would cost people more than the light saved is worth"
    return "what manual-on saves is not sure enough to be worth the presses and a visit"

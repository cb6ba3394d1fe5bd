"""Why: the recommendation in sentences that a technician understands."""

from __future__ import annotations

from tuning.decision import WEEKS_A_YEAR, Choice
from tuning.results import ChannelResult, DelayPoint
from tuning.sampled_pauses import TOO_COARSE
from tuning.sentence import Sentence, say
from tuning.wording import duration, often, what_goes_off, what_is_on


def _point(result: ChannelResult, hold_off_s: float | None) -> DelayPoint | None:
    return next((p for p in result.delay_curve if p.hold_off_s == hold_off_s), None)


def explain(result: ChannelResult, choice: Choice, *, currency: str) -> tuple[str, ...]:
    """Explain a channel's recommendation, the most telling sentence first."""
    sentences: list[str] = []
    weeks = result.usable_days / 7
    now = _point(result, result.current.hold_off_s)
    best_point = _point(result, result.recommended.hold_off_s)
    coarse = any(f.code == TOO_COARSE for f in result.findings)
    if result.switch_offs is not None and len(result.switch_offs) and now is not None and not coarse:
        false = float(result.switch_offs["p_false"].sum())
        sentences.append(
            say(
                "In {weeks} the {what} went off {offs} times at {now}; "
                + (
                    "nobody was still in the room, it seems."
                    if false < 0.5
                    else "{times} somebody was still in the room."
                ),
                weeks=_weeks(weeks),
                what=what_goes_off(result.control),
                offs=len(result.switch_offs),
                now=duration(now.hold_off_s),
                times=_times(false),
            )
        )
    elif now is None and result.delay_curve:
        sentences.append(
            "The log shows no automatic switch-off, so every pause is seen whole and each counts once: it shows what each hold-off "
            "would have done."
        )
    if best_point is not None and now is not None and best_point is not now:
        more = best_point.wasted_on_h - now.wasted_on_h
        sentences.append(
            say(
                "At {hold} it would have been {times}, for {hours:.1f} h {more} {what} with nobody there a week.",
                hold=duration(best_point.hold_off_s),
                times=_times(best_point.false_offs * weeks),
                hours=abs(more),
                more="more" if more > 0 else "less",
                what=what_is_on(result.control),
            )
        )
    elif best_point is not None and now is None:
        sentences.append(
            say(
                "At {hold} about {times} false-offs a week and {hours:.1f} h of {what} with nobody there a week.",
                hold=duration(best_point.hold_off_s),
                times=often(best_point.false_offs),
                hours=best_point.wasted_on_h,
                what=what_is_on(result.control),
            )
        )
    sentences += _decision(result, choice, currency)
    sentences += _light(result)
    sentences += _mode(result, currency)
    return tuple(sentences)


def _mode(result: ChannelResult, currency: str) -> list[str]:
    """Say what manual-on would bring, where it is advised or would pay if the room or the code let it."""
    m = result.mode
    if m is None or m.worth_interval[0] <= 0:
        return []
    low, high = m.worth_interval
    gain = say(
        "Manual-on: of {ons} switch-ons a week nobody needed {unneeded} (nobody there, passers-by, moments, daylight enough); "
        "a press for the others would save {kwh:.1f} kWh a week, worth {currency} {worth:.2f} less the presses ({low:.2f} to {high:.2f})",
        ons=often(m.switch_ons),
        unneeded=often(m.unneeded),
        kwh=m.saved_kwh,
        currency=currency,
        worth=m.worth,
        low=low,
        high=high,
    )
    if m.recommended == "manual-on" != result.current.mode:
        return [gain + ". Set it."]
    if not m.fits:
        return [
            gain
            + f", but a room of this use ({result.use}) keeps auto-on, where people may walk in the dark or share one light."
        ]
    return [gain + ", but allow_manual_on in site.toml says that the code does not let you."] if not m.allowed else []


def _weeks(weeks: float) -> str:
    rounded = round(weeks, 1)
    return "1 week" if rounded == 1 else say("{n:.0f} weeks" if rounded == int(rounded) else "{n:.1f} weeks", n=rounded)


def _times(expected: float) -> str:
    """Say how often something would have happened in the whole log."""
    if expected < 0.5:
        return "hardly once"
    return "about once" if expected < 1.5 else say("about {n:.0f} times", n=expected)


def _settles(result: ChannelResult) -> str:
    """Say what a trial settles: how often the light goes off over somebody at its setting."""
    point = _point(result, result.recommended.hold_off_s)
    if point is None:
        return ""
    return say(
        "That settles whether somebody is left in the dark {low} or {high} times a week at that setting, and whether a shorter one will do.",
        low=often(point.false_offs_low),
        high=often(point.false_offs_high),
    )


def _decision(result: ChannelResult, choice: Choice, currency: str) -> list[str]:
    if result.decision == "keep":
        if choice.best == choice.index:
            return ["No other setting is expected to cost less; keep it."]
        return [
            say(
                "Another setting may save {currency} {saving:.2f} a week, but that is not sure enough ({sure:.0%} of resampled days) "
                "or does not pay for a visit; keep it.",
                currency=currency,
                saving=choice.saving,
                sure=choice.p_better,
            )
        ]
    if result.decision == "trial":
        set_to = duration(result.recommended.hold_off_s or 0)
        return [
            say(
                "The log cannot show what happens beyond the hold-off in force, so set {hold} for {days} days: pauses of up to {hold}, "
                "which are now cut short, are then seen whole. {settles} Then read both logs together, with the day of the change in "
                "settings_history.",
                hold=set_to,
                days=result.trial_days,
                settles=_settles(result),
            )
        ]
    if result.decision == "more-data":
        coarse = next((f.message for f in result.findings if f.code == TOO_COARSE), None)
        if coarse is not None:
            return [coarse]
        return [
            say(
                "{days:.1f} usable days of log are too few to change a setting; come back with two weeks or more.",
                days=result.usable_days,
            )
        ]
    if result.decision == "fix-first":
        blocking = next((f.message for f in result.findings if f.severity == "blocking"), "")
        return [Sentence("Mend this first, then read the log again: ") + blocking]
    if result.recommended.hold_off_s == result.current.hold_off_s:
        pairs = {
            "target": (result.recommended.target_lx, result.current.target_lx),
            "mode": (result.recommended.mode, result.current.mode),
        }
        what = [name for name, (new, now) in pairs.items() if new != now]
        sure = "" if choice.best == choice.index else " surely enough"
        verb = "changes" if len(what) == 1 else "change"
        return [f"No other hold-off is{sure} expected to cost less; keep it. The {' and the '.join(what)} {verb}."]
    if result.current_rates is not None:
        saves = say(
            "That saves about {currency} {saving:.2f} a week; better in {sure:.0%} of resampled days.",
            currency=currency,
            saving=choice.saving,
            sure=choice.p_better,
        )
        terms = result.terms
        if terms is not None and terms.due and 0 < choice.saving <= terms.visit_cost / WEEKS_A_YEAR:
            return [saves, "It would not pay for a visit of its own, but something else in the room changes anyway."]
        return [saves]
    return []


def _light(result: ChannelResult) -> list[str]:
    light, now, new = result.light, result.current.target_lx, result.recommended.target_lx
    if new is None or light.recommended_target_lx is None:
        return []
    if now is None or abs(new - now) < 1:
        return [f"Target illuminance {new:.0f} lx at the detector keeps the task lit in 95 % of lit occupied time."]
    word = "lower" if new < now else "raise"
    tail = "" if light.calibrated else " (uncalibrated: take the two spot readings first)"
    return [
        f"Target: {word} it from {now:.0f} to {new:.0f} lx at the detector; the task then keeps its level in 95 % of lit occupied time{tail}."
    ]

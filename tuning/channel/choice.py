"""What was understood of a channel → the settings to choose, and what else is to be said about them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tuning.advice import cheapest_target, delay_points, nearest, settings_to_set, target_to_set
from tuning.channel.input import ChannelInput
from tuning.channel.steps import Examined, Heard
from tuning.decision import MIN_DAYS, Choice, allowed_candidates, choose, farthest_s
from tuning.diagnosis import hold_off_verdict
from tuning.gaps import Bools
from tuning.joint import Surface
from tuning.mode import advise_mode
from tuning.rates import Rates
from tuning.results import DelayPoint, Finding, ModeAdvice, Settings
from tuning.sampled_pauses import TOO_COARSE, telling_from_s, too_coarse


@dataclass(frozen=True)
class Understood:
    """All that the log says about a channel, before anything is chosen."""

    given: ChannelInput
    heard: Heard
    found: Examined
    rates: Rates
    pairs: Surface | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Chosen:
    """The settings chosen, and what they rest on.

    ``current`` indexes the candidate in force; ``then`` are the rates with the recommended target; ``findings`` all findings; ``reach_s`` is the
    longest hold-off that the log foretells [s]; ``due`` says whether somebody changes something else in the room anyway.
    """

    choice: Choice
    allowed: Bools
    current: int | None
    now: Settings
    recommended: Settings
    mode: ModeAdvice | None
    then: Rates
    curve: tuple[DelayPoint, ...]
    findings: tuple[Finding, ...]
    reach_s: float
    due: bool = False

    @property
    def changes(self) -> bool:
        """Whether anything is to be set."""
        return self.recommended != self.now

    @property
    def changes_more(self) -> bool:
        """Whether anything but the hold-off is to be set."""
        return self.recommended != replace(self.now, hold_off_s=self.recommended.hold_off_s)

    @property
    def open(self) -> bool:
        """Whether another hold-off seems better, and only its price speaks against it."""
        return self.choice.decision in ("keep", "change") and self.choice.index != self.choice.best


def choose_together(known: Mapping[str, Understood]) -> dict[str, Chosen]:
    """Choose the settings of the channels of a room. Who changes one is in the room anyway, and others need not pay for the way there."""
    alone = {name: choose_settings(one) for name, one in known.items()}
    told = {}
    for name, own in alone.items():
        others = any(other.changes for beside, other in alone.items() if beside != name)
        due = others or own.changes_more
        again = choose_settings(known[name], due=True) if due and own.open else replace(own, due=due)
        # Under another hold-off the target may stay as it is, and nobody come for it.
        told[name] = again if others or again.changes_more == due else own
    return told


def choose_settings(known: Understood, *, due: bool = False) -> Chosen:
    """Choose hold-off, target and mode of a channel; ``due`` where somebody changes something else in the room anyway."""
    given, rates, light = known.given, known.rates, known.found.light
    building, channel = given.prices, given.channel
    held = known.found.in_force.latest_s
    reach_s = farthest_s(held, known.found.seen.reactions)
    current = nearest(rates.hold_off_s, held) if np.isfinite(held) else None
    allowed, limits = _allowed(known, current)
    coarse = _too_coarse(known)
    findings = [*known.findings, *limits, *coarse]

    def choose_under(under: Rates) -> Choice:
        return choose(
            under.cost(per_false_off=building.cost_per_false_off, price=building.electricity_price),
            under.false_offs,
            under.hold_off_s,
            allowed=allowed,
            current=current,
            in_force_s=held,
            reach_s=reach_s,
            ceiling=building.max_false_offs_per_week,
            visit_cost=building.cost_per_visit,
            due=due,
            usable_days=known.found.motion.usable_days,
            motions=len(known.found.motion.start_us),
        )

    choice = choose_under(rates)
    if any(f.severity == "blocking" for f in findings):
        choice = replace(choice, index=current if current is not None else choice.index, decision="fix-first")
    elif coarse:
        choice = replace(choice, index=current if current is not None else choice.index, decision="more-data")
    target, then = channel.target_lx, rates
    too_short = choice.decision == "keep" and known.found.motion.usable_days < MIN_DAYS
    if choice.decision not in ("more-data", "fix-first") and not too_short:
        best_lx = cheapest_target(known.pairs, light, allowed, building, index=choice.index)
        target = target_to_set(channel.target_lx, light, cheapest_lx=best_lx)
        if target is not None and target != channel.target_lx and known.pairs is not None:
            # A lower target lets the daylight of this season put the lamps out; in darker months they burn, and go off over people, as they do now.
            then = known.pairs.at(target).no_fewer_false_offs(rates)
            choice = choose_under(then)
    wide = rates.doubted()
    cost, wide_cost = (
        r.cost(per_false_off=building.cost_per_false_off, price=building.electricity_price) for r in (rates, wide)
    )
    curve = delay_points(rates, cost, allowed, held, wide, wide_cost, known.found.motion.usable_days)
    verdict = hold_off_verdict(
        None if current is None or coarse else curve[current],
        curve[choice.index],
        decision=choice.decision,
        control=channel.control,
    )
    if verdict:
        findings.insert(0, verdict)
    now = Settings(None if current is None else float(rates.hold_off_s[current]), channel.target_lx, channel.mode)
    if target != now.target_lx and choice.decision == "keep":
        choice = replace(choice, decision="change")
    mode = advise_mode(
        known.found.gaps,
        known.found.motion,
        known.found.seen,
        known.found.around,
        hold_off_s=known.found.in_force.at(known.found.gaps.start_us),
        days=rates.days,
        channel=channel,
        use=given.room.beliefs,
        building=building,
        decision=choice.decision,
    )
    if mode is not None and mode.recommended != now.mode and choice.decision == "keep":
        choice = replace(choice, decision="change")
    recommended = replace(settings_to_set(now, choice, rates, target), mode=mode.recommended if mode else now.mode)
    if recommended.target_lx == channel.target_lx:
        then = rates
    return Chosen(choice, allowed, current, now, recommended, mode, then, curve, tuple(findings), reach_s, due)


def _too_coarse(known: Understood) -> list[Finding]:
    """Say where samples are too far apart for the hold-off in force to tell pauses that outlast it from those that do not."""
    motion, held = known.found.motion, known.found.in_force.latest_s
    why, least_s = too_coarse(motion, held), telling_from_s(motion)
    known_from = {
        "resolution_s": motion.resolution_s,
        "in_force_s": round(held, 1),
        "telling_from_s": least_s if np.isfinite(least_s) else None,
    }
    return [Finding(TOO_COARSE, "warning", why, known_from)] if why else []


def _allowed(known: Understood, current: int | None) -> tuple[Bools, list[Finding]]:
    """Candidates that may be recommended, and what the safety floor of the use makes of the setting in force and of what can be set."""
    given, hold_off_s, held = known.given, known.rates.hold_off_s, known.found.in_force.latest_s
    floor_s, findings = given.room.beliefs.minimum_hold_off_s, []
    allowed = allowed_candidates(
        hold_off_s,
        np.array(given.channel.allowed_hold_off_s, dtype=float),
        floor_s=floor_s,
        code_limit_s=given.prices.max_hold_off_s,
    )
    if np.isfinite(held) and held < floor_s:
        findings.append(
            Finding(
                "below-floor",
                "warning",
                f"The hold-off in force, {held:.0f} s, is below the safety floor of {floor_s} s for the use {given.room.use!r}. Lengthen it.",
                {"in_force_s": round(held, 1), "floor_s": floor_s},
            )
        )
    if not allowed.any():
        findings.append(
            Finding(
                "nothing-allowed",
                "blocking",
                "No setting of allowed_hold_off_s lies between the safety floor of the room's use "
                f"({floor_s} s) and the code limit; widen the list in site.toml.",
            )
        )
        allowed = np.ones(len(hold_off_s), dtype=bool) if current is None else hold_off_s == hold_off_s[current]
    return allowed, findings

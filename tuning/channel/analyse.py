"""One channel, step by step: readings in, a :class:`~tuning.results.ChannelResult` out."""

from __future__ import annotations

from dataclasses import replace

from tuning.channel.choice import Chosen, Understood, choose_together
from tuning.channel.input import ChannelInput, Evidence
from tuning.channel.light import swapped_channels
from tuning.channel.result import no_motion, result_of, without_pictures
from tuning.channel.steps import (
    Examined,
    Heard,
    Lit,
    companions,
    daily_of,
    examine,
    examined,
    hear,
    light_up,
    minded,
    pairs_of,
    rates_of,
)
from tuning.diagnosis import Facts, Triggers, diagnose
from tuning.light.split import LightSplit
from tuning.results import ChannelResult, Finding, LightResult
from tuning.site import ASSUMED_LOAD_W

__all__ = [
    "ChannelInput",
    "Evidence",
    "Examined",
    "choose_together",
    "companions",
    "conclude",
    "examine",
    "lights",
    "minded",
    "pairs_of",
    "rates_of",
    "swapped_channels",
    "understand",
]


def lights(given: ChannelInput) -> tuple[Heard, Lit | None]:
    """Do the steps up to the light around the channel's pauses."""
    heard = hear(given)
    return heard, light_up(given, heard)


def understand(given: ChannelInput, before: tuple[Heard, Lit | None] | None = None) -> Understood | ChannelResult:
    """Understand one channel; where its logs hold no motion, its result is all there is to say.

    Parameters
    ----------
    given
        What is known of the channel.
    before
        Its first steps, where they were done already for its companions' sake.
    """
    heard, lit = before or minded({given.name: lights(given)})[given.name]
    found = examined(given, heard, lit)
    if found is None:
        return no_motion(given, heard.motion, heard.in_force)
    rates = rates_of(given, found)
    findings = _findings(given, found.facts, found.triggers, found.light, found.split)
    return Understood(given, heard, found, rates, pairs_of(given, found, rates), tuple(findings))


def conclude(known: Understood, chosen: Chosen) -> ChannelResult:
    """Put together what is to be said of a channel."""
    given, found = known.given, known.found
    result = result_of(
        known,
        chosen,
        again=lambda seen: rates_of(given, replace(found, seen=seen), hold_off_s=known.rates.hold_off_s, draws=0),
    )
    if not given.pictures:
        return without_pictures(result)
    return replace(result, daily=daily_of(given, known.heard, found.gaps))


def _findings(
    given: ChannelInput, facts: Facts, triggers: Triggers, light: LightResult, split: LightSplit | None
) -> list[Finding]:
    motion = facts.motion
    found = [*given.room_findings, *facts.in_force.findings, *diagnose(facts, triggers)]
    if given.channel.load_w is None:
        found.append(
            Finding(
                "load-assumed",
                "warning",
                f"site.toml gives no load_w; {ASSUMED_LOAD_W:.0f} W is assumed, and energy and cost follow from that.",
            )
        )
    if motion.resolution_s > 0:
        found.append(
            Finding(
                "sampled-motion",
                "info",
                f"Motion is sampled every {motion.resolution_s:.0f} s; pauses are known to within that.",
                {"resolution_s": motion.resolution_s},
            )
        )
    if split is not None:
        found += split.findings
    found += light.findings
    return found

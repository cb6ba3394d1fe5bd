"""What is wrong with a room: findings with the times a person can look at, and what to do on site.

Severity decides whether a recommendation is still given: ``info`` and ``warning`` do not stop it, ``blocking`` does.
"""

from __future__ import annotations

from tuning.diagnosis.blind_spots import blind_spots
from tuning.diagnosis.detectors import detector_findings
from tuning.diagnosis.evidence import evidence_findings
from tuning.diagnosis.facts import Facts
from tuning.diagnosis.lamps import output_falling
from tuning.diagnosis.switching import switching_findings
from tuning.diagnosis.triggers import Triggers, find_triggers, next_door, without_people
from tuning.diagnosis.verdict import hold_off_verdict
from tuning.results import Finding

__all__ = ["Facts", "Triggers", "diagnose", "find_triggers", "hold_off_verdict", "without_people"]


def diagnose(facts: Facts, triggers: Triggers) -> list[Finding]:
    """Find what is wrong with a channel, what its motion says first.

    Parameters
    ----------
    facts
        The channel.
    triggers
        Triggers without people, found before.
    """
    found = list(triggers.findings)
    outside = next_door(facts.motion, triggers.mask, offset_us=facts.offset_us, dwelling=facts.room.beliefs.dwelling)
    # Who is no person does not react to the dark.
    hidden = None if triggers.findings else blind_spots(facts)
    # Somebody seen only waving at the dark looks like passers-by, too.
    found += [f for f in (hidden or outside,) if f is not None]
    found += detector_findings(facts)
    found += switching_findings(facts)
    falling = output_falling(facts)
    found += [falling] if falling else []
    return found + evidence_findings(facts)

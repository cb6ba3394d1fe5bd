"""The steps of a channel that come before any setting is judged: what is heard, lit, understood; and rates under any setting."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from tuning.channel.input import ChannelInput, Evidence, motion_of, outputs_of, presses_to_off, reading_of
from tuning.channel.light import LEAST_READINGS, around_gaps, light_of, response_pairs, split_of, tells_daylight
from tuning.channel.presence import who_was_there
from tuning.diagnosis import Facts, Triggers, find_triggers, without_people
from tuning.gaps import ENDED_BY_MOTION, Gaps, find_gaps
from tuning.hold_off import HoldOffInForce, Lags, hold_off_in_force, switch_off_lags
from tuning.joint import Surface
from tuning.light.circumstances import Circumstances, output_from_steps, output_of, pressed_off
from tuning.light.split import LightSplit, find_switching_steps
from tuning.motion import Floats, Ints, MotionLog, times_us
from tuning.presence.beside import Companion, when_dark
from tuning.presence.stillness import Classified
from tuning.quality.dead import while_alive
from tuning.rates import Rates, weekly_rates
from tuning.results import LightResult
from tuning.sampled_pauses import as_they_were, tellable_from_s, with_people_placed
from tuning.watching.daily import daily_series

DRAWS = 500
"""Resampled logs. From the method."""


@dataclass(frozen=True)
class Examined:
    """What the steps up to the classification of pauses found about a channel; no setting is judged yet.

    ``pauses`` are the gaps as they probably were: the same where movement is logged as it happens, longer than recorded where it is sampled.
    """

    motion: MotionLog
    gaps: Gaps
    pauses: Gaps
    output: pl.DataFrame
    lags: Lags
    in_force: HoldOffInForce
    split: LightSplit | None
    light: LightResult
    around: Circumstances
    facts: Facts
    triggers: Triggers
    seen: Classified

    @property
    def evidence(self) -> Evidence:
        """What the room's other channels may lean on."""
        return Evidence(self.motion, self.gaps, self.seen, self.in_force)


def examine(given: ChannelInput, *, light_from: Examined | None = None) -> Examined | None:
    """Go through the steps that come before any setting is judged.

    Parameters
    ----------
    given
        What is known of the channel.
    light_from
        The same channel over a longer log: its split of the light is taken over, so that parts of one log are seen in the same light.

    Returns
    -------
    ``None`` where the log holds no motion.
    """
    heard = hear(given)
    lit = light_up(given, heard, light_from)
    if light_from is None:
        lit = minded({given.name: (heard, lit)})[given.name][1]
    return examined(given, heard, lit)


@dataclass(frozen=True)
class Heard:
    """Movement, output, reading and presses, and what the switch-offs tell of the hold-off."""

    motion: MotionLog
    output: pl.DataFrame
    reading: pl.DataFrame
    presses_us: Ints
    lags: Lags
    in_force: HoldOffInForce


def hear(given: ChannelInput) -> Heard:
    """Gather what the log holds of the channel."""
    motion, built_in_s = motion_of(given)
    motion = while_alive(motion, given.span_us)
    output = output_of(given.readings, given.name, given.channel, given.load_w)
    reading = reading_of(given)
    if output.is_empty() and given.channel.control != "relay" and len(reading) >= LEAST_READINGS:
        output = output_from_steps(find_switching_steps(reading))
    presses_us = times_us(given.readings.of_channel("override", given.name))
    lags = switch_off_lags(output, motion, presses_us, least_s=float(min(given.channel.allowed_hold_off_s)))
    in_force = hold_off_in_force(given.site, given.channel, lags, built_in_s=built_in_s)
    return Heard(motion, output, reading, presses_us, lags, in_force)


def daily_of(given: ChannelInput, heard: Heard | None = None, gaps: Gaps | None = None) -> pl.DataFrame:
    """Summarise a channel day by day, as DAILY of :mod:`tuning.watching`; ``heard`` and ``gaps`` where they were gathered before."""
    heard = heard or hear(given)
    return daily_series(
        heard.motion,
        find_gaps(heard.motion) if gaps is None else gaps,
        hold_off_s=float(heard.in_force.hold_off_s.min()),
        zone=given.site.zone,
        reading=heard.reading,
        outputs={} if given.channel.control == "relay" else outputs_of(given, heard.output),
        channel=given.name,
    )


@dataclass(frozen=True)
class Lit:
    """Pauses, and the light around them."""

    gaps: Gaps
    split: LightSplit | None
    light: LightResult
    around: Circumstances


def light_up(given: ChannelInput, heard: Heard, light_from: Examined | None = None) -> Lit | None:
    """Look up the light around the channel's pauses; ``None`` where the log holds no motion."""
    if len(heard.motion.start_us) < 2:
        return None
    gaps = find_gaps(heard.motion)
    if light_from is None:
        split = split_of(given, heard.reading, heard.output)
        light = light_of(given, split, heard.output, gaps, heard.motion, heard.in_force)
    else:
        split, light = light_from.split, light_from.light
    around = around_gaps(given, gaps, heard.in_force, heard.output, split, light)
    if light_from is not None and around.need is not None and light_from.around.need is not None:
        around = around.with_need(replace(around.need, weight=light_from.around.need.weight))
    return Lit(gaps, split, light, around)


def minded(room: Mapping[str, tuple[Heard, Lit | None]]) -> dict[str, tuple[Heard, Lit | None]]:
    """Ask the log who minds the dark, where no hand reading ties daylight to the task.

    Of lights that go dark at the same moment only the one that people miss most is asked about: whoever moves may miss any of them.

    Parameters
    ----------
    room
        By channel that governs light.
    """
    told = dict(room)
    for name, (heard, lit) in room.items():
        if lit is None or lit.around.need is None or lit.gaps.recorded_s is not None:
            continue
        hold_off_s = heard.in_force.at(lit.gaps.start_us)
        others = [c for c in companions(room, name) if np.array_equal(c.start_us, lit.gaps.start_us)]
        if any(when_dark(hold_off_s, c) != 0 for c in others):
            continue
        went_off = (lit.around.lit > 0.5) & (lit.gaps.end_kind == ENDED_BY_MOTION) & (lit.gaps.gap_s > hold_off_s)
        if any(c.around.minds[went_off].sum() > lit.around.minds[went_off].sum() for c in others):
            continue
        resumed_s = np.where(went_off, lit.gaps.gap_s - hold_off_s, np.nan)
        told[name] = heard, replace(lit, around=lit.around.with_need(lit.around.need.learned(resumed_s)))
    return told


def companions(room: Mapping[str, tuple[Heard, Lit | None]], name: str) -> tuple[Companion, ...]:
    """The other lights of a room, as one of them sees them.

    Parameters
    ----------
    room
        By channel that governs light.
    name
        The channel that asks.
    """
    return tuple(
        Companion(other, lit.gaps.start_us, heard.in_force.at(lit.gaps.start_us), lit.around)
        for other, (heard, lit) in room.items()
        if other != name and lit is not None
    )


def examined(given: ChannelInput, heard: Heard, lit: Lit | None) -> Examined | None:
    """Go through the steps up to the classification of pauses. See :func:`examine`."""
    if lit is None:
        return None
    motion, output, in_force, lags, gaps = heard.motion, heard.output, heard.in_force, heard.lags, lit.gaps
    facts = _facts(given, motion, gaps, in_force, lags, heard.reading, output, heard.presses_us, lit.split)
    triggers = find_triggers(motion, gaps, offs_us=facts.offs_us(), reading=heard.reading, offset_us=given.offset_us)
    nobody = without_people(gaps, triggers.mask) | pressed_off(gaps, presses_to_off(given))
    hold_off_s = in_force.at(gaps.start_us)
    pauses = as_they_were(gaps, motion, output=output, hold_off_s=hold_off_s, seed=given.seed)
    seen, around = who_was_there(given, pauses, motion, in_force, lit.around, nobody, lags)
    pauses = with_people_placed(
        pauses,
        hold_off_s,
        still=seen.p_still,
        reaction=seen.reaction,
        reaction_s=seen.reaction_median_s,
        step_s=motion.resolution_s,
    )
    return Examined(motion, gaps, pauses, output, lags, in_force, lit.split, lit.light, around, facts, triggers, seen)


def rates_of(given: ChannelInput, found: Examined, *, hold_off_s: Floats | None = None, draws: int = DRAWS) -> Rates:
    """Rates a week under some hold-offs, or where none are named under all that could be set. [s]."""
    wanted = candidates_s(given, found.in_force, found.motion) if hold_off_s is None else hold_off_s
    return _rates(given, found.pauses, found.motion, found.seen, found.around, found.in_force, wanted, draws=draws)


def pairs_of(given: ChannelInput, found: Examined, rates: Rates) -> Surface | None:
    """Every pair of hold-off and target, where daylight and lamps are known well enough."""
    return response_pairs(given, found.pauses, found.seen, found.around, rates, found.split, found.light, found.output)


def candidates_s(given: ChannelInput, in_force: HoldOffInForce, motion: MotionLog) -> Floats:
    """Hold-offs to evaluate: what can be set, and what is in force; nothing below what a held occupancy holds or what samples can tell."""
    values = set(map(float, given.channel.allowed_hold_off_s))
    if np.isfinite(in_force.latest_s):
        known = given.channel.hold_off_s
        # The observed 301.6 s and the documented 300 s are one setting.
        values.add(
            known if known and abs(known - in_force.latest_s) < max(10, 0.05 * known) else round(in_force.latest_s)
        )
    result = np.array(sorted(values))
    hidden_s = in_force.latest_s if motion.kind == "held" else motion.stretch_s
    seen = result[result >= 0.93 * hidden_s] if np.isfinite(hidden_s) else result
    # What is in force stays, so that what is recommended has something beside it.
    told = (seen >= tellable_from_s(motion)) | (np.abs(seen - in_force.latest_s) <= 0.05 * seen)
    seen = seen[told] if told.any() else seen
    return seen if len(seen) else result[-1:]


def _rates(
    given: ChannelInput,
    gaps: Gaps,
    motion: MotionLog,
    seen: Classified,
    around: Circumstances,
    in_force: HoldOffInForce,
    hold_off_s: Floats,
    *,
    draws: int = DRAWS,
) -> Rates:
    return weekly_rates(
        gaps,
        motion,
        seen,
        around,
        hold_off_s=hold_off_s,
        in_force_s=in_force.latest_s,
        standby_w=given.channel.standby_w,
        offset_us=given.offset_us,
        scale_s=given.room.beliefs.stillness_scale_s,
        draws=draws,
        in_force_at_s=in_force.at(gaps.start_us) if len(in_force.from_us) > 1 else None,
        rng=np.random.default_rng(given.seed),
    )


def _facts(
    given: ChannelInput,
    motion: MotionLog,
    gaps: Gaps,
    in_force: HoldOffInForce,
    lags: Lags,
    reading: pl.DataFrame,
    output: pl.DataFrame,
    presses_us: Ints,
    split: LightSplit | None,
) -> Facts:
    return Facts(
        name=given.name,
        room=given.room,
        channel=given.channel,
        readings=given.readings,
        reading=reading,
        output=output,
        motion=motion,
        gaps=gaps,
        in_force=in_force,
        lags=lags,
        presses_us=presses_us,
        split=split if tells_daylight(split, given.name) else None,
        offset_us=given.offset_us,
        span_us=given.span_us,
    )

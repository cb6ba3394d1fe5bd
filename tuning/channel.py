"""One channel, step by step: readings in, a :class:`~tuning.results.ChannelResult` out."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import polars as pl

from tuning import reasons
from tuning.advice import (
    cheapest_hold_off_s,
    cheapest_target,
    delay_points,
    draws_frame,
    nearest,
    per_week,
    sensitivity,
    settings_to_set,
    sureness,
    target_to_set,
    used_kwh,
)
from tuning.borrowed import borrowed_split
from tuning.circumstances import Circumstances, circumstances, output_from_steps, output_of, pressed_off
from tuning.decision import TRIAL_DAYS, Choice, allowed_candidates, choose
from tuning.diagnosis import Facts, Triggers, diagnose, find_triggers, hold_off_verdict, without_people
from tuning.episodes import episodes, switch_offs
from tuning.gaps import Bools, Gaps, find_gaps
from tuning.hold_off import HoldOffInForce, Lags, hold_off_in_force, observed_off_s, switch_off_lags
from tuning.joint import Surface, response_of, surface
from tuning.light import LightSplit, find_swapped, find_switching_steps, split_light
from tuning.lit_time import neighbours_at, presence_of
from tuning.mode import advise_mode
from tuning.motion import US, Floats, Ints, MotionLog, held_motions, motions, of_channel, times_us
from tuning.power import with_measured_power
from tuning.quality.dead import while_alive
from tuning.rates import Rates, weekly_rates
from tuning.results import ChannelResult, Finding, LightResult, Settings
from tuning.site import ASSUMED_LOAD_W, Building, Channel, Room, Site
from tuning.stillness import Belief, Classified, classify, joined
from tuning.target import light_result
from tuning.window import by_window

LEAST_READINGS = 10
"""Fewer lux readings tell nothing about the light. Chosen by us."""
DRAWS = 500
"""Resampled logs. From the method."""


@dataclass(frozen=True)
class ChannelInput:
    """What the analysis of a channel starts from."""

    site: Site
    room_id: str
    name: str
    readings: pl.DataFrame
    span_us: tuple[int, int]
    seed: int
    verdicts: pl.DataFrame | None
    lead: Evidence | None
    room_findings: tuple[Finding, ...] = ()
    """Findings about the room as a whole that concern this channel."""

    @property
    def room(self) -> Room:
        """The room's entry in site.toml."""
        return self.site.rooms[self.room_id]

    @property
    def channel(self) -> Channel:
        """The channel's entry in site.toml."""
        return self.room.channels[self.name]

    @property
    def prices(self) -> Building:
        """The building's table with the channel's own price of a false-off, where it has one."""
        own = self.channel.cost_per_false_off
        return self.site.site if own is None else self.site.site.model_copy(update={"cost_per_false_off": own})

    @property
    def load_w(self) -> float:
        """Installed power. [W]."""
        return self.channel.power_w

    @property
    def place(self) -> tuple[float, float] | None:
        """Latitude and longitude where site.toml gives both. [deg]."""
        building = self.site.site
        if building.latitude is None or building.longitude is None:
            return None
        return building.latitude, building.longitude

    @property
    def offset_us(self) -> int:
        """UTC offset of the building in the middle of the log. [µs]."""
        middle = dt.datetime.fromtimestamp(sum(self.span_us) / 2 / US, tz=self.site.zone)
        return round((middle.utcoffset() or dt.timedelta()).total_seconds()) * US


@dataclass(frozen=True)
class Evidence:
    """What a room's first light channel taught, for the channels that share its motions."""

    motion: MotionLog
    gaps: Gaps
    seen: Classified
    in_force: HoldOffInForce


def analyse_channel(given: ChannelInput) -> tuple[ChannelResult, Evidence | None]:
    """Analyse one channel; returns its result, and its evidence for the room's other channels."""
    motion, built_in_s = _motion(given)
    motion = while_alive(motion, given.span_us)
    output = output_of(given.readings, given.name, given.channel, given.load_w)
    reading = _reading(given)
    if output.is_empty() and given.channel.control != "relay" and len(reading) >= LEAST_READINGS:
        output = output_from_steps(find_switching_steps(reading))
    presses = times_us(of_channel(given.readings, "override", given.name))
    lags = switch_off_lags(output, motion, presses)
    in_force = hold_off_in_force(given.site, given.channel, lags, built_in_s=built_in_s)
    if len(motion.start_us) < 2:
        return _no_motion(given, motion, in_force), None
    gaps = find_gaps(motion)
    split = _split(given, reading, output) or _borrowed(given, reading, output)
    light = _light(given, split, output, gaps, motion, in_force)
    around = _around(given, gaps, in_force, output, split, light)
    facts = _facts(given, motion, gaps, in_force, lags, reading, output, presses, split)
    triggers = find_triggers(motion, gaps, offs_us=facts.offs_us(), reading=reading, offset_us=given.offset_us)
    nobody = without_people(gaps, triggers.mask) | pressed_off(gaps, _presses_to_off(given))
    seen = _seen(given, gaps, motion, in_force, around, nobody, lags)
    rates = _rates(given, gaps, motion, seen, around, in_force)
    pairs = _pairs(given, gaps, seen, around, rates, split, light, output)
    findings = _findings(given, facts, triggers, light, split)
    result = _result(given, motion, gaps, in_force, seen, around, rates, pairs, light, findings, output, lags)
    return result, Evidence(motion, gaps, seen, in_force)


def _own(given: ChannelInput, quantity: str) -> pl.DataFrame:
    """Return the rows of a quantity that are the channel's own, as ``time``, ``value``."""
    rows = of_channel(given.readings, quantity, given.name)
    return rows.filter(pl.col("channel") == given.name).select("time", "value")


def swapped_channels(room: Room, readings: pl.DataFrame) -> list[Finding]:
    """Find channels of a room whose outputs move each other's readings; only those with a reading of their own can be told.

    Parameters
    ----------
    room
        The room's entry in site.toml.
    readings
        Its READINGS.
    """
    lux, outputs = {}, {}
    for name, channel in room.channels.items():
        own = readings.filter((pl.col("quantity") == "illuminance") & (pl.col("channel") == name)).select(
            "time", "value"
        )
        output = output_of(readings, name, channel, channel.power_w)
        if channel.control != "relay" and len(own) >= LEAST_READINGS and not output.is_empty():
            lux[name], outputs[name] = own, output
    return find_swapped(lux, outputs) if len(lux) > 1 else []


def _presses_to_off(given: ChannelInput) -> Ints:
    return times_us(of_channel(given.readings, "override", given.name).filter(pl.col("value") <= 0))


def _motion(given: ChannelInput) -> tuple[MotionLog, float | None]:
    motion = motions(given.readings, given.name, span_us=given.span_us)
    if len(motion.start_us):
        return motion, None
    return held_motions(given.readings, given.name, span_us=given.span_us, hold_off_s=given.channel.hold_off_s)


def _reading(given: ChannelInput) -> pl.DataFrame:
    """Return the illuminance series that belongs to the channel: its own, else the room's fullest."""
    rows = of_channel(given.readings, "illuminance", given.name)
    own = rows.filter(pl.col("channel") == given.name)
    series = own if not own.is_empty() else rows
    if series.is_empty():
        return series.select("time", "value")
    parts = series.partition_by("detector")
    return max(parts, key=len).select("time", "value")


def _split(given: ChannelInput, reading: pl.DataFrame, output: pl.DataFrame) -> LightSplit | None:
    if given.channel.control == "relay" or len(reading) < LEAST_READINGS:
        return None
    latitude, longitude = given.place or (None, None)
    return split_light(reading, _outputs(given, output), own_channel=given.name, latitude=latitude, longitude=longitude)


def _outputs(given: ChannelInput, output: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """Outputs of the room's light channels, those that were logged."""
    outputs = {
        name: output_of(given.readings, name, channel, channel.power_w)
        for name, channel in given.room.channels.items()
        if channel.control != "relay"
    }
    outputs[given.name] = output
    return {name: frame for name, frame in outputs.items() if not frame.is_empty()}


def _borrowed(given: ChannelInput, reading: pl.DataFrame, output: pl.DataFrame) -> LightSplit | None:
    """Split another channel's reading where this one logs none."""
    if given.channel.control == "relay" or not reading.is_empty() or output.is_empty():
        return None
    lux = given.readings.filter((pl.col("quantity") == "illuminance") & pl.col("channel").is_not_null())
    others = {
        str(part["channel"][0]): part.select("time", "value")
        for part in lux.partition_by("channel", "detector")
        if len(part) >= LEAST_READINGS
    }
    latitude, longitude = given.place or (None, None)
    return borrowed_split(others, _outputs(given, output), channel=given.name, latitude=latitude, longitude=longitude)


def _light(
    given: ChannelInput,
    split: LightSplit | None,
    output: pl.DataFrame,
    gaps: Gaps,
    motion: MotionLog,
    in_force: HoldOffInForce,
) -> LightResult:
    if split is None or output.is_empty():
        return LightResult()
    stays = episodes(gaps, motion, in_force.at(gaps.start_us))
    return light_result(
        split,
        channel=given.name,
        room=given.room,
        output=output,
        occupied=stays.select("start", "end"),
        usable_days=motion.usable_days,
        zone=given.site.zone,
        seed=given.seed,
        power=_own(given, "power"),
        overrides=_own(given, "override"),
        place=given.place,
        there=presence_of(gaps, motion, even_s=given.room.beliefs.even_gap_s, slope=given.room.beliefs.gap_slope),
    )


def _tells_daylight(split: LightSplit | None, name: str) -> bool:
    """Whether the daylight of a split may say who minds the dark.

    Where people react within seconds the log may never see the dark; the lamps then stay in what is taken for daylight.
    """
    if (
        split is None
        or split.borrowed_from
        or name not in split.lamps
        or any(f.code == "lamp-not-seen" for f in split.findings)
    ):
        return False
    own = split.lamps[name]
    return own.at_full_lx > 0 and own.high_lx - own.low_lx <= own.at_full_lx


def _around(
    given: ChannelInput,
    gaps: Gaps,
    in_force: HoldOffInForce,
    output: pl.DataFrame,
    split: LightSplit | None,
    light: LightResult,
) -> Circumstances:
    # another detector's daylight is this channel's only where hand readings tie it to its task
    borrowed = split is not None and split.borrowed_from is not None and light.calibrated
    return circumstances(
        gaps,
        hold_off_s=in_force.at(gaps.start_us),
        output=output,
        split=split if borrowed or _tells_daylight(split, given.name) else None,
        channel=_metered(given, output),
        load_w=given.load_w,
        task_per_daylight=light.task_per_daylight,
        required_lx=None if given.channel.control == "relay" else given.room.required_lx,
    )


def _seen(
    given: ChannelInput,
    gaps: Gaps,
    motion: MotionLog,
    in_force: HoldOffInForce,
    around: Circumstances,
    nobody: Bools,
    lags: Lags,
) -> Classified:
    lead = given.lead
    if given.channel.control == "relay" and lead is not None and np.array_equal(lead.motion.start_us, motion.start_us):
        # People react to the light, not to the relay: what the light's channel taught holds here.
        return lead.seen
    hold = in_force.at(gaps.start_us)
    seen_off = observed_off_s(gaps, lags)
    # Where the log shows the very switch-off, it is sharper than the setting.
    hold = np.where(np.isfinite(seen_off) & (np.abs(seen_off - hold) < 0.2 * hold + 5), seen_off, hold)
    said = words_on(gaps, given.verdicts)
    belief = Belief(given.room.beliefs.even_gap_s, given.room.beliefs.gap_slope)

    def of(rows: npt.NDArray[np.intp]) -> Classified:
        return classify(
            gaps.at(rows),
            motion,
            hold_off_s=hold[rows],
            lit=around.lit[rows],
            minds=around.minds[rows],
            belief=belief,
            never_present=nobody[rows],
            verdict=None if said is None else said[rows],
        )

    # What a pause of ten minutes looks like depends on whether the light was still on: each period is learned from by itself.
    parts = _periods(gaps, in_force)
    return joined([(rows, of(rows)) for rows in parts])


LEAST_PERIOD_DAYS = 7.0
"""A period of the log under a hold-off of its own is classified by itself from this length on. Chosen by us: one of each weekday."""


def _periods(gaps: Gaps, in_force: HoldOffInForce) -> list[npt.NDArray[np.intp]]:
    """Gaps of each period under a hold-off of its own; all together where one of them is too short to learn from."""
    period = np.searchsorted(in_force.from_us, gaps.start_us, side="right")
    parts = [np.flatnonzero(period == k) for k in np.unique(period)]
    days = [float(np.ptp(gaps.start_us[rows])) / US / 86400 for rows in parts]
    return parts if parts and min(days) >= LEAST_PERIOD_DAYS else [np.arange(len(gaps))]


def words_on(gaps: Gaps, verdicts: pl.DataFrame | None) -> Floats | None:
    """Reviewers' words by gap: 1 somebody was there, 0 nobody, NaN no word; ``None`` without verdicts.

    A word belongs to the gap that its time falls in, so that it stays with the pause when the hold-off in force is found anew.
    """
    if verdicts is None or len(gaps) == 0:
        return None
    t_us = times_us(verdicts)
    at = np.searchsorted(gaps.start_us, t_us, side="right") - 1
    inside = (at >= 0) & (t_us <= gaps.start_us[at] + gaps.gap_s[at] * US)
    said = np.full(len(gaps), np.nan)
    said[at[inside]] = verdicts["present"].cast(pl.Float64).to_numpy()[inside]
    return said


def candidates_s(given: ChannelInput, in_force: HoldOffInForce, motion: MotionLog) -> Floats:
    """Hold-offs to evaluate: what can be set, and what is in force; of a held occupancy nothing below what it holds."""
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
    return seen if len(seen) else result[-1:]


def _rates(
    given: ChannelInput,
    gaps: Gaps,
    motion: MotionLog,
    seen: Classified,
    around: Circumstances,
    in_force: HoldOffInForce,
    *,
    draws: int = DRAWS,
) -> Rates:
    return weekly_rates(
        gaps,
        motion,
        seen,
        around,
        hold_off_s=candidates_s(given, in_force, motion),
        in_force_s=in_force.latest_s,
        standby_w=given.channel.standby_w,
        offset_us=given.offset_us,
        scale_s=given.room.beliefs.stillness_scale_s,
        draws=draws,
        in_force_at_s=in_force.at(gaps.start_us) if len(in_force.from_us) > 1 else None,
        rng=np.random.default_rng(given.seed),
    )


def _pairs(
    given: ChannelInput,
    gaps: Gaps,
    seen: Classified,
    around: Circumstances,
    rates: Rates,
    split: LightSplit | None,
    light: LightResult,
    output: pl.DataFrame,
) -> Surface | None:
    """Every pair of hold-off and target, where daylight and lamps are known well enough."""
    response = response_of(light, _metered(given, output))
    if split is None or response is None or not np.isfinite(around.daylight_lx).any():
        return None
    others = around.daylight_lx + neighbours_at(split, output, response.k, gaps.start_us)
    return surface(gaps, seen, around, rates, response=response, others_lx=others)


def _metered(given: ChannelInput, output: pl.DataFrame) -> Channel:
    """Return the channel with the power curve that its meter shows, where it has one."""
    return with_measured_power(given.channel, output, _own(given, "power"))


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
        split=split if _tells_daylight(split, given.name) else None,
        offset_us=given.offset_us,
        span_us=given.span_us,
    )


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


def _result(
    given: ChannelInput,
    motion: MotionLog,
    gaps: Gaps,
    in_force: HoldOffInForce,
    seen: Classified,
    around: Circumstances,
    rates: Rates,
    pairs: Surface | None,
    light: LightResult,
    findings: list[Finding],
    output: pl.DataFrame,
    lags: Lags,
) -> ChannelResult:
    building, channel = given.prices, given.channel
    cost = rates.cost(per_false_off=building.cost_per_false_off, price=building.electricity_price)
    held = in_force.latest_s
    current_index = nearest(rates.hold_off_s, held) if np.isfinite(held) else None
    allowed = allowed_candidates(
        rates.hold_off_s,
        np.array(channel.allowed_hold_off_s, dtype=float),
        floor_s=given.room.beliefs.minimum_hold_off_s,
        code_limit_s=building.max_hold_off_s,
    )
    floor_s = given.room.beliefs.minimum_hold_off_s
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
                f"({given.room.beliefs.minimum_hold_off_s} s) and the code limit; widen the list in site.toml.",
            )
        )
        allowed = (
            np.ones(len(rates.hold_off_s), dtype=bool)
            if current_index is None
            else rates.hold_off_s == rates.hold_off_s[current_index]
        )

    def choose_under(under: Rates) -> Choice:
        return choose(
            under.cost(per_false_off=building.cost_per_false_off, price=building.electricity_price),
            under.false_offs,
            under.hold_off_s,
            allowed=allowed,
            current=current_index,
            in_force_s=held,
            ceiling=building.max_false_offs_per_week,
            visit_cost=building.cost_per_visit,
            usable_days=motion.usable_days,
            motions=len(motion.start_us),
        )

    choice = choose_under(rates)
    if any(f.severity == "blocking" for f in findings):
        choice = replace(
            choice, index=current_index if current_index is not None else choice.index, decision="fix-first"
        )
    target, then = channel.target_lx, rates
    if choice.decision not in ("more-data", "fix-first"):
        best_lx = cheapest_target(pairs, light, allowed, building, index=choice.index)
        target = target_to_set(channel.target_lx, light, cheapest_lx=best_lx)
        if target is not None and target != channel.target_lx and pairs is not None:
            # A visit is due for the target anyway; the hold-off must still be worth one, or a gain of nothing would move it.
            then = pairs.at(target)
            choice = choose_under(then)
    wide = rates.doubted()
    wide_cost = wide.cost(per_false_off=building.cost_per_false_off, price=building.electricity_price)
    curve = delay_points(rates, cost, allowed, held, wide, wide_cost, motion.usable_days)
    verdict = hold_off_verdict(
        None if current_index is None else curve[current_index],
        curve[choice.index],
        decision=choice.decision,
        control=channel.control,
    )
    if verdict:
        findings.insert(0, verdict)
    current = Settings(
        None if current_index is None else float(rates.hold_off_s[current_index]), channel.target_lx, channel.mode
    )
    if target != current.target_lx and choice.decision == "keep":
        choice = replace(choice, decision="change")
    mode = advise_mode(
        gaps,
        motion,
        seen,
        around,
        hold_off_s=in_force.at(gaps.start_us),
        days=rates.days,
        channel=channel,
        use=given.room.beliefs,
        building=building,
        decision=choice.decision,
    )
    if mode is not None and mode.recommended != current.mode and choice.decision == "keep":
        choice = replace(choice, decision="change")
    recommended = replace(
        settings_to_set(current, choice, rates, target), mode=mode.recommended if mode else current.mode
    )
    if recommended.target_lx == channel.target_lx:
        then = rates
    then_cost, then_wide = (
        r.cost(per_false_off=building.cost_per_false_off, price=building.electricity_price)
        for r in (then, then.doubted())
    )
    windows = by_window(
        seen,
        gaps,
        in_force.at(gaps.start_us),
        rates=rates,
        again=lambda narrowed: _rates(given, gaps, motion, narrowed, around, in_force, draws=0),
        best=lambda under: cheapest_hold_off_s(building, under, allowed),
    )
    said = words_on(gaps, given.verdicts)
    offs = switch_offs(gaps, given.room_id, given.name, in_force.at(gaps.start_us), seen, around, lags, said)
    stays = episodes(gaps, motion, in_force.at(gaps.start_us), seen, given.room_id, given.name)
    result = ChannelResult(
        room=given.room_id,
        channel=given.name,
        room_name=given.room.name or given.room_id,
        use=given.room.use,
        control=channel.control,
        load_w=given.load_w,
        start=_utc(motion.covered_us[0, 0]),
        end=_utc(motion.covered_us[-1, 1]),
        days=(motion.covered_us[-1, 1] - motion.covered_us[0, 0]) / US / 86400,
        usable_days=motion.usable_days,
        current=current,
        observed_hold_off_s=in_force.observed_s,
        recommended=recommended,
        decision=choice.decision,
        reasons=(),
        current_rates=None if current_index is None else per_week(rates, cost, current_index),
        recommended_rates=per_week(then, then_cost, choice.index),
        target_saving=used_kwh(rates, then, choice.index) * building.electricity_price,
        delay_curve=curve,
        light=light,
        findings=tuple(findings),
        sensitivity=replace(sensitivity(building, then, allowed), by_window_s=windows),
        trial_days=TRIAL_DAYS if choice.decision == "trial" else None,
        cost_per_false_off=building.cost_per_false_off,
        mode=mode,
        motions=motion.frame(given.room_id, given.name),
        gaps=gaps.frame(given.room_id, given.name).with_columns(
            p_still=seen.p_still.astype(np.float32),
            p_minding=(seen.p_still * around.minds * around.lit).astype(np.float32),
        ),
        switch_offs=offs,
        episodes=stays,
        output=output.rename({"value": "output_pct"}),
        covered_us=tuple((int(a), int(b)) for a, b in motion.covered_us),
        draws=draws_frame(rates, wide),
        sure=sureness(then_cost, then_wide, current_index, choice.index),
    )
    return replace(result, reasons=reasons.explain(result, choice, currency=building.currency))


def _utc(t_us: int) -> dt.datetime:
    return dt.datetime.fromtimestamp(int(t_us) / US, tz=dt.UTC)


def _no_motion(given: ChannelInput, motion: MotionLog, in_force: HoldOffInForce) -> ChannelResult:
    held = in_force.latest_s
    current = Settings(float(held) if np.isfinite(held) else None, given.channel.target_lx, given.channel.mode)
    finding = Finding(
        "no-motion",
        "warning",
        f"The logs hold no motion for {given.room_id}/{given.name}, so nothing can be said. Check the mapping in site.toml, the detector "
        "and whether its motion is logged at all.",
    )
    return ChannelResult(
        room=given.room_id,
        channel=given.name,
        room_name=given.room.name or given.room_id,
        use=given.room.use,
        control=given.channel.control,
        load_w=given.load_w,
        start=None,
        end=None,
        days=0.0,
        usable_days=motion.usable_days,
        current=current,
        observed_hold_off_s=in_force.observed_s,
        recommended=current,
        decision="more-data",
        reasons=("The logs hold no motion of this channel.",),
        current_rates=None,
        recommended_rates=None,
        delay_curve=(),
        light=LightResult(),
        findings=(finding,),
    )

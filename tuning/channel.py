"""One channel, step by step: readings in, a :class:`~tuning.results.ChannelResult` out."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from scipy.special import gammaincinv

from tuning import reasons
from tuning.circumstances import Circumstances, circumstances, output_from_steps, output_of, pressed_off
from tuning.decision import Choice, allowed_candidates, break_even_s, choose
from tuning.diagnosis import hold_off_verdict, never_off, night_triggers, without_people
from tuning.episodes import episodes, switch_offs
from tuning.gaps import Bools, Gaps, find_gaps
from tuning.hold_off import HoldOffInForce, Lags, hold_off_in_force, observed_off_s, switch_off_lags
from tuning.light import LightSplit, find_switching_steps, split_light
from tuning.motion import US, Floats, Ints, MotionLog, held_motions, motions, of_channel, times_us
from tuning.rates import Rates, weekly_rates
from tuning.results import ChannelResult, DelayPoint, Finding, LightResult, PerWeek, Sensitivity, Settings
from tuning.site import Channel, Room, Site
from tuning.stillness import Belief, Classified, classify
from tuning.target import light_result

DRAWS = 500
DEFAULT_LOAD_W = 100.0
"""Stands in for a load that site.toml does not give; said so in a finding."""


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

    @property
    def room(self) -> Room:
        """The room's entry in site.toml."""
        return self.site.rooms[self.room_id]

    @property
    def channel(self) -> Channel:
        """The channel's entry in site.toml."""
        return self.room.channels[self.name]

    @property
    def load_w(self) -> float:
        """Installed power. [W]."""
        return self.channel.load_w or DEFAULT_LOAD_W

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
    output = output_of(given.readings, given.name, given.channel, given.load_w)
    reading = _reading(given)
    if output.is_empty() and given.channel.control != "relay" and len(reading) >= 10:
        output = output_from_steps(find_switching_steps(reading))
    presses = times_us(of_channel(given.readings, "override", given.name))
    lags = switch_off_lags(output, motion, presses)
    in_force = hold_off_in_force(given.site, given.channel, lags, built_in_s=built_in_s)
    if len(motion.start_us) < 2:
        return _no_motion(given, motion, in_force), None
    gaps = find_gaps(motion)
    trigger_finding, trigger = night_triggers(motion, offset_us=given.offset_us)
    split = _split(given, reading, output)
    light = _light(given, split, output, gaps, motion, in_force)
    around = _around(given, gaps, in_force, output, split, light)
    nobody = without_people(gaps, trigger) | pressed_off(gaps, _presses_to_off(given))
    seen = _seen(given, gaps, motion, in_force, around, nobody, lags)
    rates = _rates(given, gaps, motion, seen, around, in_force)
    findings = _findings(given, motion, gaps, in_force, output, trigger_finding, split, light)
    result = _result(given, motion, gaps, in_force, seen, around, rates, light, findings, output, lags)
    return result, Evidence(motion, gaps, seen, in_force)


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
    if given.channel.control == "relay" or len(reading) < 10:
        return None
    outputs = {
        name: output_of(given.readings, name, channel, channel.load_w or DEFAULT_LOAD_W)
        for name, channel in given.room.channels.items()
        if channel.control != "relay"
    }
    outputs[given.name] = output
    outputs = {name: frame for name, frame in outputs.items() if not frame.is_empty()}
    building = given.site.site
    return split_light(
        reading, outputs, own_channel=given.name, latitude=building.latitude, longitude=building.longitude
    )


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
    )


def _tells_daylight(split: LightSplit | None, name: str) -> bool:
    """Whether the daylight of a split may say who minds the dark.

    Where people react within seconds the log may never see the dark; the lamps then stay in what is taken for daylight.
    """
    if split is None or name not in split.lamps or any(f.code == "lamp-not-seen" for f in split.findings):
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
    return circumstances(
        gaps,
        hold_off_s=in_force.at(gaps.start_us),
        output=output,
        split=split if _tells_daylight(split, given.name) else None,
        channel=given.channel,
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
    return classify(
        gaps,
        motion,
        hold_off_s=hold,
        lit=around.lit,
        minds=around.minds,
        belief=Belief(given.room.beliefs.even_gap_s, given.room.beliefs.gap_slope),
        never_present=nobody,
        verdict=_verdict(given.verdicts, gaps, hold),
    )


def _verdict(verdicts: pl.DataFrame | None, gaps: Gaps, hold_off_s: Floats) -> Floats | None:
    if verdicts is None:
        return None
    said = np.full(len(gaps), np.nan)
    at = np.searchsorted(gaps.start_us, times_us(verdicts), side="right") - 1
    ok = at >= 0
    said[at[ok]] = verdicts["present"].cast(pl.Float64).to_numpy()[ok]
    return np.where(gaps.gap_s > hold_off_s, said, np.nan)


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
    if motion.kind == "held" and np.isfinite(in_force.latest_s):
        result = result[result >= 0.93 * in_force.latest_s]
    return result


def _rates(
    given: ChannelInput,
    gaps: Gaps,
    motion: MotionLog,
    seen: Classified,
    around: Circumstances,
    in_force: HoldOffInForce,
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
        draws=DRAWS,
        rng=np.random.default_rng(given.seed),
    )


def _findings(
    given: ChannelInput,
    motion: MotionLog,
    gaps: Gaps,
    in_force: HoldOffInForce,
    output: pl.DataFrame,
    triggers: Finding | None,
    split: LightSplit | None,
    light: LightResult,
) -> list[Finding]:
    found = list(in_force.findings)
    if triggers:
        found.append(triggers)
    stuck = never_off(times_us(output), output["value"].to_numpy(), gaps, in_force_s=in_force.latest_s)
    if stuck and given.channel.control != "relay":
        found.append(stuck)
    if given.channel.load_w is None:
        found.append(
            Finding(
                "load-assumed",
                "warning",
                f"site.toml gives no load_w; {DEFAULT_LOAD_W:.0f} W is assumed, and energy and cost follow from that.",
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


def _nearest(values: Floats, wanted: float) -> int:
    return int(np.argmin(np.abs(values - wanted)))


def _result(
    given: ChannelInput,
    motion: MotionLog,
    gaps: Gaps,
    in_force: HoldOffInForce,
    seen: Classified,
    around: Circumstances,
    rates: Rates,
    light: LightResult,
    findings: list[Finding],
    output: pl.DataFrame,
    lags: Lags,
) -> ChannelResult:
    building, channel = given.site.site, given.channel
    cost = rates.cost(per_false_off=building.cost_per_false_off, price=building.electricity_price)
    held = in_force.latest_s
    current_index = _nearest(rates.hold_off_s, held) if np.isfinite(held) else None
    allowed = allowed_candidates(
        rates.hold_off_s,
        np.array(channel.allowed_hold_off_s, dtype=float),
        floor_s=given.room.beliefs.minimum_hold_off_s,
        code_limit_s=building.max_hold_off_s,
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
    choice = choose(
        cost,
        rates.false_offs,
        rates.hold_off_s,
        allowed=allowed,
        current=current_index,
        in_force_s=held,
        ceiling=building.max_false_offs_per_week,
        visit_cost=building.cost_per_visit,
        usable_days=motion.usable_days,
        motions=len(motion.start_us),
    )
    if any(f.severity == "blocking" for f in findings):
        choice = replace(
            choice, index=current_index if current_index is not None else choice.index, decision="fix-first"
        )
    wide = rates.doubted()
    wide_cost = wide.cost(per_false_off=building.cost_per_false_off, price=building.electricity_price)
    curve = _curve(rates, cost, allowed, held, wide, wide_cost, motion.usable_days)
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
    target = _target_to_set(current, choice, light)
    if target != current.target_lx and choice.decision == "keep":
        choice = replace(choice, decision="change")
    recommended = _recommended(current, choice, rates, target)
    saved_kwh = _target_saves_kwh(light, current.target_lx, recommended.target_lx)
    after = _per_week(rates, cost, choice.index)
    offs = switch_offs(gaps, given.room_id, given.name, in_force.at(gaps.start_us), seen, around, lags, _words(given))
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
        current_rates=None if current_index is None else _per_week(rates, cost, current_index),
        recommended_rates=replace(after, energy_kwh=max(after.energy_kwh - saved_kwh, 0.0)),
        target_saving=saved_kwh * building.electricity_price,
        delay_curve=curve,
        light=light,
        findings=tuple(findings),
        sensitivity=_sensitivity(given, rates, allowed),
        trial_days=14 if choice.decision == "trial" else None,
        motions=motion.frame(given.room_id, given.name),
        gaps=gaps.frame(given.room_id, given.name).with_columns(
            p_still=seen.p_still, p_minding=seen.p_still * around.minds * around.lit
        ),
        switch_offs=offs,
        episodes=stays,
        output=output.rename({"value": "output_pct"}),
    )
    return replace(result, reasons=reasons.explain(result, choice, currency=building.currency))


def _words(given: ChannelInput) -> pl.DataFrame | None:
    return given.verdicts


def _utc(t_us: int) -> dt.datetime:
    return dt.datetime.fromtimestamp(int(t_us) / US, tz=dt.UTC)


WORTH_SHARE = 0.1
"""Share of the light's energy that a lower target must save. Chosen by us."""
TARGET_STEP = 0.05
"""A target nearer than a twentieth to the one in force is the same target. Chosen by us: no eye sees it."""


def _target_to_set(current: Settings, choice: Choice, light: LightResult) -> float | None:
    """Target to set. [lx].

    An uncalibrated one is shown but not set, because it might leave the task in the dark; nor is one set where the log is too short or
    something must be mended first.
    """
    new, now = light.recommended_target_lx, current.target_lx
    if new is None or choice.decision in ("more-data", "fix-first"):
        return now
    if now is None:
        return new
    if not light.calibrated or abs(new - now) <= TARGET_STEP * now:
        return now
    energy = {p.target_lx: p.energy_kwh for p in light.target_curve}
    if new < now and energy.get(now, 0.0) - energy.get(new, 0.0) < WORTH_SHARE * energy.get(now, 0.0):
        # A lower target that saves next to nothing is not worth a darker room by mistake.
        return now
    return new


def _recommended(current: Settings, choice: Choice, rates: Rates, target_lx: float | None) -> Settings:
    hold_off_s = (
        current.hold_off_s if choice.index == choice_of(current, rates) else float(rates.hold_off_s[choice.index])
    )
    if choice.decision in ("keep", "more-data", "fix-first"):
        return current
    return Settings(hold_off_s, target_lx, current.mode)


def _target_saves_kwh(light: LightResult, now_lx: float | None, then_lx: float | None) -> float:
    """Energy that another target saves a week while somebody is there. [kWh]."""
    energy = {p.target_lx: p.energy_kwh for p in light.target_curve}
    if now_lx not in energy or then_lx not in energy:
        return 0.0
    return energy[now_lx] - energy[then_lx]


def choice_of(current: Settings, rates: Rates) -> int | None:
    """Index of the settings in force among the candidates."""
    return None if current.hold_off_s is None else _nearest(rates.hold_off_s, current.hold_off_s)


def _per_week(rates: Rates, cost: Floats, index: int) -> PerWeek:
    return PerWeek(
        float(rates.false_offs[:, index].mean()),
        float(rates.wasted_on_h[:, index].mean()),
        float(rates.energy_kwh[:, index].mean()),
        float(cost[:, index].mean()),
    )


def _rate_interval(draws: Floats, weeks: float) -> tuple[float, float]:
    """90 % interval of a long-run rate, no narrower than counting so few events in so many weeks allows (exact Poisson limits)."""
    low, high = np.quantile(draws[1:], [0.05, 0.95])
    events = max(float(draws.mean()) * weeks, 0.0)
    # Less than one event in the whole log cannot be told from never.
    least = gammaincinv(events, 0.05) / weeks if events >= 1 else 0.0
    return float(min(low, least)), float(max(high, gammaincinv(events + 1, 0.95) / weeks))


def _curve(
    rates: Rates,
    cost: Floats,
    allowed: Bools,
    in_force_s: float,
    wide: Rates,
    wide_cost: Floats,
    usable_days: float,
) -> tuple[DelayPoint, ...]:
    points = []
    weeks = max(usable_days / 7, 1e-6)
    for i, hold in enumerate(rates.hold_off_s):
        f, w, c = rates.false_offs[:, i], rates.wasted_on_h[:, i], cost[:, i]
        f_low, f_high = _rate_interval(wide.false_offs[:, i], weeks)
        w_low, w_high = np.quantile(wide.wasted_on_h[1:, i], [0.05, 0.95])
        c_low, c_high = np.quantile(wide_cost[1:, i], [0.05, 0.95])
        points.append(
            DelayPoint(
                hold_off_s=float(hold),
                false_offs=float(f.mean()),
                false_offs_low=float(min(f_low, f.mean())),
                false_offs_high=float(max(f_high, f.mean())),
                switch_offs=float(rates.switch_offs[:, i].mean()),
                wasted_on_h=float(w.mean()),
                wasted_on_h_low=float(w_low),
                wasted_on_h_high=float(w_high),
                lit_h=float(rates.lit_h[:, i].mean()),
                energy_kwh=float(rates.energy_kwh[:, i].mean()),
                cost=float(c.mean()),
                cost_low=float(min(c_low, c.mean())),
                cost_high=float(max(c_high, c.mean())),
                basis="observed" if hold <= 1.02 * in_force_s else "extrapolated",
                allowed=bool(allowed[i]),
            )
        )
    return tuple(points)


def _sensitivity(given: ChannelInput, rates: Rates, allowed: Bools) -> Sensitivity:
    """How the cheapest setting moves with the prices."""
    building = given.site.site
    base, price = building.cost_per_false_off, building.electricity_price
    false_offs, wasted = rates.false_offs.mean(axis=0), rates.wasted_kwh.mean(axis=0)
    holds, index = rates.hold_off_s[allowed], np.flatnonzero(allowed)

    def best(per_false_off: float, per_kwh: float) -> float:
        return float(holds[np.argmin((false_offs * per_false_off + wasted * per_kwh)[index])])

    factors = (0.25, 0.5, 1.0, 2.0, 4.0)
    chosen = best(base, price)
    scan = np.geomspace(0.01, 100, 161) * base if base > 0 else np.empty(0)
    picks = np.array([best(float(c), price) for c in scan])
    lower = scan[(scan < base) & (picks != chosen)]
    upper = scan[(scan > base) & (picks != chosen)]
    return Sensitivity(
        by_false_off_cost=tuple((f * base, best(f * base, price)) for f in factors),
        by_price=tuple((f * price, best(base, f * price)) for f in factors),
        flips_at_cost=(float(lower[-1]) if len(lower) else None, float(upper[0]) if len(upper) else None),
        break_even_s=break_even_s(base, rates.power_wasted_w, price),
    )


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


__all__ = ["ChannelInput", "Evidence", "Ints", "analyse_channel", "candidates_s"]

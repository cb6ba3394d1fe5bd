"""What was understood and chosen of a channel → its :class:`~tuning.results.ChannelResult`."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tuning import reasons
from tuning.advice import cheapest_hold_off_s, draws_frame, pairs_frame, per_week, sensitivity, sureness, used_kwh
from tuning.channel.choice import Chosen, Understood
from tuning.channel.input import ChannelInput, metered
from tuning.channel.presence import words_on
from tuning.decision import TRIAL_DAYS, within_ceiling, within_reach
from tuning.hold_off import HoldOffInForce
from tuning.motion import US, MotionLog
from tuning.presence.episodes import episodes, switch_offs
from tuning.presence.stillness import Classified
from tuning.rates import Rates
from tuning.results import ChannelResult, Finding, LightResult, Sensitivity, Settings, Terms
from tuning.sampled_pauses import TOO_COARSE
from tuning.time_use import time_use
from tuning.window import by_window


def result_of(known: Understood, chosen: Chosen, *, again: Callable[[Classified], Rates]) -> ChannelResult:
    """Put the result of a channel together; ``again`` gives its rates under another classification."""
    given, found = known.given, known.found
    motion, gaps, seen, around = found.motion, found.gaps, found.seen, found.around
    building, channel, choice, rates, then = given.prices, given.channel, chosen.choice, known.rates, chosen.then
    cost, then_cost, then_wide = (
        r.cost(per_false_off=building.cost_per_false_off, price=building.electricity_price)
        for r in (rates, then, then.doubted())
    )
    hold_off_s = found.in_force.at(gaps.start_us)
    ceiling = building.max_false_offs_per_week
    near = within_reach(chosen.allowed, then.hold_off_s, chosen.reach_s)
    usable = within_ceiling(near, then.false_offs.mean(axis=0), then.hold_off_s, ceiling=ceiling)
    windows = by_window(
        seen,
        found.pauses,
        hold_off_s,
        rates=rates,
        again=again,
        best=lambda under: cheapest_hold_off_s(building, under, near),
    )
    said = words_on(gaps, given.verdicts)
    offs = switch_offs(found.pauses, given.room_id, given.name, hold_off_s, seen, around, found.lags, said)
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
        current=chosen.now,
        observed_hold_off_s=found.in_force.observed_s,
        recommended=chosen.recommended,
        decision=choice.decision,
        reasons=(),
        current_rates=None if chosen.current is None else per_week(rates, cost, chosen.current),
        recommended_rates=per_week(then, then_cost, choice.index),
        target_saving=used_kwh(rates, then, choice.index) * building.electricity_price,
        delay_curve=chosen.curve,
        light=found.light,
        findings=chosen.findings,
        sensitivity=replace(sensitivity(building, then, usable), by_window_s=windows),
        trial_days=TRIAL_DAYS if choice.decision == "trial" else None,
        cost_per_false_off=building.cost_per_false_off,
        mode=chosen.mode,
        switch_offs=offs,
        output=found.output.rename({"value": "output_pct"}),
        covered_us=tuple((int(a), int(b)) for a, b in motion.covered_us),
        terms=Terms(
            in_force_s=None if chosen.current is None else float(found.in_force.latest_s),
            ceiling=ceiling,
            visit_cost=building.cost_per_visit,
            motions=len(motion.start_us),
            blocked=choice.decision == "fix-first",
            reach_s=chosen.reach_s if np.isfinite(chosen.reach_s) else None,
            due=chosen.due,
        ),
        cost_at_target=() if then is rates else tuple(then_cost.mean(axis=0).tolist()),
        sure=sureness(then_cost, then_wide, chosen.current, choice.index),
        time_use=time_use(
            motion,
            gaps,
            hold_off_s=hold_off_s,
            p_still=seen.p_still,
            minds=around.minds,
            output=found.output,
            power=given.readings.own("power", given.name),
            channel=metered(given, found.output),
            zone=given.site.zone,
            switch_offs=offs,
        ),
    )
    if any(f.code == TOO_COARSE for f in chosen.findings):
        result = _without_figures(result)
    result = replace(result, reasons=reasons.explain(result, choice, currency=building.currency))
    if not given.pictures:
        return result
    return replace(
        result,
        motions=motion.frame(given.room_id, given.name),
        gaps=gaps.frame(given.room_id, given.name).with_columns(
            p_still=seen.p_still.astype(np.float32),
            p_minding=(seen.p_still * around.minds * around.lit).astype(np.float32),
        ),
        episodes=episodes(gaps, motion, hold_off_s, seen, given.room_id, given.name),
        draws=draws_frame(then) if result.delay_curve else None,
        pairs=pairs_frame(known.pairs, found.light) if result.delay_curve else None,
    )


def _without_figures(c: ChannelResult) -> ChannelResult:
    """Leave out every figure that rests on how often people are left in the dark, where the log cannot tell."""
    return replace(
        c,
        current_rates=None,
        recommended_rates=None,
        target_saving=0.0,
        delay_curve=(),
        sensitivity=Sensitivity(),
        mode=None,
        switch_offs=None if c.switch_offs is None else c.switch_offs.clear(),
        terms=None,
        cost_at_target=(),
        sure=None,
    )


def without_pictures(c: ChannelResult) -> ChannelResult:
    """Leave out what is left of the frames that only pictures need: what the analysis went through for its own sake."""
    light = replace(c.light, daylight=None, task_lx_lit=None, typical_day=None)
    return replace(c, light=light, switch_offs=None, output=None, covered_us=())


def _utc(t_us: int) -> dt.datetime:
    return dt.datetime.fromtimestamp(int(t_us) / US, tz=dt.UTC)


def no_motion(given: ChannelInput, motion: MotionLog, in_force: HoldOffInForce) -> ChannelResult:
    """The result of a channel whose logs hold no motion."""
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

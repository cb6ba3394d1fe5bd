"""Joins the steps: a building folder in, a :class:`~tuning.verification.results.Verification` out."""

from __future__ import annotations

import datetime as dt
import zlib
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl

from tuning import __version__
from tuning.channel.analyse import Examined
from tuning.channel.steps import DRAWS
from tuning.decision import WEEKS_A_YEAR
from tuning.logs import Logs
from tuning.motion import US, Floats
from tuning.pipeline import WORKERS, Progress, read_folder
from tuning.quality import Outage, find_outages, mend
from tuning.readings import RoomReadings
from tuning.results import Settings
from tuning.sampled_pauses import too_coarse
from tuning.site import Site
from tuning.verification.compare import Prices, compared
from tuning.verification.controls import LEAST_DAYS, DailySums, Drift, daily_sums, drift
from tuning.verification.normalise import AFTER, BEFORE, carry
from tuning.verification.parts import Part, RoomLog, examine_whole, part_of
from tuning.verification.periods import Change, changes_of
from tuning.verification.replay import replay_of
from tuning.verification.results import Conditions, SetCheck, Verification, Verified
from tuning.verification.set_on_site import check_hold_off
from tuning.verification.settings_seen import with_other_settings
from tuning.verification.verdict import judge

NEVER_OFF_S = 7 * 86_400.0
"""Stands for a hold-off where nothing switches off. [s]"""


@dataclass(frozen=True)
class _Seen:
    """A room's channels over the whole log; ``quiet`` those of them that were left alone, day by day."""

    log: RoomLog
    whole: dict[str, Examined]
    quiet: dict[str, DailySums]


def verify_folder(
    folder: Path, *, progress: Progress | None = None, verdicts: pl.DataFrame | None = None
) -> Verification:
    """Read a building folder and verify what ``settings_history`` says was changed.

    Parameters
    ----------
    folder
        With ``site.toml`` and the logs, before and after.
    progress
        Called as the work goes on.
    verdicts
        Reviewers' words on switch-offs: ``room``, ``channel``, ``time`` (UTC), ``present`` (bool).

    Raises
    ------
    TuningError
        If the folder, its ``site.toml`` or a log has a problem that a person can mend.
    """
    site, logs, rest = read_folder(folder, progress)
    return verify_logs(site, logs, progress=rest, verdicts=verdicts)


def verify_logs(
    site: Site,
    logs: Logs,
    *,
    progress: Progress | None = None,
    verdicts: pl.DataFrame | None = None,
    outages: tuple[Outage, ...] | None = None,
) -> Verification:
    """Verify logs already read. See :func:`verify_folder`."""
    say = progress or (lambda _share, _what: None)
    span = (0, 0) if logs.start is None or logs.end is None else (_us(logs.start), _us(logs.end))
    changes = changes_of(site, span)
    touched = {(c.room, c.channel) for c in changes}
    silences = find_outages(logs) if outages is None else outages
    rooms = [name for name, room in site.rooms.items() if room.channels] if changes else []

    def see(name: str) -> _Seen:
        log = RoomLog(
            site, name, mend(site.rooms[name], RoomReadings(logs.by_quantity(name)), outages=silences), span, verdicts
        )
        whole = examine_whole(log)
        alone = {c: f for c, f in whole.items() if (name, c) not in touched and len(f.gaps)}
        quiet = {c: daily_sums(f, offset_us=f.facts.offset_us) for c, f in alone.items() if not f.in_force.findings}
        # The frames of a room left alone are needed no more.
        changed = any(room == name for room, _ in touched)
        return _Seen(log, whole if changed else {}, quiet)

    pool = ThreadPoolExecutor(WORKERS, thread_name_prefix="room")
    try:
        seen = {}
        for done, found in enumerate(pool.map(see, rooms)):
            seen[rooms[done]] = found
            say(0.7 * (done + 1) / len(rooms), f"looked at {site.rooms[rooms[done]].name or rooms[done]}")
        verified = []
        of_change = pool.map(lambda c: verify_change(c, seen), changes)
        for done, one in enumerate(of_change):
            verified.append(one)
            say(0.7 + 0.3 * (done + 1) / len(changes), f"compared {one.room_name}")
    finally:
        pool.shutdown(cancel_futures=True)
    say(1.0, "done")
    untouched = tuple(
        f"{name}/{c}" for name, room in site.rooms.items() for c in room.channels if (name, c) not in touched
    )
    return Verification(
        site=site.site.name,
        currency=site.site.currency,
        time_zone=site.site.time_zone,
        generated=dt.datetime.now(dt.UTC).replace(microsecond=0),
        version=__version__,
        changes=tuple(sorted(verified, key=lambda v: v.attention)),
        untouched=untouched,
        findings=logs.findings,
    )


def verify_change(change: Change, seen: dict[str, _Seen]) -> Verified:
    """Verify one change of one channel."""
    here = seen[change.room]
    log, name = here.log, change.channel
    channel = log.site.rooms[change.room].channels[name]
    found = here.whole.get(name)
    empty = Verified(
        room=change.room,
        room_name=log.site.rooms[change.room].name or change.room,
        channel=name,
        set_at=change.set_at,
        was=change.was,
        said=change.said,
        before_days=0.0,
        after_days=0.0,
        set_check=SetCheck("cannot-tell", "The log holds no movement of this channel."),
        verdict="too-early",
        reasons=("The log holds no movement of this channel, so nothing can be compared.",),
        quantities={},
        more_days=None,
        controls=(),
        no_controls="",
        conditions=None,
        replay=None,
        option="A",
    )
    if found is None:
        return empty
    check, change = _really_set(change, found, channel.allowed_hold_off_s)
    empty = replace(empty, was=change.was)
    hold = np.array([change.was.hold_off_s or NEVER_OFF_S, _hold_after(change, check)])
    before = part_of(log, name, change.before_us, change.was, here.whole, hold, own=BEFORE)
    after = part_of(log, name, change.after_us, _as_found(change.said, float(hold[1])), here.whole, hold, own=AFTER)
    if before is not None and after is not None:
        check = with_other_settings(check, before, after, change)
    metered = not log.mended.readings.own("power", name).is_empty()
    result = replace(
        empty,
        before_days=0.0 if before is None else before.days,
        after_days=0.0 if after is None else after.days,
        set_check=check,
        option="B" if metered else "A",
    )
    if check.status in ("never", "set-back", "another-value") or check.other_settings:
        words = [check.message] if check.status in ("never", "set-back", "another-value") else []
        words += [f"{name[:1].upper()}{name[1:]} {getattr(check, name)}." for name in check.other_settings]
        result = replace(result, verdict="not-set", reasons=tuple(words))
    if before is None or after is None or check.status == "never":
        if result.verdict == "not-set":
            return result
        missing = "before" if before is None else "since"
        return replace(result, reasons=(f"The log holds no movement {missing} the change.",))
    coarse = _too_coarse(before, after, hold)
    if coarse:
        return replace(result, reasons=(*result.reasons, *coarse))
    return _compared(result, change, before, after, seen)


def _too_coarse(before: Part, after: Part, hold_off_s: Floats) -> tuple[str, ...]:
    """Why a stretch of the log tells no false-offs that could be compared; nothing where both do. ``hold_off_s`` in force in either [s]."""
    stretches = zip(("Before", "Since"), (before, after), hold_off_s, strict=True)
    # Where nothing switches off there are no false-offs to tell.
    told = ((when, too_coarse(part.found.motion, held)) for when, part, held in stretches if held < NEVER_OFF_S)
    return tuple(f"{when} the change: {why[0].lower()}{why[1:]}" for when, why in told if why)


def _compared(result: Verified, change: Change, before: Part, after: Part, seen: dict[str, _Seen]) -> Verified:
    site = before.given.site
    prices = Prices(before.given.prices.cost_per_false_off, site.site.electricity_price)
    carried = carry(before, after, change.was, change.said)
    controls, why_not, moved = _controls(change, seen, before.given.offset_us)
    quantities = compared(carried, moved, prices)
    verdict = judge(
        quantities["cost"],
        before_days=before.days,
        after_days=after.days,
        currency=site.site.currency,
        worth_a_visit=site.site.cost_per_visit / WEEKS_A_YEAR,
    )
    not_set = result.verdict == "not-set"
    return replace(
        result,
        quantities=quantities,
        verdict="not-set" if not_set else verdict.verdict,
        reasons=result.reasons if not_set else verdict.reasons,
        more_days=None if not_set else verdict.more_days,
        controls=controls,
        no_controls=why_not,
        conditions=Conditions(
            float(before.presence_h[0]), float(after.presence_h[0]), _daylight(before), _daylight(after)
        ),
        replay=replay_of(after.found, offset_us=after.given.offset_us),
    )


def _really_set(change: Change, found: Examined, settable_s: tuple[int, ...]) -> tuple[SetCheck, Change]:
    """Check the hold-off, and narrow the stretches to where the settings really were in force."""
    said_s = change.said.hold_off_s
    was_s = _before(change, found, settable_s)
    if was_s != change.was.hold_off_s:
        change = replace(change, was=replace(change.was, hold_off_s=was_s))
    if said_s is None:
        return SetCheck("cannot-tell", "site.toml gives no hold-off for this change."), change
    check = check_hold_off(
        found.lags, was_s=change.was.hold_off_s, said_s=said_s, span_us=change.after_us, settable_s=settable_s
    )
    if check.since is not None:
        change = replace(change, after_us=(_us(check.since), change.after_us[1]))
    if check.until is not None:
        change = replace(change, after_us=(change.after_us[0], _us(check.until)))
    if check.status == "later":
        change = replace(change, before_us=(change.before_us[0], change.after_us[0]))
    if change.was.hold_off_s is not None and change.was.hold_off_s != said_s:
        earlier = check_hold_off(
            found.lags, was_s=said_s, said_s=change.was.hold_off_s, span_us=change.before_us, settable_s=settable_s
        )
        if earlier.status == "set-back" and earlier.until is not None:
            # Set before it was said: what follows belongs to neither stretch.
            change = replace(change, before_us=(change.before_us[0], _us(earlier.until)))
    return check, change


def _before(change: Change, found: Examined, settable_s: tuple[int, ...]) -> float | None:
    """Hold-off in force before a change: as was said, unless the switch-offs show another one throughout. [s]."""
    said_s = change.was.hold_off_s
    if said_s is None:
        # In the middle: at its end the one or the other may be in force, as far as the switch-offs tell when it turned.
        seen_s = float(found.in_force.at(np.array([sum(change.before_us) // 2]))[0])
        return round(seen_s) if np.isfinite(seen_s) else None
    check = check_hold_off(found.lags, was_s=None, said_s=said_s, span_us=change.before_us, settable_s=settable_s)
    another = check.status == "another-value" and check.since is None and check.observed_s is not None
    return round(check.observed_s) if another and check.observed_s is not None else said_s


def _hold_after(change: Change, check: SetCheck) -> float:
    if check.status in ("another-value", "never") and check.observed_s is not None:
        return check.observed_s
    return change.said.hold_off_s or change.was.hold_off_s or NEVER_OFF_S


def _as_found(said: Settings, hold_off_s: float) -> Settings:
    return replace(said, hold_off_s=hold_off_s)


def _controls(change: Change, seen: dict[str, _Seen], offset_us: int) -> tuple[tuple[str, ...], str, Drift | None]:
    """Channels left alone, why they do not serve, and what changed in them by itself."""
    quiet = [(f"{room}/{c}", sums) for room, s in seen.items() for c, sums in s.quiet.items() if room != change.room]
    if not quiet:
        return (), "Every room with a log was changed, so none can serve as a control.", None
    rng = np.random.default_rng(zlib.crc32(f"{change.room}/{change.channel}".encode()))
    moved = drift(
        [sums for _, sums in quiet], change.before_us, change.after_us, offset_us=offset_us, draws=DRAWS, rng=rng
    )
    names = tuple(name for name, _ in quiet)
    if moved.false_offs is None and moved.wasted_on_h is None:
        text = (
            f"{len(quiet)} channels were left alone, but too little happened in them on one side of the change "
            f"(at least {LEAST_DAYS:.0f} days, ten false-offs or one wasted hour together) to hold others against."
        )
        return (), text, None
    return names, "", moved


def _daylight(part: Part) -> float:
    lx, there = part.found.around.daylight_lx, part.found.seen.p_still * part.found.gaps.gap_s
    known = np.isfinite(lx)
    if not known.any():
        return float("nan")
    order = np.argsort(lx[known])
    weight = np.cumsum(there[known][order])
    return float(lx[known][order][min(int(np.searchsorted(weight, weight[-1] / 2)), len(order) - 1)])


def _us(when: dt.datetime) -> int:
    return round(when.timestamp() * US)


def not_really_set(changes: Sequence[Verified]) -> list[Verified]:
    """Changes whose settings were not found in force as said, or not at the date."""
    return [v for v in changes if v.really_set is False]

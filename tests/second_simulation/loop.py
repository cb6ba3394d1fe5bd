"""The closed loop, event by event: people move, the detector sees some of it, the hold-off runs out, who minds the dark waves."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tests.second_simulation.compiled import compiled
from tests.second_simulation.lights import FAR_ABOVE, SWITCHED, Lights, minds, reading_lx, settle
from tests.second_simulation.people import Stays
from tests.second_simulation.stillness import Stillness, still_s

NEVER = math.inf
NOT_YET = -1e9
MINUTE_S = 60.0
BRIGHT_MIN = 5
"""A switched light goes off after so many minutes in a row far above its target."""

COMES, DOES, RUNS_OUT, MINUTE = range(4)
"""What happens next: somebody comes; somebody moves, waves or leaves; the hold-off is over; a minute has passed."""


class Manners(NamedTuple):
    """How the people of a room move, and how its detector sees them.

    Shares of movements that are seen: on coming, leaving and walking; in between; waves. ``dead_s`` is the detector's blind time after a trigger.
    ``fidgets`` is the share of movements followed by another one within ``fidget_s`` (mean), the rest begin a stillness. With ``goes_on`` a stillness
    cut by a wave goes on, else movement starts afresh. Waves come after ``reaction_s`` (median) in the dark, with ``reaction_sigma``;
    ``need_sigma`` is how much the need of light differs from time to time. An output is logged when it has changed by ``output_step``.
    """

    seen_large: float
    seen_small: float
    seen_waving: float
    dead_s: float
    fidgets: float
    fidget_s: float
    step_s: float
    stillness: Stillness
    goes_on: bool
    reaction_s: float
    reaction_sigma: float
    need_sigma: float
    output_step: float


class People(NamedTuple):
    """What each person (one entry per stay) does next [s], at the earliest of these moments or on leaving.

    ``lead_s`` before leaving they get ready, and are ``going``; ``bursts`` is how many quick movements are still to come.
    """

    moves_s: NDArray[np.float64]
    waves_s: NDArray[np.float64]
    lead_s: NDArray[np.float64]
    bursts: NDArray[np.int64]
    going: NDArray[np.bool_]


class Run(NamedTuple):
    """One run under one hold-off.

    By channel: false-offs, time lit with nobody there [s], energy of it [J]. If recorded: triggers [s]; outputs as logged (when [s], channel,
    0 to 1); switch-offs (when [s], channel, was somebody there, did somebody mind).
    """

    false_offs: NDArray[np.float64]
    wasted_s: NDArray[np.float64]
    wasted_j: NDArray[np.float64]
    motion_s: NDArray[np.float64]
    output_s: NDArray[np.float64]
    output_channel: NDArray[np.int64]
    output: NDArray[np.float64]
    off_s: NDArray[np.float64]
    off_channel: NDArray[np.int64]
    off_present: NDArray[np.int64]
    off_minds: NDArray[np.int64]


@compiled
def next_s(who: int, stays: Stays, people: People) -> float:
    """When somebody does something next [s]."""
    return min(people.moves_s[who], people.waves_s[who], stays.end_s[who])


@compiled
def enter(rng: np.random.Generator, who: int, stays: Stays, people: People) -> None:
    """Somebody comes in, with a few quick movements; at the latest after two fifths of the stay they get ready to leave."""
    people.bursts[who] = 2 if stays.walks[who] else 3 + int(8 * rng.random())
    people.lead_s[who] = min(rng.uniform(3.0, 15.0), 0.4 * (stays.end_s[who] - stays.start_s[who]))
    people.moves_s[who] = stays.start_s[who] + rng.uniform(0.3, 1.3)


@compiled
def plan(rng: np.random.Generator, who: int, now_s: float, manners: Manners, stays: Stays, people: People) -> None:
    """Set when somebody moves again.

    Who starts afresh in the stillness before leaving is already getting ready, and keeps moving until they leave.
    """
    if people.going[who]:
        pause_s = rng.uniform(0.8, 3.0)
    elif people.bursts[who] > 0:
        people.bursts[who] -= 1
        pause_s = rng.uniform(0.8, 4.0)
    elif stays.walks[who]:
        pause_s = 0.5 + manners.step_s * rng.standard_exponential()
    elif rng.random() < manners.fidgets:
        pause_s = 0.5 + manners.fidget_s * rng.standard_exponential()
    else:
        pause_s = still_s(rng, manners.stillness) * stays.stiller[who]
    gets_ready_s = stays.end_s[who] - people.lead_s[who]
    if not people.going[who] and now_s + pause_s > gets_ready_s:
        people.going[who] = True
        pause_s = gets_ready_s - now_s if gets_ready_s > now_s else 0.8
    people.moves_s[who] = now_s + pause_s


@compiled
def waste(
    run_s: NDArray[np.float64],
    run_j: NDArray[np.float64],
    from_s: float,
    to_s: float,
    lit: NDArray[np.bool_],
    output: NDArray[np.float64],
    lights: Lights,
    daylight_lx: NDArray[np.float64],
) -> None:
    """Add the time lit, and its energy, of a stretch with nobody there."""
    while from_s < to_s:
        minute = int(from_s // MINUTE_S)
        until_s = min(MINUTE_S * (minute + 1), to_s)
        settle(output, lit, lights, daylight_lx[:, minute])
        for c in range(len(lit)):
            if lit[c]:
                power_w = lights.standby_w[c] + (lights.load_w[c] - lights.standby_w[c]) * output[c]
                run_s[c] += until_s - from_s
                run_j[c] += (until_s - from_s) * power_w
        from_s = until_s


@compiled
def walk(
    rng: np.random.Generator,
    manners: Manners,
    lights: Lights,
    stays: Stays,
    people: People,
    daylight_lx: NDArray[np.float64],
    hold_off_s: float,
    records: bool,
) -> Run:
    """Run the loop over all minutes of ``daylight_lx`` (channel, minute); see `run`."""
    channels, minutes = daylight_lx.shape
    false_offs, wasted_s, wasted_j = np.zeros(channels), np.zeros(channels), np.zeros(channels)
    motion_s, output_s, output_channel, outputs = (
        [0.0],
        [0.0],
        [0],
        [0.0],
    )  # a first entry tells the type, and is cut off at the end
    off_s, off_channel, off_present, off_minds = [0.0], [0], [0], [0]

    lit = np.zeros(channels, np.bool_)
    bright_min, output, logged = np.zeros(channels, np.int64), np.zeros(channels), np.zeros(channels)
    looks = records or bool(np.any(lights.control == SWITCHED))  # every minute, while the hold-off runs
    running, trigger_s, now_s = False, NOT_YET, 0.0
    inside = np.zeros(len(stays.start_s), np.int64)  # who is there: the first `there` of these
    there, coming = 0, 0

    while True:
        what, place = COMES, 0
        then_s = stays.start_s[coming] if coming < len(stays.start_s) else NEVER
        for i in range(there):
            does_s = next_s(inside[i], stays, people)
            if does_s < then_s:
                what, then_s, place = DOES, does_s, i
        if running:
            if trigger_s + hold_off_s < then_s:
                what, then_s = RUNS_OUT, trigger_s + hold_off_s
            minute_s = MINUTE_S * (now_s // MINUTE_S + 1)
            if looks and minute_s < then_s:
                what, then_s = MINUTE, minute_s
        if not then_s < MINUTE_S * minutes:
            break
        if running and there == 0:
            waste(wasted_s, wasted_j, now_s, then_s, lit, output, lights, daylight_lx)
        now_s = then_s
        daylight = daylight_lx[:, int(now_s // MINUTE_S)]
        seen, waved, may_log = False, False, False
        who = inside[place] if what == DOES else coming

        if what == COMES:
            enter(rng, who, stays, people)
            inside[there] = who
            there, coming = there + 1, coming + 1
        elif what == DOES and stays.end_s[who] <= min(people.moves_s[who], people.waves_s[who]):
            there -= 1
            inside[place] = inside[there]
        elif what == DOES and people.waves_s[who] <= people.moves_s[who]:
            waved = seen = rng.random() < manners.seen_waving
            people.waves_s[who] = NEVER if seen else now_s + rng.uniform(1.5, 4.0)
            if seen and not manners.goes_on:
                plan(rng, who, now_s, manners, stays, people)
        elif what == DOES:
            large = people.bursts[who] > 0 or people.going[who] or stays.walks[who]
            seen = rng.random() < (manners.seen_large if large else manners.seen_small)
            plan(rng, who, now_s, manners, stays, people)
        elif what == RUNS_OUT:
            running, may_log, anybody = False, True, False
            for c in range(channels):
                if lit[c]:
                    mind = there > 0 and minds(rng, c, lights, daylight, manners.need_sigma)
                    false_offs[c] += mind
                    anybody = anybody or mind
                    lit[c] = False
                    if records:
                        off_s.append(now_s)
                        off_channel.append(c)
                        off_present.append(1 if there > 0 else 0)
                        off_minds.append(1 if mind else 0)
            for i in range(there if anybody else 0):
                after_s = manners.reaction_s * math.exp(manners.reaction_sigma * rng.standard_normal())
                people.waves_s[inside[i]] = now_s + after_s
        else:
            may_log = True
            for c in range(channels):
                if lights.control[c] == SWITCHED:
                    settle(output, lit, lights, daylight)
                    reading = reading_lx(c, output, lights, daylight)
                    if lit[c]:
                        far_above = reading > lights.target_lx[c] + FAR_ABOVE * lights.lamp_lx[c]
                        bright_min[c] = bright_min[c] + 1 if far_above else 0
                        lit[c] = bright_min[c] < BRIGHT_MIN
                    elif reading < lights.target_lx[c]:
                        lit[c], bright_min[c] = True, 0

        if seen and now_s - trigger_s < manners.dead_s:
            if waved:
                people.waves_s[who] = now_s + rng.uniform(1.0, 3.0)
        elif seen:
            running, trigger_s = True, now_s
            if records:
                motion_s.append(now_s)
            for c in range(channels):
                if not lit[c]:
                    may_log = True
                    settle(output, lit, lights, daylight)
                    if lights.control[c] != SWITCHED or reading_lx(c, output, lights, daylight) < lights.target_lx[c]:
                        lit[c], bright_min[c] = True, 0
            for i in range(there):
                people.waves_s[inside[i]] = NEVER

        if records and may_log:
            settle(output, lit, lights, daylight)
            for c in range(channels):
                if (output[c] > 0) != (logged[c] > 0) or abs(output[c] - logged[c]) > manners.output_step:
                    output_s.append(now_s)
                    output_channel.append(c)
                    outputs.append(output[c])
                    logged[c] = output[c]

    return Run(
        false_offs, wasted_s, wasted_j, np.array(motion_s)[1:],
        np.array(output_s)[1:], np.array(output_channel)[1:], np.array(outputs)[1:],
        np.array(off_s)[1:], np.array(off_channel)[1:], np.array(off_present)[1:], np.array(off_minds)[1:],
    )  # fmt: skip


def run(
    rng: np.random.Generator,
    manners: Manners,
    lights: Lights,
    stays: Stays,
    daylight_lx: NDArray[np.float64],
    hold_off_s: float,
    *,
    records: bool = False,
) -> Run:
    """Run the loop under one hold-off [s], over all minutes of ``daylight_lx`` (channel, minute; in the detector's reading [lx])."""
    count = len(stays.start_s)
    people = People(
        np.full(count, NEVER),
        np.full(count, NEVER),
        np.zeros(count),
        np.zeros(count, np.int64),
        np.zeros(count, np.bool_),
    )
    return walk(rng, manners, lights, stays, people, daylight_lx, float(hold_off_s), records)

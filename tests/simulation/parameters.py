"""What a simulated room is: everything that is drawn once per room and then holds for its log and for its truth."""

from dataclasses import dataclass, field, fields, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from tests.simulation.days import PLACES, Place
from tests.simulation.stillness import FAMILIES, Stillness, draw_stillness
from tests.simulation.uses import USES, UseRanges

ALLOWED_HOLD_OFF_S = (60, 120, 180, 300, 600, 900, 1200, 1500, 1800)
IN_FORCE_HOLD_OFF_S = (180, 180, 240, 300, 300, 300, 420, 480, 600, 600, 600, 720, 900, 900, 1080, 1200, 1200)


@dataclass(frozen=True)
class People:
    """How the people of a room move and mind.

    ``quiet_share`` of their stillnesses belong to quiet spells (reading), where everything takes ``quiet_factor``
    times as long; ``visit_sigma`` is the log-spread of activity between visits. ``burst_in``/``burst_out`` are the mean
    numbers of further movements on entering and leaving; with ``single_burst`` only one is made. ``p_fresh`` is the
    share of reactions after which movement starts afresh, the rest let the interrupted stillness go on. ``wave_missed``
    is the share of reactions whose first wave is not seen, ``wave_more`` the mean number of waves after the one that
    brought the light back. ``need_factor`` times the required illuminance is the daylight below which people mind.

    In ``hidden_share`` of the visits somebody sits where the detector sees ``hidden_factor`` times less. With
    ``leave_off_p`` the last to leave presses off, with ``dims_p`` somebody dims a lit stretch to about ``dims_level``.
    """

    stillness: Stillness
    quiet_share: float
    quiet_factor: float
    visit_sigma: float
    burst_in: float
    burst_out: float
    single_burst: float
    reaction_median_s: float
    reaction_sigma: float
    wave_missed: float
    p_fresh: float
    need_factor: float
    wave_more: float
    hidden_share: float
    hidden_factor: float
    leave_off_p: float
    dims_p: float
    dims_level: float


@dataclass(frozen=True)
class Detector:
    """Share of movements seen, dead time [s] after a trigger, stray triggers per day, and how motion is logged.

    ``motion_form`` is ``events``, ``pulses`` of `pulse_s`, ``sampled`` every `motion_sample_s`, or ``occupied``: the
    detector's own state with its hold-off in it.
    """

    coverage: float
    dead_time_s: float
    stray_per_day: float
    motion_form: str
    pulse_s: float
    motion_sample_s: float
    stamp_s: float  # resolution of the time stamps
    off_lag_s: float  # from the end of the hold-off to the logged switch-off


@dataclass(frozen=True)
class Sky:
    """Windows of a room: share of outdoor light at the detector, orientation, clouds and blinds."""

    windows: bool
    daylight_factor: float
    beam_factor: float
    facing_rad: float
    clearness: float
    brokenness: float
    blind_p: float
    blind_factor: float
    night_lx: float


@dataclass(frozen=True)
class Channel:
    """One lighting group.

    ``lamp_lx`` (k) is what its lamps give at its own detector at full output [lx], ``to_other`` the part of k that
    reaches the other channel's detector. ``task_per_daylight`` (a_d) and ``task_per_lamp`` (a_e) turn detector lux into
    task lux. ``daylight_share`` is the part of the window's daylight that reaches this detector.
    """

    name: str
    load_w: float
    standby_w: float
    lamp_lx: float
    to_other: float
    daylight_share: float
    task_per_daylight: float
    task_per_lamp: float
    target_lx: float
    control: str  # dimmed | switched
    min_output: float
    daylight_off: bool
    dead_band_lx: float
    spot_readings: bool
    allowed_target_lx: tuple[int, ...]


@dataclass(frozen=True)
class LightLog:
    """How illuminance and output are logged: change-of-value (dead band) or sampled [s]; 0 s = change-of-value."""

    sample_s: float
    band_share: float
    band_lx: float
    heartbeat_s: float
    noise: float
    flicker: float
    output_step: float
    output_sample_s: float = 0.0  # output sampled so often; 0 s = change-of-value


@dataclass(frozen=True)
class RoomParameters:
    """All that is fixed about a simulated room.

    ``schedule`` holds the numbers of its use. ``own_detectors`` false means that only the first of two channels has an
    illuminance of its own. ``hold_off_changes`` are pairs of a day of the log (from 0) and the hold-off [s] in force
    from about its first midnight; ``said_changes`` is what ``site.toml`` says of that, where it says something else. ``swapped`` logs the
    outputs of two channels under each other's name. ``occupancy`` is the share of visits that take place at the beginning and at the end of
    the log, changing evenly in between.
    """

    room: str
    use: str
    place: Place
    first_monday: date
    hold_off_s: int
    documented: bool
    mode: str
    required_lx: float
    area_m2: float
    electricity_price: float
    cost_per_false_off: float
    people: People
    detector: Detector
    sky: Sky
    channels: tuple[Channel, ...]
    light_log: LightLog
    own_detectors: bool
    hold_off_changes: tuple[tuple[int, int], ...] = ()
    said_changes: tuple[tuple[int, int], ...] | None = None
    occupancy: tuple[float, float] = (1.0, 1.0)
    swapped: bool = False
    schedule: dict[str, Any] = field(default_factory=dict)


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _draw_people(rng: np.random.Generator, ranges: UseRanges) -> People:
    family = str(rng.choice(FAMILIES))
    behaviour = rng.random()
    return People(
        stillness=draw_stillness(rng, family, _log_uniform(rng, *ranges.median_s)),
        quiet_share=float(rng.choice([0.0, rng.uniform(0.05, 0.25)])),
        quiet_factor=rng.uniform(1.5, 4.0),
        visit_sigma=float(rng.choice([0.0, rng.uniform(0.1, 0.5)])),
        burst_in=_log_uniform(rng, 0.5, 6.0),
        burst_out=_log_uniform(rng, 0.4, 5.0),
        single_burst=rng.uniform(0.0, 0.35),
        reaction_median_s=rng.uniform(2.0, 8.0),
        reaction_sigma=rng.uniform(0.35, 0.8),
        wave_missed=float(rng.choice([0.0, rng.uniform(0.05, 0.25)])),
        p_fresh=0.0 if behaviour < 0.4 else (1.0 if behaviour < 0.75 else rng.uniform(0.2, 0.8)),
        need_factor=1.0 if rng.random() < 0.6 else rng.uniform(0.75, 1.1),
        wave_more=0.0 if rng.random() < 0.5 else rng.uniform(0.2, 2.0),
        hidden_share=0.0 if rng.random() < 0.85 else rng.uniform(0.05, 0.25),
        hidden_factor=rng.uniform(2.0, 6.0),
        leave_off_p=0.0 if rng.random() < 0.85 else rng.uniform(0.1, 0.7),
        dims_p=0.0 if rng.random() < 0.85 else rng.uniform(0.02, 0.25),
        dims_level=rng.uniform(0.35, 0.9),
    )


def _draw_detector(rng: np.random.Generator) -> Detector:
    return Detector(
        coverage=rng.uniform(0.55, 1.0),
        dead_time_s=0.0 if rng.random() < 0.25 else rng.uniform(0.5, 10.0),
        stray_per_day=0.0 if rng.random() < 0.7 else _log_uniform(rng, 0.05, 1.0),
        motion_form="pulses" if rng.random() < 0.3 else "events",
        pulse_s=rng.uniform(1.0, 5.0),
        motion_sample_s=float(rng.choice([30, 60])),
        stamp_s=float(rng.choice([0.001, 0.1, 1.0])),
        off_lag_s=rng.uniform(0.0, 1.0),
    )


def _draw_sky(rng: np.random.Generator, ranges: UseRanges) -> Sky:
    return Sky(
        windows=bool(rng.random() < ranges.p_windows),
        daylight_factor=_log_uniform(rng, 0.004, 0.06),
        beam_factor=_log_uniform(rng, 0.0005, 0.01),
        facing_rad=rng.uniform(0, 2 * np.pi),
        clearness=rng.uniform(0.25, 0.75),
        brokenness=rng.uniform(0.3, 1.5),
        blind_p=0.0 if rng.random() < 0.5 else rng.uniform(0.2, 0.9),
        blind_factor=rng.uniform(0.1, 0.5),
        night_lx=0.0 if rng.random() < 0.6 else rng.uniform(0.5, 4.0),
    )


def _draw_channel(rng: np.random.Generator, name: str, control: str, required_lx: float, load_w: float) -> Channel:
    per_lamp = rng.uniform(0.9, 2.0)
    reachable = rng.random() > 0.08
    at_task = required_lx * (rng.uniform(1.05, 1.9) if reachable else rng.uniform(0.6, 0.92))
    lamp_lx = at_task / per_lamp
    return Channel(
        name=name,
        load_w=load_w,
        standby_w=float(rng.choice([0.0, round(rng.uniform(0.3, 4.0), 1)])),
        lamp_lx=lamp_lx,
        to_other=rng.uniform(0.05, 0.45),
        daylight_share=1.0 if name != "wall" else rng.uniform(0.25, 0.7),
        task_per_daylight=per_lamp * rng.uniform(0.5, 1.4),
        task_per_lamp=per_lamp,
        target_lx=round(required_lx / per_lamp * rng.uniform(0.75, 1.3) / 10) * 10,
        control=control,
        min_output=rng.choice([0.01, 0.05, 0.1, 0.1]),
        daylight_off=bool(rng.random() < 0.3),
        dead_band_lx=lamp_lx * rng.uniform(1.1, 1.5),
        spot_readings=bool(rng.random() < 0.6),
        allowed_target_lx=tuple(range(50, 1001, 50)) if rng.random() < 0.6 else (),
    )


def _draw_light_log(rng: np.random.Generator) -> LightLog:
    sampled = rng.random() < 0.45
    return LightLog(
        sample_s=float(rng.choice([60, 60, 120, 300])) if sampled else 0.0,
        band_share=rng.uniform(0.03, 0.1),
        band_lx=rng.uniform(3.0, 15.0),
        heartbeat_s=float(rng.choice([0, 900, 3600])),
        noise=0.01,
        flicker=rng.uniform(0.0, 0.06),
        output_step=float(rng.choice([0.01, 0.02, 0.05])),
    )


def draw_parameters(rng: np.random.Generator, use: str, room: str, **overrides: Any) -> RoomParameters:
    """Draw a room of the given use.

    Parameters
    ----------
    overrides
        Any field of `RoomParameters`, `People`, `Detector`, `Sky`, `LightLog` (those are set in their group) or of
        `Channel` (set in every channel).

    Raises
    ------
    ValueError
        If the use or an override is unknown.
    """
    if use not in USES:
        raise ValueError(f"unknown room use {use!r}; simulated are {', '.join(USES)}")
    ranges = USES[use]
    place = PLACES[rng.integers(len(PLACES))]
    monday = date(2025, 1, 6) + timedelta(weeks=int(rng.integers(0, 52)))
    sky = _draw_sky(rng, ranges)
    two = sky.windows and rng.random() < ranges.p_two_channels
    control = "dimmed" if rng.random() < ranges.p_dimmed else "switched"
    load_w = round(_log_uniform(rng, *ranges.load_w))
    names = ("wall", "window") if two else (("main",) if rng.random() < 0.5 else ("ceiling",))
    required = float(ranges.required_lx)
    # Where daylight switches lamps off, or little light is needed, bright rooms would never be lit: nothing to find out.
    dimmer = (0.4 if control == "switched" else 1.0) * (0.5 if required <= 200 else 1.0)
    sky = replace(sky, daylight_factor=sky.daylight_factor * dimmer, beam_factor=sky.beam_factor * dimmer)
    parameters = RoomParameters(
        room=room,
        use=use,
        place=place,
        first_monday=monday,
        hold_off_s=int(rng.choice(IN_FORCE_HOLD_OFF_S)),
        documented=bool(rng.random() < 0.75),
        mode="manual-on" if rng.random() < ranges.p_manual else "auto-on",
        required_lx=required,
        area_m2=round(load_w / rng.uniform(5.0, 10.0)),
        electricity_price=0.30 if rng.random() < 0.6 else round(rng.uniform(0.12, 0.45), 2),
        cost_per_false_off=0.35 if rng.random() < 0.6 else round(_log_uniform(rng, 0.1, 1.2), 2),
        people=_draw_people(rng, ranges),
        detector=_draw_detector(rng),
        sky=sky,
        channels=tuple(_draw_channel(rng, n, control, required, load_w / len(names)) for n in names),
        light_log=_draw_light_log(rng),
        own_detectors=bool(rng.random() < 0.7),
        schedule=ranges.draw(rng),
    )
    return _override(parameters, overrides)


def _override(parameters: RoomParameters, overrides: dict[str, Any]) -> RoomParameters:
    groups = {"people": People, "detector": Detector, "sky": Sky, "light_log": LightLog}
    left = dict(overrides)
    for name, kind in groups.items():
        mine = {f.name: left.pop(f.name) for f in fields(kind) if f.name in left}
        parameters = replace(parameters, **{name: replace(getattr(parameters, name), **mine)})
    mine = {f.name: left.pop(f.name) for f in fields(Channel) if f.name in left}
    parameters = replace(parameters, channels=tuple(replace(c, **mine) for c in parameters.channels))
    unknown = set(left) - {f.name for f in fields(RoomParameters)}
    if unknown:
        raise ValueError(f"unknown overrides {sorted(unknown)}; see draw_parameters")
    return replace(parameters, **left)

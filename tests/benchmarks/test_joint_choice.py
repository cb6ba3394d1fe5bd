"""What hold-off and target chosen together cost in truth, beside one after the other.

``pytest -m benchmark -s tests/benchmarks/test_joint_choice.py``. Rooms in which the recommended target is far below the one in force, with loads at
which energy matters. Both ways end at the same target, the smallest that is enough; what differs is at which price of light the hold-off was
chosen. The truth is that of the same simulated room with that target set: nothing of ``tuning`` is in it. Rooms in which both ways choose the
same hold-off count as no difference.
"""

import numpy as np
import pytest

from tests.simulation import simulate, write_building
from tests.simulation.parameters import draw_parameters
from tests.simulation.room import generators
from tests.simulation.truth import truth_curve
from tuning.pipeline import analyse_folder

pytestmark = [pytest.mark.benchmark, pytest.mark.timeout(7200)]

USES = ("office", "open-plan office", "meeting room", "classroom", "reading room")
SEEDS = range(520_000, 520_110)
LEAST_ROOMS = 60
KNOWN = {"control": "dimmed", "spot_readings": True, "allowed_target_lx": (), "dims_p": 0.0, "documented": True}


def _over_lit(seed, use):
    """What is drawn for a room held near full output, or ``None`` where the seed draws another kind."""
    rng = np.random.default_rng(seed + 99)
    required, load_w = float(rng.choice([300.0, 500.0])), round(float(np.exp(rng.uniform(np.log(400), np.log(5000)))))
    drawn = {**KNOWN, "required_lx": required, "load_w": load_w}
    channels = simulate(seed, use, weeks=1, with_truth=False, **drawn).parameters["channels"]
    if len(channels) != 1 or channels[0]["lamp_lx"] * channels[0]["task_per_lamp"] < 1.3 * required:
        return None
    return drawn | {"target_lx": float(round(0.98 * channels[0]["lamp_lx"]))}


def _alone(folder, c):
    """Hold-off that is recommended where only the target in force may be set."""
    site = folder / "site.toml"
    line = f"target_lx = {c.current.target_lx}"
    text = site.read_text()
    assert text.count(line) == 1
    site.write_text(text.replace(line, f"{line}\nallowed_target_lx = [{c.current.target_lx}]"))
    (same,) = analyse_folder(folder).channels
    assert same.recommended.target_lx == same.current.target_lx == c.current.target_lx
    return same.recommended.hold_off_s


def _true_rates(seed, use, drawn, hold_off_s):
    """True nuisance and waste a week, and energy [kWh], of some hold-offs with a target set."""
    draw, _, truth = generators(seed, use)
    room = draw_parameters(draw, use, f"r{seed}", **drawn)
    rows = truth_curve(truth, room, tuple(sorted(map(int, hold_off_s))), weeks=6)
    at = {row["hold_off_s"]: (row["cost"], row["energy_kwh"]) for row in rows.iter_rows(named=True)}
    return [at[int(h)] for h in hold_off_s]


def test_together_costs_less_than_one_after_the_other(tmp_path):
    more, share, energy = [], [], []
    for i, seed in enumerate(SEEDS):
        use = USES[i % len(USES)]
        drawn = _over_lit(seed, use)
        if drawn is None:
            continue
        folder = tmp_path / str(i)
        write_building(simulate(seed, use, weeks=6, with_truth=False, **drawn), folder)
        (c,) = analyse_folder(folder).channels
        if c.recommended.target_lx == c.current.target_lx:
            continue
        together, apart = c.recommended.hold_off_s, _alone(folder, c)
        if together == apart:
            more.append(0.0)
            share.append(0.0)
            continue
        (a, used_kwh), (b, _) = _true_rates(
            seed, use, drawn | {"target_lx": c.recommended.target_lx}, (together, apart)
        )
        ((_, before_kwh),) = _true_rates(seed, use, drawn, (together,))
        before = next(p.energy_kwh for p in c.delay_curve if p.hold_off_s == together)
        # Of the share that is left, because six weeks with their people and their weather are not the long run.
        energy.append((c.recommended_rates.energy_kwh / before) / (used_kwh / before_kwh) - 1)
        more.append(a - b)
        share.append(a / b - 1)
        print(f"{use}: together {together:.0f} s, apart {apart:.0f} s: {more[-1]:+.3f} a week", flush=True)
    more, share = np.array(more), np.array(share)
    again = np.random.default_rng(1).choice(more.size, (4000, more.size))
    low, high = np.quantile(more[again].mean(axis=1), [0.025, 0.975])
    print(
        f"\n{more.size} rooms, another hold-off in {(more != 0).sum()}: cheaper in {(more < 0).sum()}, dearer in {(more > 0).sum()}"
    )
    print(
        f"together against apart: {more.mean():+.3f} EUR a week (95 % {low:+.3f} to {high:+.3f}), {share.mean():+.1%}"
    )
    print(
        f"share of the energy that is left under the recommended target, {len(energy)} rooms: off by {np.median(np.abs(energy)):.1%} "
        f"in the median, {np.abs(energy).max():.1%} at worst, {np.mean(energy):+.1%} on average"
    )
    assert more.size >= LEAST_ROOMS
    assert high <= 0

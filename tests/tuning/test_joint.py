"""Hold-off and target together: the surface against a walk through the gaps, and the pair that costs least."""

import numpy as np
import pytest

from tests.simulation import simulate, write_building
from tuning.export import channel_document
from tuning.gaps import Gaps
from tuning.joint import Response, cheapest_pair, response_of, surface
from tuning.light.circumstances import Circumstances
from tuning.light.lit_time import Loop
from tuning.pipeline import analyse_folder
from tuning.presence.spells import EDGES_S, Survival
from tuning.presence.stillness import Classified
from tuning.rates import Days, Rates
from tuning.results import LightResult, TargetPoint
from tuning.site import Channel

HOLD_S = np.array([120.0, 300.0, 900.0])
K, NOW_LX = 400.0, 500.0
WEEKS = 2.0


def room(control="dimmed", *, out_above=1.4, levels=12, count=400):
    """A channel with gaps of all lengths under a dozen levels of daylight, so that each collection holds one level only."""
    rng = np.random.default_rng(5)
    channel = Channel(load_w=200, standby_w=4, target_lx=NOW_LX, control=control)
    response = Response(channel, K, Loop(0.1, NOW_LX, out_above), NOW_LX)
    others = rng.choice(np.linspace(0, 900, levels), count)
    out = response.output(np.array([NOW_LX]), others)[:, 0]
    lit = (out > 0).astype(float)
    power = response.watts(out) * rng.uniform(0.8, 1.0, count)  # people dim below what the control would give
    still = rng.random(count)
    gaps = Gaps(
        np.arange(count) * 1_000_000,
        rng.exponential(600, count),
        np.zeros(count, np.int8),
        np.arange(count),
        np.arange(1, count + 1),
    )
    seen = Classified(still, still * 0.1, np.zeros(count), 5.0, 0.5, 0.0)
    around = Circumstances(lit, others, rng.random(count), power)
    return gaps, seen, around, response, others


def rates_of(gaps, seen, around):
    """Rates at the target in force, one gap after the other; one day of log that stands for two weeks."""
    empty_s, empty_ws, lit_s, lit_ws, count = walk(gaps, seen, around.lit, around.power_w)
    false_offs = np.array([[8.0, 3.0, 1.0]])
    hours = lit_s / 3600 / WEEKS
    return Rates(
        HOLD_S,
        false_offs,
        false_offs + count / WEEKS,
        empty_s[None] / 3600 / WEEKS,
        hours[None],
        empty_ws[None] / 3.6e6 / WEEKS,
        lit_ws[None] / 3.6e6 / WEEKS + 4 * (168 - hours[None]) / 1000,
        0.5,
        Survival((EDGES_S / 200)[None, :]),
        100.0,
        np.ones((1, 3)),
        np.ones((1, 3)),
        np.ones((1, 3)),
        Days(np.zeros(len(gaps), np.int64), np.ones((1, 1)), np.array([[WEEKS]])),
    )


def walk(gaps, seen, lit, watts):
    empty_s, empty_ws, lit_s, lit_ws, count = (np.zeros(3) for _ in range(5))
    for d, hold in enumerate(HOLD_S.tolist()):
        for i, gap in enumerate(gaps.gap_s.tolist()):
            length, absent = min(gap, hold) * lit[i], 1 - seen.p_still[i]
            empty_s[d] += absent * length
            empty_ws[d] += absent * length * watts[i]
            lit_s[d] += length
            lit_ws[d] += length * watts[i]
            count[d] += absent * lit[i] * (gap > hold)
    return empty_s, empty_ws, lit_s, lit_ws, count


def walked(made, target):
    """Wasted hours, wasted and whole energy a week under a target, by hand: lamps are dimmed, put out or lit one gap after the other."""
    gaps, seen, around, response, others = made
    lit, watts = np.zeros(len(gaps)), np.zeros(len(gaps))
    for i, other in enumerate(others.tolist()):
        then = response.output(np.array([target]), np.array([other]))[0, 0]
        now = response.output(np.array([NOW_LX]), np.array([other]))[0, 0]
        lit[i] = then > 0
        watts[i] = around.power_w[i] + response.watts(np.array(then)) - response.watts(np.array(now))
        if now == 0:
            watts[i] = response.watts(np.array(then))
    empty_s, empty_ws, lit_s, lit_ws, _ = walk(gaps, seen, lit, watts)
    return (
        empty_s / 3600 / WEEKS,
        empty_ws / 3.6e6 / WEEKS,
        lit_ws / 3.6e6 / WEEKS + 4 * (168 - lit_s / 3600 / WEEKS) / 1000,
    )


@pytest.mark.parametrize("target", [150.0, 320.0, 650.0])
@pytest.mark.parametrize("control", ["dimmed", "switched"])
def test_every_pair_equals_a_walk_through_the_gaps(control, target):
    made = room(control)
    gaps, seen, around, response, others = made
    pairs = surface(gaps, seen, around, rates_of(gaps, seen, around), response=response, others_lx=others)

    then = pairs.at(target)

    wasted_h, wasted_kwh, energy_kwh = walked(made, target)
    assert then.wasted_on_h[0] == pytest.approx(wasted_h, rel=1e-9)
    assert then.wasted_kwh[0] == pytest.approx(wasted_kwh, rel=1e-9)
    assert then.energy_kwh[0] == pytest.approx(energy_kwh, rel=1e-9)


def test_nothing_is_modelled_at_the_target_in_force():
    gaps, seen, around, response, others = room()
    rates = rates_of(gaps, seen, around)

    assert surface(gaps, seen, around, rates, response=response, others_lx=others).at(NOW_LX) is rates


def test_where_daylight_puts_the_lamps_out_nobody_is_left_in_the_dark():
    """Switched light, wanted below 150 lx instead of 500: only stillness under less daylight than that can be hurt."""
    made = room("switched")
    gaps, seen, around, response, others = made
    pairs = surface(gaps, seen, around, rates_of(gaps, seen, around), response=response, others_lx=others)

    stillness = seen.p_still * around.minds * around.lit * gaps.gap_s
    share = stillness[others < 150].sum() / stillness.sum()
    assert pairs.at(150.0).false_offs[0] == pytest.approx(share * np.array([8.0, 3.0, 1.0]))


def test_false_offs_that_daylight_spares_may_be_counted_all_the_same():
    made = room("switched")
    gaps, seen, around, response, others = made
    now = rates_of(gaps, seen, around)
    then = surface(gaps, seen, around, now, response=response, others_lx=others).at(150.0)

    counted = then.no_fewer_false_offs(now)

    assert counted.false_offs[0] == pytest.approx(now.false_offs[0])
    assert (counted.switch_offs - counted.false_offs)[0] == pytest.approx((then.switch_offs - then.false_offs)[0])
    assert counted.wasted_kwh is then.wasted_kwh
    assert now.no_fewer_false_offs(then).false_offs[0] == pytest.approx(now.false_offs[0])


def test_the_cost_of_a_pair_is_that_of_its_column():
    gaps, seen, around, response, others = room()
    pairs = surface(gaps, seen, around, rates_of(gaps, seen, around), response=response, others_lx=others)
    targets = np.array([150.0, 320.0, NOW_LX, 650.0])

    cost = pairs.expected(targets).cost(per_false_off=0.5, price=0.3, index=1)

    total = [
        r.false_offs[0] * 0.5 + r.wasted_kwh[0] * 0.3 + (r.energy_kwh - r.wasted_kwh)[0, 1] * 0.3
        for r in map(pairs.at, targets.tolist())
    ]
    # standby of the unlit hours flows under every pair
    assert cost - cost[1, 2] == pytest.approx(np.stack(total, axis=1) - total[2][1])


def test_cheaper_light_pays_for_a_longer_hold_off():
    """One false-off fewer a week is worth an hour of light at 150 lx, not at 500 lx."""
    gaps, seen, around, response, others = room(out_above=np.inf)
    pairs = surface(gaps, seen, around, rates_of(gaps, seen, around), response=response, others_lx=others)
    every = np.ones(3, dtype=bool)

    def best(target, per_false_off):
        expected = pairs.expected(np.array([target]))
        return cheapest_pair(expected.cost(per_false_off=per_false_off, price=1.0, index=1), every)[0]

    lengthened = [p for p in np.geomspace(0.01, 2, 60).tolist() if best(150.0, p) > best(NOW_LX, p)]
    shortened = [p for p in np.geomspace(0.01, 2, 60).tolist() if best(150.0, p) < best(NOW_LX, p)]
    assert lengthened
    assert not shortened


def test_the_cheapest_pair_is_sought_among_what_may_be_set():
    cost = np.array([[1.0, 2.0], [3.0, 2.5], [4.0, 5.0]])
    assert cheapest_pair(cost, np.array([True, True, True])) == (0, 0)
    assert cheapest_pair(cost, np.array([False, True, True])) == (1, 1)


def test_without_a_target_in_force_there_is_no_pair():
    light = LightResult(electric_lx_at_full=300.0, target_curve=(TargetPoint(300, 1, 0, 0),))
    assert response_of(light, Channel()) is None
    assert response_of(light, Channel(target_lx=300)) is not None


def told_of(made, folder):
    write_building(made, folder)
    return analyse_folder(folder).channels[0]


@pytest.fixture(scope="module")
def bright(tmp_path_factory):
    """Switched light of a room that this season's daylight fills, wanted on below far more than is needed, with luxmeter readings."""
    made = simulate(
        23, "open-plan office", weeks=3, hold_off_s=600, with_truth=False, control="switched", spot_readings=True, windows=True, target_lx=900.0,
        lamp_lx=500.0, task_per_lamp=1.3, task_per_daylight=1.3, required_lx=500.0, allowed_target_lx=(), dims_p=0.0, motion_form="events",
        documented=True, own_detectors=True, daylight_off=False, daylight_factor=0.02, beam_factor=0.001, dead_band_lx=600.0, mode="auto-on",
    )  # fmt: skip
    return told_of(made, tmp_path_factory.mktemp("bright"))


def test_a_target_that_lets_daylight_put_the_lamps_out_shortens_no_hold_off(bright):
    """In darker months they burn, and a hold-off chosen for the few dark hours of this log would leave people in the dark."""
    c = bright
    assert c.recommended.target_lx < c.current.target_lx
    point = next(p for p in c.delay_curve if p.hold_off_s == c.recommended.hold_off_s)
    assert point.false_offs > 0.01, "a question at all"
    assert c.recommended_rates.false_offs >= point.false_offs * (1 - 1e-9)
    assert c.recommended_rates.energy_kwh < 0.9 * point.energy_kwh


@pytest.fixture(scope="module")
def over_lit(tmp_path_factory):
    """A room held at twice what it needs, with luxmeter readings."""
    made = simulate(
        17, "office", weeks=4, hold_off_s=300, with_truth=False, control="dimmed", spot_readings=True, windows=True, target_lx=900.0,
        lamp_lx=1100.0, task_per_lamp=1.2, allowed_target_lx=(), dims_p=0.0, motion_form="events", documented=True, own_detectors=True,
        daylight_off=False, daylight_factor=0.004, beam_factor=0.0005,
    )  # fmt: skip
    return told_of(made, tmp_path_factory.mktemp("over_lit"))


def test_the_rates_recommended_are_those_of_both_settings(over_lit):
    c = over_lit
    assert c.decision in ("change", "trial")
    assert c.recommended.target_lx < c.current.target_lx
    point = next(p for p in c.delay_curve if p.hold_off_s == c.recommended.hold_off_s)
    then = c.recommended_rates
    # the lower target changes no movement: as many false-offs and lit hours as under that hold-off alone, at less energy
    assert then.false_offs == pytest.approx(point.false_offs)
    assert then.wasted_on_h == pytest.approx(point.wasted_on_h)
    assert then.cost < point.cost
    assert then.energy_kwh < point.energy_kwh
    assert c.worth_per_week == pytest.approx(c.current_rates.cost - then.cost + c.target_saving)
    assert c.target_saving > 0


def test_other_programs_read_what_is_known_of_the_light(over_lit):
    light = channel_document(over_lit)["light"]
    assert light["calibrated"]
    assert light["required_lx"] == over_lit.light.required_lx
    assert light["enough_target_lx_low"] <= light["enough_target_lx"] <= light["enough_target_lx_high"]
    assert [m["month"] for m in light["months"]] == list(range(1, 13))
    assert sum(m["energy_kwh"] for m in light["months"]) == pytest.approx(light["yearly_kwh"], rel=0.01)

"""What may be recommended, and when to change at all."""

import numpy as np
import pytest

from tests.building import SITE, office_days, write
from tuning.decision import FAR_BEYOND, allowed_candidates, choose, farthest_s
from tuning.pipeline import analyse_folder
from tuning.room_uses import ROOM_USES

HOLD_S = np.array([60.0, 120.0, 300.0, 600.0, 900.0])


def draws(expected, spread=0.0, n=200):
    """Cost draws around an expectation, each candidate by itself."""
    rng = np.random.default_rng(1)
    return np.array(expected) + spread * rng.standard_normal((n, len(expected)))


def pick(cost, *, current=2, in_force_s=300.0, allowed=None, **more):
    given = {
        "allowed": np.ones(len(HOLD_S), dtype=bool) if allowed is None else allowed,
        "current": current,
        "in_force_s": in_force_s,
        "ceiling": None,
        "visit_cost": 1.0,
        "usable_days": 42.0,
        "motions": 5000,
    }
    return choose(cost, np.zeros_like(cost), HOLD_S, **(given | more))


def test_the_floor_the_list_and_the_code_limit_bound_what_may_be_recommended():
    allowed = allowed_candidates(HOLD_S, np.array([60.0, 300.0, 600.0, 900.0]), floor_s=120, code_limit_s=600)

    assert HOLD_S[allowed].tolist() == [300, 600]


def test_the_least_expected_cost_wins():
    choice = pick(draws([9, 5, 8, 7, 6], spread=0.1))

    assert (choice.decision, HOLD_S[choice.index]) == ("change", 120)
    assert choice.saving == pytest.approx(3, abs=0.1)


def test_no_better_setting_means_keep():
    assert pick(draws([9, 9, 5, 7, 8])).decision == "keep"


def test_a_saving_that_is_not_sure_is_left():
    choice = pick(draws([9, 4.9, 5, 9, 9], spread=3.0))

    assert (choice.decision, HOLD_S[choice.index]) == ("keep", 300)
    assert choice.p_better < 0.9


def test_a_saving_that_does_not_pay_for_the_visit_is_left():
    cost = draws([9, 4.9, 5, 9, 9])

    assert pick(cost, visit_cost=1.0).decision == "change"
    assert pick(cost, visit_cost=10.0).decision == "keep"


def test_whoever_changes_something_in_the_room_anyway_sets_what_would_not_pay_for_a_visit_too():
    """4 a week saved and a visit of 250, which is 4.8 a week; not where hardly anything is saved, and no trial, which brings a visit of its own."""
    sure, far = draws([9, 1, 5, 9, 9]), draws([9, 9, 5, 9, 1])

    assert pick(sure, visit_cost=250.0).decision == "keep"
    along = pick(sure, visit_cost=250.0, due=True)
    assert (along.decision, HOLD_S[along.index]) == ("change", 120)
    assert pick(sure, visit_cost=2500.0, due=True).decision == "keep"
    assert pick(draws([9, 4.9, 5, 9, 9], spread=3.0), due=True).decision == "keep"
    assert pick(far, visit_cost=250.0, due=True).decision == "keep"
    assert pick(far, visit_cost=200.0, due=True).decision == "trial"


def two_channels(folder, *, visit):
    """Nobody is bothered, so the shortest hold-off is best for a large load and for a smaller one beside it."""
    log = office_days()
    small = [row | {"channel": "small"} for row in log if row["quantity"] == "output"]
    site = SITE.replace("[rooms.a]", f"cost_per_false_off = 0.0\ncost_per_visit = {visit}\n[rooms.a]", 1)
    site = site.replace("load_w = 200", "load_w = 2000")
    site += "[rooms.a.channels.small]\nload_w = 100\nhold_off_s = 300\ntarget_lx = 500\n"
    folder.mkdir()
    return analyse_folder(write(folder, log + small, site=site)).channels


def test_the_small_load_beside_a_large_one_is_set_on_the_same_visit(tmp_path):
    large, small = two_channels(tmp_path / "both", visit=30.0)
    assert [c.recommended.hold_off_s for c in (large, small)] == [60, 60]
    assert small.terms.due
    assert any("something else in the room changes anyway" in reason for reason in small.reasons)
    assert not any("anyway" in reason for reason in large.reasons)

    # A setting that may not stand goes by itself: nobody says that something else brings somebody there.
    log = office_days(hold_off_s=60)
    site = SITE.replace('use = "office"', 'use = "stairs"').replace("hold_off_s = 300", "hold_off_s = 60")
    site = site.replace("[rooms.a]", "cost_per_visit = 30000.0\n[rooms.a]", 1)
    (tmp_path / "stairs").mkdir()
    (alone,) = analyse_folder(write(tmp_path / "stairs", log, site=site)).channels
    assert alone.decision == "change"
    assert not any("anyway" in reason for reason in alone.reasons)

    neither = two_channels(tmp_path / "neither", visit=3000.0)
    assert [(c.decision, c.recommended.hold_off_s, c.terms.due) for c in neither] == [("keep", 300, False)] * 2


def test_a_setting_that_may_not_stand_is_changed_even_at_a_cost():
    choice = pick(draws([9, 9, 5, 7, 8]), allowed=HOLD_S >= 600)

    assert (choice.decision, HOLD_S[choice.index]) == ("change", 600)


def test_a_short_log_changes_nothing():
    choice = pick(draws([9, 1, 8, 9, 9]), usable_days=5.0)

    assert (choice.decision, choice.index) == ("more-data", 2)


def test_far_beyond_the_log_is_a_trial():
    assert HOLD_S[4] > FAR_BEYOND * 300
    assert pick(draws([90, 80, 50, 9, 2])).decision == "trial"
    assert pick(draws([90, 80, 50, 2, 9])).decision == "change"


@pytest.mark.parametrize(
    ("in_force_s", "reactions", "longest_s"),
    [(60.0, 10, 600), (180.0, 10, 600), (300.0, 10, 1200), (np.inf, 0, 1800), (180.0, 300, 1800)],
)
def test_no_trial_goes_farther_than_the_log_foretells(in_force_s, reactions, longest_s):
    """From 3 min nobody is sent to 30 for a few reactions: the log of a trial of 10 min will tell whether that is needed."""
    hold_off_s = np.array([60.0, 180.0, 300.0, 600.0, 1200.0, 1800.0])
    cost = draws([90, 70, 60, 50, 9, 2])
    current = None if np.isinf(in_force_s) else int(np.flatnonzero(hold_off_s == in_force_s)[0])
    given = {"current": current, "in_force_s": in_force_s, "reach_s": farthest_s(in_force_s, reactions)}
    given |= {"ceiling": None, "visit_cost": 1.0, "usable_days": 42.0, "motions": 5000}

    choice = choose(cost, cost, hold_off_s, allowed=np.ones(6, dtype=bool), **given)
    only = choose(cost, cost, hold_off_s, allowed=hold_off_s == 1800, **given)

    assert hold_off_s[choice.index] == longest_s
    assert hold_off_s[only.index] == 1800


def test_a_ceiling_on_false_offs_comes_before_cost():
    cost = draws([1, 2, 3, 4, 5])
    false_offs = draws([50, 20, 8, 4, 1])

    choice = choose(
        cost, false_offs, HOLD_S, allowed=np.ones(5, dtype=bool), current=0, in_force_s=60.0, ceiling=5.0, visit_cost=1.0,
        usable_days=42.0, motions=5000,
    )  # fmt: skip

    assert HOLD_S[choice.index] == 600


@pytest.mark.parametrize("use", ["workshop", "stairs", "plant room", "kitchen"])
def test_nothing_is_recommended_below_the_safety_floor_of_the_use(tmp_path, use):
    # Dear light, and false-offs that cost nothing: money alone would ask for the shortest hold-off.
    site = SITE.replace('use = "office"', f'use = "{use}"').replace(
        "[rooms.a]", "cost_per_false_off = 0.0\n[rooms.a]", 1
    )
    channel = analyse_folder(write(tmp_path, office_days(), site=site)).channels[0]
    floor_s = ROOM_USES[use].minimum_hold_off_s

    assert floor_s > min(p.hold_off_s for p in channel.delay_curve)
    assert channel.recommended.hold_off_s >= floor_s
    assert not any(p.allowed for p in channel.delay_curve if p.hold_off_s < floor_s)


def test_money_alone_asks_for_the_shortest_where_no_floor_forbids_it(tmp_path):
    site = SITE.replace("[rooms.a]", "cost_per_false_off = 0.0\n[rooms.a]", 1)

    assert analyse_folder(write(tmp_path, office_days(), site=site)).channels[0].recommended.hold_off_s == 60


def test_a_hold_off_in_force_below_the_floor_is_named_and_lengthened(tmp_path):
    site = SITE.replace('use = "office"', 'use = "workshop"').replace("hold_off_s = 300", "hold_off_s = 120")
    channel = analyse_folder(write(tmp_path, office_days(hold_off_s=120), site=site)).channels[0]

    assert "below-floor" in {f.code for f in channel.findings}
    assert channel.recommended.hold_off_s >= ROOM_USES["workshop"].minimum_hold_off_s

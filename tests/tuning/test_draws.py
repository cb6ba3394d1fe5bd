"""What is kept of the resamples says the same as the delay curve that was made from them."""

import numpy as np
import pytest

from tuning.schemas import DRAWS


def test_costs_of_the_kept_draws_are_those_the_choice_was_made_by(demo):
    for c in demo.channels:
        assert c.draws.schema == DRAWS
        assert c.draws["hold_off_s"].to_list() == [p.hold_off_s for p in c.delay_curve]
        false, wasted = (np.array(c.draws[n].to_list()) for n in ("false_offs", "wasted_kwh"))
        cost = false * demo.cost_per_false_off + wasted * demo.electricity_price
        # What is tried out is tried at the recommended target. Draws are kept in single precision: seven digits.
        wanted = c.cost_at_target or [p.cost for p in c.delay_curve]
        assert cost.mean(axis=1) == pytest.approx(wanted, rel=1e-5, abs=1e-6)


def test_a_change_says_how_sure_it_is_and_what_stays_says_nothing(demo):
    by_name = {f"{c.room}/{c.channel}": c for c in demo.channels}

    assert by_name["reading_room/wall"].sure is None
    corridor = by_name["corridor/ceiling"]
    assert corridor.sure.p_better >= 0.9
    saving = corridor.current_rates.cost - corridor.recommended_rates.cost
    assert corridor.sure.saving_low <= saving <= corridor.sure.saving_high

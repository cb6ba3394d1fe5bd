"""How late a movement may still be a reaction, and what the recommendation owes to it."""

import numpy as np

from tests.building import office_days, write
from tuning.gaps import ENDED_BY_MOTION, Gaps
from tuning.pipeline import analyse_folder
from tuning.presence.stillness import Classified
from tuning.window import by_window, within

HOLD = np.full(4, 300.0)


def four_pauses():
    """Pauses that end 5, 45, 80 and 3000 s after the switch-off; the first three are called reactions."""
    length = 300.0 + np.array([5.0, 45.0, 80.0, 3000.0])
    index = np.arange(4)
    gaps = Gaps(index * 10_000_000_000, length, np.full(4, ENDED_BY_MOTION, dtype=np.int8), index, index + 1)
    return gaps, Classified(np.array([1, 1, 1, 0.1]), np.array([1, 1, 0.9, 0]), np.zeros(4), 5.0, 0.6, 2.9)


def test_what_comes_after_the_window_was_nobody():
    gaps, seen = four_pauses()

    narrowed = within(seen, gaps, HOLD, window_s=60.0)

    assert narrowed.p_false.tolist() == [1, 1, 0, 0]
    np.testing.assert_allclose(narrowed.p_still, [1, 1, 0.1, 0.1])
    assert narrowed.reactions == 2


def test_a_window_beyond_all_reactions_changes_nothing():
    gaps, seen = four_pauses()

    assert within(seen, gaps, HOLD, window_s=120.0) is seen


def test_each_window_is_worked_out_again_only_where_it_cuts_something_off():
    gaps, seen = four_pauses()
    asked = []

    def again(narrowed):
        asked.append(narrowed.reactions)
        return narrowed.reactions

    picks = by_window(seen, gaps, HOLD, rates=9.0, again=again, best=lambda r: 100.0 * r)

    assert asked == [1.0, 2.0]
    assert picks == ((30.0, 100.0), (60.0, 200.0), (120.0, 900.0))


def test_the_recommendation_of_a_folder_shows_all_three_windows(tmp_path):
    channel = analyse_folder(write(tmp_path, office_days())).channels[0]

    assert [w for w, _ in channel.sensitivity.by_window_s] == [30.0, 60.0, 120.0]
    assert {h for _, h in channel.sensitivity.by_window_s} <= {p.hold_off_s for p in channel.delay_curve if p.allowed}


def test_the_reasons_count_over_the_whole_log_and_say_what_would_have_been(tmp_path):
    channel = analyse_folder(write(tmp_path, office_days())).channels[0]
    first, second = channel.reasons[:2]

    assert first.startswith(f"In 1.9 weeks the light went off {len(channel.switch_offs)} times at 5 min; ")
    assert "still in the room" in first
    if channel.recommended.hold_off_s != channel.current.hold_off_s:
        assert "it would have been" in second


def test_a_channel_may_price_its_own_false_offs(tmp_path):
    site = (tmp_path / "a", tmp_path / "b")
    for folder, own in zip(site, ("", "cost_per_false_off = 0.0\n"), strict=True):
        folder.mkdir()
        write(folder, office_days())
        path = folder / "site.toml"
        path.write_text(path.read_text(encoding="utf-8") + own, encoding="utf-8")
    dear, free = (analyse_folder(folder).channels[0] for folder in site)

    assert dear.cost_per_false_off == 0.35
    assert free.cost_per_false_off == 0.0
    assert free.recommended.hold_off_s <= dear.recommended.hold_off_s
    assert free.delay_curve[0].cost < dear.delay_curve[0].cost

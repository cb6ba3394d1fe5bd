"""False-offs from sampled logs: the truth is the simulator's, or drawn here."""

import json

import numpy as np
import polars as pl
import pytest
from typer.testing import CliRunner

from tests.simulation.building import write_building
from tests.simulation.room import simulate
from tuning import pipeline
from tuning.channel import steps
from tuning.cli import app
from tuning.gaps import find_gaps
from tuning.motion import US, MotionLog
from tuning.sampled_pauses import as_they_were, telling_from_s

PLAIN = {"mode": "auto-on", "documented": True, "windows": False, "stray_per_day": 0.0, "room": "r1"}
OFFICE = {"seed": 2100010, "use": "office", "weeks": 6, "hold_off_s": 300}


def analyse(folder, *, motion_s, output_s, with_truth=False, **changes):
    """One channel of a simulated room whose motion and output are sampled so often (0: by event), and its truth at the hold-off in force."""
    room_of = OFFICE | changes
    logged = {
        "motion_form": "sampled" if motion_s else "events",
        "motion_sample_s": float(motion_s or 60),
        "output_sample_s": float(output_s),
    }
    truth_at = {"truth_at_s": (room_of["hold_off_s"],)} if with_truth else {"with_truth": False}
    room = simulate(room_of.pop("seed"), room_of.pop("use"), **room_of, **PLAIN, **logged, **truth_at)
    write_building([room], folder)
    truth = room.truth_curve.row(0, named=True) if with_truth else None
    return pipeline.analyse_folder(folder).channels[0], truth


def in_force(channel):
    return next(p for p in channel.delay_curve if p.hold_off_s == channel.current.hold_off_s)


@pytest.fixture(scope="module")
def by_event(tmp_path_factory):
    return analyse(tmp_path_factory.mktemp("events"), motion_s=0, output_s=0, with_truth=True)


@pytest.mark.parametrize("output_s", [0, 60])
def test_movement_sampled_by_the_minute_tells_how_often_people_are_left_in_the_dark(by_event, tmp_path, output_s):
    channel, truth = by_event[0], by_event[1]["false_offs"]
    sampled, _ = analyse(tmp_path, motion_s=60, output_s=output_s)

    assert truth > 5
    assert in_force(channel).false_offs == pytest.approx(truth, rel=0.3)
    assert sampled.current.hold_off_s == 300
    assert in_force(sampled).false_offs == pytest.approx(truth, rel=0.5)
    assert in_force(sampled).false_offs_low <= truth <= in_force(sampled).false_offs_high


def test_recorded_pauses_taken_as_they_are_would_hide_nearly_all_of_them(by_event, tmp_path, monkeypatch):
    monkeypatch.setattr(steps, "as_they_were", lambda gaps, *_, **__: gaps)

    sampled, _ = analyse(tmp_path, motion_s=60, output_s=60)

    assert in_force(sampled).false_offs < by_event[1]["false_offs"] / 4


def test_nobody_is_found_in_the_dark_where_nobody_was(tmp_path):
    sampled, truth = analyse(tmp_path, motion_s=60, output_s=60, hold_off_s=1200, with_truth=True)

    assert truth["false_offs"] < 0.1
    assert in_force(sampled).false_offs < 0.5


@pytest.mark.parametrize("hold_off_s", [180, 300, 1200])
def test_a_log_that_samples_every_five_minutes_says_that_it_cannot_tell(tmp_path, hold_off_s):
    sampled, _ = analyse(tmp_path, motion_s=300, output_s=300, hold_off_s=hold_off_s)

    assert sampled.decision == "more-data"
    assert sampled.current.hold_off_s == sampled.recommended.hold_off_s == hold_off_s
    found = next(f for f in sampled.findings if f.code == "sampled-too-coarsely")
    assert found.evidence["resolution_s"] == 300
    assert found.message in sampled.reasons
    assert sampled.delay_curve == ()
    assert sampled.current_rates is None
    assert sampled.recommended_rates is None


def test_what_cannot_be_told_is_written_without_figures(tmp_path):
    analyse(tmp_path, motion_s=300, output_s=300, hold_off_s=300)
    out = tmp_path / "told.json"

    done = CliRunner().invoke(app, ["recommend", str(tmp_path), "--json", str(out)])

    assert done.exit_code == 0, done.output
    told = json.loads(out.read_text())
    channel = told["channels"][0]
    assert channel["decision"] == "more-data"
    assert channel["per_week"] == {"current": None, "recommended": None}
    # There is movement to look at all the same.
    assert CliRunner().invoke(app, ["check", str(tmp_path)]).exit_code == 0


def test_an_event_log_never_comes_near_what_mends_samples(tmp_path, monkeypatch):
    """To the last digit: the same with the mending taken out."""
    as_is, _ = analyse(tmp_path / "a", motion_s=0, output_s=0, weeks=2)

    def never(*_, **__):
        raise AssertionError("an event log was taken for samples")

    monkeypatch.setattr("tuning.sampled_pauses._drawn", never)
    monkeypatch.setattr("tuning.sampled_pauses._Edges", never)
    monkeypatch.setattr(steps, "with_people_placed", lambda gaps, *_, **__: gaps)
    monkeypatch.setattr("tuning.presence.stillness._hidden_reactions", lambda gaps, *_, **__: np.zeros(len(gaps)))
    monkeypatch.setattr("tuning.presence.stillness._coarse", lambda gaps, _: np.zeros(len(gaps), dtype=bool))
    without, _ = analyse(tmp_path / "b", motion_s=0, output_s=0, weeks=2)

    assert without.delay_curve == as_is.delay_curve
    assert without.reasons == as_is.reasons
    assert without.switch_offs.equals(as_is.switch_offs)


@pytest.mark.parametrize(
    ("kind", "sample_s", "least_s"),
    [
        ("events", 0.0, 0.0),
        ("samples", 30.0, 90.0),
        ("samples", 60.2, 180.6),
        ("samples", 120.0, 600.0),
        ("samples", 300.0, np.inf),
    ],
)
def test_the_coarser_the_samples_the_longer_must_the_hold_off_in_force_be(kind, sample_s, least_s):
    nothing = np.empty(0, dtype=np.int64)

    assert telling_from_s(
        MotionLog(nothing, nothing, np.empty((0, 2), dtype=np.int64), kind, sample_s, 1)
    ) == pytest.approx(least_s)


def test_a_press_to_off_is_not_taken_for_the_hold_off_of_a_sampled_output(tmp_path):
    """A press to off is no switch-off by the hold-off, though a sampled output shows the dark up to a minute later."""
    pressing = {"leave_off_p": 0.9, "hold_off_s": 1200, "use": "copy room", "seed": 7}
    found, _ = analyse(tmp_path, motion_s=60, output_s=60, **pressing)

    assert found.observed_hold_off_s in (None, pytest.approx(1200, abs=60))
    assert found.current.hold_off_s == 1200


def sampled_log(moved_s, step_s, span_s):
    """Movements as a motion log that samples."""
    edges = np.arange(0.0, span_s + step_s, step_s)
    start = np.round(edges[:-1][np.histogram(moved_s, edges)[0] > 0] * US).astype(np.int64)
    step = round(step_s * US)
    first = np.append(True, np.diff(start) > step)
    last = np.append(first[1:], True)
    covered = np.array([[0, round(span_s * US)]], dtype=np.int64)
    return MotionLog(start[first], start[last] + step, covered, "samples", step_s, 1)


@pytest.mark.parametrize("family", ["exponential", "heavy"])
def test_drawn_pauses_outlast_a_hold_off_as_often_as_true_ones(family):
    rng = np.random.default_rng(3)
    pauses = rng.exponential(90.0, 60_000) if family == "exponential" else 20.0 * (rng.pareto(1.6, 60_000) + 0.05)
    pauses = pauses[pauses < 7200]
    moved = np.cumsum(pauses)
    motion = sampled_log(moved, 60.0, float(moved[-1]) + 60.0)
    recorded = find_gaps(motion)
    nothing = pl.DataFrame(schema={"time": pl.Datetime("us", "UTC"), "value": pl.Float64})

    drawn = as_they_were(recorded, motion, output=nothing, hold_off_s=np.full(len(recorded), np.inf), seed=1)

    for length_s in (180.0, 240.0, 300.0, 420.0):
        true = (pauses > length_s).sum()
        assert (drawn.gap_s > length_s).sum() == pytest.approx(true, rel=0.1)
        assert (recorded.gap_s > length_s).sum() < 0.8 * true


def test_the_output_tells_to_the_second_when_somebody_moved():
    """Two movements 304 s apart, a hold-off of 300 s, light logged as it changes."""
    moved = np.array([10.0, 314.0, 330.0])
    motion = sampled_log(moved, 60.0, 4000.0)
    gaps = find_gaps(motion)
    when = np.array([10.0, 310.0, 314.0, 630.0])
    output = pl.DataFrame(
        {
            "time": pl.Series(np.round(when * US).astype(np.int64)).cast(pl.Datetime("us", "UTC")),
            "value": [100.0, 0, 100, 0],
        }
    )

    drawn = as_they_were(gaps, motion, output=output, hold_off_s=np.full(len(gaps), 300.0), seed=1)

    assert gaps.gap_s[0] == 240
    assert drawn.gap_s[0] == pytest.approx(304)
    assert drawn.told[0]

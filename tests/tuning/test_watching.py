"""Drift of a room since its reference days: what is called, since when, and what is let pass."""

import datetime as dt

import numpy as np
import polars as pl
import pytest

from tuning.watching import watch_room
from tuning.watching.daily import DAILY, LENGTH_EDGES_S
from tuning.watching.drift import Series, find_change, limit_of

FIRST = dt.date(2026, 1, 5)
LENGTHS = len(LENGTH_EDGES_S) - 1
REFERENCE_TO = FIRST + dt.timedelta(days=42)


def quiet_days(seed: int, days: int = 120) -> pl.DataFrame:
    """Days of a room used from Monday to Friday, with nothing changing."""
    rng = np.random.default_rng(seed)
    day = [FIRST + dt.timedelta(days=i) for i in range(days)]
    works = np.array([d.weekday() < 5 for d in day])
    pauses = np.where(works, rng.poisson(400, days), np.nan)
    return pl.DataFrame(
        {
            "day": day,
            "presence_h": np.where(works, rng.normal(7, 1, days).clip(1), 0.0),
            "visits": np.where(works, rng.poisson(9, days), 0).astype(float),
            "stillness_s": 12 * np.exp(rng.normal(0, 0.06, days)) + 0 * pauses,
            "pauses": pauses,
            "pauses_by_length": [rng.poisson(6.0 * w, LENGTHS).astype(float).tolist() for w in works],
            "lamp_lx": 400 * np.exp(rng.normal(0, 0.02, days)),
            "night_triggers": np.zeros(days),
            "lone_triggers": rng.poisson(0.5, days).astype(float),
        },
        schema=DAILY,
    ).fill_nan(None)


def changed(frame: pl.DataFrame, column: str, from_day: int, factor: float = 1.0, plus: float = 0.0) -> pl.DataFrame:
    later = pl.col("day") >= FIRST + dt.timedelta(days=from_day)
    return frame.with_columns(pl.when(later).then(pl.col(column) * factor + plus).otherwise(pl.col(column)))


@pytest.mark.parametrize(
    ("column", "factor", "plus", "kind"),
    [
        ("stillness_s", 2.0, 0.0, "stillness"),
        ("lamp_lx", 0.8, 0.0, "lamps"),
        ("night_triggers", 1.0, 9.0, "faults"),
        ("presence_h", 0.4, 0.0, "occupancy"),
    ],
)
def test_a_change_is_found_within_three_weeks_and_dated(column, factor, plus, kind):
    days = changed(quiet_days(1), column, 70, factor, plus).head(91)

    found = watch_room("r1", {"main": days}, reference_to=REFERENCE_TO).drifts

    assert [d.kind for d in found] == [kind]
    (drift,) = found
    began = FIRST + dt.timedelta(days=70)
    assert drift.since_low <= began <= drift.since_high
    assert began <= drift.found
    assert drift.lasting
    assert drift.after == pytest.approx(drift.before * factor + plus, rel=0.15, abs=0.5)
    assert drift.unit in drift.message


def test_days_without_change_bring_about_as_many_alarms_as_stated():
    # 40 years of 78 days each; one a year stated, so about 8.5 expected and 17 a sign of a broken limit.
    alarms = sum(
        bool(watch_room(f"r{s}", {"main": quiet_days(s)}, reference_to=REFERENCE_TO).drifts) for s in range(40)
    )

    assert alarms <= 16


def test_two_weeks_of_holidays_are_no_drift():
    closed = pl.col("day").is_between(FIRST + dt.timedelta(days=70), FIRST + dt.timedelta(days=83))
    empty = {"presence_h": 0.0, "visits": 0.0, "stillness_s": None, "pauses": None}
    days = quiet_days(3).with_columns(
        pl.when(closed).then(pl.lit(v, dtype=pl.Float64)).otherwise(pl.col(k)).alias(k) for k, v in empty.items()
    )

    assert watch_room("r1", {"main": days}, reference_to=REFERENCE_TO).drifts == ()


def test_what_came_and_went_is_said_to_be_over():
    days = changed(changed(quiet_days(4), "night_triggers", 60, plus=12.0), "night_triggers", 80, plus=-12.0)

    (drift,) = watch_room("r1", {"main": days}, reference_to=REFERENCE_TO).drifts

    assert not drift.lasting
    assert "as before again" in drift.message


def test_what_came_and_went_does_not_hide_what_comes_later():
    odd = changed(changed(quiet_days(4), "lamp_lx", 50, 0.8), "lamp_lx", 60, 1 / 0.8)
    days = changed(odd, "lamp_lx", 100, 0.8)

    (drift,) = watch_room("r1", {"main": days}, reference_to=REFERENCE_TO).drifts

    began = FIRST + dt.timedelta(days=100)
    assert drift.lasting
    assert drift.since_low <= began <= drift.since_high
    assert drift.found >= began
    assert drift.first_found is not None
    assert FIRST + dt.timedelta(days=50) <= drift.first_found < FIRST + dt.timedelta(days=60)


def test_too_few_reference_days_are_said_and_not_watched():
    days = quiet_days(5).with_columns(
        lamp_lx=pl.when(pl.col("day") < REFERENCE_TO - dt.timedelta(days=5)).then(None).otherwise(pl.col("lamp_lx"))
    )

    watched = watch_room("r1", {"main": days}, reference_to=REFERENCE_TO)

    assert not any(s.startswith("lamps") for s in watched.statistics)
    assert any(s.startswith("lamps") for s in watched.blind)


def test_a_stricter_rate_gives_a_higher_limit():
    days = np.arange(42)
    values = np.random.default_rng(0).normal(size=42)
    series = Series(days, days % 7, values, np.ones(42), 0.1)

    low, high = (limit_of(series, reference_to=42, rate_per_year=r, rng=np.random.default_rng(1)) for r in (1.0, 0.1))

    assert low < high


def test_one_odd_day_is_no_change():
    days = np.arange(80)
    values = np.random.default_rng(0).normal(size=80)
    values[60] = 50.0
    series = Series(days, days % 7, values, np.ones(80), 0.1)

    assert find_change(series, reference_to=42, rate_per_year=0.1, rng=np.random.default_rng(1)) is None


def test_people_twice_as_still_in_a_corridor_are_found_and_more_of_them_are_not():
    """Most pauses lie between one passer-by and the next; a few in each day are those of people who stay for a minute."""
    rng = np.random.default_rng(7)

    def lengths(scale_s: float, busy: float) -> list[float]:
        stay, between = (
            rng.lognormal(np.log(scale_s), 0.8, rng.poisson(60 * busy)),
            rng.uniform(0, 300, rng.poisson(60 * busy)),
        )
        return np.histogram(np.concatenate([stay, between]), LENGTH_EDGES_S)[0].astype(float).tolist()

    def corridor(scale_s: float, busy: float) -> pl.DataFrame:
        frame = quiet_days(3).head(91)
        later = [i >= 70 for i in range(len(frame))]
        counts = [lengths(scale_s if x else 5.0, busy if x else 1.0) for x in later]
        return frame.with_columns(
            pl.Series("pauses_by_length", counts, pl.List(pl.Float64())),
            stillness_s=pl.lit(None, pl.Float64()),
            pauses=pl.lit(None, pl.Float64()),
        )

    (drift,) = watch_room("r1", {"main": corridor(10.0, 1.0)}, reference_to=REFERENCE_TO).drifts
    busier = watch_room("r1", {"main": corridor(5.0, 2.0)}, reference_to=REFERENCE_TO).drifts

    assert drift.statistic == "pauses_by_length"
    assert drift.since_low <= FIRST + dt.timedelta(days=70) <= drift.since_high
    assert 1.3 < drift.after < 2.5
    assert busier == ()

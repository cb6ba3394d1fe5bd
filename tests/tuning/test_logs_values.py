"""Values with units, decimal commas and words are read as the number they mean, or refused by row."""

import math

import polars as pl
import pytest

from tests.tuning.log_files import codes, long_lines, read, site, values_of
from tuning.errors import LogError
from tuning.logs import read_frame
from tuning.logs.values import NotAValueError, numbers, value_of


@pytest.mark.parametrize(
    ("text", "quantity", "expected"),
    [
        ("512", "illuminance", 512),
        ("512 lx", "illuminance", 512),
        ("512,4 Lux", "illuminance", 512.4),
        ("1.234,5 lx", "illuminance", 1234.5),
        ("1,234.5 lx", "illuminance", 1234.5),
        ("1 234,5", "illuminance", 1234.5),
        ("1'234.5", "illuminance", 1234.5),
        ("1,234,567", "power", 1234567),
        ("0.5 klx", "illuminance", 500),
        ("12,5 %", "output", 12.5),
        ("12.5%", "output", 12.5),
        ("0,25", "output", 0.25),
        ("1.2 kW", "power", 1200),
        ("-3 lx", "illuminance", -3),
        ("1e2", "illuminance", 100),
        ("1,5e2", "illuminance", 150),
        ("TRUE", "motion", 1),
        ("Inactive", "motion", 0),
        ("on", "motion", 1),
        ("no", "occupied", 0),
        ("unoccupied", "occupied", 0),
        ("on", "output", 100),
        ("off", "override", 0),
    ],
)
def test_a_value_is_what_it_says(text, quantity, expected):
    assert value_of(text, quantity) == pytest.approx(expected, rel=1e-12)


def test_a_foot_candle_is_a_lumen_per_square_foot():
    """1 ft = 0.3048 m by definition, so 1 fc = 10.76391 lx."""
    assert value_of("10 fc", "illuminance") == pytest.approx(107.6391, abs=5e-5)


@pytest.mark.parametrize("text", ["", " ", "n/a", "NaN", "null", "--", "#VALUE!", "Offline"])
def test_words_for_nothing_are_no_value(text):
    assert math.isnan(value_of(text, "illuminance"))


@pytest.mark.parametrize(
    ("text", "quantity"),
    [("on", "illuminance"), ("bright", "motion"), ("12 mW", "power"), ("1.2.x", "output"), ("=A1", "motion")],
)
def test_what_is_no_value_is_refused(text, quantity):
    with pytest.raises(NotAValueError):
        value_of(text, quantity)


@pytest.mark.parametrize("kind", [pl.Boolean, pl.Int8, pl.UInt32, pl.Float32, pl.Float64, pl.Decimal(10, 2), pl.String])
def test_any_type_of_column_holds_values(kind):
    column = pl.Series([1, 0, None, 1]).cast(kind)

    value, doubts, wrong = numbers(column, "motion")

    assert value[[0, 1, 3]].tolist() == [1, 0, 1]
    assert math.isnan(value[2])
    assert (doubts, wrong) == (0, None)


def test_true_of_a_light_is_full_output():
    quantity = pl.Series(["output", "motion", " Output"])

    assert numbers(pl.Series([True, True, True]), quantity)[0].tolist() == [100, 1, 100]


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ("2026-03-02T09:00:00Z,r101,,motion,", "empty-values"),
        ("2026-03-02T09:00:00Z,r101,,motion,NaN", "empty-values"),
        ("2026-03-02T09:00:00Z,r101,,motion,2", "impossible-values"),
        ("2026-03-02T09:00:00Z,r101,,motion,0.5", "impossible-values"),
        ("2026-03-02T09:00:00Z,r101,wall,illuminance,-40", "impossible-values"),
        ("2026-03-02T09:00:00Z,r101,wall,illuminance,200001", "impossible-values"),
        ("2026-03-02T09:00:00Z,r101,wall,illuminance,inf", "impossible-values"),
        ("2026-03-02T09:00:00Z,r101,wall,output,100.5", "impossible-values"),
        ("2026-03-02T09:00:00Z,r101,wall,power,-20", "impossible-values"),
    ],
)
def test_a_value_that_cannot_be_is_left_out_and_counted(tmp_path, row, code):
    logs = read(tmp_path, long_lines(row))

    assert codes(logs) == {code: 1}
    assert logs.readings("r101").height == 1


@pytest.mark.parametrize(
    ("quantity", "value"),
    [("illuminance", -5), ("illuminance", 200000), ("output", 0), ("output", 100), ("override", 100)],
)
def test_values_at_the_bound_are_kept(tmp_path, quantity, value):
    logs = read(tmp_path, long_lines(f"2026-03-02T09:00:00Z,r101,wall,{quantity},{value}"))

    assert values_of(logs, quantity=quantity) == [value]
    assert codes(logs) == {}


def test_what_could_be_a_thousand_is_told(tmp_path):
    logs = read(tmp_path, long_lines('2026-03-02T09:00:00Z,r101,wall,illuminance,"1,234"'))

    assert values_of(logs, quantity="illuminance") == [1.234]
    assert codes(logs) == {"comma-ambiguous": 1}
    assert logs.findings[0].severity == "warning"


@pytest.mark.parametrize(
    ("highest", "told"), [("1", {"output-of-one": 2}), ("0.8", {"output-of-one": 2}), ("1.5", {}), ("0", {})]
)
def test_an_output_that_looks_like_a_share_is_told(tmp_path, highest, told):
    rows = [f"2026-03-02T09:0{i}:00Z,r101,wall,output,{v}" for i, v in enumerate(("0", highest))]

    assert codes(read(tmp_path, long_lines(*rows))) == told


def test_an_unreadable_value_is_named_with_its_row(tmp_path):
    with pytest.raises(LogError) as caught:
        read(tmp_path, long_lines("2026-03-02T09:00:00Z,r101,wall,illuminance,bright"))

    assert str(caught.value) == (
        "log.csv, row 3, column value: 'bright' is no value. A value is a number, with or without its unit, or a word for on or off. "
        "Correct that row, or empty the field."
    )


def test_values_keep_their_last_digit(tmp_path):
    exact = [0.1, 123.456789012345, 7.0, 255.0, 256.0, 0.30000000000000004]
    rows = [f"2026-03-02T09:00:{i:02d}Z,r101,wall,illuminance,{v!r}" for i, v in enumerate(exact)]

    assert values_of(read(tmp_path, long_lines(*rows)), quantity="illuminance") == exact


def test_a_frame_in_memory_is_checked_in_the_same_way():
    frame = pl.DataFrame(
        {
            "time": ["2026-03-02T09:00:00Z", "2026-03-02T09:01:00Z"],
            "room": ["r101", "r101"],
            "channel": [None, "wall"],
            "quantity": ["motion", "illuminance"],
            "value": [1.0, -50.0],
        }
    )

    logs = read_frame(frame, site())

    assert values_of(logs) == [1.0]
    assert codes(logs) == {"impossible-values": 1}

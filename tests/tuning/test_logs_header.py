"""A header of which nothing is known is recognised by the times below it."""

import pytest

from tuning.logs.header import header_row, is_moment


@pytest.mark.parametrize(
    "cell",
    ["2026-01-05T10:00:00Z", "2026-01-05T10:00", "2026-01-05 10:00:00", "2026-01-05", "05.01.2026 08:00", "5/1/26", "20260105T100000", "1767607200"],
)  # fmt: skip
def test_times_of_every_form_are_moments(cell):
    assert is_moment(cell)


@pytest.mark.parametrize("cell", ["time", "512", "12.5", "AHU2/101/PIR", "2026-01-00051", "r101"])
def test_values_and_names_are_none(cell):
    assert not is_moment(cell)


def test_the_header_stands_above_iso_times():
    rows = [
        ["Export"],
        ["time", "room", "value"],
        ["2026-01-05T10:00:00Z", "r5", "1"],
        ["2026-01-05T10:01:00Z", "r5", "0"],
    ]

    assert header_row(rows) == (1, 1.0)

"""The dimming curve of IEC 62386-102 and its linear companion."""

import numpy as np
import pytest

from tuning.levels import level_of_output, output_of_level

# Computed from the standard's formula X(n) = 10^((n-1)/(253/3) - 1) percent, IEC 62386-102 (the formula was seen in two
# unrelated public texts; the standard's printed table is this, rounded to three decimals: from memory).
CURVE = {
    1: "0.100", 2: ".1028", 3: ".1056", 50: ".3811", 60: ".5007", 85: ".9909", 86: "1.0184", 100: "1.4925", 126: "3.0354",
    128: "3.2057", 144: "4.9619", 145: "5.0993", 170: "10.091", 180: "13.260", 195: "19.971", 200: "22.892", 203: "24.846",
    229: "50.531", 230: "51.930", 243: "74.057", 253: "97.307", 254: "100",
}  # fmt: skip
# Unrounded levels, same formula inverted.
INVERSE = {
    1: 85.333,
    3: 125.571,
    5: 144.280,
    10: 169.667,
    20: 195.054,
    25: 203.226,
    50: 228.613,
    75: 243.463,
    90: 250.141,
}


@pytest.mark.parametrize(("level", "printed"), CURVE.items())
def test_level_curve_equals_the_standard(level, printed):
    decimals = len(printed.partition(".")[2])
    assert float(output_of_level(level)) == pytest.approx(float(printed), abs=0.5 * 10.0**-decimals)


@pytest.mark.parametrize(("output_pct", "level"), INVERSE.items())
def test_inverse_is_the_nearest_level(output_pct, level):
    assert int(level_of_output(output_pct)) == round(level)


def test_one_step_is_2_77_percent_of_the_light():
    """Step ratio 10^(3/253) = 1.02768, from the same formula."""
    steps = output_of_level(np.arange(1, 255))
    assert steps[1:] / steps[:-1] == pytest.approx(1.02768, abs=5e-6)


@pytest.mark.parametrize("linear", [False, True])
def test_every_level_comes_back(linear):
    levels = np.arange(255)
    assert level_of_output(output_of_level(levels, linear=linear), linear=linear).tolist() == levels.tolist()


def test_linear_curve_is_a_straight_line():
    """IEC 62386-207: n/254."""
    assert output_of_level([0, 127, 254], linear=True) == pytest.approx([0, 50, 100])


def test_mask_is_refused():
    with pytest.raises(ValueError, match="levels run from 0 to 254; 255 is no level but asks for no change"):
        output_of_level(255)

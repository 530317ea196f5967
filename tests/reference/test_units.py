"""Weights and lengths against the definitions of 1959.

International Yard and Pound Agreement 1959; Weights and Measures Act 1985 (UK), schedule 1.
"""

from decimal import Decimal
from fractions import Fraction

import pytest

from clubdata.rules.units import (
    exact_grams_from_pounds,
    feet_from_metres,
    grams_from_pounds,
    metres_from_feet,
    pounds_ounces_drams,
)

POUND_G = Fraction("453.59237")


@pytest.mark.parametrize(
    ("reading", "grams"),
    [
        ((1, 0, 0), "453.59237"),
        ((0, 1, 0), "28.349523125"),
        ((0, 0, 1), "1.7718451953125"),
        ((12, 7, 8), "5655.7298634375"),
        ((3, 15, 15), "1812.5976348046875"),
    ],
)
def test_avoirdupois_weights_are_exact(reading: tuple[int, int, int], grams: str) -> None:
    assert exact_grams_from_pounds(*reading) == Decimal(grams)


def test_every_weight_to_five_stone_is_the_pound_times_its_fraction() -> None:
    for drams in range(70 * 256):
        assert Fraction(exact_grams_from_pounds(0, 0, drams)) == POUND_G * drams / 256
        assert grams_from_pounds(0, 0, drams) == round(POUND_G * drams / 256)


@pytest.mark.parametrize(("weight_g", "reading"), [(1000, (2, 3, 4)), (14_999, (33, 1, 1))])
def test_grams_come_out_to_the_nearest_dram(weight_g: int, reading: tuple[int, int, int]) -> None:
    assert pounds_ounces_drams(weight_g) == reading


@pytest.mark.parametrize(("metres", "feet"), [("13", 42.6509), ("11.5", 37.7297), ("6", 19.6850)])
def test_pole_lengths_in_feet(metres: str, feet: float) -> None:
    assert float(feet_from_metres(Decimal(metres))) == pytest.approx(feet, abs=1e-4)


def test_a_foot_is_exactly_0_3048_m() -> None:
    assert metres_from_feet(1) == Decimal("0.3048")

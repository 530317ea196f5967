"""Laws of weights and lengths that hold for every reading."""

from decimal import Decimal
from fractions import Fraction
from typing import get_args

from hypothesis import given
from hypothesis import strategies as st

from clubdata.rules.units import (
    HEAVIEST_WEIGHT_G,
    Weighing,
    WeighingUnit,
    WeightNotUnderstood,
    WeightProblem,
    exact_grams_from_pounds,
    feet_from_metres,
    format_as_weighed,
    grams_from_pounds,
    metres_from_feet,
    parse_weight,
    pounds_ounces,
    pounds_ounces_drams,
    steps,
)

HEAVIEST_IN_DRAMS = 282_191  # the last whole dram below 500 kg
METRIC_STEPS = [
    (WeighingUnit.GRAM, Decimal(1)),
    (WeighingUnit.KILOGRAM, Decimal(1)),
    (WeighingUnit.KILOGRAM, Decimal("0.1")),
    (WeighingUnit.KILOGRAM, Decimal("0.01")),
    (WeighingUnit.KILOGRAM, Decimal("0.001")),
]
AVOIRDUPOIS_STEPS = [
    (unit, Decimal(1)) for unit in (WeighingUnit.DRAM, WeighingUnit.OUNCE, WeighingUnit.POUND)
]
AVOIRDUPOIS_DRAMS = {WeighingUnit.DRAM: 1, WeighingUnit.OUNCE: 16, WeighingUnit.POUND: 256}

total_drams = st.integers(0, HEAVIEST_IN_DRAMS)


@st.composite
def weighings(draw: st.DrawFn) -> Weighing:
    """Weights as scales show them: a whole number of steps, then the nearest gram."""
    unit, step = draw(st.sampled_from(METRIC_STEPS + AVOIRDUPOIS_STEPS))
    if unit in AVOIRDUPOIS_DRAMS:
        drams = AVOIRDUPOIS_DRAMS[unit]
        count = draw(st.integers(0, HEAVIEST_IN_DRAMS // drams))
        return Weighing(grams_from_pounds(0, 0, count * drams), unit, step)
    grams = int(step * (1000 if unit is WeighingUnit.KILOGRAM else 1))
    return Weighing(draw(st.integers(0, HEAVIEST_WEIGHT_G // grams)) * grams, unit, step)


def test_every_reading_to_500_kg_comes_back_from_its_grams() -> None:
    # All 282,192 of them: no sampling is needed.
    for drams in range(HEAVIEST_IN_DRAMS + 1):
        pounds, ounces, rest = pounds_ounces_drams(grams_from_pounds(0, 0, drams))
        if pounds * 256 + ounces * 16 + rest != drams:
            raise AssertionError(f"{drams} drams came back as {pounds}-{ounces}-{rest}")
    assert exact_grams_from_pounds(0, 0, HEAVIEST_IN_DRAMS) <= HEAVIEST_WEIGHT_G
    assert exact_grams_from_pounds(0, 0, HEAVIEST_IN_DRAMS + 1) > HEAVIEST_WEIGHT_G


@given(total_drams)
def test_typed_pounds_ounces_drams_come_back_as_typed(drams: int) -> None:
    text = f"{drams // 256}-{drams // 16 % 16}-{drams % 16}"
    weighing = parse_weight(text)
    assert format_as_weighed(weighing) == text
    assert steps(weighing) == drams


@given(st.integers(0, HEAVIEST_IN_DRAMS // 16))
def test_typed_pounds_ounces_come_back_as_typed(ounces: int) -> None:
    weighing = parse_weight(f"{ounces // 16}lb {ounces % 16}oz")
    assert steps(weighing) == ounces
    assert pounds_ounces(weighing.weight_g) == (ounces // 16, ounces % 16)


@given(weighings())
def test_what_is_printed_as_weighed_reads_back_as_the_same_weighing(weighing: Weighing) -> None:
    assert parse_weight(format_as_weighed(weighing)) == weighing


@given(total_drams)
def test_grams_are_the_nearest_and_a_half_goes_to_the_even_one(drams: int) -> None:
    assert grams_from_pounds(0, 0, drams) == round(Fraction("453.59237") * drams / 256)


@given(total_drams, total_drams)
def test_a_heavier_reading_has_more_grams(one: int, other: int) -> None:
    assert (one < other) == (grams_from_pounds(0, 0, one) < grams_from_pounds(0, 0, other))


@given(st.decimals(0, 1000, places=4))
def test_feet_go_to_metres_and_back(feet: Decimal) -> None:
    assert feet_from_metres(metres_from_feet(feet)) == feet


@given(st.decimals(0, 1000, places=4))
def test_metres_go_to_feet_and_back_within_the_last_digit(metres: Decimal) -> None:
    assert abs(metres_from_feet(feet_from_metres(metres)) - metres) < Decimal("1e-20")


@given(st.text(max_size=60) | st.from_regex(r"[0-9 .,lbozdrkg-]{0,15}", fullmatch=True))
def test_any_text_is_a_weight_in_range_or_refused_with_a_reason(text: str) -> None:
    refusal = None
    try:
        weighing = parse_weight(text)
    except WeightNotUnderstood as refused:
        refusal = refused
    if refusal is not None:
        assert refusal.code in get_args(WeightProblem)
        assert str(refusal)
    else:
        assert 0 <= weighing.weight_g <= HEAVIEST_WEIGHT_G
        assert any(digit in text for digit in "0123456789")

"""How written weights are read, and what is said of those that cannot be."""

from decimal import Decimal

import pytest

from clubdata.errors import InvalidInput
from clubdata.rules.units import (
    Weighing,
    WeighingUnit,
    WeightNotUnderstood,
    format_as_weighed,
    format_pounds_ounces,
    parse_weight,
    pounds_ounces,
    steps,
)

DRAM, OUNCE, POUND = WeighingUnit.DRAM, WeighingUnit.OUNCE, WeighingUnit.POUND
GRAM, KILOGRAM = WeighingUnit.GRAM, WeighingUnit.KILOGRAM


@pytest.mark.parametrize(
    ("text", "weight_g", "unit", "step"),
    [
        ("12-7-8", 5656, DRAM, "1"),
        ("12–7–8", 5656, DRAM, "1"),
        ("12lb 8oz 4dr", 5677, DRAM, "1"),
        ("12lb 4dr", 5450, DRAM, "1"),
        ("0-0-0", 0, DRAM, "1"),
        ("12-8", 5670, OUNCE, "1"),
        ("12lb 8oz", 5670, OUNCE, "1"),
        ("12 LB 8 OZ", 5670, OUNCE, "1"),
        ("12 pounds 8 ounces", 5670, OUNCE, "1"),
        ("9oz", 255, OUNCE, "1"),
        ("12 lb", 5443, POUND, "1"),
        ("12lbs", 5443, POUND, "1"),
        ("2.82kg", 2820, KILOGRAM, "0.01"),
        (" 2.82 kg ", 2820, KILOGRAM, "0.01"),
        ("2.820 kg", 2820, KILOGRAM, "0.001"),
        (".5 kg", 500, KILOGRAM, "0.1"),
        ("3 kg", 3000, KILOGRAM, "1"),
        ("500 kg", 500_000, KILOGRAM, "1"),
        ("850g", 850, GRAM, "1"),
        ("850 g", 850, GRAM, "1"),
    ],
)
def test_a_weight_is_read_with_its_unit_and_step(
    text: str, weight_g: int, unit: WeighingUnit, step: str
) -> None:
    assert parse_weight(text) == Weighing(weight_g, unit, Decimal(step))


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("3.8", "ambiguous_weight"),
        ("3,8", "ambiguous_weight"),
        ("12", "ambiguous_weight"),
        ("3.8 lb", "ambiguous_weight"),
        ("-3-0-0", "weight_not_understood"),
        ("-2.82 kg", "weight_not_understood"),
        ("twelve pound", "weight_not_understood"),
        ("lb", "weight_not_understood"),
        ("kg", "weight_not_understood"),
        ("", "weight_not_understood"),
        ("8oz 12lb", "weight_not_understood"),
        ("8.5 oz", "weight_not_understood"),
        ("2,82 kg", "weight_not_understood"),
        ("1e3 g", "weight_not_understood"),
        ("١٢-٧-٨", "weight_not_understood"),
        ("9" * 5000 + "g", "weight_not_understood"),
        ("12-16", "ounces_out_of_range"),
        ("20oz", "ounces_out_of_range"),
        ("12-7-16", "drams_out_of_range"),
        ("4000kg", "weight_out_of_range"),
        ("500.001 kg", "weight_out_of_range"),
        ("1103 lb", "weight_out_of_range"),
        ("9" * 39 + "g", "weight_out_of_range"),
    ],
)
def test_what_is_not_a_plain_weight_is_refused_with_a_reason(text: str, code: str) -> None:
    with pytest.raises(WeightNotUnderstood) as refusal:
        parse_weight(text)
    assert refusal.value.code == code


@pytest.mark.parametrize("text", ["12", "twelve pound", "3.8 lb", "-1g"])
def test_a_refusal_shows_weights_that_would_have_been_read(text: str) -> None:
    with pytest.raises(InvalidInput) as refusal:
        parse_weight(text)
    for example in ("12-7-8", "12-8", "12lb 8oz", "2.82 kg", "850 g"):
        assert example in refusal.value.message
        parse_weight(example)


@pytest.mark.parametrize(
    ("text", "kept"),
    [("2.8204 kg", "2.820 kg"), ("2.8205 kg", "2.820 kg"), ("2.8215 kg", "2.822 kg"), ("850.6 g", "851 g")],
)
def test_digits_finer_than_a_gram_are_kept_to_the_gram(text: str, kept: str) -> None:
    assert format_as_weighed(parse_weight(text)) == kept


@pytest.mark.parametrize(
    ("weighing", "count", "text"),
    [
        (Weighing(5656, DRAM, Decimal(1)), 3192, "12-7-8"),
        (Weighing(5656, DRAM, Decimal(2)), 1596, "12-7-8"),
        (Weighing(5670, OUNCE, Decimal(1)), 200, "12-8"),
        (Weighing(5443, POUND, Decimal(1)), 12, "12 lb"),
        (Weighing(2820, KILOGRAM, Decimal("0.01")), 282, "2.82 kg"),
        (Weighing(2820, KILOGRAM, Decimal("0.02")), 141, "2.82 kg"),
        (Weighing(850, GRAM, Decimal(5)), 170, "850 g"),
        (Weighing(20_000, KILOGRAM, Decimal("1E+1")), 2, "20 kg"),
    ],
)
def test_a_weighing_is_a_whole_number_of_its_steps(weighing: Weighing, count: int, text: str) -> None:
    assert steps(weighing) == count
    assert format_as_weighed(weighing) == text


@pytest.mark.parametrize(("weight_g", "count"), [(2824, 282), (2825, 282), (2826, 283), (2835, 284)])
def test_grams_between_two_steps_go_to_the_nearest_and_a_half_to_the_even(weight_g: int, count: int) -> None:
    assert steps(Weighing(weight_g, KILOGRAM, Decimal("0.01"))) == count


@pytest.mark.parametrize(
    ("weight_g", "unit", "step"),
    [
        (-1, GRAM, "1"),
        (1, GRAM, "0"),
        (1, GRAM, "0.5"),
        (1, KILOGRAM, "0.0001"),
        (1, OUNCE, "0.5"),
        (1, DRAM, "NaN"),
        (1, GRAM, "Infinity"),
    ],
)
def test_a_weighing_that_grams_cannot_give_back_does_not_exist(
    weight_g: int, unit: WeighingUnit, step: str
) -> None:
    with pytest.raises(ValueError, match=r"weight|step"):
        Weighing(weight_g, unit, Decimal(step))


def test_a_weight_for_reading_is_in_pounds_and_ounces() -> None:
    assert format_pounds_ounces(5670) == "12 lb 8 oz"
    assert format_pounds_ounces(0) == "0 lb 0 oz"


def test_ounces_carry_into_the_pound() -> None:
    assert pounds_ounces(453) == (1, 0)

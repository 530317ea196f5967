"""Cells: what is read, and what is refused with a word on what would have been accepted."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from clubdata.intake import cells
from clubdata.intake.cells import CellProblem, WeightCell
from clubdata.intake.vocabulary import Known, counting_order
from clubdata.models import Outcome
from clubdata.rules.conventions import DateOrder, DistanceUnit, read_conventions
from clubdata.rules.units import Weighing, WeighingUnit
from tests.unit.clubdata.intake.sheets import DESCRIPTION

TODAY = date(2024, 6, 1)
KNOWN = Known({"caster": 1, "maggot": 2}, {1: "Caster", 2: "Maggot, live"})
CONVENTIONS = read_conventions(DESCRIPTION["conventions"])


def problem_of(read: Callable[..., Any], *arguments: Any) -> CellProblem:
    with pytest.raises(CellProblem) as caught:
        read(*arguments)
    return caught.value


@pytest.mark.parametrize(
    ("typed", "order", "day"),
    [
        ("03/04/2024", DateOrder.DAY_MONTH_YEAR, date(2024, 4, 3)),
        ("03/04/2024", DateOrder.MONTH_DAY_YEAR, date(2024, 3, 4)),
        ("2024-04-03", DateOrder.MONTH_DAY_YEAR, date(2024, 4, 3)),
        ("03-Apr-2024", DateOrder.MONTH_DAY_YEAR, date(2024, 4, 3)),
        ("3 April 2024", DateOrder.DAY_MONTH_YEAR, date(2024, 4, 3)),
        ("30 Sept. 2023", DateOrder.DAY_MONTH_YEAR, date(2023, 9, 30)),
        ("29.02.2024", DateOrder.DAY_MONTH_YEAR, date(2024, 2, 29)),
        ("01/06/2024", DateOrder.DAY_MONTH_YEAR, TODAY),
    ],
)
def test_a_date_is_read_in_each_of_its_styles(typed: str, order: DateOrder, day: date) -> None:
    assert cells.read_date(typed, order, TODAY) == day


@pytest.mark.parametrize(
    "typed",
    [
        "31/02/2024",
        "29/02/2023",
        "1/1/24",
        "01/01-2024",
        "0001-01-01",
        "yesterday",
        "2024-13-01",
        "3 Foo 2024",
    ],
)
def test_a_day_that_is_not_in_the_calendar_is_refused(typed: str) -> None:
    assert problem_of(cells.read_date, typed, DateOrder.DAY_MONTH_YEAR, TODAY).code == "date_not_understood"


def test_tomorrow_has_not_been_fished() -> None:
    problem = problem_of(cells.read_date, "02/06/2024", DateOrder.DAY_MONTH_YEAR, TODAY)
    assert (problem.code, "2024-06-01" in problem.message) == ("date_in_future", True)


@pytest.mark.parametrize(
    ("typed", "hours"),
    [("5", "5"), ("4.5", "4.5"), ("5hrs", "5"), ("4,5 h", "4.5"), ("48 Hours", "48"), ("0.25", "0.25")],
)
def test_hours_are_read_with_and_without_their_word(typed: str, hours: str) -> None:
    assert cells.read_hours(typed) == Decimal(hours)


@pytest.mark.parametrize("typed", ["0", "0.00", "-3", "48.01", "61"])
def test_no_session_takes_no_time_or_more_than_two_days(typed: str) -> None:
    assert problem_of(cells.read_hours, typed).code == "hours_out_of_range"


@pytest.mark.parametrize("typed", ["five", "5 fish", "1.234", "1,000", "5:30"])
def test_hours_that_could_be_misread_are_refused(typed: str) -> None:
    assert problem_of(cells.read_hours, typed).code == "hours_not_understood"


@pytest.mark.parametrize(
    ("typed", "unit", "metres"),
    [
        ("10.5m", DistanceUnit.FOOT, "10.50"),
        ("38ft", DistanceUnit.METRE, "11.58"),  # 38 x 0.3048 = 11.5824 (foot: 1959 agreement)
        ("41'", DistanceUnit.METRE, "12.50"),
        ("13", DistanceUnit.METRE, "13.00"),
        ("13", DistanceUnit.FOOT, "3.96"),
        ("0", DistanceUnit.METRE, "0.00"),
        ("-0", DistanceUnit.METRE, "0.00"),
        ("150 metres", DistanceUnit.METRE, "150.00"),
    ],
)
def test_a_distance_is_metres_whatever_it_was_written_in(typed: str, unit: DistanceUnit, metres: str) -> None:
    assert str(cells.read_distance(typed, unit)) == metres


@pytest.mark.parametrize("typed", ["1300", "-1", "150.01", "493ft"])
def test_a_distance_that_nobody_casts_is_refused(typed: str) -> None:
    assert problem_of(cells.read_distance, typed, DistanceUnit.METRE).code == "distance_out_of_range"


@pytest.mark.parametrize(
    ("typed", "force"), [("6", 6), ("F6", 6), ("force 0", 0), ("12", 12), ("Strong", 6), ("calm", 0)]
)
def test_wind_is_a_force_or_one_of_the_clubs_words(typed: str, force: int) -> None:
    assert cells.read_wind(typed, CONVENTIONS.wind_words) == force


@pytest.mark.parametrize("typed", ["13", "F99", "gale", "-1", "3.5"])
def test_another_wind_is_refused_with_the_clubs_words(typed: str) -> None:
    problem = problem_of(cells.read_wind, typed, CONVENTIONS.wind_words)
    assert problem.code == "wind_not_understood"
    assert "calm, strong" in problem.message


def test_a_water_temperature_is_rounded_to_a_tenth() -> None:
    assert [str(cells.read_water_temperature(t)) for t in ("12", "5.55", "-2", "4 °C")] == [
        "12.0",
        "5.6",
        "-2.0",
        "4.0",
    ]


@pytest.mark.parametrize("typed", ["40.1", "-2.1", "99"])
def test_water_that_boils_or_is_ice_is_refused(typed: str) -> None:
    assert problem_of(cells.read_water_temperature, typed).code == "temperature_out_of_range"


OUNCE, DRAM = WeighingUnit.OUNCE, WeighingUnit.DRAM


@pytest.mark.parametrize(
    ("typed", "outcome", "weight_g"),
    [
        # Pounds and ounces by the 1959 agreement: 453.59237 g and 28.349523125 g, to the nearest gram.
        ("12-7-8", Outcome.WEIGHED, 5656),
        ("3-2", Outcome.WEIGHED, 1417),
        ("12lb 8oz", Outcome.WEIGHED, 5670),
        ("2.82 kg", Outcome.WEIGHED, 2820),
        ("850g", Outcome.WEIGHED, 850),
        ("abt 7lb", Outcome.ESTIMATED, 3175),
        ("c. 6 lb", Outcome.ESTIMATED, 2722),
        ("c.6lb", Outcome.ESTIMATED, 2722),
        ("9lb est", Outcome.ESTIMATED, 4082),
        ("Abt 9oz", Outcome.ESTIMATED, 255),
        ("abt 16oz", Outcome.ESTIMATED, 454),
        ("19oz est", Outcome.ESTIMATED, 539),
    ],
)
def test_a_weight_is_read_as_written_and_an_estimate_stays_one(
    typed: str, outcome: Outcome, weight_g: int
) -> None:
    cell = cells.read_weight(typed, CONVENTIONS)
    assert cell.weighing is not None
    assert (cell.outcome, cell.weighing.weight_g) == (outcome, weight_g)


def test_the_unit_and_step_of_weighing_come_with_the_weight() -> None:
    assert cells.read_weight("3-2", CONVENTIONS).weighing == Weighing(1417, OUNCE, Decimal(1))
    assert cells.read_weight("0-0-1", CONVENTIONS).weighing == Weighing(2, DRAM, Decimal(1))


@pytest.mark.parametrize("typed", ["blank", "BLANK", "nothing", "0", "0oz", "0-0", "0-0-0", "0.00kg"])
def test_a_blank_is_a_word_or_a_zero_that_was_read_off_the_scales(typed: str) -> None:
    assert cells.read_weight(typed, CONVENTIONS) == WeightCell(Outcome.BLANK)


@pytest.mark.parametrize("typed", ["DNW", "did not  weigh"])
def test_not_weighed_is_a_weight_that_is_not_known(typed: str) -> None:
    assert cells.read_weight(typed, CONVENTIONS) == WeightCell(Outcome.DID_NOT_WEIGH)


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("12-19-0", "ounces_out_of_range"),
        ("16oz", "ounces_out_of_range"),
        ("1-2-16", "drams_out_of_range"),
        ("4000kg", "weight_out_of_range"),
        ("abt 17637oz", "weight_out_of_range"),  # 500 kg is 17,636.98 oz
        ("12", "ambiguous_weight"),
        ("twelve pound", "weight_not_understood"),
        ("-3-0-0", "weight_not_understood"),
        ("abt", "weight_not_understood"),
        ("estate 3lb", "weight_not_understood"),
        ("0.0004kg", "weight_is_zero"),
        ("abt 0oz", "weight_is_zero"),
        ("1-2-3 " + "x" * 60, "weight_not_understood"),
    ],
)
def test_a_weight_that_could_mean_two_things_or_none_is_refused(typed: str, code: str) -> None:
    assert problem_of(cells.read_weight, typed, CONVENTIONS).code == code


def test_an_unknown_word_is_answered_with_the_nearest_known_one() -> None:
    problem = problem_of(cells.read_known, "Maggit", KNOWN, "hook_bait")
    assert problem.code == "hook_bait_unknown"
    assert "'Maggot, live'" in problem.message


def test_pegs_count_as_people_count_them() -> None:
    labels = ["14", "A2", "12A", "2", "12", "13", "9999999999999999999999", "\u0662"]
    assert sorted(labels, key=counting_order)[:5] == ["2", "12", "12A", "13", "14"]


def test_a_shown_value_is_cut_and_carries_no_control_characters() -> None:
    assert cells.shown("a\x07b" + "c" * 500) == "a\ufffdb" + "c" * 197

"""What a member asks, and what of it cannot be answered."""

from datetime import date
from typing import Any

import pytest

from analytics.answers.question import AdviceQuestion, Day, When, check_question, check_target
from clubdata.errors import InvalidInput
from clubdata.models import Club
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db


def check(small: SmallClub, **values: Any) -> tuple[When, Day]:
    when, day = check_question(club=small.club, question=AdviceQuestion(water="mere", **values))
    return when, day


def test_a_day_tells_its_month_and_its_place_in_the_year(heron_small: SmallClub) -> None:
    when, day = check(heron_small, on=date(2024, 3, 1))
    assert (when.month, when.day_of_year, when.words) == (3, 61, "on 1 March")
    assert day == Day()
    month, _ = check(heron_small, month=3)
    assert (month.month, month.day_of_year, month.words) == (3, None, "in March")


@pytest.mark.parametrize("values", [{}, {"month": 3, "on": date(2024, 3, 1)}])
def test_it_is_a_month_or_a_day(heron_small: SmallClub, values: dict[str, Any]) -> None:
    with pytest.raises(InvalidInput) as refusal:
        check(heron_small, **values)
    assert refusal.value.field == "month"


@pytest.mark.parametrize(
    ("text", "force"),
    [("0", 0), ("4", 4), ("F4", 4), ("Force 10", 10), ("Gentle Breeze", 3), ("  gale ", 8), ("Blowy", 5)],
)
def test_wind_is_a_force_its_name_or_the_clubs_word(heron_small: SmallClub, text: str, force: int) -> None:
    Club.objects.filter(pk=heron_small.club.pk).update(conventions={"wind_words": {"blowy": 5}})
    heron_small.club.refresh_from_db()
    _, day = check(heron_small, month=5, wind_force=text)
    assert day.wind_force == force


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"wind_force": "13"}, "wind_force"),
        ({"wind_force": "-1"}, "wind_force"),
        ({"wind_force": "blowy"}, "wind_force"),
        ({"wind_force": ""}, "wind_force"),
        ({"water_temperature_c": -2.1}, "water_temperature_c"),
        ({"water_temperature_c": 40.1}, "water_temperature_c"),
        ({"water_temperature_c": float("nan")}, "water_temperature_c"),
        ({"tow": "raging"}, "tow"),
    ],
)
def test_a_condition_that_cannot_be_is_told_by_field(
    heron_small: SmallClub, values: dict[str, Any], field: str
) -> None:
    with pytest.raises(InvalidInput) as refusal:
        check(heron_small, month=5, **values)
    assert refusal.value.field == field


def test_a_target_is_a_group_of_the_clubs_species(heron_small: SmallClub) -> None:
    check_target(club=heron_small.club, target="silvers")
    with pytest.raises(InvalidInput, match="known: silvers") as refusal:
        check_target(club=heron_small.club, target="carp")
    assert refusal.value.field == "target"

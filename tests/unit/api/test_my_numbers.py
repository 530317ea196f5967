"""A member's own numbers, beside what the club's returns lead one to expect: for that member alone."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from rest_framework.test import APIClient

from analytics.store import promoted_run
from clubdata.models import Account, CatchLine, Return
from tests.contract.fitted import stock_and_fit
from tests.contract.routes import StockedClub
from tests.factories import SmallClub, make_return
from tests.modules import small_club_of_a_module

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
ClientFor = Callable[[Account | None], APIClient]
MINE = "/api/v1/clubs/heron-small/my-numbers/"


@pytest.fixture(scope="module")
def club_of_module(django_db_setup: None, django_db_blocker: Any) -> Iterator[StockedClub]:
    with small_club_of_a_module(django_db_blocker) as small:
        yield stock_and_fit(small)


@pytest.fixture
def small(club_of_module: StockedClub, db: None) -> SmallClub:
    return club_of_module.small


@pytest.fixture
def mine(small: SmallClub, client_for: ClientFor) -> Callable[[], Any]:
    return lambda: client_for(small.account()).get(MINE).json()


def test_seasons_are_the_members_own_sums(mine: Callable[[], Any], small: SmallClub) -> None:
    own = Return.objects.filter(member=small.member)
    seasons = {row["year"]: row for row in mine()["seasons"]}
    assert set(seasons) == set(own.values_list("fished_on__year", flat=True))
    for year, row in seasons.items():
        of_year = [session for session in own if session.fished_on.year == year]
        assert row["sessions"] == len(of_year)
        assert row["weight_g"] == sum(session.weight_g or 0 for session in of_year)
        assert row["rod_hours"] == float(sum(session.hours * session.rods for session in of_year))


def test_the_catch_stands_beside_an_expectation_with_its_luck(mine: Callable[[], Any]) -> None:
    answer = mine()
    assert answer["no_answer"] is None
    for row in answer["seasons"]:
        beside = row["beside"]
        ends = [beside[name] for name in ("lower_90_g", "lower_50_g", "upper_50_g", "upper_90_g")]
        assert ends == sorted(ends)
        assert beside["lower_90_g"] < beside["expected_g"] < beside["upper_90_g"]
        assert 0 <= beside["chance_of_less"] <= 1
        assert "luck alone" in beside["in_words"]


def test_twice_the_hours_lead_one_to_expect_twice_the_weight(
    mine: Callable[[], Any], small: SmallClub
) -> None:
    def expected() -> dict[int, float]:
        return {row["year"]: row["beside"]["expected_g"] for row in mine()["seasons"]}

    before = expected()
    for session in Return.objects.filter(member=small.member):
        Return.objects.filter(pk=session.pk).update(hours=session.hours * 2)
    assert expected() == pytest.approx({year: 2 * weight for year, weight in before.items()})


def test_a_heavy_catch_more_lies_above_what_luck_does(mine: Callable[[], Any], small: SmallClub) -> None:
    before = mine()["seasons"][0]["beside"]
    for session in Return.objects.filter(member=small.member, fished_on__year=2023, weight_g__gt=0):
        Return.objects.filter(pk=session.pk).update(weight_g=session.weight_g * 5)
    year = next(row for row in mine()["seasons"] if row["year"] == 2023)
    assert year["beside"]["chance_of_less"] > 0.95
    assert "more than luck alone" in year["beside"]["in_words"]
    assert before["in_words"]


def test_bests_are_by_species_with_the_day(mine: Callable[[], Any], small: SmallClub) -> None:
    session = make_return(small.member, small.pegs["2"])
    CatchLine.objects.create(
        club=small.club, session=session, species=small.bream, fish_count=2, weight_g=2500, biggest_g=1500
    )
    CatchLine.objects.create(
        club=small.club, session=session, species=small.roach, fish_count=9, weight_g=320, biggest_g=90
    )
    answer = mine()
    assert [(best["of"], best["weight_g"]) for best in answer["biggest_fish"]] == [
        (small.bream.name, 1500), (small.roach.name, 90)
    ]  # fmt: skip
    assert answer["biggest_fish"][0]["fished_on"] == "2024-05-01"
    heaviest = max(Return.objects.filter(member=small.member).values_list("weight_g", flat=True))
    assert answer["best_session"]["weight_g"] == heaviest


def test_nobody_elses_numbers_are_shown_to_anyone(small: SmallClub, client_for: ClientFor) -> None:
    secretary = client_for(small.account("secretary")).get(MINE)
    assert secretary.json()["seasons"] == []
    assert secretary.json()["no_answer"]["code"] == "nothing_weighed"
    assert client_for(small.account("secretary")).get(MINE, {"member": "M1"}).status_code == 400


def test_without_a_fit_the_sums_stand_alone(
    small: SmallClub, client_for: ClientFor, mine: Callable[[], Any]
) -> None:
    promoted_run(club=small.club).delete()
    answer = mine()
    assert answer["no_answer"]["code"] == "no_fit_yet"
    assert all(row["beside"] is None for row in answer["seasons"])

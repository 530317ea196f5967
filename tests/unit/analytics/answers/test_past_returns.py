"""A check by eye in which nobody stands out."""

from datetime import date, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from analytics.answers.past_returns import DELAY_DAYS, PAST_RETURNS_RULE, PastReturns, past_returns
from analytics.answers.places import find_place
from clubdata.models import Member, Outcome, Return, SessionPart
from tests.factories import SmallClub, make_match, make_member, make_return

pytestmark = pytest.mark.django_db
TODAY = date(2024, 6, 15)
LONG_AGO = date(2023, 5, 6)


@pytest.fixture
def people(heron_small: SmallClub) -> list[Member]:
    return [make_member(heron_small.club, f"P{number}") for number in range(8)]


def ask(
    small: SmallClub, peg: str | None = "3", distance_m: float | None = 9.0, **changes: Any
) -> PastReturns:
    place = find_place(club=small.club, water=small.mere.name, peg=peg, today=TODAY)
    choice: Any = SimpleNamespace(distance_m=distance_m, hook_bait=SimpleNamespace(name="caster"))
    values = {"bait": small.caster.pk, "month": 5, "hours": 5.0, "today": TODAY}
    return past_returns(place=place, choice=choice, **{**values, **changes})


def fish(small: SmallClub, member: Member, *, peg: str = "3", match: bool = True, **values: Any) -> Return:
    """A match return on casters, five hours at 9 m."""
    kind = {"session_kind": "match", "match": make_match(small.mere)} if match else {}
    part = {"hook_bait": small.caster, "distance_m": Decimal(9), **values.pop("part", {})}
    return make_return(member, small.pegs[peg], part=part, **{"fished_on": LONG_AGO, **kind, **values})


def test_no_hours_show_more_of_a_return_than_the_usual_ones(
    heron_small: SmallClub, people: list[Member]
) -> None:
    for member, weight_g in zip(people, (1010, 2020, 3030, 4040, 5050), strict=False):
        fish(heron_small, member, weight_g=weight_g)
    usual, long, short = (ask(heron_small, hours=hours).mean for hours in (5.0, 48.0, 0.5))
    assert usual is not None and long is not None and short is not None
    assert usual.grams == 3000.0, "3,030 g to a tenth of a kilogram"
    assert (long.grams, short.grams) == (28800.0, 300.0), "of those three kilograms, not of 3,030 g"


def test_of_four_anglers_nothing_is_said_and_of_five_the_quartiles(
    heron_small: SmallClub, people: list[Member]
) -> None:
    weights = [1000, 2500, 4000, 9000]
    for member, weight_g in zip(people, weights, strict=False):
        fish(heron_small, member, weight_g=weight_g)
        fish(heron_small, member, weight_g=weight_g)
    nothing = ask(heron_small)
    assert (nothing.returns, nothing.anglers, nothing.mean, nothing.quartiles) == (None, None, None, ())
    assert len(nothing.widened) == 6, "every pool was tried"
    fish(heron_small, people[4], outcome=Outcome.BLANK)
    pool = ask(heron_small)
    assert (pool.returns, pool.anglers, pool.blanks, pool.widened) == (9, 5, 1, ())
    assert pool.like == "peg 3 and its neighbours, in May, caster, within 2 m of 9 m"
    quartiles = np.quantile([*weights, *weights, 0], (0.25, 0.5, 0.75))
    assert [quartile.grams for quartile in pool.quartiles] == list(np.round(quartiles, -2))
    assert pool.mean is not None and pool.mean.grams == pytest.approx(
        np.mean([*weights, *weights, 0]), abs=50
    )
    assert pool.rule == PAST_RETURNS_RULE


def test_weights_are_scaled_to_the_hours_asked_about(heron_small: SmallClub, people: list[Member]) -> None:
    for member in people[:5]:
        fish(heron_small, member, weight_g=3000, hours=Decimal(3), rods=2)
    assert {quartile.grams for quartile in ask(heron_small, hours=4.0).quartiles} == {2000.0}


def test_the_latest_four_weeks_are_left_out(heron_small: SmallClub, people: list[Member]) -> None:
    last = TODAY - timedelta(days=DELAY_DAYS)
    for member in people[:4]:
        fish(heron_small, member)
    late = fish(heron_small, people[4], fished_on=last + timedelta(days=1))
    assert ask(heron_small).returns is None
    Return.objects.filter(pk=late.pk).update(fished_on=last)
    assert ask(heron_small).returns == 5


def test_it_widens_from_the_peg_to_the_season_the_water_the_distance_and_the_bait(
    heron_small: SmallClub, people: list[Member]
) -> None:
    said = []
    for change in (
        {"peg": "4"},
        {"fished_on": date(2023, 4, 6)},
        {"peg": "9"},
        {"peg": "9", "fished_on": date(2023, 6, 6)},
        {"peg": "9", "part": {"distance_m": Decimal(14)}},
        {"peg": "9", "part": {"hook_bait": heron_small.red_maggot}},
    ):
        Return.objects.all().delete()
        for member in people[:5]:
            fish(heron_small, member, **change)
        pool = ask(heron_small)
        assert pool.returns == 5, change
        said.append(pool.like)
    assert said == [
        "peg 3 and its neighbours, in May, caster, within 2 m of 9 m",
        "peg 3 and its neighbours, from April to June, caster, within 2 m of 9 m",
        "Heron-Small Mere, in May, caster, within 2 m of 9 m",
        "Heron-Small Mere, from April to June, caster, within 2 m of 9 m",
        "Heron-Small Mere, from April to June, caster, at any distance",
        "Heron-Small Mere, from April to June, with any bait",
    ]
    assert len(ask(heron_small).widened) == 5


def test_where_somebody_fishes_for_pleasure_is_pooled_by_water_alone(
    heron_small: SmallClub, people: list[Member]
) -> None:
    for member in people[:5]:
        fish(heron_small, member, match=False)
    pool = ask(heron_small)
    assert pool.returns == 5 and pool.like.startswith("Heron-Small Mere, in May")


def test_a_session_of_several_baits_is_like_none_of_them(
    heron_small: SmallClub, people: list[Member]
) -> None:
    for member in people[:5]:
        session = fish(heron_small, member)
        SessionPart.objects.create(
            club=heron_small.club, session=session, part_order=2, hook_bait=heron_small.red_maggot
        )
    assert ask(heron_small).like.endswith("with any bait")


def test_only_weights_that_are_known_are_pooled(heron_small: SmallClub, people: list[Member]) -> None:
    for member in people[:5]:
        fish(heron_small, member, outcome=Outcome.OVER_NET_LIMIT)
        fish(heron_small, member, outcome=Outcome.DID_NOT_WEIGH)
    assert ask(heron_small).returns is None


def test_another_water_and_another_club_are_never_pooled(
    heron_small: SmallClub, other_club: SmallClub, people: list[Member]
) -> None:
    for number in range(5):
        fish(other_club, make_member(other_club.club, f"P{number}"))
        part = {"hook_bait": heron_small.caster, "distance_m": Decimal(9)}
        make_return(people[number], heron_small.brook_pegs["1"], fished_on=LONG_AGO, part=part)
    assert ask(heron_small).returns is None


def test_it_asks_one_query_and_a_second_where_the_bait_says_nothing(
    heron_small: SmallClub, people: list[Member]
) -> None:
    def queries() -> int:
        place = find_place(club=heron_small.club, water=heron_small.mere.name, peg="3", today=TODAY)
        choice: Any = SimpleNamespace(distance_m=9.0, hook_bait=SimpleNamespace(name="caster"))
        values = {"bait": heron_small.caster.pk, "month": 5, "hours": 5.0, "today": TODAY}
        with CaptureQueriesContext(connection) as captured:
            past_returns(place=place, choice=choice, **values)
        return len(captured)

    assert queries() == 2
    for _ in range(2):
        for member in people[:5]:
            fish(heron_small, member)
        assert queries() == 1


def test_it_names_nobody(heron_small: SmallClub, people: list[Member]) -> None:
    for member in people:
        fish(heron_small, member)
    told = repr(ask(heron_small))
    assert not [member for member in people if member.number in told or member.uid.hex in told]

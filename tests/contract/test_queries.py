"""A list of twenty costs as many queries as a list of one."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from clubdata.models import CatchLine, Conditions, HookBait, Job, JobKind, PegDepth, PegHazard, Role
from tests.factories import (
    NOW,
    SmallClub,
    make_club,
    make_match,
    make_member,
    make_pegs,
    make_return,
    make_water,
    make_word,
)

pytestmark = pytest.mark.django_db
MORE = 19
# Three for the key and the membership; the vocabulary asks twice for each of five kinds of word.
MOST_QUERIES = 13


def more_returns(small: SmallClub, number: int) -> None:
    match = make_match(small.mere, f"Q-{number}")
    session = make_return(
        small.other_member,
        small.pegs["5"],
        session_kind="match",
        match=match,
        part={"hook_bait": small.caster, "method": small.pole, "rig_type": small.bulk},
    )
    CatchLine.objects.create(club=small.club, session=session, species=small.roach, fish_count=3)
    Conditions.objects.create(club=small.club, session=session, wind_force=2)


def more_own_returns(small: SmallClub, number: int) -> None:
    make_return(small.secretary, small.pegs["5"], part={"hook_bait": small.caster, "method": small.pole})


def more_pegs(small: SmallClub, number: int) -> None:
    peg = make_pegs(small.mere, f"X{number}", bank=f"far {number}")[f"X{number}"]
    PegDepth.objects.create(club=small.club, peg=peg, distance_m=Decimal(5), depth_cm=100)
    PegHazard.objects.create(club=small.club, peg=peg, kind="steep bank", noted_on=date(2020, 1, 1))


def more_fits(small: SmallClub, number: int) -> None:
    ended = NOW + timedelta(minutes=number)
    Job.objects.create(club=small.club, kind=JobKind.FIT, state="finished", created_at=NOW, finished_at=ended)


def more_clubs(small: SmallClub, number: int) -> None:
    make_member(make_club(f"club-{number}"), "1", Role.ANALYST, account=small.account("secretary"))


LISTS: dict[str, Callable[[SmallClub, int], object]] = {
    "/api/v1/me/": more_clubs,
    "/api/v1/clubs/": more_clubs,
    "/api/v1/clubs/{slug}/members/": lambda small, n: make_member(small.club, f"Q{n}", Role.ANALYST),
    "/api/v1/clubs/{slug}/waters/": lambda small, n: make_water(small.club, f"Pool {n}"),
    "/api/v1/clubs/{slug}/waters/{water}/pegs/": more_pegs,
    "/api/v1/clubs/{slug}/waters/{water}/": more_pegs,
    "/api/v1/clubs/{slug}/vocabulary/": lambda small, n: make_word(HookBait, small.club, f"paste {n}"),
    "/api/v1/clubs/{slug}/matches/": lambda small, n: make_match(small.mere),
    "/api/v1/clubs/{slug}/returns/": more_returns,
    "/api/v1/clubs/{slug}/waters/{water}/own-returns/": more_own_returns,
    "/api/v1/clubs/{slug}/jobs/": more_fits,
    "/api/v1/clubs/{slug}/fits/": more_fits,
}


@pytest.mark.parametrize("path", LISTS)
def test_a_list_costs_the_same_at_one_row_and_at_twenty(
    path: str, heron_small: SmallClub, client_for: Callable[..., APIClient]
) -> None:
    client = client_for(heron_small.account("secretary"))
    address = path.replace("{slug}", heron_small.club.slug).replace("{water}", str(heron_small.mere.uid))
    add = LISTS[path]

    def queries() -> list[str]:
        with CaptureQueriesContext(connection) as captured:
            assert client.get(address).status_code == 200
        return [query["sql"] for query in captured]

    add(heron_small, 0)
    at_one = queries()
    for number in range(1, MORE + 1):
        add(heron_small, number)
    at_twenty = queries()
    assert len(at_twenty) == len(at_one), "\n".join(at_twenty)
    assert len(at_twenty) <= MOST_QUERIES

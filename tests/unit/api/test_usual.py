"""What is answered before anyone asks: the addresses that members ask after every fit."""

from collections.abc import Callable
from datetime import date

import pytest
from rest_framework.test import APIClient

from api.usual import usual_addresses
from clubdata.models import Account, Peg
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db
TODAY = date(2024, 6, 15)


def test_every_address_is_one_that_a_member_may_ask(
    heron_small: SmallClub, client_for: Callable[[Account | None], APIClient]
) -> None:
    client = client_for(heron_small.account())
    addresses = usual_addresses(club=heron_small.club, today=TODAY)
    assert {client.get(address).status_code for address in addresses} == {200}
    assert len(set(addresses)) == len(addresses)


def test_each_peg_in_use_is_among_them_after_what_is_of_a_whole_water(heron_small: SmallClub) -> None:
    peg = heron_small.pegs["7"]
    Peg.objects.filter(pk=peg.pk).update(in_use=False)
    addresses = usual_addresses(club=heron_small.club, today=TODAY)
    of_pegs = [address for address in addresses if "&peg=" in address]
    assert len(of_pegs) == Peg.objects.filter(club=heron_small.club, in_use=True).count() > 0
    assert list(addresses[-len(of_pegs) :]) == of_pegs
    assert not [address for address in of_pegs if address.endswith("&peg=7")]
    assert all("month=6" in address for address in of_pegs)


def test_no_other_club_is_in_them_and_they_take_two_queries(
    heron_small: SmallClub,
    other_club: SmallClub,
    django_assert_num_queries: Callable[[int], object],
) -> None:
    with django_assert_num_queries(2):  # type: ignore[attr-defined]
        addresses = usual_addresses(club=heron_small.club, today=TODAY)
    assert all(address.startswith("/api/v1/clubs/heron-small/") for address in addresses)
    assert not [address for address in addresses if str(other_club.mere.uid) in address]

"""A membership lasts until the day of leaving, by the calendar of the place where the club is."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from clubdata.errors import NotAllowed, NotFound
from clubdata.models import Club, Member, Role, Water
from clubdata.services.members import IMPORTS, current_memberships, membership
from tests.factories import SmallClub, make_member

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
# The ends of the calendar: their dates differ at most moments from UTC or from each other.
ZONES = ["Pacific/Kiritimati", "Pacific/Pago_Pago", "Europe/London"]


def leave(small: SmallClub, on: date) -> None:
    Member.objects.filter(pk=small.member.pk).update(left_on=on)


def is_member(small: SmallClub) -> bool:
    """By the membership, by the list of memberships and by the tenant filter, which agree."""
    account = small.account()
    try:
        membership(actor=account, slug=small.club.slug)
        found = True
    except NotFound:
        found = False
    assert current_memberships(account).exists() is found
    assert Water.objects.visible_to(account).exists() is found
    return found


@pytest.mark.parametrize("zone", ZONES)
def test_until_the_day_of_leaving_where_the_club_is(zone: str, heron_small: SmallClub) -> None:
    Club.objects.filter(pk=heron_small.club.pk).update(time_zone=zone)
    today = timezone.now().astimezone(ZoneInfo(zone)).date()
    leave(heron_small, today + DAY)
    assert is_member(heron_small)
    leave(heron_small, today)
    assert not is_member(heron_small)


def test_a_role_that_is_missing_is_named(heron_small: SmallClub) -> None:
    who = membership(actor=heron_small.account(), slug=heron_small.club.slug)
    with pytest.raises(NotAllowed, match="Only the club's match organiser, analyst or secretary may dig"):
        who.require(IMPORTS, "dig")
    with pytest.raises(NotAllowed, match="Only the club's secretary may dig"):
        who.require(frozenset({Role.SECRETARY}), "dig")


def test_a_role_that_is_held_will_do(heron_small: SmallClub) -> None:
    analyst = make_member(heron_small.club, "M77", Role.ANALYST, login=True)
    membership(actor=analyst.account, slug=heron_small.club.slug).require(IMPORTS, "dig")

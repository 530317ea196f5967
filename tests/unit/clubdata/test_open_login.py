"""A member's first login, from the operator's terminal."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from clubdata.models import AccessToken
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db


def opened(*words: str) -> str:
    out = StringIO()
    call_command("open_login", *words, stdout=out, stderr=StringIO())
    return out.getvalue().strip()


@pytest.fixture
def newcomer(heron_small: SmallClub) -> str:
    heron_small.member.account = None
    heron_small.member.save(update_fields=["account"])
    return heron_small.member.number


def test_the_printed_token_opens_the_members_own_club(
    client: Client, heron_small: SmallClub, newcomer: str
) -> None:
    key = opened(heron_small.club.slug, newcomer, "newcomer")
    answer = client.get("/api/v1/me/", headers={"Authorization": f"Bearer {key}"})
    assert answer.status_code == 200
    assert [m["club"]["slug"] for m in answer.json()["memberships"]] == [heron_small.club.slug]


def test_only_the_tokens_digest_is_kept(heron_small: SmallClub, newcomer: str) -> None:
    key = opened(heron_small.club.slug, newcomer, "newcomer")
    kept = AccessToken.objects.get(account__username="newcomer")
    assert key not in {str(value) for value in vars(kept).values()}


def test_a_second_device_gets_a_token_of_its_own(heron_small: SmallClub, newcomer: str) -> None:
    first = opened(heron_small.club.slug, newcomer, "newcomer")
    second = opened(heron_small.club.slug, newcomer, "newcomer", "--device", "phone")
    assert first != second
    assert AccessToken.objects.filter(account__username="newcomer").count() == 2


def test_a_member_has_one_login(heron_small: SmallClub, newcomer: str) -> None:
    opened(heron_small.club.slug, newcomer, "newcomer")
    with pytest.raises(CommandError, match="has a login already"):
        opened(heron_small.club.slug, newcomer, "another")


def test_an_unknown_club_or_member_is_told_alike(heron_small: SmallClub) -> None:
    for words in (("nowhere", "1", "x"), (heron_small.club.slug, "nobody", "x")):
        with pytest.raises(CommandError, match="no such club, or no such current member"):
            opened(*words)

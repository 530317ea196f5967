"""A login belongs to one member; a key is shown once, expires, and can be closed."""

from datetime import timedelta

import pytest

from clubdata.errors import Conflict, InvalidInput, NotAllowed, NotFound
from clubdata.models import AccessToken
from clubdata.services.accounts import issue_token, open_account, revoke_token
from tests.factories import NOW, SmallClub, make_member

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)


def test_a_member_gets_one_login_and_no_second(heron_small: SmallClub) -> None:
    member = make_member(heron_small.club, "M9")
    account = open_account(
        member=member,
        username="m9",
        password="bank-side-tea-9",
        actor=heron_small.account("secretary"),
        now=NOW,
    )
    assert account.check_password("bank-side-tea-9")
    assert list(account.memberships.all()) == [member]
    with pytest.raises(Conflict):
        open_account(member=member, username="m9-again", password=None, actor=None, now=NOW)


def test_only_a_secretary_of_the_club_opens_logins(heron_small: SmallClub, other_club: SmallClub) -> None:
    member = make_member(heron_small.club, "M9")
    with pytest.raises(NotAllowed):
        open_account(
            member=member, username="m9", password=None, actor=heron_small.account("organiser"), now=NOW
        )
    with pytest.raises(NotFound):
        open_account(
            member=member, username="m9", password=None, actor=other_club.account("secretary"), now=NOW
        )


def test_a_login_name_that_is_taken_is_a_conflict_and_leaves_the_member_without_one(
    heron_small: SmallClub,
) -> None:
    member = make_member(heron_small.club, "M9")
    with pytest.raises(Conflict) as refused:
        open_account(
            member=member, username=heron_small.account().username, password=None, actor=None, now=NOW
        )
    assert refused.value.field == "username"
    member.refresh_from_db()
    assert member.account is None


@pytest.mark.parametrize(
    ("username", "password", "field"),
    [("m9", "short", "password"), ("m9", "password123", "password"), ("not a name!", None, "username")],
)
def test_weak_passwords_and_odd_names_are_refused(
    heron_small: SmallClub, username: str, password: str | None, field: str
) -> None:
    member = make_member(heron_small.club, "M9")
    with pytest.raises(InvalidInput) as refused:
        open_account(member=member, username=username, password=password, actor=None, now=NOW)
    assert refused.value.field == field


def test_the_key_is_not_in_the_database(heron_small: SmallClub) -> None:
    token, key = issue_token(account=heron_small.account(), device="phone", now=NOW, lifetime=DAY)
    row = AccessToken.objects.filter(pk=token.pk).values().get()
    assert key not in {str(value) for value in row.values()}
    assert row["digest"] == AccessToken.digest_of(key)


def test_a_key_opens_until_it_expires_or_is_revoked(heron_small: SmallClub) -> None:
    token, _ = issue_token(account=heron_small.account(), device="phone", now=NOW, lifetime=DAY)
    assert token.opens_at(NOW)
    assert not token.opens_at(NOW + DAY)
    revoke_token(token=token, now=NOW)
    assert not token.opens_at(NOW)
    revoke_token(token=token, now=NOW + DAY)
    assert token.revoked_at == NOW


@pytest.mark.parametrize("lifetime", [timedelta(), -DAY, timedelta(days=401)])
def test_a_key_has_a_bounded_life(heron_small: SmallClub, lifetime: timedelta) -> None:
    with pytest.raises(InvalidInput):
        issue_token(account=heron_small.account(), device="phone", now=NOW, lifetime=lifetime)

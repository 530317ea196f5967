"""A key opens while it lives; whatever is wrong with it, the answer is one and the same."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from clubdata.models import AccessToken, Account
from clubdata.services.accounts import issue_token, revoke_token
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def me(authorization: str) -> tuple[int, bytes]:
    response = APIClient(headers={"Authorization": authorization}).get("/api/v1/me/")
    return response.status_code, response.content


def test_a_living_key_says_who_it_is(heron_small: SmallClub) -> None:
    _, key = issue_token(account=heron_small.account(), device="x", now=timezone.now(), lifetime=HOUR)
    client = APIClient(headers={"Authorization": f"bearer {key}"})
    body = client.get("/api/v1/me/").json()
    assert body["username"] == "heron-small-m1"
    assert [one["club"]["slug"] for one in body["memberships"]] == ["heron-small"]


def test_unknown_expired_revoked_and_inactive_read_the_same(heron_small: SmallClub) -> None:
    now = timezone.now()
    account = heron_small.account()
    _, expired = issue_token(account=account, device="x", now=now - 2 * HOUR, lifetime=HOUR)
    token, revoked = issue_token(account=account, device="x", now=now, lifetime=HOUR)
    revoke_token(token=token, now=now)
    _, inactive = issue_token(account=heron_small.account("analyst"), device="x", now=now, lifetime=HOUR)
    Account.objects.filter(pk=heron_small.account("analyst").pk).update(is_active=False)
    answers = {me(f"Bearer {key}") for key in ("no-such-key", expired, revoked, inactive)}
    assert len(answers) == 1
    assert answers.pop()[0] == 401


def test_a_digest_is_no_key(heron_small: SmallClub) -> None:
    token, _ = issue_token(account=heron_small.account(), device="x", now=timezone.now(), lifetime=HOUR)
    assert me(f"Bearer {token.digest}")[0] == 401


def test_another_scheme_is_nobody(heron_small: SmallClub) -> None:
    assert me("Basic aGVyb246bWVyZQ==")[0] == 401


def test_a_session_must_carry_the_forgery_token_to_write(heron_small: SmallClub) -> None:
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(heron_small.account("secretary"))
    assert client.get("/api/v1/clubs/heron-small/").status_code == 200
    response = client.post("/api/v1/clubs/heron-small/fits/")
    assert response.status_code == 403
    assert response["Content-Type"] == "application/problem+json"


def test_the_key_is_in_no_log_line(
    heron_small: SmallClub, client_for: Callable[..., APIClient], caplog: pytest.LogCaptureFixture
) -> None:
    _, key = issue_token(account=heron_small.account(), device="x", now=timezone.now(), lifetime=HOUR)
    with caplog.at_level("DEBUG"):
        APIClient(headers={"Authorization": f"Bearer {key}"}).get("/api/v1/me/")
    digest = AccessToken.digest_of(key)
    text = "\n".join(str(vars(record)) for record in caplog.records if record.name.startswith("clubdata"))
    assert text and key not in text and digest not in text

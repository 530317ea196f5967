"""What every answer tells the browser to refuse."""

from collections.abc import Callable

import pytest
from django.test import Client
from rest_framework.test import APIClient

from clubdata.models import Account
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db
EVERYWHERE = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


@pytest.mark.parametrize(
    "path", ["/api/v1/me/", "/api/v1/nothing/", "/health/live", "/sign-in/", "/admin/login/", "/api/docs/"]
)
def test_every_answer_says_what_a_browser_is_to_refuse(path: str, client: Client) -> None:
    answer = client.get(path)
    assert {name: answer.get(name) for name in EVERYWHERE} == EVERYWHERE
    assert "geolocation=()" in answer["Permissions-Policy"]
    assert "frame-ancestors 'none'" in answer["Content-Security-Policy"]
    assert "unsafe-eval" not in answer["Content-Security-Policy"]


def test_an_answer_to_a_program_may_load_nothing_and_is_nobody_elses_to_keep(
    heron_small: SmallClub, client_for: Callable[[Account], APIClient]
) -> None:
    answer = client_for(heron_small.account()).get("/api/v1/clubs/heron-small/returns/")
    assert answer["Content-Security-Policy"].startswith("default-src 'none'")
    assert answer["Cache-Control"] == "private, no-cache"

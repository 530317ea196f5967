"""A uid that is taken is refused in one way, whoever's return it stands for."""

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from clubdata.models import Account, Return
from tests.factories import SmallClub, make_return

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
ADDRESS = "/api/v1/clubs/heron-small/returns/"
BODY: dict[str, Any] = {
    "water": "Heron-Small Mere",
    "peg": "12a",
    "fished_on": "2024-06-14",
    "hours": 5,
    "outcome": "weighed",
    "weight": "12-7-8",
    "parts": [{"hook_bait": "reds", "rig_type": "taper", "distance_m": 11.5}],
}


@pytest.fixture
def taken(heron_small: SmallClub, other_club: SmallClub, client_for: ClientFor) -> dict[str, uuid.UUID]:
    """Uids of returns that a member of the small club cannot see, and of one that is the member's own."""
    client = client_for(heron_small.account())
    own, removed = (client.post(ADDRESS, BODY).json()["uid"] for _ in range(2))
    Return.objects.filter(uid=removed).update(removed_at=timezone.now())
    hidden = make_return(heron_small.other_member, heron_small.pegs["7"])
    others = make_return(other_club.member, other_club.pegs["7"])
    return {"own": uuid.UUID(own), "removed": uuid.UUID(removed), "hidden": hidden.uid, "others": others.uid}


def test_a_hand_in_learns_nothing_of_whose_the_uid_is(
    taken: dict[str, uuid.UUID], heron_small: SmallClub, client_for: ClientFor
) -> None:
    client = client_for(heron_small.account())
    assert client.get(f"{ADDRESS}{taken['hidden']}/").status_code == 404
    answers = [client.post(ADDRESS, {**BODY, "weight": "9-0", "uid": str(uid)}) for uid in taken.values()]
    assert {answer.status_code for answer in answers} == {409}
    assert len({answer.content for answer in answers}) == 1
    # The very same words as were handed in before, which only their own return gives back.
    same = {name: client.post(ADDRESS, {**BODY, "uid": str(uid)}) for name, uid in taken.items()}
    assert same.pop("own").status_code == 200
    assert {answer.content for answer in same.values()} == {answers[0].content}


def test_a_batch_learns_nothing_either(
    taken: dict[str, uuid.UUID], heron_small: SmallClub, client_for: ClientFor
) -> None:
    rows = [{**BODY, "weight": "9-0", "uid": str(uid)} for uid in taken.values()]
    results = client_for(heron_small.account()).post(f"{ADDRESS}batch/", {"returns": rows}).json()["results"]
    assert [result["status"] for result in results] == [409] * 4
    assert all(result["problem"] == results[0]["problem"] for result in results)
    assert Return.with_removed.count() == 4

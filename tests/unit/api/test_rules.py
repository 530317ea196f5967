"""The club's book of rules: read by all, worded by organiser and secretary, apart from other clubs'."""

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from clubdata.models import Account, ClubRule
from clubdata.rules.trade_records import plain, standard_book
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
RULES = "/api/v1/clubs/heron-small/rules/"
OWN = {"topic": "laying_in", "advice": "Lift the pole over the reeds.", "reason": "They snag."}


@pytest.fixture
def member(heron_small: SmallClub, client_for: ClientFor) -> APIClient:
    return client_for(heron_small.account())


@pytest.fixture
def keeper(heron_small: SmallClub, client_for: ClientFor) -> APIClient:
    return client_for(heron_small.account("organiser"))


def names(client: APIClient, **query: str) -> list[str]:
    return [one["name"] for one in client.get(RULES, query).json()["rules"]]


def record(name: str, **changes: Any) -> dict[str, Any]:
    return {**plain(standard_book().rules[name]), **changes}


def test_the_book_is_shown_with_conditions_reasons_and_sources(member: APIClient) -> None:
    rules = member.get(RULES).json()["rules"]
    assert len(rules) == len(standard_book().rules)
    deep = next(one for one in rules if one["name"] == "float-heavier-when-deep")
    assert deep["conditions"][0] == {
        "fact": "depth_cm", "comparator": "above", "value": 183, "unit": "cm", "up_to": None,
        "words": "depth above 183 cm",
    }  # fmt: skip
    assert {one["source"] for one in rules} == {"common practice, no source"}
    assert all(one["reason"] and one["sure"] for one in rules)
    assert set(names(member, topic="change")) < set(names(member))


def test_a_club_words_a_rule_its_own_way_and_goes_back(keeper: APIClient, member: APIClient) -> None:
    path = f"{RULES}hook-16/"
    worded = keeper.put(path, record("hook-16", value=18, advice="A size 18."), format="json").json()
    assert (worded["value"], worded["advice"], worded["edited"]) == (18, "A size 18.", True)
    assert member.get(path).json() == worded
    assert names(member) == list(standard_book().rules), "in its place"
    assert keeper.post(f"{path}standard/").json()["value"] == 16
    assert member.get(path).json()["edited"] is False


def test_a_rule_is_left_out_and_a_new_one_added(keeper: APIClient, member: APIClient) -> None:
    assert keeper.delete(f"{RULES}medium-elastic/").status_code == 204
    assert "medium-elastic" not in names(member)
    assert member.get(f"{RULES}medium-elastic/").status_code == 404
    assert keeper.put(f"{RULES}over-the-reeds/", OWN, format="json").status_code == 200
    assert names(member)[-1] == "over-the-reeds"
    assert keeper.delete(f"{RULES}over-the-reeds/").status_code == 204
    assert not ClubRule.objects.filter(name="over-the-reeds").exists()
    assert keeper.post(f"{RULES}over-the-reeds/standard/").status_code == 404


def test_another_club_keeps_its_own_book(
    keeper: APIClient, other_club: SmallClub, client_for: ClientFor
) -> None:
    keeper.put(f"{RULES}over-the-reeds/", OWN, format="json")
    theirs = client_for(other_club.account("secretary"))
    slug = other_club.club.slug
    assert theirs.get(f"/api/v1/clubs/{slug}/rules/over-the-reeds/").status_code == 404
    assert theirs.get(f"{RULES}over-the-reeds/").status_code == 404


@pytest.mark.parametrize(
    "wrong",
    [
        [], "a rule", {}, {"advice": "Only this."},
        record("hook-16", value="sixteen"), record("hook-16", value=None),
        record("hook-16", when=[{"fact": "__import__", "is": "is", "value": 1}]),
        record("hook-16", when=[{"fact": "depth_cm", "is": "exec", "value": 1}]),
        record("hook-16", when=[{"fact": "depth_cm", "is": "above", "value": "deep"}]),
        record("hook-16", when=[{"fact": "month", "is": "not_between", "value": 3}]),
        record("hook-16", when=[{"fact": "depth_cm", "is": "above", "value": 1}] * 7),
        record("hook-16", low=20, high=10), record("hook-16", advice="x" * 401),
        record("hook-16", author="me"),
    ],
)  # fmt: skip
def test_a_record_that_is_none_is_refused_and_nothing_changes(
    wrong: Any, keeper: APIClient, member: APIClient
) -> None:
    refused = keeper.put(f"{RULES}hook-16/", wrong, format="json")
    assert refused.status_code == 400, refused.content
    assert member.get(f"{RULES}hook-16/").json()["value"] == 16
    assert not ClubRule.objects.exists()


def test_a_word_is_not_compared_as_a_number(
    keeper: APIClient, member: APIClient, heron_small: SmallClub
) -> None:
    odd = record("hook-16", when=[{"fact": "water_kind", "is": "above", "value": 3}])
    assert keeper.put(f"{RULES}hook-16/", odd, format="json").status_code == 400
    other = record("hook-16", when=[{"fact": "water_kind", "is": "is", "value": 3}])
    assert keeper.put(f"{RULES}hook-16/", other, format="json").status_code == 200
    path = f"/api/v1/clubs/heron-small/waters/{heron_small.mere.uid}/plan/"
    lines = member.get(path, {"peg": "3", "month": 9}).json()["plan"]["lines"]
    assert "hook" not in {item["topic"] for item in lines[0]["items"]}, "it never holds"

"""A return amended and removed: every change kept, no phone overwriting another, final results guarded."""

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from clubdata.models import Account, Club, Match, Member, Return, Role, SessionKind
from tests.factories import SmallClub, make_match, make_member, make_return

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
CLUB = "/api/v1/clubs/heron-small/"
BODY: dict[str, Any] = {
    "water": "Heron-Small Mere",
    "peg": "3",
    "fished_on": "2024-06-14",
    "hours": 5,
    "weight": "12-7-8",
    "hook_bait": "reds",
    "distance_m": 11.5,
    "notes": "by the reeds",
}
REASON = {"reason": "misread my own card"}


@pytest.fixture
def member(heron_small: SmallClub, client_for: ClientFor) -> APIClient:
    return client_for(heron_small.account())


@pytest.fixture
def address(member: APIClient) -> str:
    return f"{CLUB}returns/{member.post(f'{CLUB}returns/', BODY).json()['uid']}/"


def etag(client: APIClient, address: str) -> str:
    return str(client.get(address)["ETag"])


def amend(client: APIClient, address: str, body: dict[str, Any], tag: str | None = None) -> Any:
    return client.patch(address, {**REASON, **body}, HTTP_IF_MATCH=tag or etag(client, address))


def codes(response: Any) -> set[tuple[str, str]]:
    return {(error["field"], error["code"]) for error in response.json()["errors"]}


def test_an_amendment_is_kept_with_who_when_from_to_and_why(
    member: APIClient, address: str, heron_small: SmallClub
) -> None:
    before = Club.objects.get(pk=heron_small.club.pk).revision
    response = amend(member, address, {"weight": "12-8", "peg": "4", "hook_bait": "casters"})
    assert response.status_code == 200, response.content
    shown = response.json()
    assert (shown["weight"]["grams"], shown["peg"]["label"], shown["version"]) == (5670, "4", 2)
    assert (shown["parts"][0]["hook_bait"]["name"], shown["parts"][0]["distance_m"]) == ("caster", 11.5)
    (kept,) = member.get(f"{address}amendments/").json()["results"]
    assert (kept["kind"], kept["state"], kept["reason"]) == ("change", "made", REASON["reason"])
    assert kept["asked_by"] == "M1"
    assert kept["changes"] == [
        {"field": "peg", "from": "3", "to": "4"},
        {"field": "weight", "from": "12-7-8", "to": "12-8"},
        {"field": "parts.0.hook_bait", "from": "red maggot", "to": "caster"},
    ]
    assert Club.objects.get(pk=heron_small.club.pk).revision == before + 1


def test_what_is_left_out_stays(member: APIClient, address: str) -> None:
    before = member.get(address).json()
    after = amend(member, address, {"notes": "by the gate"}).json()
    changed = {name for name in before if before[name] != after[name]}
    assert changed == {"notes", "version", "changed_at"}


def test_two_phones_do_not_overwrite_each_other(member: APIClient, address: str) -> None:
    seen = etag(member, address)
    assert amend(member, address, {"weight": "12-8"}, seen).status_code == 200
    late = amend(member, address, {"weight": "13-0", "notes": "by the reeds"}, seen)
    assert late.status_code == 412
    assert late.json()["type"] == "/problems/version-moved"
    assert codes(late) == {("weight", "differs")}, "nothing that was not sent"
    assert Return.objects.get().weight_typed == "12-8"


@pytest.mark.parametrize("tag", [None, "*", ""])
def test_a_change_says_which_version_it_changes(tag: str | None, member: APIClient, address: str) -> None:
    headers = {} if tag is None else {"HTTP_IF_MATCH": tag}
    assert member.patch(address, {**REASON, "peg": "4"}, **headers).status_code == 428
    assert member.delete(address, REASON, **headers).status_code == 428


@pytest.mark.parametrize("tag", ['"nonsense"', "v1, v2", "W/x", '"v-1"', '"v' + "9" * 400 + '"'])
def test_a_tag_that_is_not_ours_is_told(tag: str, member: APIClient, address: str) -> None:
    assert member.patch(address, {**REASON, "peg": "4"}, HTTP_IF_MATCH=tag).status_code == 400


def test_what_has_not_changed_is_not_sent_again(member: APIClient, address: str) -> None:
    tag = etag(member, address)
    assert member.get(address, HTTP_IF_NONE_MATCH=tag).status_code == 304
    amend(member, address, {"peg": "4"})
    assert member.get(address, HTTP_IF_NONE_MATCH=tag).status_code == 200


def test_an_amendment_is_held_to_what_a_hand_in_is(member: APIClient, address: str) -> None:
    wrong = {"weight": "3.8", "hours": 60, "peg": "99"}
    response = amend(member, address, wrong)
    assert response.status_code == 400
    assert {field for field, _ in codes(response)} == set(wrong)
    assert codes(member.patch(address, {"peg": "4"}, HTTP_IF_MATCH=etag(member, address))) == {
        ("reason", "required")
    }
    assert Return.objects.get().version == 1


def test_a_removed_return_counts_nowhere_and_can_be_brought_back(
    member: APIClient, address: str, heron_small: SmallClub, client_for: ClientFor
) -> None:
    assert member.delete(address, REASON, HTTP_IF_MATCH=etag(member, address)).status_code == 200
    assert member.get(address).status_code == 404
    assert member.get(f"{CLUB}returns/").json()["results"] == []
    assert member.post(f"{address}restore/", REASON).status_code == 403
    secretary = client_for(heron_small.account("secretary"))
    assert len(secretary.get(f"{CLUB}returns/removed/").json()["results"]) == 1
    assert secretary.post(f"{address}restore/", REASON).status_code == 200
    assert member.get(address).json()["version"] == 3
    kinds = [row["kind"] for row in member.get(f"{address}amendments/").json()["results"]]
    assert kinds == ["removal", "restoration"]


def test_only_who_may_amends(address: str, heron_small: SmallClub, client_for: ClientFor) -> None:
    # Another's pleasure return is not there for a member, and not the organiser's to change.
    assert client_for(heron_small.account("other_member")).get(address).status_code == 404
    analyst = client_for(heron_small.account("analyst"))
    assert amend(analyst, address, {"peg": "4"}).status_code == 403
    assert amend(client_for(heron_small.account("secretary")), address, {"peg": "4"}).status_code == 200


def _match_return(small: SmallClub, who: str) -> str:
    match = Match.objects.first() or make_match(small.mere, "M-1")
    member = getattr(small, who)
    session = make_return(member, small.pegs["2"], session_kind=SessionKind.MATCH, match=match)
    return f"{CLUB}returns/{session.uid}/"


def test_after_the_result_is_final_only_an_organiser_amends(
    heron_small: SmallClub, client_for: ClientFor, member: APIClient
) -> None:
    address = _match_return(heron_small, "member")
    final = f"{CLUB}matches/{Match.objects.get().uid}/final/"
    organiser = client_for(heron_small.account("organiser"))
    assert member.put(final).status_code == 403
    assert organiser.put(final).status_code == 200
    assert codes(organiser.put(final)) == {("match", "result_is_final")}
    for late in (member, client_for(heron_small.account("secretary"))):
        assert codes(amend(late, address, {"weight": "9-0"})) == {("match", "result_is_final")}
    late_body = {**BODY, "session_kind": "match", "match": "M-1", "fished_on": "2024-05-01"}
    assert codes(member.post(f"{CLUB}returns/", late_body)) == {("match", "result_is_final")}
    assert amend(organiser, address, {"weight": "9-0"}).status_code == 200
    assert organiser.delete(final).status_code == 200
    assert amend(member, address, {"weight": "9-1"}).status_code == 200


def test_the_organisers_own_result_takes_a_second_person(
    heron_small: SmallClub, client_for: ClientFor, member: APIClient
) -> None:
    address = _match_return(heron_small, "organiser")
    organiser = client_for(heron_small.account("organiser"))
    organiser.put(f"{CLUB}matches/{Match.objects.get().uid}/final/")
    asked = amend(organiser, address, {"weight": "19-0"})
    assert (asked.status_code, asked.json()["state"]) == (202, "awaiting")
    assert organiser.get(address).json()["weight"]["grams"] == 2820
    assert amend(organiser, address, {"weight": "20-0"}).status_code == 409
    approve = f"{CLUB}amendments/{asked.json()['uid']}/approve/"
    assert organiser.post(approve, REASON).status_code == 409
    assert member.post(approve, REASON).status_code == 403
    secretary = client_for(heron_small.account("secretary"))
    assert [row["uid"] for row in secretary.get(f"{CLUB}amendments/").json()["results"]] == [
        asked.json()["uid"]
    ]
    assert secretary.post(approve, REASON).status_code == 200
    # 19 lb by the pound of 453.59237 g (International Yard and Pound Agreement 1959)
    assert organiser.get(address).json()["weight"]["grams"] == 8618
    assert secretary.post(approve, REASON).status_code == 409
    assert secretary.get(f"{CLUB}amendments/").json()["results"] == []


def test_what_waits_is_agreed_to_though_the_members_number_has_changed(
    heron_small: SmallClub, client_for: ClientFor
) -> None:
    address = _match_return(heron_small, "organiser")
    organiser = client_for(heron_small.account("organiser"))
    organiser.put(f"{CLUB}matches/{Match.objects.get().uid}/final/")
    asked = amend(organiser, address, {"weight": "19-0"})
    Member.objects.filter(pk=heron_small.organiser.pk).update(number="M-new")
    secretary = client_for(heron_small.account("secretary"))
    approve = f"{CLUB}amendments/{asked.json()['uid']}/approve/"
    assert secretary.post(approve, REASON).status_code == 200
    assert Return.objects.get().member.number == "M-new"


def test_a_second_organiser_may_decline(heron_small: SmallClub, client_for: ClientFor) -> None:
    address = _match_return(heron_small, "organiser")
    second = make_member(heron_small.club, "M88", Role.ORGANISER, login=True)
    organiser = client_for(heron_small.account("organiser"))
    organiser.put(f"{CLUB}matches/{Match.objects.get().uid}/final/")
    asked = organiser.delete(address, REASON, HTTP_IF_MATCH=etag(organiser, address)).json()
    decline = f"{CLUB}amendments/{asked['uid']}/decline/"
    assert client_for(second.account).post(decline, REASON).json()["state"] == "declined"
    assert organiser.get(address).status_code == 200

"""Figures to check: asked about at hand-in, never refused; looked at by those who may, none at their own."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from analytics.frames import load_frame
from analytics.rows import WAITS
from clubdata.models import Account, Amendment, Doubt, Member, Return, Species, Water
from clubdata.rules.plausibility import Question
from clubdata.services.doubts import raise_doubts
from tests.factories import SmallClub, make_match

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
CLUB = "/api/v1/clubs/heron-small/"
TACKLE = {"main_line_mm": 0.12, "hooklength_mm": 0.16}


@pytest.fixture
def hand_in(heron_small: SmallClub, client_for: ClientFor) -> Callable[..., Any]:
    def sent(role: str = "member", part: dict[str, Any] | None = None, **more: Any) -> Any:
        said: dict[str, Any] = {
            "water": str(heron_small.mere.uid), "peg": "3", "fished_on": "2024-06-16", "hours": 5,
            "outcome": "weighed", "weight": "12lb 8oz", "parts": [{"hook_bait": "caster", **(part or {})}],
        }  # fmt: skip
        answer = client_for(heron_small.account(role)).post(f"{CLUB}returns/", {**said, **more})
        assert answer.status_code == 201, answer.content
        return answer.json()

    return sent


@pytest.fixture
def analyst(heron_small: SmallClub, client_for: ClientFor) -> APIClient:
    return client_for(heron_small.account("analyst"))


def queue(client: APIClient, **query: str) -> list[dict[str, Any]]:
    answer = client.get(f"{CLUB}doubts/", query)
    assert answer.status_code == 200, answer.content
    results: list[dict[str, Any]] = answer.json()["results"]
    return results


def test_a_hooklength_stronger_than_the_main_line_is_taken_in_and_asked_about(
    hand_in: Callable[..., Any], analyst: APIClient
) -> None:
    kept = hand_in(part=TACKLE)
    (asked,) = kept["doubts"]
    assert (asked["code"], asked["field"]) == ("hooklength_above_main_line", "parts.0.hooklength_mm")
    assert asked["sentence"].startswith("Please check the figure: a hooklength of 0.16 mm")
    (shown,) = queue(analyst)
    assert (shown["session"]["uid"], shown["state"]) == (kept["uid"], "waiting")
    assert shown["facts"] == {"hooklength_mm": 0.16, "main_line_mm": 0.12}


def test_an_ordinary_return_is_not_asked_about(hand_in: Callable[..., Any], analyst: APIClient) -> None:
    assert hand_in(part={"main_line_mm": 0.14, "hooklength_mm": 0.1})["doubts"] == []
    assert queue(analyst) == []


def test_the_club_s_own_bounds_and_the_water_s_rules_are_asked_by(
    heron_small: SmallClub, hand_in: Callable[..., Any], analyst: APIClient
) -> None:
    Species.objects.filter(pk=heron_small.roach.pk).update(heaviest_g=1_500)
    Water.objects.filter(pk=heron_small.mere.pk).update(
        rules={"hook_baits_not_allowed": ["caster"], "most_rods": 1}
    )
    kept = hand_in(
        rods=2, catch=[{"species": "roach", "fish_count": 1, "weight": "2.1 kg", "biggest": "2.1 kg"}]
    )
    codes = {one["code"] for one in kept["doubts"]}
    assert codes == {
        "above_heaviest",
        "average_above_heaviest",
        "hook_bait_not_allowed",
        "more_rods_than_allowed",
    }
    assert len(queue(analyst)) == 4


def test_what_waits_is_not_used_and_is_when_it_is_taken(
    heron_small: SmallClub, hand_in: Callable[..., Any], analyst: APIClient
) -> None:
    hand_in(part=TACKLE)
    assert list(load_frame(club=heron_small.club).frame["outcome"]) == [WAITS]
    before = heron_small.club.revision
    (doubt,) = queue(analyst)
    held = analyst.post(f"{CLUB}doubts/{doubt['uid']}/hold/", {"reason": "asked him by letter"})
    assert (held.status_code, held.json()["state"], held.json()["settled_by"]) == (200, "held", "M4")
    assert list(load_frame(club=heron_small.club).frame["outcome"]) == [WAITS]
    assert analyst.post(f"{CLUB}doubts/{doubt['uid']}/hold/", {"reason": "again"}).status_code == 409
    taken = analyst.post(f"{CLUB}doubts/{doubt['uid']}/take/", {"reason": "he ties them so"})
    assert (taken.json()["state"], taken.json()["settled_reason"]) == ("taken", "he ties them so")
    assert list(load_frame(club=heron_small.club).frame["outcome"]) == ["weighed"]
    heron_small.club.refresh_from_db()
    assert heron_small.club.revision > before, "a fit of before is stale"
    again = analyst.post(f"{CLUB}doubts/{doubt['uid']}/take/", {"reason": "twice"})
    assert again.status_code == 409
    assert queue(analyst, state="waiting") == [] and len(queue(analyst, state="taken")) == 1


def amend(client: APIClient, uid: str, **changes: Any) -> Any:
    path = f"{CLUB}returns/{uid}/"
    body = {"reason": "misread", **changes}
    answer = client.patch(path, body, headers={"If-Match": client.get(path)["ETag"]})
    assert answer.status_code == 200, answer.content
    return answer.json()


def test_to_correct_the_figure_settles_it(
    heron_small: SmallClub, hand_in: Callable[..., Any], client_for: ClientFor, analyst: APIClient
) -> None:
    kept = hand_in(part=TACKLE)
    member = client_for(heron_small.account())
    changed = amend(
        member, kept["uid"], parts=[{"hook_bait": "caster", "main_line_mm": 0.16, "hooklength_mm": 0.12}]
    )
    assert changed["doubts"] == []
    (doubt,) = queue(analyst)
    assert (doubt["state"], doubt["settled_by"]) == ("corrected", "M1")
    effect = analyst.get(f"{CLUB}doubts/{doubt['uid']}/effect/").json()
    assert effect["no_answer"]["code"] == "corrected"


def test_what_was_taken_is_not_asked_again_by_another_change(
    heron_small: SmallClub, hand_in: Callable[..., Any], client_for: ClientFor, analyst: APIClient
) -> None:
    kept = hand_in(part=TACKLE)
    (doubt,) = queue(analyst)
    analyst.post(f"{CLUB}doubts/{doubt['uid']}/take/", {"reason": "he ties them so"})
    member = client_for(heron_small.account())
    assert amend(member, kept["uid"], notes="by the reeds")["doubts"] == []
    asked = amend(member, kept["uid"], parts=[{"hook_bait": "caster", **TACKLE, "hooklength_mm": 0.18}])[
        "doubts"
    ]
    assert [one["code"] for one in asked] == ["hooklength_above_main_line"], "another figure is asked about"


def test_a_doubt_whose_figures_still_stand_stays_open_and_held(
    heron_small: SmallClub, hand_in: Callable[..., Any], client_for: ClientFor, analyst: APIClient
) -> None:
    kept = hand_in(part=TACKLE)
    (doubt,) = queue(analyst)
    analyst.post(f"{CLUB}doubts/{doubt['uid']}/hold/", {"reason": "asked him on Sunday"})
    (asked,) = amend(client_for(heron_small.account()), kept["uid"], weight="12lb 9oz")["doubts"]
    assert (asked["uid"], asked["state"], asked["version"]) == (doubt["uid"], "held", 2)
    assert len(queue(analyst)) == 1


def test_what_the_fit_asks_about_stays_open_while_only_words_change(
    heron_small: SmallClub, hand_in: Callable[..., Any], client_for: ClientFor
) -> None:
    kept = hand_in()
    session = Return.objects.get(uid=kept["uid"])
    Return.objects.update(looked_at_version=1)
    asked = Question("against_the_fit", "weight", "Please check the figure.", {"weight_g": session.weight_g})
    (doubt,) = raise_doubts(session=session, questions=[asked], now=timezone.now())
    member = client_for(heron_small.account())
    (still,) = amend(member, kept["uid"], notes="by the reeds")["doubts"]
    assert still["uid"] == str(doubt.uid)
    session.refresh_from_db()
    assert session.looked_at_version == session.version == 2, "and no fit asks once more"
    assert amend(member, kept["uid"], weight="12lb 9oz")["doubts"] == []
    session.refresh_from_db()
    assert session.looked_at_version < session.version, "another figure is held against the next fit"


@pytest.mark.parametrize(
    ("role", "status"), [("member", 403), ("organiser", 200), ("analyst", 200), ("secretary", 200)]
)
def test_the_queue_is_for_those_who_look(
    role: str, status: int, heron_small: SmallClub, hand_in: Callable[..., Any], client_for: ClientFor
) -> None:
    hand_in(part=TACKLE)
    answer = client_for(heron_small.account(role)).get(f"{CLUB}doubts/")
    assert answer.status_code == status
    if status == 200:
        seen = {"organiser": 0, "analyst": 1, "secretary": 1}[role]
        assert len(answer.json()["results"]) == seen, "an organiser looks at matches"


def test_an_organiser_looks_at_matches(
    heron_small: SmallClub, hand_in: Callable[..., Any], client_for: ClientFor
) -> None:
    match = make_match(heron_small.mere, "M-77", held_on=date(2024, 6, 16))
    hand_in("organiser", part=TACKLE, session_kind="match", match=match.code, member="M1")
    organiser = client_for(heron_small.account("organiser"))
    (doubt,) = queue(organiser)
    taken = organiser.post(f"{CLUB}doubts/{doubt['uid']}/take/", {"reason": "seen at the weigh-in"})
    assert taken.status_code == 200, taken.content


def test_nobody_settles_a_doubt_of_their_own_return(hand_in: Callable[..., Any], analyst: APIClient) -> None:
    hand_in("analyst", part=TACKLE)
    (doubt,) = queue(analyst)
    for word in ("take", "hold"):
        refused = analyst.post(f"{CLUB}doubts/{doubt['uid']}/{word}/", {"reason": "it is so"})
        assert (refused.status_code, "second person" in refused.json()["detail"]) == (409, True)
    assert Doubt.objects.get().state == "waiting"


def test_another_club_s_doubts_are_not_there(
    other_club: SmallClub, hand_in: Callable[..., Any], client_for: ClientFor
) -> None:
    hand_in(part=TACKLE)
    stranger = client_for(other_club.account("analyst"))
    uid = Doubt.objects.get().uid
    assert stranger.get(f"{CLUB}doubts/").status_code == 404
    assert stranger.get(f"/api/v1/clubs/grebe-small/doubts/{uid}/effect/").status_code == 404
    assert stranger.post(f"/api/v1/clubs/grebe-small/doubts/{uid}/take/", {"reason": "x"}).status_code == 404


def test_a_doubt_names_nobody(
    heron_small: SmallClub, hand_in: Callable[..., Any], analyst: APIClient
) -> None:
    Member.objects.filter(pk=heron_small.member.pk).update(protection="junior", responsible_adult="An Adult")
    hand_in(part=TACKLE)
    text = analyst.get(f"{CLUB}doubts/").content.decode()
    assert "Member One" not in text and "M1" not in text and "An Adult" not in text


def test_before_any_fit_nothing_is_said_of_its_effect(
    hand_in: Callable[..., Any], analyst: APIClient
) -> None:
    hand_in(part=TACKLE)
    (doubt,) = queue(analyst)
    effect = analyst.get(f"{CLUB}doubts/{doubt['uid']}/effect/").json()
    assert effect["no_answer"]["code"] == "no_fit_yet" and effect["moves"] == []


def test_a_removed_return_is_not_in_the_queue(
    heron_small: SmallClub, hand_in: Callable[..., Any], client_for: ClientFor, analyst: APIClient
) -> None:
    kept = hand_in(part=TACKLE)
    member, path = client_for(heron_small.account()), f"{CLUB}returns/{kept['uid']}/"
    assert (
        member.delete(
            path, {"reason": "entered twice"}, headers={"If-Match": member.get(path)["ETag"]}
        ).status_code
        == 200
    )
    assert queue(analyst) == []
    secretary = client_for(heron_small.account("secretary"))
    assert secretary.post(f"{path}restore/", {"reason": "it was not"}).status_code == 200
    assert [one["state"] for one in queue(analyst) if one["state"] == "waiting"] == ["waiting"]
    assert Amendment.objects.count() == 2 and Return.objects.get().looked_at_version < timezone.now().year

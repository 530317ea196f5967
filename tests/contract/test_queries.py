"""A list of twenty costs as many queries as a list of one."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from clubdata.models import (
    Account,
    Amendment,
    Attendance,
    CatchLine,
    Conditions,
    Doubt,
    HookBait,
    Invitation,
    Job,
    JobKind,
    PegDepth,
    PegHazard,
    Return,
    Role,
    SignIn,
    WeatherReading,
)
from clubdata.services.accounts import issue_token
from tests.contract.routes import READS, SCHEMA
from tests.factories import (
    NOW,
    SmallClub,
    make_club,
    make_match,
    make_member,
    make_pegs,
    make_return,
    make_water,
    make_word,
)

pytestmark = pytest.mark.django_db
MORE = 19
# Three for the key and the membership; the vocabulary asks twice for each of five kinds of word.
MOST_QUERIES = 13


def more_returns(small: SmallClub, number: int) -> None:
    match = make_match(small.mere, f"Q-{number}")
    session = make_return(
        small.other_member,
        small.pegs["5"],
        session_kind="match",
        match=match,
        part={"hook_bait": small.caster, "method": small.pole, "rig_type": small.bulk},
    )
    CatchLine.objects.create(club=small.club, session=session, species=small.roach, fish_count=3)
    Conditions.objects.create(club=small.club, session=session, wind_force=2)


def more_own_returns(small: SmallClub, number: int) -> None:
    make_return(small.secretary, small.pegs["5"], part={"hook_bait": small.caster, "method": small.pole})


def more_pegs(small: SmallClub, number: int) -> None:
    peg = make_pegs(small.mere, f"X{number}", bank=f"far {number}")[f"X{number}"]
    PegDepth.objects.create(club=small.club, peg=peg, distance_m=Decimal(5), depth_cm=100)
    PegHazard.objects.create(club=small.club, peg=peg, kind="steep bank", noted_on=date(2020, 1, 1))


def more_fits(small: SmallClub, number: int) -> None:
    ended = NOW + timedelta(minutes=number)
    Job.objects.create(club=small.club, kind=JobKind.FIT, state="finished", created_at=NOW, finished_at=ended)


def more_clubs(small: SmallClub, number: int) -> None:
    make_member(make_club(f"club-{number}"), "1", Role.ANALYST, account=small.account("secretary"))


def more_amendments(small: SmallClub, number: int) -> None:
    """Of returns that wait for a second person, each asked for by another."""
    session = make_return(small.other_member, small.pegs["2"])
    Amendment.objects.create(
        club=small.club,
        session=session,
        kind="removal",
        state="awaiting",
        reason="entered twice",
        version_before=1,
        asked_by=somebody(small, number),
        asked_at=NOW,
    )


def more_history(small: SmallClub, number: int) -> None:
    first = Return.objects.filter(notes="the first").first()
    session = first or make_return(small.other_member, small.pegs["2"], notes="the first")
    Amendment.objects.create(
        club=small.club,
        session=session,
        kind="change",
        state="made",
        reason="misread",
        version_before=number + 1,
        asked_by=somebody(small, number),
        asked_at=NOW,
    )


def somebody(small: SmallClub, number: int) -> Account | None:
    return make_member(small.club, f"S{number}", login=True).account


def more_attendance(small: SmallClub, number: int) -> None:
    Attendance.objects.create(
        club=small.club,
        member=make_member(small.club, f"A{number}"),
        water=make_water(small.club, f"Lake {number}"),
        match=None,
        fished_on=date(2024, 5, 1) + timedelta(days=31 * number),
        source="bailiff",
        noted_by=small.account("organiser"),
        noted_at=NOW,
    )


def more_doubts(small: SmallClub, number: int) -> None:
    match = make_match(make_water(small.club, f"Mere {number}"), f"D-{number}")
    peg = make_pegs(match.water, "1")["1"]
    session = make_return(
        make_member(small.club, f"D{number}"), peg, session_kind="match", match=match, fished_on=match.held_on
    )
    Doubt.objects.create(
        club=small.club,
        session=session,
        version=1,
        code="more_rods_than_allowed",
        sentence="Please check the figure.",
        raised_at=NOW,
        state="taken",
        settled_by=somebody(small, number),
        settled_at=NOW,
    )


def more_removed(small: SmallClub, number: int) -> None:
    session = make_return(make_member(small.club, f"R{number}"), small.pegs["2"], part={})
    Return.objects.filter(pk=session.pk).update(removed_at=NOW, removed_by=somebody(small, number))


def more_sign_ins(small: SmallClub, number: int) -> None:
    for account in (small.account("secretary"), somebody(small, number)):
        SignIn.objects.create(
            account=account, name_digest="0" * 64, address_digest="", outcome="opened", at=NOW
        )


def more_devices(small: SmallClub, number: int) -> None:
    issue_token(
        account=small.account("secretary"), device=f"phone {number}", now=NOW, lifetime=timedelta(days=99)
    )


def more_invitations(small: SmallClub, number: int) -> None:
    Invitation.objects.create(
        club=small.club,
        member=small.member,
        digest=f"{number:064}",
        created_at=NOW,
        expires_at=NOW + timedelta(days=7),
        withdrawn_at=NOW,
    )


def more_readings(small: SmallClub, number: int) -> None:
    read_at = NOW + timedelta(hours=number)
    WeatherReading.objects.create(club=small.club, station="boathouse", read_at=read_at, wind_m_s=2)


LISTS: dict[str, Callable[[SmallClub, int], object]] = {
    "/api/v1/me/devices/": more_devices,
    "/api/v1/me/sign-ins/": more_sign_ins,
    "/api/v1/clubs/": more_clubs,
    "/api/v1/clubs/{slug}/amendments/": more_amendments,
    "/api/v1/clubs/{slug}/attendance/": more_attendance,
    "/api/v1/clubs/{slug}/doubts/": more_doubts,
    "/api/v1/clubs/{slug}/fits/": more_fits,
    "/api/v1/clubs/{slug}/handed-in/": more_attendance,
    "/api/v1/clubs/{slug}/jobs/": more_fits,
    "/api/v1/clubs/{slug}/matches/": lambda small, n: make_match(small.mere),
    "/api/v1/clubs/{slug}/members/": lambda small, n: make_member(small.club, f"Q{n}", Role.ANALYST),
    "/api/v1/clubs/{slug}/members/{uid}/invitations/": more_invitations,
    "/api/v1/clubs/{slug}/outstanding/": more_attendance,
    "/api/v1/clubs/{slug}/reminders/": more_attendance,
    "/api/v1/clubs/{slug}/returns/": more_returns,
    "/api/v1/clubs/{slug}/returns/{uid}/amendments/": more_history,
    "/api/v1/clubs/{slug}/returns/removed/": more_removed,
    "/api/v1/clubs/{slug}/sign-ins/": more_sign_ins,
    "/api/v1/clubs/{slug}/waters/": lambda small, n: make_water(small.club, f"Pool {n}"),
    "/api/v1/clubs/{slug}/waters/{uid}/own-returns/": more_own_returns,
    "/api/v1/clubs/{slug}/waters/{uid}/pegs/": more_pegs,
    "/api/v1/clubs/{slug}/weather-readings/": more_readings,
}
# No pages, but as long as what is recorded.
LENGTHENING: dict[str, Callable[[SmallClub, int], object]] = {
    "/api/v1/me/": more_clubs,
    "/api/v1/clubs/{slug}/members/{uid}/held/": more_own_returns,
    "/api/v1/clubs/{slug}/my-numbers/": more_own_returns,
    "/api/v1/clubs/{slug}/returns/export/": more_returns,
    "/api/v1/clubs/{slug}/vocabulary/": lambda small, n: make_word(HookBait, small.club, f"paste {n}"),
    "/api/v1/clubs/{slug}/waters/{uid}/": more_pegs,
}
# A table each, and the columns of other records that it names.
MOST_OF = {"/api/v1/clubs/{slug}/members/{uid}/held/": 31, "/api/v1/clubs/{slug}/my-numbers/": 16}


def test_every_list_of_the_schema_is_among_them() -> None:
    schemas = SCHEMA["components"]["schemas"]
    listing = set()
    for operation in READS:
        content = operation.description["responses"]["200"].get("content", {}).get("application/json", {})
        named = content.get("schema", {}).get("$ref", "").rsplit("/", 1)[-1]
        if "results" in schemas.get(named, {}).get("properties", {}):
            listing.add(operation.path)
    assert listing == set(LISTS)


@pytest.mark.parametrize("path", [*LISTS, *LENGTHENING])
def test_a_list_costs_the_same_at_one_row_and_at_twenty(
    path: str, heron_small: SmallClub, client_for: Callable[..., APIClient]
) -> None:
    client = client_for(heron_small.account("secretary"))
    add = {**LISTS, **LENGTHENING}[path]
    add(heron_small, 0)

    address = address_of(path, heron_small)

    def queries() -> list[str]:
        with CaptureQueriesContext(connection) as captured:
            answer = client.get(address)
            assert answer.status_code == 200, answer.getvalue()
            told.append(len(answer.getvalue()))
        return [query["sql"] for query in captured]

    told: list[int] = []
    at_one = queries()
    for number in range(1, MORE + 1):
        add(heron_small, number)
    at_twenty = queries()
    assert len(at_twenty) == len(at_one), "\n".join(at_twenty)
    assert len(at_twenty) <= MOST_OF.get(path, MOST_QUERIES)
    assert told[1] > told[0], "there is more to tell"


def address_of(path: str, small: SmallClub) -> str:
    uids = {"waters": small.mere.uid, "members": small.member.uid}
    if "members/{uid}/held" in path:
        uids["members"] = small.secretary.uid
    first = Return.objects.filter(notes="the first").first()
    if first is not None:
        uids["returns"] = first.uid
    noun = path.partition("{slug}/")[2].partition("/")[0]
    return path.replace("{slug}", small.club.slug).replace("{uid}", str(uids.get(noun, "")))

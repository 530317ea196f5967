"""What a club holds on a member: all of it to the member and the secretary, of others their number alone."""

import csv
import io
import json
import zipfile
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.apps import apps
from rest_framework.test import APIClient

from clubdata.models import Account, Attendance, CatchLine, Conditions, Invitation, Job, Member, Return
from clubdata.models.base import ClubRecord
from clubdata.services.held_data import _of_the_club
from tests.factories import NOW, SmallClub, make_return

pytestmark = pytest.mark.django_db
ClientFor = Callable[[Account | None], APIClient]
BOOK = "/api/v1/clubs/heron-small/members/"


@pytest.fixture
def session(heron_small: SmallClub) -> Return:
    part = {"hook_bait": heron_small.caster, "distance_m": "11.5"}
    made = make_return(heron_small.member, heron_small.pegs["1"], notes="=by the reeds", part=part)
    made.entered_by = heron_small.account("secretary")
    made.save()
    Conditions.objects.create(club=heron_small.club, session=made, wind_force=3)
    CatchLine.objects.create(club=heron_small.club, session=made, species=heron_small.roach, weight_g=900)
    gone = make_return(heron_small.member, heron_small.pegs["2"], notes="entered twice")
    Return.objects.filter(pk=gone.pk).update(removed_at=NOW)
    Attendance.objects.create(
        club=heron_small.club, member=heron_small.member, water=heron_small.mere,
        fished_on=date(2024, 5, 1), source="bailiff", noted_by=heron_small.account("organiser"), noted_at=NOW,
    )  # fmt: skip
    Invitation.objects.create(
        club=heron_small.club, member=heron_small.member, digest="5" * 64, created_at=NOW,
        expires_at=NOW + timedelta(days=7),
    )  # fmt: skip
    Job.objects.create(
        club=heron_small.club, kind="import", created_at=NOW, requested_by=heron_small.account(),
        result={"problems": [{"value": "Member Two"}]},
    )  # fmt: skip
    return made


def path_of(member: Member) -> str:
    return f"{BOOK}{member.uid}/held/"


def test_a_member_is_told_all_of_it(heron_small: SmallClub, session: Return, client_for: ClientFor) -> None:
    told = client_for(heron_small.account()).get(path_of(heron_small.member))
    assert told.status_code == 200 and told["Cache-Control"] == "no-store"
    tables = told.json()["tables"]
    (line,), (_device,) = tables["member"], tables["devices"]
    assert (line["number"], line["name"]) == ("M1", "Member One (invented)")
    assert [row["notes"] for row in tables["returns"]] == ["=by the reeds", "entered twice"]
    assert (
        tables["returns"][0] | {"weight_g": 2820, "peg": "1", "member": "M1", "entered_by": "M5"}
        == tables["returns"][0]
    )
    assert tables["parts"][0]["hook_bait"] == "caster" and tables["catch"][0]["weight_g"] == 900
    assert tables["conditions"][0]["wind_force"] == 3
    assert tables["attendance"][0]["noted_by"] == "M3"
    assert tables["jobs"] == [{"uid": tables["jobs"][0]["uid"], "kind": "import", "state": "queued",
                               "created_at": tables["jobs"][0]["created_at"]}]  # fmt: skip
    text = told.content.decode()
    assert "5" * 64 not in text and "digest" not in text and "Member Two" not in text


def test_the_secretary_is_told_of_anybody_but_not_of_their_login(
    heron_small: SmallClub, session: Return, client_for: ClientFor
) -> None:
    tables = client_for(heron_small.account("secretary")).get(path_of(heron_small.member)).json()["tables"]
    assert len(tables["returns"]) == 2
    assert not {"login", "devices", "sign_ins", "kept_answers"} & set(tables)


def test_others_are_told_nothing(
    heron_small: SmallClub, other_club: SmallClub, client_for: ClientFor
) -> None:
    path = path_of(heron_small.member)
    assert client_for(heron_small.account("other_member")).get(path).status_code == 404
    assert client_for(heron_small.account("organiser")).get(path).status_code == 403
    assert client_for(other_club.account("secretary")).get(path).status_code == 404
    foreign = f"{BOOK}{other_club.member.uid}/held/"
    assert client_for(heron_small.account("secretary")).get(foreign).status_code == 404


@pytest.mark.parametrize("how", [{"QUERY_STRING": "format=csv"}, {"HTTP_ACCEPT": "application/zip"}])
def test_as_a_folder_of_tables(
    how: dict[str, str], heron_small: SmallClub, session: Return, client_for: ClientFor
) -> None:
    client = client_for(heron_small.account())
    told = client.get(path_of(heron_small.member), **how)
    assert (told.status_code, told["Content-Type"]) == (200, "application/zip")
    folder = zipfile.ZipFile(io.BytesIO(told.content))
    as_json = client.get(path_of(heron_small.member)).json()["tables"]
    for name, rows in as_json.items():
        read = list(csv.DictReader(io.StringIO(folder.read(f"{name}.csv").decode("utf-8-sig"))))
        assert len(read) == len(rows) or name == "sign_ins", name
    (first, _) = csv.DictReader(io.StringIO(folder.read("returns.csv").decode("utf-8-sig")))
    assert first["notes"] == "'=by the reeds", "no cell opens a formula"
    (day,) = csv.DictReader(io.StringIO(folder.read("conditions.csv").decode("utf-8-sig")))
    assert json.loads(day["filled"]) == []


def test_no_record_that_names_a_member_is_left_out(heron_small: SmallClub) -> None:
    """A new record with a member or a return in it must be told of, too."""
    told: set[Any] = {rows.model for rows, _ in _of_the_club(heron_small.member).values()}
    of_people = {
        model
        for model in apps.get_models()
        if issubclass(model, ClubRecord)
        and any(field.related_model in {Member, Return} for field in model._meta.concrete_fields)
    }
    assert of_people - told == set()

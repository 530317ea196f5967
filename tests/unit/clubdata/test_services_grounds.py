"""Places are found as people name them, and are kept until one of them changes."""

import uuid
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from clubdata.models import Club, Peg, PegHazard
from clubdata.services.grounds import forget_grounds, known_grounds
from clubdata.services.waters import standing_hazards
from tests.factories import SmallClub, make_water

pytestmark = pytest.mark.django_db
DAYS = st.dates(date(2019, 12, 1), date(2020, 3, 1))


def test_a_peg_is_found_by_its_uid_its_label_and_its_label_in_any_case(heron_small: SmallClub) -> None:
    peg = heron_small.pegs["12A"]
    pegs = known_grounds(heron_small.club).pegs_of(heron_small.mere)
    wanted = ("12A", "12a", str(peg.uid), peg.uid.hex, str(peg.uid).upper())
    assert [pegs.find(text) for text in wanted] == [peg] * 5
    assert pegs.find("13") is None and pegs.find("") is None and pegs.find(str(uuid.uuid4())) is None


def test_the_exact_word_goes_before_the_same_word_in_another_case(heron_small: SmallClub) -> None:
    lower, upper = (make_water(heron_small.club, name) for name in ("long pool", "LONG POOL"))
    waters = known_grounds(heron_small.club).waters
    assert [waters.find(name) for name in ("long pool", "LONG POOL")] == [lower, upper]
    assert waters.find("Long Pool") in {lower, upper}


def test_a_peg_is_looked_for_on_its_own_water(heron_small: SmallClub) -> None:
    grounds = known_grounds(heron_small.club)
    assert grounds.pegs_of(heron_small.brook).find("1") == heron_small.brook_pegs["1"]
    assert grounds.pegs_of(heron_small.brook).find("12") is None
    assert grounds.pegs_of(heron_small.brook).find(str(heron_small.pegs["1"].uid)) is None


def test_another_clubs_places_are_not_there(heron_small: SmallClub, other_club: SmallClub) -> None:
    waters = known_grounds(heron_small.club).waters
    assert waters.find(str(other_club.mere.uid)) is None and waters.find(other_club.mere.name) is None
    assert known_grounds(heron_small.club).pegs_of(other_club.mere).find("1") is None


def test_they_are_read_once_until_a_place_changes(heron_small: SmallClub) -> None:
    with CaptureQueriesContext(connection) as first:
        known_grounds(heron_small.club)
    with CaptureQueriesContext(connection) as again:
        known_grounds(Club.objects.get(pk=heron_small.club.pk))
    assert (len(first), len(again)) == (3, 1)
    Peg.objects.filter(pk=heron_small.pegs["1"].pk).update(label="1B")
    heron_small.club.raise_places_revision()
    pegs = known_grounds(Club.objects.get(pk=heron_small.club.pk)).pegs_of(heron_small.mere)
    assert pegs.find("1") is None and pegs.find("1b") == heron_small.pegs["1"]


@given(spans=st.lists(st.tuples(DAYS, st.none() | st.integers(0, 40)), max_size=4), day=DAYS)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_the_same_hazards_stand_as_the_database_says(
    spans: list[tuple[date, int | None]], day: date, heron_small: SmallClub
) -> None:
    peg = heron_small.pegs["2"]
    PegHazard.objects.filter(peg=peg).delete()
    for number, (noted, lasts) in enumerate(spans):
        cleared = None if lasts is None else noted + timedelta(days=lasts)
        PegHazard.objects.create(
            club=heron_small.club, peg=peg, kind=f"kind {number}", noted_on=noted, cleared_on=cleared
        )
    forget_grounds()
    wanted = standing_hazards(day).filter(peg=peg).values_list("kind", flat=True)
    assert known_grounds(heron_small.club).hazards_at(peg.pk, day) == list(wanted)

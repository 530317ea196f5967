"""A club's revisions: each writer counts, and what is done once under a key raises them last."""

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from clubdata.models import Club
from clubdata.models.clubs import revisions_raised_at_the_end
from tests.factories import SmallClub

pytestmark = pytest.mark.django_db


def stands(club: SmallClub) -> tuple[int, int]:
    found = Club.objects.get(pk=club.club.pk)
    return found.revision, found.places_revision


def test_each_raise_counts_and_leaves_other_clubs_alone(
    heron_small: SmallClub, other_club: SmallClub
) -> None:
    before, others = stands(heron_small), stands(other_club)
    again = Club.objects.get(pk=heron_small.club.pk)
    heron_small.club.raise_revision()
    again.raise_revision()
    again.raise_places_revision()
    assert stands(heron_small) == (before[0] + 2, before[1] + 1)
    assert stands(other_club) == others


def test_at_the_end_it_is_raised_once_after_everything_else(heron_small: SmallClub) -> None:
    before, _ = stands(heron_small)
    with CaptureQueriesContext(connection) as asked, transaction.atomic(), revisions_raised_at_the_end():
        heron_small.club.raise_revision()
        Club.objects.get(pk=heron_small.club.pk).raise_revision()
        assert stands(heron_small)[0] == before
    assert stands(heron_small)[0] == before + 1
    told = [one["sql"] for one in asked if not one["sql"].startswith(("SAVEPOINT", "RELEASE"))]
    assert told[-1].startswith("UPDATE") and sum(sql.startswith("UPDATE") for sql in told) == 1


def test_what_fails_raises_nothing_and_later_raises_are_at_once_again(heron_small: SmallClub) -> None:
    before, _ = stands(heron_small)

    def fail() -> None:
        with transaction.atomic(), revisions_raised_at_the_end():
            heron_small.club.raise_revision()
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    assert stands(heron_small)[0] == before
    heron_small.club.raise_revision()
    assert stands(heron_small)[0] == before + 1

"""Which hazards stand on a day, what they call for, and what day it is at a water."""

from datetime import UTC, date, datetime

import pytest

from clubdata.errors import NotFound
from clubdata.models import PegHazard
from clubdata.services.members import Membership, membership
from clubdata.services.waters import (
    describe_water,
    find_water,
    hazard_cautions,
    local_date,
    pegs_along_the_bank,
    standing_hazards,
)
from tests.factories import NOW, SmallClub

pytestmark = pytest.mark.django_db


@pytest.fixture
def who(heron_small: SmallClub) -> Membership:
    return membership(actor=heron_small.account(), slug=heron_small.club.slug)


@pytest.mark.parametrize(
    ("day", "stands"),
    [
        (date(2023, 12, 31), False),
        (date(2024, 1, 1), True),
        (date(2024, 2, 28), True),
        (date(2024, 2, 29), False),
    ],
)
def test_a_hazard_stands_from_the_day_it_is_noted_until_the_day_it_is_cleared(
    day: date, stands: bool, heron_small: SmallClub
) -> None:
    hazard = PegHazard.objects.create(
        club=heron_small.club,
        peg=heron_small.pegs["1"],
        kind="fallen tree",
        noted_on=date(2024, 1, 1),
        cleared_on=date(2024, 2, 29),
    )
    assert (hazard in standing_hazards(day)) is stands
    by_label = {peg.label: peg for peg in pegs_along_the_bank(heron_small.mere, today=day)}
    assert (hazard in by_label["1"].standing) is stands


def test_today_is_the_waters_own_or_else_the_clubs(heron_small: SmallClub) -> None:
    late = datetime(2024, 6, 14, 23, 30, tzinfo=UTC)
    assert local_date(heron_small.mere, late) == date(2024, 6, 15)  # British Summer Time
    heron_small.mere.time_zone = "America/New_York"
    assert local_date(heron_small.mere, late) == date(2024, 6, 14)


def test_only_what_the_hazards_call_for_is_cautioned(heron_small: SmallClub) -> None:
    kinds = ["Steep bank", "overhead power line", "wasps' nest"]
    cautions = hazard_cautions(water=heron_small.mere, hazards=kinds, on=NOW.date())
    assert [caution.code for caution in cautions] == ["overhead_power_line", "steep_or_deep", "noted_hazard"]
    assert hazard_cautions(water=heron_small.mere, hazards=[], on=NOW.date()) == []


def test_another_clubs_water_is_not_found(who: Membership, other_club: SmallClub) -> None:
    with pytest.raises(NotFound):
        find_water(who, other_club.mere.uid)


def test_a_water_is_described_with_its_own_hazards_alone(
    who: Membership, heron_small: SmallClub, other_club: SmallClub
) -> None:
    brook_hazard = {"kind": "steep bank", "noted_on": date(2020, 1, 1)}
    PegHazard.objects.create(club=heron_small.club, peg=heron_small.brook_pegs["1"], **brook_hazard)
    described = describe_water(who, heron_small.mere.uid, now=NOW)
    assert [(hazard.peg.label, hazard.kind) for hazard in described["hazards"]] == [
        ("5", "overhead power line")
    ]

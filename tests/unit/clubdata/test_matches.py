"""A match found by its code, the pegs it drew, and when its result is out."""

from datetime import date, timedelta

import pytest

from clubdata.errors import NotFound
from clubdata.models import Outcome
from clubdata.services.matches import drawn_pegs, find_match, result_is_out
from clubdata.services.members import Membership, membership
from tests.factories import SmallClub, make_match, make_return

pytestmark = pytest.mark.django_db
DAY = date(2024, 5, 1)


def who(small: SmallClub) -> Membership:
    return membership(actor=small.account(), slug=small.club.slug)


def test_a_match_is_found_by_code_in_any_case_and_by_uid(heron_small: SmallClub) -> None:
    match = make_match(heron_small.mere, "Cup-1")
    for name in ("cup-1", "CUP-1", str(match.uid), match.uid.hex):
        assert find_match(who(heron_small), heron_small.mere, name) == match


def test_a_match_of_another_water_or_club_is_not_found(heron_small: SmallClub, other_club: SmallClub) -> None:
    brook = make_match(heron_small.brook, "BROOK-1")
    foreign = make_match(other_club.mere, "CUP-1")
    for code in (brook.code, foreign.code, str(foreign.uid), "NONE"):
        with pytest.raises(NotFound):
            find_match(who(heron_small), heron_small.mere, code)


def test_drawn_pegs_are_each_once_in_bank_order(heron_small: SmallClub) -> None:
    match = make_match(heron_small.mere, "CUP-1")
    for member, label in (
        (heron_small.member, "9"),
        (heron_small.other_member, "2"),
        (heron_small.analyst, "9"),
    ):
        make_return(member, heron_small.pegs[label], match=match, session_kind="match")
    make_return(heron_small.secretary, heron_small.pegs["1"])
    assert [peg.label for peg in drawn_pegs(match)] == ["2", "9"]


def test_a_result_is_out_the_day_after_with_a_weight_that_is_known(heron_small: SmallClub) -> None:
    match = make_match(heron_small.mere, "CUP-1", held_on=DAY)
    after = DAY + timedelta(days=1)
    peg = heron_small.pegs["1"]
    make_return(
        heron_small.member,
        peg,
        match=match,
        session_kind="match",
        fished_on=DAY,
        outcome=Outcome.DID_NOT_WEIGH,
        weight_g=None,
    )
    assert not result_is_out(match, today=after)
    make_return(heron_small.other_member, peg, match=match, session_kind="match", fished_on=DAY)
    assert result_is_out(match, today=after)
    assert not result_is_out(match, today=DAY)

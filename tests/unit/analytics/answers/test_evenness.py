"""How even a draw is: who may ask when, which pegs are in it, and sums that hold."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from analytics.answers.evenness import Evenness, EvennessQuestion, evenness
from analytics.answers.peg_form import PegFormQuestion, peg_form
from clubdata.errors import InvalidInput, NotAllowed, NotFound
from clubdata.models import Match, Outcome, Peg, PegHazard, Return, Role
from clubdata.services.members import Membership, membership
from tests.factories import make_match, make_member, make_pegs, make_return
from tests.unit.analytics.conftest import StoredClub

TODAY = date(2024, 6, 1)


def actor(stored: StoredClub, *roles: Role) -> Membership:
    number = "-".join(["X", *(str(role) for role in roles)])
    member = make_member(stored.club, number, *roles, login=True)
    assert member.account is not None
    return membership(actor=member.account, slug=stored.club.slug)


def ask(who: Membership, stored: StoredClub, **values: Any) -> Evenness:
    question = EvennessQuestion(water=stored.waters["water 0"].uid, **values)
    return evenness(who=who, question=question, today=TODAY)


def held(stored: StoredClub, on: date, *, outcome: str = Outcome.WEIGHED, code: str = "CUP-1") -> Match:
    """A match on three pegs of the water."""
    match = make_match(stored.waters["water 0"], code, held_on=on)
    for member, label in zip(stored.members.values(), ("peg 00", "peg 01", "peg 02"), strict=False):
        values = {} if outcome == Outcome.WEIGHED else {"outcome": outcome, "weight_g": None}
        make_return(member, stored.pegs[label], match=match, session_kind="match", fished_on=on, **values)
    return match


@pytest.fixture
def organiser(fitted_club: StoredClub) -> Membership:
    return actor(fitted_club, Role.ORGANISER)


def test_chances_and_places_add_up(fitted_club: StoredClub, organiser: Membership) -> None:
    answer = ask(organiser, fitted_club)
    assert answer.anglers == len(answer.pegs) == 6
    assert sum(item.chance_win for item in answer.pegs) == pytest.approx(1.0)
    assert sum(item.chance_top_quarter for item in answer.pegs) == pytest.approx(2.0)
    assert sum(item.expected_place for item in answer.pegs) == pytest.approx(21.0)
    assert all(item.expected_points == pytest.approx(7 - item.expected_place) for item in answer.pegs)
    summary = answer.summary
    assert summary is not None and summary.win_ratio is not None
    chances = [item.chance_win for item in answer.pegs]
    assert summary.win_ratio == pytest.approx(max(chances) / min(chances))
    assert 1.0 < summary.effective_pegs < 6.0


def test_a_better_peg_is_worth_more(fitted_club: StoredClub, organiser: Membership) -> None:
    form = peg_form(
        club=fitted_club.club,
        question=PegFormQuestion(water=fitted_club.waters["water 0"].uid, sort="effect"),
        today=TODAY,
        sees_all=True,
    )
    worth = {item.peg.label: item for item in ask(organiser, fitted_club).pegs}
    best, least = worth[form.pegs[0].peg.label], worth[form.pegs[-1].peg.label]
    assert best.chance_win > least.chance_win
    assert best.expected_place < least.expected_place


def test_fewer_anglers_and_pegs_named_are_the_draw(fitted_club: StoredClub, organiser: Membership) -> None:
    answer = ask(organiser, fitted_club, pegs=("peg 04", "peg 01", "PEG 02", "peg 01"), anglers=2, month=3)
    assert [item.peg.label for item in answer.pegs] == ["peg 01", "peg 02", "peg 04"]
    assert (answer.anglers, answer.month) == (2, 3)
    assert answer.reference is not None and "March" in answer.reference.sentence
    # Each of three pegs is in two matches of three, and one of two anglers wins.
    assert sum(item.chance_win for item in answer.pegs) == pytest.approx(1.5, abs=0.02)


def test_the_same_question_has_the_same_answer(fitted_club: StoredClub, organiser: Membership) -> None:
    assert ask(organiser, fitted_club) == ask(organiser, fitted_club)


def test_a_peg_under_a_hazard_or_out_of_use_is_not_in_the_draw(
    fitted_club: StoredClub, organiser: Membership
) -> None:
    peg = fitted_club.pegs["peg 01"]
    PegHazard.objects.create(club=fitted_club.club, peg=peg, kind="overhead power line", noted_on=TODAY)
    Peg.objects.filter(pk=fitted_club.pegs["peg 03"].pk).update(in_use=False)
    match = held(fitted_club, TODAY - timedelta(days=9))
    for values, out in (
        ({}, {"peg 01", "peg 03"}),
        ({"pegs": ("peg 01", "peg 02", "peg 04")}, {"peg 01"}),
        ({"match": match.code}, {"peg 01"}),
    ):
        answer = ask(organiser, fitted_club, **values)
        assert {item.peg.label for item in answer.left_out} == out
        assert not {item.peg.label for item in answer.pegs} & out
        assert answer.anglers == len(answer.pegs)


def test_too_few_pegs_are_no_draw(fitted_club: StoredClub, organiser: Membership) -> None:
    answer = ask(organiser, fitted_club, pegs=("peg 01",))
    assert answer.no_answer is not None and answer.no_answer.code == "too_few_pegs"
    assert (answer.pegs, answer.summary, answer.anglers) == ((), None, None)


@pytest.mark.parametrize("role", [Role.ORGANISER, Role.ANALYST, Role.SECRETARY])
def test_officers_may_ask_beforehand(fitted_club: StoredClub, role: Role) -> None:
    match = held(fitted_club, TODAY + timedelta(days=1), outcome=Outcome.DID_NOT_WEIGH)
    answer = ask(actor(fitted_club, role), fitted_club, match=match.code)
    assert [item.peg.label for item in answer.pegs] == ["peg 00", "peg 01", "peg 02"]
    assert (answer.match, answer.month) == ("CUP-1", match.held_on.month)


def test_a_member_may_ask_only_of_a_match_whose_result_is_out(fitted_club: StoredClub) -> None:
    who = actor(fitted_club)
    out = held(fitted_club, TODAY - timedelta(days=1), code="OUT")
    today = held(fitted_club, TODAY, code="TODAY")
    unweighed = held(fitted_club, TODAY - timedelta(days=1), outcome=Outcome.DID_NOT_WEIGH, code="UNWEIGHED")
    assert len(ask(who, fitted_club, match=out.code).pegs) == 3
    for values in (
        {},
        {"match": today.code},
        {"match": unweighed.code},
        {"match": out.code, "pegs": ("peg 03", "peg 04")},
        {"match": out.code, "anglers": 2},
        {"match": out.code, "month": 1},
        {"pegs": ("peg 03", "peg 04")},
    ):
        with pytest.raises(NotAllowed):
            ask(who, fitted_club, **values)


def test_a_match_of_another_water_or_of_none_is_not_found(
    fitted_club: StoredClub, organiser: Membership
) -> None:
    elsewhere = make_match(fitted_club.waters["water 1"], "ELSEWHERE", held_on=date(2024, 1, 1))
    member = actor(fitted_club)
    for code in (elsewhere.code, str(elsewhere.uid), "NONE"):
        for who in (organiser, member):
            with pytest.raises(NotFound):
                ask(who, fitted_club, match=code)


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"anglers": 7}, "anglers"),
        ({"anglers": 1}, "anglers"),
        ({"hours": 0}, "hours"),
        ({"hours": float("nan")}, "hours"),
        ({"month": 0}, "month"),
    ],
)
def test_what_cannot_be_asked_is_told_by_field(
    fitted_club: StoredClub, organiser: Membership, values: dict[str, Any], field: str
) -> None:
    with pytest.raises(InvalidInput) as refused:
        ask(organiser, fitted_club, **values)
    assert refused.value.field == field


def test_a_longer_match_leaves_the_draw_less_to_luck(fitted_club: StoredClub, organiser: Membership) -> None:
    short, long = (ask(organiser, fitted_club, hours=hours).summary for hours in (2, 12))
    assert short is not None and long is not None
    assert long.effective_pegs < short.effective_pegs


def test_a_bigger_water_costs_no_more_queries(fitted_club: StoredClub, organiser: Membership) -> None:
    match = held(fitted_club, TODAY - timedelta(days=9))
    ask(organiser, fitted_club, match=match.code)
    with CaptureQueriesContext(connection) as few:
        ask(organiser, fitted_club, match=match.code)
    make_pegs(fitted_club.waters["water 0"], *(f"far {number}" for number in range(20)), bank="far")
    member = next(iter(fitted_club.members.values()))
    for label in ("peg 03", "peg 04", "peg 05"):
        make_return(
            member,
            fitted_club.pegs[label],
            match=match,
            session_kind="match",
            fished_on=match.held_on,
        )
    with CaptureQueriesContext(connection) as many:
        ask(organiser, fitted_club, match=match.code)
    assert len(few) == len(many)
    assert Return.objects.filter(match=match).count() == 6

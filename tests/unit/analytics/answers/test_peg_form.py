"""Peg form: laws that hold for every answer, who is left out, and what a member may read."""

import math
import re
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from analytics.answers.peg_form import SORTS, PegForm, PegFormQuestion, PegInForm, peg_form
from analytics.answers.peg_record import NOTHING_THEN, WITHHELD
from analytics.models import FitRun
from clubdata.errors import InvalidInput, NotFound
from clubdata.models import Outcome, Peg, PegHazard, Return, Water
from tests.factories import make_club, make_pegs, make_return, make_water
from tests.unit.analytics.conftest import StoredClub, fit_now

TODAY = date(2024, 6, 1)


def ask(stored: StoredClub, water: str = "water 0", *, sees_all: bool = True, **values: Any) -> PegForm:
    question = PegFormQuestion(water=stored.waters[water].uid, **values)
    return peg_form(club=stored.club, question=question, today=TODAY, sees_all=sees_all)


def labels(form: PegForm) -> list[str]:
    return [item.peg.label for item in form.pegs]


def of_peg(form: PegForm, label: str) -> PegInForm:
    return next(item for item in form.pegs if item.peg.label == label)


def fished_by(stored: StoredClub, peg: Peg, people: int) -> None:
    """Give every return of a peg to so many members; a match has each member once at most."""
    chosen = list(stored.members.values())[:people]
    for place, session in enumerate(Return.objects.filter(peg=peg).order_by("pk")):
        Return.objects.filter(pk=session.pk).update(member=chosen[place % people])


def test_multipliers_are_to_the_geometric_mean_and_lie_in_their_intervals(fitted_club: StoredClub) -> None:
    form = ask(fitted_club)
    assert len(form.pegs) == 6
    assert math.prod(item.standing.multiplier for item in form.pegs) == pytest.approx(1.0)
    assert form.typical_peg is not None and "6 pegs" in form.typical_peg
    for item in form.pegs:
        at = item.standing
        assert at.lower_90 < at.lower_50 < at.multiplier < at.upper_50 < at.upper_90
        assert (at.chance_above_middle > 0.5) == (at.multiplier > 1.0)


def test_chances_of_ranks_sum_to_one_by_peg_and_by_rank(fitted_club: StoredClub) -> None:
    form = ask(fitted_club)
    for item in form.pegs:
        at = item.standing
        assert sum(at.rank_chances) == pytest.approx(1.0)
        assert at.rank_from_90 <= at.rank_from_50 <= at.rank_to_50 <= at.rank_to_90
        assert at.chance_top_quarter == pytest.approx(sum(at.rank_chances[:2]))
    for chances in zip(*(item.standing.rank_chances for item in form.pegs), strict=True):
        assert sum(chances) == pytest.approx(1.0)
    assert form.top_quarter == 2


def test_the_raw_ratio_is_the_product_of_its_parts(fitted_club: StoredClub) -> None:
    for season in (None, "winter", "summer"):
        form = ask(fitted_club, season=season)
        assert form.raw_g_per_hour is not None
        for item in form.pegs:
            why = item.record.why
            assert why is not None and item.record.raw_g_per_hour is not None
            assert item.record.raw_g_per_hour / form.raw_g_per_hour == pytest.approx(why.raw_ratio)
            product = why.multiplier * math.prod(why.parts.values()) * why.remainder
            assert product == pytest.approx(why.raw_ratio, rel=1e-9)
            assert why.multiplier == pytest.approx(item.standing.multiplier)


def test_the_raw_rate_is_weight_over_hours_of_the_peg_and_season(fitted_club: StoredClub) -> None:
    months = {"winter": (12, 1, 2), "summer": (6, 7, 8), None: range(1, 13)}
    for season, numbers in months.items():
        item = of_peg(ask(fitted_club, season=season), "peg 02")
        rows = fitted_club.frame[fitted_club.frame["peg"] == "peg 02"]
        rows = rows[rows["fished_on"].dt.month.isin(numbers)]
        record = item.record
        assert record.raw_g_per_hour == pytest.approx(rows["weight_g"].sum() / rows["hours"].sum(), rel=1e-5)
        assert (record.returns, record.blanks) == (len(rows), (rows["weight_g"] == 0).sum())
        assert record.matches == rows["is_match"].sum()
        assert record.pleasure == len(rows) - rows["is_match"].sum()


def test_a_part_of_the_year_leaves_the_effect_as_it_is_and_says_so(fitted_club: StoredClub) -> None:
    whole, july = ask(fitted_club), ask(fitted_club, month=7)
    assert [item.standing for item in whole.pegs] == [item.standing for item in july.pegs]
    assert any("whole year" in note and "are of July;" in note for note in july.notes)
    assert not any("whole year" in note for note in whole.notes)


def test_a_month_without_returns_says_so_and_keeps_the_standing(fitted_club: StoredClub) -> None:
    peg = fitted_club.pegs["peg 02"]
    Return.objects.filter(peg=peg, fished_on__month=7).update(fished_on=date(2020, 8, 3))
    fit_now(fitted_club.club)
    record = of_peg(ask(fitted_club, month=7), "peg 02").record
    assert (record.returns, record.why, record.why_not) == (None, None, NOTHING_THEN)


@pytest.mark.parametrize("kind", ["overhead power line", "uneven path"])
def test_a_peg_under_a_standing_hazard_never_appears(fitted_club: StoredClub, kind: str) -> None:
    before = ask(fitted_club)
    peg = fitted_club.pegs["peg 02"]
    hazard = PegHazard.objects.create(club=fitted_club.club, peg=peg, kind=kind, noted_on=date(2024, 5, 1))
    form = ask(fitted_club)
    assert "peg 02" not in labels(form)
    assert [(out.peg.label, out.code) for out in form.left_out] == [("peg 02", "standing_hazard")]
    assert kind in form.left_out[0].reason
    assert math.prod(item.standing.multiplier for item in form.pegs) == pytest.approx(1.0)
    assert all(len(item.standing.rank_chances) == 5 for item in form.pegs)
    PegHazard.objects.filter(pk=hazard.pk).update(cleared_on=date(2024, 5, 20))
    assert ask(fitted_club) == before


def test_pegs_out_of_use_or_unknown_to_the_fit_are_left_out_with_the_reason(fitted_club: StoredClub) -> None:
    Peg.objects.filter(pk=fitted_club.pegs["peg 01"].pk).update(in_use=False)
    make_pegs(fitted_club.waters["water 0"], "99", bank="far")
    form = ask(fitted_club)
    assert {out.peg.label: out.code for out in form.left_out} == {"peg 01": "out_of_use", "99": "no_returns"}
    assert set(labels(form)).isdisjoint({"peg 01", "99"})


def test_leaving_a_peg_out_moves_the_middle_but_no_ratio_between_others(fitted_club: StoredClub) -> None:
    def ratio(form: PegForm) -> float:
        return of_peg(form, "peg 03").standing.multiplier / of_peg(form, "peg 04").standing.multiplier

    before = ratio(ask(fitted_club))
    Peg.objects.filter(pk=fitted_club.pegs["peg 01"].pk).update(in_use=False)
    assert ratio(ask(fitted_club)) == pytest.approx(before)


@pytest.mark.parametrize("sort", SORTS)
def test_pegs_come_in_the_order_asked_for(fitted_club: StoredClub, sort: str) -> None:
    keys = {
        "bank": lambda item: item.place,
        "effect": lambda item: -item.standing.multiplier,
        "rank": lambda item: item.standing.expected_rank,
        "raw": lambda item: -item.record.raw_g_per_hour,
        "last_drawn": lambda item: item.record.last_drawn_on,
    }
    form = ask(fitted_club, sort=sort)
    told = [keys[sort](item) for item in form.pegs]
    assert told == sorted(told)
    assert set(labels(form)) == set(labels(ask(fitted_club)))


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"season": "summer", "month": 7}, "month"),
        ({"season": "monsoon"}, "season"),
        ({"month": 13}, "month"),
        ({"sort": "luck"}, "sort"),
    ],
)
def test_what_cannot_be_asked_is_told_by_field(
    stored_club: StoredClub, values: dict[str, Any], field: str
) -> None:
    with pytest.raises(InvalidInput) as refused:
        ask(stored_club, **values)
    assert refused.value.field == field


def test_a_club_without_a_fit_is_told_so(stored_club: StoredClub) -> None:
    form = ask(stored_club)
    assert form.no_answer is not None and form.no_answer.code == "no_fit_yet"
    assert form.pegs == ()


def test_another_clubs_water_does_not_exist(fitted_club: StoredClub) -> None:
    other = make_water(make_club("grebe"), "Grebe Mere")
    for uid in (other.uid, uuid4()):
        with pytest.raises(NotFound):
            peg_form(club=fitted_club.club, question=PegFormQuestion(water=uid), today=TODAY, sees_all=True)


def test_damage_is_told_and_nothing_is_answered(fitted_club: StoredClub) -> None:
    FitRun.objects.update(covariance=b"broken")
    form = ask(fitted_club)
    assert form.no_answer is not None and form.no_answer.code == "fit_damaged"
    assert form.pegs == ()


def test_a_member_reads_no_figure_of_fewer_than_five_anglers(stored_club: StoredClub) -> None:
    few = stored_club.pegs["peg 02"]
    fished_by(stored_club, few, 4)
    fit_now(stored_club.club)
    officer = of_peg(ask(stored_club), "peg 02").record
    assert officer.anglers == 4 and officer.raw_g_per_hour is not None
    form = ask(stored_club, sees_all=False)
    hidden = of_peg(form, "peg 02")
    assert hidden.standing == of_peg(ask(stored_club), "peg 02").standing
    told = hidden.record
    assert told.why_not == WITHHELD
    assert (told.returns, told.blanks, told.anglers, told.raw_g_per_hour, told.raw_ratio) == (None,) * 5
    assert (told.why, told.why_in_words, told.over_expected, told.trend, told.last_fished) == (None,) * 5


def test_what_is_shown_leaves_more_than_one_peg_to_guess_at(stored_club: StoredClub) -> None:
    fished_by(stored_club, stored_club.pegs["peg 02"], 4)
    fit_now(stored_club.club)
    form = ask(stored_club, sees_all=False)
    assert sum(item.record.returns is None for item in form.pegs) == 2
    # The water's rate is of the pegs that are shown, so that it gives the others no away.
    shown = {item.peg.label for item in form.pegs if item.record.returns is not None}
    rows = stored_club.frame[stored_club.frame["peg"].isin(shown)]
    assert form.raw_g_per_hour == pytest.approx(rows["weight_g"].sum() / rows["hours"].sum(), rel=1e-5)
    assert f"Raw ratios are against {len(shown)} pegs alone, whose figures are shown here." in form.notes
    # An officer reads all of them, and the rate is of all.
    officer = ask(stored_club)
    rows = stored_club.frame[stored_club.frame["peg"].isin(labels(officer))]
    assert officer.raw_g_per_hour == pytest.approx(rows["weight_g"].sum() / rows["hours"].sum(), rel=1e-5)
    assert not any("alone" in note for note in officer.notes)


def test_seasons_are_shown_to_members_only_where_each_has_five_anglers(stored_club: StoredClub) -> None:
    peg = stored_club.pegs["peg 02"]
    in_winter = Return.objects.filter(peg=peg, fished_on__month__in=(12, 1, 2))
    one = next(iter(stored_club.members.values()))
    in_winter.update(member=one)
    fit_now(stored_club.club)
    assert of_peg(ask(stored_club, sees_all=False), "peg 02").record.returns is not None
    for season in ("winter", "summer"):
        record = of_peg(ask(stored_club, sees_all=False, season=season), "peg 02").record
        assert (record.returns, record.raw_g_per_hour) == (None, None), season


def test_a_member_is_told_the_month_a_peg_was_last_fished_and_an_officer_the_day(
    fitted_club: StoredClub,
) -> None:
    officer, member = (of_peg(ask(fitted_club, sees_all=sees), "peg 02").record for sees in (True, False))
    assert officer.last_fished is not None and len(officer.last_fished) == 10
    assert member.last_fished == officer.last_fished[:7]
    assert member.last_drawn_on == officer.last_drawn_on


def test_a_bigger_water_costs_no_more_queries(fitted_club: StoredClub) -> None:
    ask(fitted_club)
    with CaptureQueriesContext(
        connection,
    ) as few:
        ask(fitted_club)
    water = fitted_club.waters["water 0"]
    for peg in make_pegs(water, *(f"far {number}" for number in range(20)), bank="far").values():
        PegHazard.objects.create(club=fitted_club.club, peg=peg, kind="steep bank", noted_on=TODAY)
    with CaptureQueriesContext(connection) as many:
        ask(fitted_club)
    assert len(few) == len(many) <= 6


def test_a_return_that_arrives_leaves_the_answer_stale_and_hands_out_the_old_figures(
    fitted_club: StoredClub,
) -> None:
    before = ask(fitted_club)
    member = next(iter(fitted_club.members.values()))
    make_return(member, fitted_club.pegs["peg 02"], outcome=Outcome.BLANK, hours=Decimal(5))
    fitted_club.club.raise_revision()
    after = ask(fitted_club)
    assert after.pegs == before.pegs
    assert after.fit is not None and after.fit.stale
    assert any("come in" in note for note in after.notes)


def test_no_peg_is_called_bad(fitted_club: StoredClub) -> None:
    for water in fitted_club.waters:
        words = re.findall(r"[a-z0-9]+", repr(ask(fitted_club, water)).lower())
        assert not {"bad", "poor", "worst", "useless"} & set(words)


def test_each_water_has_its_own_middle(fitted_club: StoredClub) -> None:
    forms = [ask(fitted_club, water) for water in fitted_club.waters]
    assert all(
        math.prod(item.standing.multiplier for item in form.pegs) == pytest.approx(1.0) for form in forms
    )
    assert Water.objects.count() == len(forms)
    assert set(labels(forms[0])).isdisjoint(labels(forms[1]))

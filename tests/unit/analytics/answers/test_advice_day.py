"""Advice for a day, its conditions and one group of species, and what stands beside it."""

from datetime import date
from math import log
from typing import Any

import numpy as np
import pytest

from analytics.answers.advice import Advice, advise
from analytics.answers.curves import SEASONS, bait_months, distance_curves
from analytics.answers.past_returns import PAST_RETURNS_RULE
from analytics.answers.question import AdviceQuestion
from clubdata.models import Conditions, Water
from tests.unit.analytics.conftest import StoredClub, fit_now
from tests.unit.analytics.test_groups import tell_species
from tests.unit.analytics.test_study import study_now

TODAY = date(2024, 6, 1)


def ask(stored: StoredClub, **values: Any) -> Advice:
    question = AdviceQuestion(**{"water": "water 0", **values})
    return advise(club=stored.club, question=question, today=TODAY)


def driver(advice: Advice, name: str) -> float:
    return next((found.multiplier for found in advice.choices[0].drivers if found.name == name), 1.0)


def test_a_day_is_answered_for_by_its_place_in_the_year(fitted_club: StoredClub) -> None:
    month, first, middle, last = (
        ask(fitted_club, **when)
        for when in (
            {"month": 4},
            *({"on": date(2023, 4, day)} for day in (1, 15, 30)),
        )
    )
    assert (first.month, first.on) == (4, date(2023, 4, 1))
    seasons = [driver(advice, "season") for advice in (first, middle, last)]
    assert seasons == sorted(seasons) and seasons[0] < seasons[-1], "spring: every day is better"
    assert driver(middle, "season") == driver(month, "season"), "15 April is the middle of the month"
    assert middle.headline.startswith("water 0 on 15 April, 5 h: ")


def test_the_conditions_of_the_day_change_the_weights_that_the_fit_knows(fitted_club: StoredClub) -> None:
    usual = ask(fitted_club, month=4)
    mild, cold = (ask(fitted_club, month=4, water_temperature_c=celsius) for celsius in (14.0, 4.0))
    assert driver(mild, "water_temperature") > driver(cold, "water_temperature")
    windy = ask(fitted_club, month=4, wind_force="gale")
    assert windy.reference is not None and windy.reference.wind == "6+"
    assert "Beaufort force 8 (gale)" in windy.reference.sentence
    assert driver(windy, "wind") < driver(usual, "wind") == 1.0
    tow = ask(fitted_club, month=4, tow="strong")
    assert [choice.expected_g for choice in tow.choices] == [choice.expected_g for choice in usual.choices]
    assert any("tow" in note for note in tow.notes) and not any("tow" in note for note in usual.notes)
    beyond = ask(fitted_club, month=4, water_temperature_c=39.0)
    assert any("39 °C is answered for as the nearer end" in note for note in beyond.notes)
    assert "warm_water" in {caution.code for caution in beyond.cautions}


def test_what_the_fit_has_no_term_for_is_said(stored_club: StoredClub) -> None:
    Conditions.objects.all().delete()
    fit_now(stored_club.club)
    notes = ask(stored_club, month=4, water_temperature_c=12.0).notes
    assert any("does not know how weights go with the water temperature" in note for note in notes)


def test_an_old_club_is_told_that_its_water_may_have_changed(fitted_club: StoredClub) -> None:
    question = AdviceQuestion(water="water 0", month=4)
    later = advise(club=fitted_club.club, question=question, today=date(2031, 1, 1))
    assert later.fit is not None
    day = f"{later.fit.last_on.day} {later.fit.last_on:%B %Y}"
    assert f"The latest return is of {day}, more than a year ago: the water may have changed." in later.notes


def test_a_river_in_its_close_season_says_so_first(fitted_club: StoredClub) -> None:
    Water.objects.filter(name="water 0").update(kind="river")
    closed, open_again = (ask(fitted_club, on=date(2024, 6, day)) for day in (15, 16))
    assert closed.headline.startswith("Closed to coarse fishing by the national close season? Check first. ")
    assert "close_season" in {caution.code for caution in closed.cautions}
    assert open_again.headline.startswith("water 0 on 16 June")


def test_evidence_of_water_and_peg_and_past_returns_stand_beside_the_choices(fitted_club: StoredClub) -> None:
    advice = ask(fitted_club, month=7, peg="peg 02")
    frame = fitted_club.frame
    here = frame[frame["water"] == "water 0"]
    at_peg = here[here["peg"] == "peg 02"]
    water, peg = advice.evidence
    assert (water.returns, water.members) == (len(here), here["angler"].nunique())
    assert (peg.returns, peg.last_on) == (len(at_peg), at_peg["fished_on"].max().date())
    for choice in advice.choices:
        parts = {part.name: part for part in choice.evidence.parts}
        same = here[here["hook_bait"] == choice.hook_bait.name]
        assert parts["bait"].returns == choice.evidence.on_water == len(same)
        assert parts["bait"].members in {same["angler"].nunique(), None}
        assert parts["distance"].returns == choice.evidence.near_distance
        assert parts["peg"].returns == choice.evidence.on_peg
    past = advice.past_returns
    assert past is not None and past.rule == PAST_RETURNS_RULE
    assert past.anglers is not None and past.anglers >= 5
    assert advice.choices[0].hook_bait.name in past.like or "any bait" in past.like


def test_what_is_given_up_goes_with_the_chance_to_be_best(fitted_club: StoredClub) -> None:
    choices = ask(fitted_club, month=7).choices
    assert choices[0].chance_beats_first is None
    for choice in choices[1:]:
        assert choice.chance_beats_first is not None and choice.chance_best <= choice.chance_beats_first
        # Over the draws a choice gives up its distance from the first and what the first gives up.
        gap = choices[0].expected_g - choice.expected_g
        assert choice.regret_g - choices[0].regret_g == pytest.approx(gap, abs=0.05 * choices[0].expected_g)


def test_the_charts_curves_agree_with_the_choices(fitted_club: StoredClub) -> None:
    advice = ask(fitted_club, month=7)
    assert advice.scene is not None
    months = bait_months(advice.scene, advice.choices)
    assert len(months) == 12 * len(advice.choices)
    july = {item.hook_bait.uid: item for item in months if item.month == 7}
    for choice in advice.choices:
        item = july[choice.hook_bait.uid]
        assert (item.expected_g, item.returns) == (pytest.approx(choice.expected_g), choice.evidence.in_month)
        assert not item.too_few
    curves = distance_curves(advice.scene, advice.choices[0])
    assert [curve.season for curve in curves] == list(SEASONS)
    first = advice.choices[0]
    summer = {point.distance_m: point for point in curves[2].points}
    assert all(distance % 1 == 0 for distance in summer)
    for point in summer.values():
        assert point.lower_90_g < point.lower_50_g < point.expected_g < point.upper_50_g < point.upper_90_g
        assert point.expected_g <= first.expected_g * (1 + 1e-12), "the choice is at the best distance"
    nearest = summer[float(np.floor(first.distance_m or 0.0))]
    assert abs(log(nearest.expected_g / first.expected_g)) < 0.2


def test_one_group_of_species_is_answered_from_its_own_run(stored_club: StoredClub) -> None:
    tell_species(stored_club)
    fit_now(stored_club.club)
    study_now(stored_club.club)
    everything = ask(stored_club, month=7)
    answered = [ask(stored_club, month=7, target=group) for group in ("silvers", "carp")]
    assert any(advice.choices for advice in answered)
    for advice in answered:
        if not advice.choices:
            assert advice.no_advice is not None and advice.no_advice.code == "no_fit_of_target"
            continue
        assert advice.fit is not None and everything.fit is not None
        assert advice.fit.uid != everything.fit.uid
        assert advice.reference is not None and f"of {advice.target} alone" in advice.reference.sentence
        assert advice.past_returns is None
        assert advice.choices[0].expected_g < everything.choices[0].expected_g

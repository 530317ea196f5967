"""Advice: laws that hold for every answer, and the answers that are none."""

import math
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from analytics.answers.advice import LEAST_ON_WATER, Advice, advise
from analytics.answers.question import AdviceQuestion
from analytics.answers.wording import LEAST_AT_PEG
from analytics.models import FitRun
from clubdata.errors import ClubdataError, InvalidInput, NotFound
from clubdata.models import Club, Method, Outcome, PegHazard, Return, SessionPart
from clubdata.rules.units import format_pounds_ounces
from tests.factories import make_club, make_pegs, make_return, make_water, make_word
from tests.unit.analytics.conftest import StoredClub, fit_now, store_club

TODAY = date(2024, 6, 1)


def ask(stored: StoredClub, **values: Any) -> Advice:
    when = {} if "on" in values else {"month": 7}
    question = AdviceQuestion(**{"water": "water 0", **when, **values})
    return advise(club=stored.club, question=question, today=TODAY)


def under_a_line(stored: StoredClub, peg: str, **values: Any) -> PegHazard:
    defaults = {"kind": "overhead power line", "noted_on": date(2024, 3, 1)}
    return PegHazard.objects.create(club=stored.club, peg=stored.pegs[peg], **{**defaults, **values})


@pytest.mark.parametrize("month", [1, 4, 7, 10])
@pytest.mark.parametrize("peg", [None, "peg 02"])
def test_multipliers_multiply_to_the_expected_weight(
    fitted_club: StoredClub, month: int, peg: str | None
) -> None:
    for choice in ask(fitted_club, month=month, peg=peg, hours=3.5).choices:
        product = math.prod(driver.multiplier for driver in choice.drivers)
        assert choice.base_g_per_hour * 3.5 * product == pytest.approx(choice.expected_g, rel=1e-9)
        assert choice.lower_g < choice.expected_g < choice.upper_g
        assert choice.expected_lb_oz == format_pounds_ounces(round(choice.expected_g))


def test_choices_are_one_a_bait_and_the_heaviest_first(fitted_club: StoredClub) -> None:
    choices = ask(fitted_club).choices
    assert len(choices) > 3
    weights = [choice.expected_g for choice in choices]
    assert weights == sorted(weights, reverse=True)
    assert len({choice.hook_bait.uid for choice in choices}) == len(choices)
    assert sum(choice.chance_best for choice in choices) == pytest.approx(1.0)
    for choice in choices:
        assert all(other.expected_g <= choice.expected_g for other in choice.alternatives)
        assert choice.good_from_m is not None and choice.good_to_m is not None
        assert choice.good_from_m <= (choice.distance_m or 0) <= choice.good_to_m


@pytest.mark.parametrize("pole", [4.0, 6.0, 9.5, 11.25])
def test_nothing_beyond_the_longest_pole(fitted_club: StoredClub, pole: float) -> None:
    choices = ask(fitted_club, longest_pole_m=pole).choices
    assert choices
    for choice in choices:
        assert choice.distance_m is not None and choice.distance_m <= pole
        assert choice.good_to_m is not None and choice.good_to_m <= pole
        assert all(other.distance_m is None or other.distance_m <= pole for other in choice.alternatives)


def test_only_the_baits_and_rig_types_to_hand(fitted_club: StoredClub) -> None:
    advice = ask(fitted_club, baits=("WORMS", "caster"), rig_types=("bulk",))
    assert {choice.hook_bait.name for choice in advice.choices} == {"worm", "caster"}
    assert {choice.rig_type.name for choice in advice.choices if choice.rig_type} == {"bulk"}
    assert all(not choice.alternatives for choice in advice.choices)


def test_a_longer_reach_or_more_baits_never_make_the_best_lighter(fitted_club: StoredClub) -> None:
    best = [ask(fitted_club, longest_pole_m=pole).choices[0].expected_g for pole in (5.0, 8.0, 11.0, 16.0)]
    assert best == sorted(best)
    fewer = ask(fitted_club, baits=("worm", "corn")).choices[0].expected_g
    assert fewer <= ask(fitted_club).choices[0].expected_g


def test_weight_goes_with_hours(fitted_club: StoredClub) -> None:
    one, five = ask(fitted_club, hours=1.0).choices, ask(fitted_club, hours=5.0).choices
    assert [choice.expected_g * 5 for choice in one] == pytest.approx([choice.expected_g for choice in five])


def test_evidence_counts_returns(fitted_club: StoredClub) -> None:
    advice = ask(fitted_club, peg="peg 02")
    frame = fitted_club.frame
    for choice in advice.choices:
        same = frame[(frame["water"] == "water 0") & (frame["hook_bait"] == choice.hook_bait.name)]
        assert choice.evidence.on_water == len(same)
        assert choice.evidence.on_peg == (same["peg"] == "peg 02").sum()
        assert choice.evidence.in_month == (same["fished_on"].dt.month == 7).sum()
        assert choice.rig_type is not None and choice.distance_m is not None
        assert choice.evidence.on_rig_type == (same["rig_type"] == choice.rig_type.name).sum()
        near = (same["distance_m"] - choice.distance_m).abs() <= 1.0
        assert choice.evidence.near_distance == near.sum()


def test_a_bait_that_was_never_tried_here_is_not_offered_and_said_so(fitted_club: StoredClub) -> None:
    make_word(type(fitted_club.baits["worm"]), fitted_club.club, "moon cheese")
    advice = ask(fitted_club)
    assert "moon cheese" in advice.not_ranked
    offered = [choice.hook_bait.name for choice in advice.choices]
    assert sorted([*offered, *advice.not_ranked]) == sorted([*fitted_club.baits, "moon cheese"])


def test_a_rig_type_that_was_never_tried_with_a_bait_is_not_offered_with_it(stored_club: StoredClub) -> None:
    SessionPart.objects.filter(hook_bait=stored_club.baits["worm"], rig_type=stored_club.rigs["bulk"]).update(
        rig_type=stored_club.rigs["loose"]
    )
    fit_now(stored_club.club)
    worm = next(choice for choice in ask(stored_club).choices if choice.hook_bait.name == "worm")
    offered = {worm.rig_type, *(other.rig_type for other in worm.alternatives)}
    assert stored_club.rigs["bulk"].uid not in {rig.uid for rig in offered if rig is not None}


def test_a_bait_whose_returns_name_no_rig_type_is_offered_without_one(stored_club: StoredClub) -> None:
    SessionPart.objects.filter(hook_bait=stored_club.baits["worm"]).update(rig_type=None)
    fit_now(stored_club.club)
    worm, *_ = (choice for choice in ask(stored_club).choices if choice.hook_bait.name == "worm")
    assert worm.rig_type is None and worm.alternatives == ()
    assert worm.evidence.on_rig_type == worm.evidence.on_water >= 3
    others = [choice for choice in ask(stored_club).choices if choice.hook_bait.name != "worm"]
    assert others and all(choice.rig_type is not None for choice in others)
    limited = ask(stored_club, rig_types=("bulk",))
    assert "worm" in limited.not_ranked


def test_a_peg_under_a_power_line_gets_no_fishing_advice(fitted_club: StoredClub) -> None:
    under_a_line(fitted_club, "peg 02")
    advice = ask(fitted_club, peg="peg 02")
    assert advice.choices == ()
    assert advice.no_advice is not None and advice.no_advice.code == "standing_hazard"
    hazard = advice.hazards[0]
    assert (hazard.kind, hazard.since) == ("overhead power line", date(2024, 3, 1))
    assert "105" in hazard.whom_to_tell
    assert advice.cautions[0].code == "overhead_power_line"
    assert [peg.label for peg in advice.other_pegs] == [], "every peg of this short bank is too close"


@pytest.mark.parametrize("kind", ["Overhead power lines", "power line overhead", "overhead cables", "pylon"])
def test_a_power_line_is_one_however_it_is_worded(fitted_club: StoredClub, kind: str) -> None:
    under_a_line(fitted_club, "peg 00", kind=kind)
    under, near = ask(fitted_club, peg="peg 00"), ask(fitted_club, peg="peg 03")
    assert under.no_advice is not None and under.no_advice.code == "standing_hazard"
    assert "105" in under.hazards[0].whom_to_tell
    assert near.cautions[0].code == "power_line_nearby"
    assert "peg 01" not in {peg.label for peg in under.other_pegs}


def test_a_hazard_that_nobody_foresaw_forbids_advice_at_its_own_peg(fitted_club: StoredClub) -> None:
    under_a_line(fitted_club, "peg 02", kind="wasps' nest")
    advice, beside = ask(fitted_club, peg="peg 02"), ask(fitted_club, peg="peg 01")
    assert advice.no_advice is not None and advice.no_advice.code == "standing_hazard"
    assert "105" not in advice.hazards[0].whom_to_tell
    assert {peg.label for peg in advice.other_pegs[:2]} == {"peg 01", "peg 03"}
    assert beside.choices and beside.cautions[0].code != "power_line_nearby"


def test_a_steep_bank_cautions_and_lets_advice_through(fitted_club: StoredClub) -> None:
    under_a_line(fitted_club, "peg 02", kind="Steep bank")
    advice = ask(fitted_club, peg="peg 02")
    assert advice.choices and advice.cautions[0].code == "steep_or_deep"


def test_other_pegs_are_the_nearest_that_lie_clear_of_the_line(fitted_club: StoredClub) -> None:
    under_a_line(fitted_club, "peg 00")
    fitted_club.pegs["peg 04"].in_use = False
    fitted_club.pegs["peg 04"].save()
    advice = ask(fitted_club, peg="peg 00")
    assert [peg.label for peg in advice.other_pegs] == ["peg 05"]
    near = ask(fitted_club, peg="peg 03")
    assert near.choices and near.cautions[0].code == "power_line_nearby"
    assert "power_line_nearby" not in {caution.code for caution in ask(fitted_club, peg="peg 05").cautions}


def test_a_hazard_holds_without_any_fit(stored_club: StoredClub) -> None:
    under_a_line(stored_club, "peg 02")
    advice = ask(stored_club, peg="peg 02")
    assert advice.no_advice is not None and advice.no_advice.code == "standing_hazard"


def test_a_hazard_that_was_cleared_holds_no_longer(fitted_club: StoredClub) -> None:
    under_a_line(fitted_club, "peg 02", cleared_on=date(2024, 5, 1))
    assert ask(fitted_club, peg="peg 02").choices


def test_the_water_as_a_whole_names_the_pegs_to_keep_from(fitted_club: StoredClub) -> None:
    under_a_line(fitted_club, "peg 02")
    advice = ask(fitted_club)
    assert advice.choices
    assert [peg.label for peg in advice.pegs_without_advice] == ["peg 02"]


def test_a_peg_out_of_use_gets_no_advice_but_others(fitted_club: StoredClub) -> None:
    fitted_club.pegs["peg 01"].in_use = False
    fitted_club.pegs["peg 01"].save()
    advice = ask(fitted_club, peg="peg 01")
    assert advice.choices == ()
    assert advice.no_advice is not None and advice.no_advice.code == "peg_out_of_use"
    assert {peg.label for peg in advice.other_pegs[:2]} == {"peg 00", "peg 02"}


def test_without_a_fit_the_answer_says_so(stored_club: StoredClub) -> None:
    advice = ask(stored_club)
    assert advice.no_advice is not None and advice.no_advice.code == "no_fit"
    assert advice.choices == () and advice.fit is None


def test_a_damaged_fit_is_an_answer_with_a_reason(fitted_club: StoredClub) -> None:
    FitRun.objects.update(covariance=b"nonsense")
    advice = ask(fitted_club)
    assert advice.no_advice is not None and advice.no_advice.code == "fit_damaged"
    assert advice.choices == ()


def test_a_water_that_was_hardly_fished_gets_no_advice_of_its_own(fitted_club: StoredClub) -> None:
    make_pegs(make_water(fitted_club.club, "New Pit"), "1")
    advice = ask(fitted_club, water="New Pit", peg="1")
    assert advice.no_advice is not None
    assert (advice.no_advice.code, advice.no_advice.needed) == ("too_few_returns_on_water", LEAST_ON_WATER)


def test_a_peg_of_few_returns_is_answered_as_any_peg_and_less_surely(stored_club: StoredClub) -> None:
    fresh = make_pegs(make_water(stored_club.club, "unused"), "x")["x"]
    fresh.water, fresh.bank_order, fresh.label = stored_club.waters["water 0"], 99, "new"
    fresh.save()
    member = stored_club.members["angler 00"]
    for _ in range(LEAST_AT_PEG - 1):
        make_return(member, fresh, weight_g=400_000)
    fit_now(stored_club.club)
    advice, whole = ask(stored_club, peg="new"), ask(stored_club)
    assert advice.answers_for == "water"
    assert f"{LEAST_AT_PEG - 1} returns from peg new" in advice.notes[0]
    for choice, typical in zip(advice.choices, whole.choices, strict=True):
        assert choice.expected_g == pytest.approx(typical.expected_g)
        assert choice.upper_g / choice.lower_g > typical.upper_g / typical.lower_g


def test_nothing_within_the_limits_says_so(fitted_club: StoredClub) -> None:
    advice = ask(fitted_club, longest_pole_m=1.0)
    assert advice.choices == ()
    assert advice.no_advice is not None and advice.no_advice.code == "nothing_within_limits"


def test_a_method_that_no_return_records_is_not_guessed(fitted_club: StoredClub) -> None:
    make_word(Method, fitted_club.club, "pole")
    advice = ask(fitted_club, methods=("pole",))
    assert advice.no_advice is not None and advice.no_advice.code == "no_method_recorded"


def test_a_method_limits_what_is_offered_to_what_it_was_tried_with(stored_club: StoredClub) -> None:
    pole = make_word(Method, stored_club.club, "pole")
    SessionPart.objects.filter(hook_bait=stored_club.baits["caster"]).update(method=pole)
    fit_now(stored_club.club)
    advice = ask(stored_club, methods=("pole",))
    assert {choice.hook_bait.name for choice in advice.choices} == {"caster"}
    assert any("these methods" in note for note in advice.notes)


def test_those_who_did_not_weigh_are_counted_in_the_answer(stored_club: StoredClub) -> None:
    some = list(Return.objects.filter(outcome=Outcome.WEIGHED).values_list("pk", flat=True)[:9])
    Return.objects.filter(pk__in=some).update(
        outcome=Outcome.DID_NOT_WEIGH, weight_g=None, weight_unit="", weight_step=None
    )
    fit_now(stored_club.club)
    assert any("9 returns of anglers who did not weigh in" in note for note in ask(stored_club).notes)


def test_every_answer_says_what_was_made_of_those_who_did_not_weigh(fitted_club: StoredClub) -> None:
    assert "Anglers who did not weigh in would be left out; there were none." in ask(fitted_club).notes
    for choice, words in (("as zero", "having caught nothing"), ("between zero and a bound", "in between")):
        FitRun.objects.update(did_not_weigh=choice)
        assert any(words in note for note in ask(fitted_club).notes)


def test_what_is_only_known_to_be_at_least_is_counted_in_the_answer(stored_club: StoredClub) -> None:
    some = list(Return.objects.filter(outcome=Outcome.WEIGHED).values_list("pk", flat=True)[:5])
    Return.objects.filter(pk__in=some[:4]).update(outcome=Outcome.OVER_NET_LIMIT)
    Return.objects.filter(pk=some[4]).update(
        outcome=Outcome.COUNTED_ONLY, fish_count=12, weight_g=None, weight_unit="", weight_step=None
    )
    fit_now(stored_club.club)
    notes = ask(stored_club).notes
    assert any(note.startswith("5 returns are used for the bounds") for note in notes)
    assert not any("over the net limit are left out" in note for note in notes)


def test_that_it_is_an_association_is_said_once(fitted_club: StoredClub) -> None:
    advice = ask(fitted_club)
    assert "not proof of cause" in advice.association
    assert not [note for note in advice.notes if "proof of cause" in note]


def test_an_answer_says_how_one_weight_of_several_parts_was_shared(stored_club: StoredClub) -> None:
    def of_parts() -> list[str]:
        return [note for note in ask(stored_club).notes if "in proportion to what each is expected" in note]

    fit_now(stored_club.club)
    assert of_parts() == []
    part = SessionPart.objects.filter(session__water=stored_club.waters["water 0"]).first()
    assert part is not None
    part.pk, part.uid, part.part_order = None, uuid4(), part.part_order + 1
    part.save(force_insert=True)
    fit_now(stored_club.club)
    assert len(of_parts()) == 1 and of_parts()[0].startswith("1 return of several baits")


def test_estimated_weights_are_counted_in_the_answer(stored_club: StoredClub) -> None:
    some = list(Return.objects.filter(outcome=Outcome.WEIGHED).values_list("pk", flat=True)[:40])
    Return.objects.filter(pk__in=some).update(outcome=Outcome.ESTIMATED)
    fit_now(stored_club.club)
    assert any(note.startswith("40 returns are of estimated weight") for note in ask(stored_club).notes)


def test_every_driver_has_a_label_in_words(fitted_club: StoredClub) -> None:
    drivers = {driver.name: driver.label for choice in ask(fitted_club).choices for driver in choice.drivers}
    assert {"water", "hook_bait", "water_year", "averaging"} <= set(drivers)
    assert drivers["water_year"] == "water in this year"
    assert not any("_" in label for label in drivers.values())


def test_a_stale_answer_says_so(fitted_club: StoredClub) -> None:
    fit = ask(fitted_club).fit
    assert fit is not None and not fit.stale
    fitted_club.club.raise_revision()
    later = ask(fitted_club)
    assert later.fit is not None and later.fit.stale
    assert any("Returns have come in" in note for note in later.notes)


def test_the_reference_stands_in_every_answer(fitted_club: StoredClub) -> None:
    reference = ask(fitted_club).reference
    assert reference is not None
    assert reference.averaged_over == ("match days", "anglers")
    assert reference.sentence.startswith("A match session of 5 hours, as in 2021, ")
    pleasure = ask(fitted_club, session_kind="pleasure").reference
    assert pleasure is not None and pleasure.averaged_over == ("anglers",)


def test_no_person_appears_in_an_answer(fitted_club: StoredClub) -> None:
    text = repr(ask(fitted_club, peg="peg 02"))
    for member in fitted_club.members.values():
        assert str(member.uid) not in text and member.uid.hex not in text


def test_the_same_question_has_the_same_answer(fitted_club: StoredClub) -> None:
    assert ask(fitted_club, peg="peg 02") == ask(fitted_club, peg="peg 02")


def test_names_spellings_and_public_ids_ask_the_same(fitted_club: StoredClub) -> None:
    water, peg, bait = (
        fitted_club.waters["water 0"],
        fitted_club.pegs["peg 02"],
        fitted_club.baits["worm"],
    )
    by_uid = ask(fitted_club, water=str(water.uid), peg=str(peg.uid), baits=(str(bait.uid),))
    assert by_uid == ask(fitted_club, water="WATER 0", peg="Peg 02", baits=("worms",))


@pytest.mark.parametrize(
    ("values", "refusal"),
    [
        ({"water": "no such"}, NotFound("There is no such water.", field="water")),
        ({"peg": "no such"}, InvalidInput("water 0 has no peg 'no such'.", field="peg")),
        ({"peg": "peg 11"}, InvalidInput("water 0 has no peg 'peg 11'.", field="peg")),
    ],
)
def test_a_place_that_is_not_there(
    fitted_club: StoredClub, values: dict[str, Any], refusal: ClubdataError
) -> None:
    with pytest.raises(type(refusal)) as found:
        ask(fitted_club, **values)
    assert (found.value.message, found.value.field) == (refusal.message, refusal.field)


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"month": 13}, "month"),
        ({"month": 0}, "month"),
        ({"hours": 0.0}, "hours"),
        ({"hours": 49.0}, "hours"),
        ({"hours": float("nan")}, "hours"),
        ({"longest_pole_m": -1.0}, "longest_pole_m"),
        ({"longest_pole_m": float("inf")}, "longest_pole_m"),
        ({"baits": ("wurm",)}, "baits"),
        ({"rig_types": ("bulkk",)}, "rig_types"),
        ({"methods": ("trawl",)}, "methods"),
        ({"session_kind": "siege"}, "session_kind"),
    ],
)
def test_a_question_that_cannot_be_true(fitted_club: StoredClub, values: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as refusal:
        ask(fitted_club, **values)
    assert refusal.value.field == field


def test_another_clubs_places_words_and_run_are_never_read(fitted_club: StoredClub) -> None:
    other: Club = make_club("other")
    make_pegs(make_water(other, "water 0"), "1")
    advice = advise(club=other, question=AdviceQuestion(water="water 0", month=7), today=TODAY)
    assert advice.no_advice is not None and advice.no_advice.code == "no_fit"
    question = AdviceQuestion(water=str(fitted_club.waters["water 0"].uid), month=7)
    with pytest.raises(NotFound):
        advise(club=other, question=question, today=TODAY)
    for theirs in (fitted_club.pegs["peg 02"].uid, uuid4()):
        question = AdviceQuestion(water="water 0", month=7, peg=str(theirs))
        with pytest.raises(InvalidInput, match=f"^water 0 has no peg '{theirs}'.$"):
            advise(club=other, question=question, today=TODAY)
    with pytest.raises(InvalidInput):
        advise(
            club=other,
            question=AdviceQuestion(water="water 0", month=7, baits=(str(fitted_club.baits["worm"].uid),)),
            today=TODAY,
        )


def test_the_number_of_queries_does_not_grow(fitted_club: StoredClub) -> None:
    def count(**values: Any) -> int:
        ask(fitted_club, **values)
        with CaptureQueriesContext(connection) as queries:
            ask(fitted_club, **values)
        return len(queries)

    short = count(peg="peg 02", baits=("worm",))
    for label in range(20):
        peg = make_pegs(make_water(fitted_club.club, f"pit {label}"), "1")["1"]
        PegHazard.objects.create(club=fitted_club.club, peg=peg, kind="steep bank", noted_on=TODAY)
        make_word(type(fitted_club.baits["worm"]), fitted_club.club, f"bait {label}")
    assert count(peg="peg 02", baits=("worm", "caster", "corn", "bread")) == short == 9


@pytest.mark.django_db
def test_a_club_that_records_neither_distance_nor_rig_is_answered_by_bait(simulated_frame: Any) -> None:
    plain = simulated_frame.assign(distance_m=float("nan"), rig_type=None)
    stored = store_club("plain", plain)
    fit_now(stored.club)
    choices = ask(stored).choices
    assert len(choices) > 3
    assert {(choice.distance_m, choice.rig_type, choice.good_from_m) for choice in choices} == {
        (None, None, None)
    }
    assert all(choice.evidence.near_distance is None for choice in choices)


def test_what_was_fished_beyond_the_furthest_pole_is_counted_and_not_ranked(stored_club: StoredClub) -> None:
    part = SessionPart.objects.filter(session__water=stored_club.waters["water 0"]).first()
    assert part is not None
    part.distance_m = Decimal(40)
    part.save()
    fit_now(stored_club.club)
    advice = ask(stored_club)
    assert any("1 return from beyond 16 m" in note for note in advice.notes)
    assert all((choice.distance_m or 0) <= 16 for choice in advice.choices)

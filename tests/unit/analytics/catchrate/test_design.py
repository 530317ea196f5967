"""Which terms the returns can speak for, their levels, links and knots."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.design import Design, learn_design
from analytics.catchrate.estimates import Refusal
from analytics.catchrate.spec import CatchSpec, Factor, Line, Margin, Neighbours, Smooth
from analytics.catchrate.terms import Coded, LearnedFactor, LearnedSmooth, LearnedTerm
from tests.simulation.club import simulate_club
from tests.unit.analytics.catchrate.dense import rows_of


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    return simulate_club(3, 300, pegs=12, anglers=12).frame


def learned(frame: pd.DataFrame, spec: CatchSpec | None = None) -> Design:
    design = learn_design(frame, spec or CatchSpec())
    assert isinstance(design, Design)
    return design


def dropped(frame: pd.DataFrame) -> dict[str, str]:
    return {item.name: item.code for item in learned(frame).dropped}


def named(design: Design, name: str) -> LearnedTerm:
    return next(term for term, _ in design.terms if term.name == name)


def test_a_full_record_keeps_every_term(frame: pd.DataFrame) -> None:
    assert dropped(frame) == {}
    assert [term.name for term, _ in learned(frame).terms] == [term.name for term in CatchSpec().terms]


@pytest.mark.parametrize(
    ("changes", "gone"),
    [
        (
            {"peg": "only", "water": "only"},
            {"water": "one_level", "peg": "one_level", "water_year": "nothing_to_cross"},
        ),
        ({"hook_bait": None}, {"hook_bait": "not_recorded", "hook_bait_month": "nothing_to_cross"}),
        ({"hook_bait": "maggot"}, {"hook_bait": "one_level", "hook_bait_month": "nothing_to_cross"}),
        (
            {"water_temperature_c": np.nan},
            {"water_temperature": "not_recorded", "water_temperature_missing": "not_recorded"},
        ),
        (
            {"distance_m": np.nan},
            {
                "distance": "not_recorded",
                "distance_missing": "not_recorded",
                "season_distance": "nothing_to_cross",
            },
        ),
        ({"is_match": False, "match_day": None}, {"session_kind": "one_level", "match_day": "not_recorded"}),
        ({"wind_force": np.nan}, {"wind": "not_recorded"}),
    ],
)
def test_a_term_that_these_returns_cannot_speak_for_is_dropped_with_the_reason(
    frame: pd.DataFrame, changes: dict[str, object], gone: dict[str, str]
) -> None:
    assert dropped(frame.assign(**changes)) == gone


def test_one_year_has_no_other_to_be_compared_with(frame: pd.DataFrame) -> None:
    one_year = frame.assign(fished_on=frame["fished_on"].map(lambda day: day.replace(day=1, year=2020)))
    assert dropped(one_year) == {"year": "one_level", "water_year": "nothing_to_cross"}


def test_the_reason_is_in_words_and_names_the_one_level(frame: pd.DataFrame) -> None:
    reasons = {item.name: item.reason for item in learned(frame.assign(hook_bait="maggot")).dropped}
    assert reasons["hook_bait"] == "every return that records it says maggot"
    assert "hook bait is not in the model" in reasons["hook_bait_month"]


def test_the_one_angler_of_all_returns_is_not_named(frame: pd.DataFrame) -> None:
    only = next(item for item in learned(frame.assign(angler="M0104")).dropped if item.name == "angler")
    assert (only.code, only.reason) == ("one_level", "every return that records it says the same")


def test_a_term_whose_parent_took_too_many_returns_has_nothing_to_cross(frame: pd.DataFrame) -> None:
    """It may have levels enough itself: that there is one only would not be true."""
    spec = CatchSpec()
    terms = [replace(term, least_returns=301) if term.name == "distance" else term for term in spec.terms]
    gone = {item.name: item for item in learned(frame, replace(spec, terms=tuple(terms))).dropped}
    assert gone.keys() == {"distance", "season_distance"}
    assert gone["distance"].code == "too_few_returns"
    crossed = gone["season_distance"]
    assert (crossed.code, crossed.reason) == (
        "nothing_to_cross",
        "nothing to cross: distance is not in the model",
    )


def test_every_parent_that_is_gone_is_named(frame: pd.DataFrame) -> None:
    day = frame["fished_on"].map(lambda day: day.replace(day=1, year=2020))
    gone = learned(frame.assign(fished_on=day, water="only")).dropped
    reasons = {item.name: item.reason for item in gone}
    assert reasons["water_year"] == "nothing to cross: water and year are not in the model"


def test_small_clubs_are_not_asked_for_what_takes_many_returns(frame: pd.DataFrame) -> None:
    few = learned(frame.head(90))
    counted = {item.name for item in few.dropped if item.code == "too_few_returns"}
    assert counted == {"distance", "water_temperature", "hook_bait_month", "water_year"}
    assert all("90 returns" in item.reason for item in few.dropped if item.code == "too_few_returns")


def test_a_refusal_says_how_many_returns_would_do(frame: pd.DataFrame) -> None:
    refusal = learn_design(frame.head(59), CatchSpec())
    assert isinstance(refusal, Refusal)
    assert (refusal.code, refusal.needed) == ("too_few_returns", 60)


def test_pegs_are_linked_to_the_next_on_their_own_water(frame: pd.DataFrame) -> None:
    peg = named(learned(frame), "peg")
    assert isinstance(peg, LearnedFactor)
    pairs = {(peg.levels[left], peg.levels[right]) for left, right in peg.links}
    waters = [[f"peg {code:02d}" for code in codes] for codes in (range(6), range(6, 12))]
    assert pairs == {pair for bank in waters for pair in pairwise(bank)}
    assert peg.penalty_names == ("levels", "along the bank")


def test_pegs_follow_their_order_along_the_bank_and_not_their_names(frame: pd.DataFrame) -> None:
    peg = named(learned(frame.assign(peg_order=-frame["peg_order"])), "peg")
    first, second = (peg.levels[place] for place in peg.links[0])
    assert (first, second) == ("peg 05", "peg 04")


def test_a_peg_whose_place_is_not_known_has_no_neighbours(frame: pd.DataFrame) -> None:
    unknown = frame["peg_order"].where(frame["peg"] != "peg 03")
    peg = named(learned(frame.assign(peg_order=unknown)), "peg")
    pairs = {(peg.levels[left], peg.levels[right]) for left, right in peg.links}
    assert ("peg 02", "peg 04") in pairs
    assert not any("peg 03" in pair for pair in pairs)
    none = named(learned(frame.assign(peg_order=np.nan)), "peg")
    assert (none.links, none.penalty_names) == ((), ("levels",))


def test_each_baits_months_go_round_the_year_even_those_not_fished(frame: pd.DataFrame) -> None:
    summer = frame[(frame["fished_on"].dt.month > 3) & (frame["fished_on"].dt.month < 12)]
    months = named(learned(summer), "hook_bait_month")
    baits = sorted(set(summer["hook_bait"].dropna()))
    assert months.levels == tuple(f"{bait}/{month:02d}" for bait in baits for month in range(1, 13))
    pairs = {(months.levels[left], months.levels[right]) for left, right in months.links}
    assert len(pairs) == 12 * len(baits)
    assert ("corn/12", "corn/01") in pairs
    assert ("corn/06", "corn/07") in pairs
    assert all(left[:-3] == right[:-3] for left, right in pairs)


def test_an_odd_far_cast_does_not_stretch_the_knots(frame: pd.DataFrame) -> None:
    changed = frame.copy()
    changed.loc[0, "distance_m"] = 150.0
    distance = named(learned(changed), "distance")
    assert isinstance(distance, LearnedSmooth)
    assert distance.margins[0].upper < 20


def test_curves_are_nothing_on_average_over_the_returns(frame: pd.DataFrame) -> None:
    for term, encoded in learned(frame).terms:
        if isinstance(term, LearnedSmooth) and len(term.margins) == 1:
            known = encoded.codes >= 0
            np.testing.assert_allclose(rows_of(encoded)[known].mean(axis=0), 0, atol=1e-12)


def test_a_curves_smoothing_parameter_is_the_inverse_of_its_variance_over_the_returns(
    frame: pd.DataFrame,
) -> None:
    for term, encoded in learned(frame).terms:
        if isinstance(term, LearnedSmooth):
            rows = rows_of(encoded)[encoded.codes >= 0]
            for penalty in term.penalties():
                held = np.linalg.pinv(penalty, rcond=1e-10, hermitian=True)
                variance = np.mean(np.einsum("ij,jk,ik->i", rows, held, rows))
                assert variance == pytest.approx(1.0)


def test_the_reference_year_is_the_last_with_returns_enough(frame: pd.DataFrame) -> None:
    assert learned(frame).reference.year == "2022"
    newest = frame.head(5).assign(fished_on=pd.Timestamp("2024-01-02"))
    assert learned(pd.concat([frame, newest], ignore_index=True)).reference.year == "2022"


def test_the_reference_is_what_is_usual(frame: pd.DataFrame) -> None:
    session = np.arange(300)
    session[1] = 0
    reference = learned(frame.assign(session=session)).reference
    hours = frame["hours"].groupby(session).sum()
    assert reference.hours == hours.median()
    assert reference.session_kind in {"match", "pleasure"}
    months = frame["water_temperature_c"].groupby(frame["fished_on"].dt.month).mean()
    np.testing.assert_allclose(reference.water_temperature_by_month, months)


def test_the_most_common_level_is_the_reference_and_has_no_column(frame: pd.DataFrame) -> None:
    wind = named(learned(frame), "wind")
    assert wind.reference == learned(frame).reference.wind
    assert wind.reference not in wind.levels
    assert "unknown" in wind.levels


def test_a_line_goes_through_the_mean_of_what_is_recorded(frame: pd.DataFrame) -> None:
    spec = CatchSpec(terms=(Line("depth", "distance_m"),))
    (term, encoded) = learned(frame, spec).terms[0]
    rows = rows_of(encoded)[:, 0]
    distance = frame["distance_m"].to_numpy()
    known = ~np.isnan(distance)
    np.testing.assert_allclose(rows[known], distance[known] - distance[known].mean())
    assert not rows[~known].any()
    assert term.coefficient_names == ("depth",)
    assert [item.code for item in learned(frame.assign(distance_m=9.0), spec).dropped] == ["one_level"]
    assert [item.code for item in learned(frame.assign(distance_m=np.nan), spec).dropped] == ["not_recorded"]


def test_an_interaction_of_two_codes_is_a_factor_of_their_pairs(frame: pd.DataFrame) -> None:
    design = learned(frame)
    crossing = named(design, "water_year")
    column = design.returns.features["water_year"]
    assert isinstance(column, Coded)
    expected = {f"{row.water}/{row.fished_on.year}" for row in frame.itertuples()}
    assert set(crossing.levels) == expected


def test_term_names_must_differ() -> None:
    with pytest.raises(ValueError, match="unique"):
        CatchSpec(terms=(Factor("peg", "peg"), Smooth("peg", (Margin("distance_m", 6, 0.5),))))
    assert [term.name for term in CatchSpec().without("peg", "water").terms].count("peg") == 0
    assert Neighbours.BANK.value == "along the bank"

"""The scores themselves, held against answers whose score is known beforehand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from analytics.catchrate.spec import CatchSpec, Factor
from tests.simulation.answers import Answers, plain_glm_answers, true_log_weight, whole_sessions
from tests.simulation.club import SimulatedClub, simulate_club
from tests.simulation.harder import Harder
from tests.simulation.scores import (
    MEASURES,
    Scores,
    bait_shares,
    score_answers,
    score_club,
    score_plain_glm,
    score_raw_mean,
)
from tests.simulation.truth import MATCH_DAY_SD, draw_tweedie

Z = 1.6448536269514722  # leaves 5 % of a normal distribution on either side


@pytest.fixture(scope="module")
def club() -> SimulatedClub:
    return simulate_club(3, 1500, pegs=30, anglers=30)


def perfect(club: SimulatedClub, noise: float = 0.0) -> Answers:
    """The truth itself, with standard errors of `noise`, and moved by draws of that size."""
    rng = np.random.default_rng(5)
    weight = true_log_weight(club.truth).ravel()
    peg = club.truth.peg
    return Answers(
        peg=peg + noise * rng.normal(size=peg.shape),
        bait_month=club.truth.bait_month,
        peg_se=np.full(peg.shape, max(noise, 1e-9)),
        log_weight=weight + noise * rng.normal(size=weight.shape),
        log_weight_se=np.full(weight.shape, max(noise, 1e-9)),
    )


def test_the_truth_scores_one_throughout(club: SimulatedClub) -> None:
    assert score_answers(perfect(club), club.truth) == Scores(1.0, 1.0, 1.0, 1.0, 1.0)


def test_the_truth_upside_down_ranks_pegs_at_minus_one(club: SimulatedClub) -> None:
    answers = replace(perfect(club), peg=-club.truth.peg)
    assert score_answers(answers, club.truth).peg_form == pytest.approx(-1)


def test_a_constant_on_all_pegs_of_a_water_changes_nothing(club: SimulatedClub) -> None:
    moved = replace(perfect(club), peg=club.truth.peg + 7.0 * club.truth.water_of_peg)
    assert score_answers(moved, club.truth) == pytest.approx(score_answers(perfect(club), club.truth))


def test_errors_as_large_as_their_standard_errors_say_are_covered_nine_times_in_ten(
    club: SimulatedClub,
) -> None:
    assert score_answers(perfect(club, 0.2), club.truth).weight_coverage == pytest.approx(0.90, abs=0.02)


def test_an_interval_that_ends_before_the_truth_does_not_hold_it(club: SimulatedClub) -> None:
    weight = true_log_weight(club.truth).ravel()
    for shift, expected in ((0.99 * Z, 1.0), (1.01 * Z, 0.0)):
        moved = replace(perfect(club), log_weight=weight + shift, log_weight_se=np.ones(weight.shape))
        assert score_answers(moved, club.truth).weight_coverage == expected


def test_a_bait_is_judged_by_what_it_is_expected_to_weigh() -> None:
    truth = np.log([[1.0, 4.0], [2.0, 2.0]])
    assert bait_shares(truth, truth).tolist() == [1.0, 1.0]
    np.testing.assert_allclose(bait_shares(-truth, truth), [0.5, 0.5])
    np.testing.assert_allclose(bait_shares(np.array([[1.0, 1.0], [0.0, 0.0]]), truth), [0.5, 1.0])


def test_the_true_expected_weight_is_the_mean_of_many_drawn_weights(club: SimulatedClub) -> None:
    """Drawn afresh: an angler and a match day for each weight, at one peg, month and bait."""
    rng, draws = np.random.default_rng(2), 400_000
    truth = club.truth
    stated = float(true_log_weight(truth)[4, 6, 2])
    averaged_out = np.log(np.mean(np.exp(truth.angler))) + MATCH_DAY_SD**2 / 2
    eta = stated - averaged_out + rng.choice(truth.angler, draws) + rng.normal(0, MATCH_DAY_SD, draws)
    weight_g = 1000 * draw_tweedie(rng, np.exp(eta) / 1000, 1.25)
    assert weight_g.mean() == pytest.approx(np.exp(stated), abs=4 * weight_g.std() / np.sqrt(draws))


def test_every_method_scores_a_club(club: SimulatedClub) -> None:
    raw, plain, ours = score_raw_mean(club), score_plain_glm(club), score_club(club)
    for scores in (plain, ours):
        assert scores.failure is None
        assert all(0 < getattr(scores, name) <= 1 for name in MEASURES)
    assert math.isnan(raw.peg_coverage)
    assert 0 < raw.worst_month <= raw.bait_share <= 1
    assert ours.peg_form > raw.peg_form


def test_a_spec_of_far_too_little_freedom_shows_in_the_scores(club: SimulatedClub) -> None:
    terms = tuple(
        replace(term, prior_sd=0.01) if isinstance(term, Factor) and term.name == "peg" else term
        for term in CatchSpec().terms
    )
    assert score_club(club, CatchSpec(terms=terms)).peg_coverage < 0.5 < score_club(club).peg_coverage


def test_a_refusal_is_a_failure_with_its_reason() -> None:
    found = score_club(simulate_club(3, 30))
    assert found.failure == "refused: too_few_returns"
    assert math.isnan(found.peg_form)


def test_the_plain_glm_averages_over_anglers_with_the_delta_method(club: SimulatedClub) -> None:
    """Its expected weights agree with the truth on average, and its errors with its standard errors."""
    answers = plain_glm_answers(club)
    assert answers.log_weight is not None and answers.log_weight_se is not None
    error = (answers.log_weight - true_log_weight(club.truth).ravel()) / answers.log_weight_se
    assert abs(np.median(error)) < 2
    assert 0.5 < np.sqrt(np.mean(error**2)) < 2


def test_two_parts_count_once_with_the_hours_of_both() -> None:
    frame = simulate_club(3, 400, harder=Harder(two_part_share=0.6, did_not_weigh_share=0.5)).frame
    whole = whole_sessions(frame)
    known = frame.dropna(subset=["weight_g"])
    assert len(whole) == known["session"].nunique()
    assert whole["hours"].sum() == pytest.approx(known["hours"].sum())

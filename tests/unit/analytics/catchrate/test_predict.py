import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from analytics.catchrate.check import fitted_means
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.predict import (
    NORMAL_95,
    Questions,
    chance_best,
    expectation,
    joint_rows,
    log_mean_draws,
    log_means,
    multiplier_errors,
)
from analytics.catchrate.returns import usable_returns
from analytics.catchrate.spec import CatchSpec, Factor
from analytics.catchrate.terms import Coded
from tests.simulation.club import simulate_club
from tests.simulation.truth import BAITS


@pytest.fixture(scope="module")
def estimates() -> Estimates:
    found = fit_catch(simulate_club(5, 800, pegs=12, anglers=12).frame)
    assert isinstance(found, Estimates)
    return found


def test_prediction_loads_numpy_and_nothing_heavier() -> None:
    code = (
        "import sys, analytics.catchrate.predict, analytics.catchrate.estimates;"
        "print([name for name in ('pandas', 'scipy', 'statsmodels', 'django') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_return_asked_about_as_it_was_gets_its_fitted_mean(estimates: Estimates) -> None:
    frame = simulate_club(5, 800, pegs=12, anglers=12).frame
    complete = frame.dropna(subset=["hook_bait", "rig_type", "wind_force", "distance_m"])
    complete = complete[~complete["is_match"] & complete["water_temperature_c"].notna()]
    fitted = fitted_means(estimates, usable_returns(frame))[complete.index]
    columns = ("water", "peg", "hook_bait", "rig_type", "angler", "distance_m", "wind_force")
    asked = Questions(
        month=complete["fished_on"].dt.month.tolist(),
        day_of_year=complete["fished_on"].dt.day_of_year.tolist(),
        year=complete["fished_on"].dt.year.astype(str).tolist(),
        session_kind="pleasure",
        water_temperature_c=complete["water_temperature_c"].tolist(),
        hours=complete["hours"].tolist(),
        **{name: complete[name].tolist() for name in columns},
    )
    np.testing.assert_allclose(expectation(estimates, asked).mean_g, fitted, rtol=1e-9)


def test_what_was_not_asked_stands_at_the_reference(estimates: Estimates) -> None:
    reference = estimates.reference
    silent = expectation(estimates, Questions(month=4))
    spoken = expectation(
        estimates,
        Questions(
            month=4,
            hours=reference.hours,
            session_kind=reference.session_kind,
            year=reference.year,
            water_temperature_c=reference.water_temperature_by_month[3],
        ),
    )
    np.testing.assert_allclose(silent.mean_g, spoken.mean_g, rtol=1e-12)
    for name in ("year", "wind", "peg", "hook_bait", "distance", "season_distance"):
        assert silent.multipliers[name] == 1.0


def test_a_match_is_averaged_over_anglers_and_days_a_pleasure_session_over_anglers(
    estimates: Estimates,
) -> None:
    match, pleasure = (
        expectation(estimates, Questions(month=4, session_kind=kind)).multipliers["averaging"][0]
        for kind in ("match", "pleasure")
    )
    # The mean of a lognormal against its median: half of the variances that the fit found.
    angler, day = (estimates.term(name).components[0].sd for name in ("angler", "match_day"))
    assert pleasure == pytest.approx(np.exp(angler**2 / 2))
    assert match == pytest.approx(np.exp(angler**2 / 2 + day**2 / 2))


def test_a_question_names_no_match_day_also_where_the_fit_could_be_asked_for_one(
    estimates: Estimates,
) -> None:
    spec = CatchSpec()
    terms = [replace(term, nuisance=False) if isinstance(term, Factor) else term for term in spec.terms]
    nameable = fit_catch(simulate_club(5, 800, pegs=12, anglers=12).frame, replace(spec, terms=tuple(terms)))
    assert isinstance(nameable, Estimates)
    assert nameable.term("match_day").start is not None
    questions = Questions(month=[4, 4, 9], session_kind=["match", "pleasure", "match"], peg="peg 03")
    asked, usual = (expectation(found, questions) for found in (nameable, estimates))
    np.testing.assert_allclose(asked.mean_g, usual.mean_g, rtol=1e-9)
    np.testing.assert_allclose(asked.eta_se, usual.eta_se, rtol=1e-9)
    assert asked.multipliers.keys() == usual.multipliers.keys()
    assert asked.unseen == {}


def test_an_unseen_peg_takes_the_prior_into_the_interval(estimates: Estimates) -> None:
    typical, unseen = expectation(estimates, Questions(month=[6, 6], peg=[None, "peg 99"])).eta_se
    assert unseen**2 - typical**2 == pytest.approx(estimates.term("peg").prior_sd ** 2)
    answer = expectation(estimates, Questions(month=[6, 6], peg=["peg 01", "peg 99"]))
    assert answer.unseen["peg"].tolist() == [False, True]
    assert answer.multipliers["peg"][1] == 1.0


def test_the_interval_is_ninety_percent_on_the_log_scale(estimates: Estimates) -> None:
    answer = expectation(estimates, Questions(month=9, hook_bait=BAITS))
    np.testing.assert_allclose(np.log(answer.upper_g / answer.mean_g), NORMAL_95 * answer.eta_se)
    np.testing.assert_allclose(np.log(answer.mean_g / answer.lower_g), NORMAL_95 * answer.eta_se)


def test_draws_have_the_moments_of_the_posterior(estimates: Estimates) -> None:
    questions = Questions(month=9, hook_bait=BAITS, peg=["peg 03"] * 7 + ["peg 99"])
    answer = expectation(estimates, questions)
    draws = log_mean_draws(estimates, questions, draws=20_000, seed=2)
    # Monte-Carlo error of a mean of 20,000 is sd / 141.
    np.testing.assert_allclose(draws.mean(axis=1), answer.eta, atol=5 * answer.eta_se.max() / 141)
    np.testing.assert_allclose(draws.std(axis=1), answer.eta_se, rtol=0.04)


def test_an_unseen_peg_cancels_between_baits(estimates: Estimates) -> None:
    seen, unseen = (
        chance_best(estimates, Questions(month=9, hook_bait=BAITS, peg=peg), seed=4)
        for peg in ("peg 03", "peg 99")
    )
    np.testing.assert_array_equal(seen, unseen)


def test_a_season_turns_once_a_year(estimates: Estimates) -> None:
    january, december = expectation(
        estimates, Questions(month=[1, 1], day_of_year=[1, 366], water_temperature_c=6.0)
    ).multipliers["season"]
    assert january == pytest.approx(december, rel=0.02)


def test_columns_of_different_length_and_no_hours_are_refused(estimates: Estimates) -> None:
    with pytest.raises(ValueError, match="length"):
        expectation(estimates, Questions(month=[1, 2], peg=["peg 01"] * 3))
    with pytest.raises(ValueError, match="hours"):
        expectation(estimates, Questions(month=1, hours=0.0))


def test_the_clubs_own_anglers_are_known_better_than_an_angler_of_nowhere(estimates: Estimates) -> None:
    club, stranger = (
        expectation(estimates, Questions(month=7, angler=name)) for name in (None, "somebody new")
    )
    angler = estimates.term("angler")
    assert angler is not None and angler.start is not None
    factor = estimates.covariance_factor
    rows = slice(angler.start, angler.start + angler.term.size)
    mean = factor[rows].mean(axis=0)
    added = stranger.eta_se[0] ** 2 - angler.prior_sd**2
    row = (club.eta_se[0] ** 2 - added - mean @ mean) / 2.0
    # What the mean of the anglers shares with the rest is negative: the intercept makes up for it.
    assert row < 0
    assert club.eta_se[0] < np.sqrt(added)
    halves = np.log(club.multipliers["averaging"][0])
    assert halves == pytest.approx(
        np.mean(angler.estimates) + 0.5 * angler.prior_sd**2 + _half_day(estimates)
    )


def _half_day(estimates: Estimates) -> float:
    day = estimates.term("match_day")
    return 0.5 * day.prior_sd**2 if day is not None and estimates.reference.session_kind == "match" else 0.0


def test_draws_of_a_few_questions_alone_have_their_joint_covariance(estimates: Estimates) -> None:
    questions = Questions(month=[1, 7, 7], hook_bait=[BAITS[0], BAITS[0], BAITS[1]], peg="never seen")
    draws = log_mean_draws(estimates, questions, 40_000, seed=3, apart=True)
    rows, unseen = joint_rows(estimates, questions)
    # The peg that was never seen is one and the same: its variance is shared by all three.
    expected = rows @ rows.T + unseen[0]
    np.testing.assert_allclose(np.cov(draws), expected, atol=4 * expected.max() * np.sqrt(2 / 40_000))
    np.testing.assert_allclose(draws.mean(axis=1), log_means(estimates, questions), atol=0.02)


def test_log_means_are_those_of_the_expectation(estimates: Estimates) -> None:
    questions = Questions(month=[2, 8], water="water 0", hook_bait=[BAITS[3], None], distance_m=[7.5, None])
    np.testing.assert_allclose(log_means(estimates, questions), expectation(estimates, questions).eta)


def test_the_error_of_a_multiplier_is_that_of_the_term_alone(estimates: Estimates) -> None:
    """Against the standard error that the fit reports of a level, and the doubt of a prior."""
    bait, peg = estimates.term("hook_bait"), estimates.term("peg")
    assert bait is not None and peg is not None
    questions = Questions(month=5, hook_bait=list(BAITS[:3]), peg=["peg 03", "never seen", None])
    errors = multiplier_errors(estimates, questions)
    told = [bait.effects()[name][1] for name in BAITS[:3]]
    np.testing.assert_allclose(errors["hook_bait"], told, rtol=1e-9)
    np.testing.assert_allclose(errors["peg"], [peg.effects()["peg 03"][1], peg.prior_sd, 0.0], rtol=1e-9)


def test_errors_of_all_multipliers_and_what_they_share_are_that_of_the_expectation(
    estimates: Estimates,
) -> None:
    """A sum's variance is at most the square of the sum of its parts' errors, the intercept's among them."""
    questions = Questions(month=[1, 6], water="water 0", hook_bait=BAITS[0], distance_m=9.0)
    errors = multiplier_errors(estimates, questions)
    together = sum(errors.values()) + estimates.intercept_se
    assert (expectation(estimates, questions).eta_se <= together + 1e-12).all()


def test_codes_and_words_ask_the_same(estimates: Estimates) -> None:
    words = [BAITS[2], None, BAITS[0], "never seen"]
    coded = Coded(np.array([1, -1, 0, 2], dtype=np.int32), (BAITS[0], BAITS[2], "never seen"))
    for month in (4, [1, 2, 3, 4]):
        by_word, by_code = (
            expectation(estimates, Questions(month=month, hook_bait=asked)) for asked in (words, coded)
        )
        np.testing.assert_array_equal(by_word.eta, by_code.eta)
        np.testing.assert_array_equal(by_word.eta_se, by_code.eta_se)
        np.testing.assert_array_equal(by_word.unseen["hook_bait"], [False, False, False, True])

"""What one session may bring, against the distribution it is drawn from; marginal means by hand."""

from dataclasses import replace

import numpy as np
import pytest

from analytics.catchrate.density import cumulative
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.predict import NORMAL_95, Questions, expectation, log_mean_draws
from analytics.catchrate.predictive import (
    blank_chances,
    marginal_means,
    session_draws,
    session_outlook,
)
from analytics.catchrate.spec import MATCH, PLEASURE
from tests.simulation.club import simulate_club
from tests.simulation.truth import BAITS

DRAWS = 40_000


@pytest.fixture(scope="module")
def estimates() -> Estimates:
    found = fit_catch(simulate_club(5, 800, pegs=12, anglers=12).frame)
    assert isinstance(found, Estimates)
    return found


def certain(estimates: Estimates) -> Estimates:
    """The same fit, its coefficients known without doubt."""
    return replace(estimates, covariance_factor=estimates.covariance_factor * 1e-9)


def test_sessions_average_to_the_expected_weight(estimates: Estimates) -> None:
    questions = Questions(month=[2, 7, 7], session_kind=[MATCH, MATCH, PLEASURE])
    sessions = session_draws(certain(estimates), questions, DRAWS, seed=1)
    expected = expectation(estimates, questions).mean_g
    error = sessions.std(axis=1) / np.sqrt(DRAWS)
    assert np.all(np.abs(sessions.mean(axis=1) - expected) < 4 * error)


def test_a_named_angler_on_no_match_day_has_the_distribution_of_the_fit(estimates: Estimates) -> None:
    angler = estimates.term("angler")
    assert angler is not None
    questions = Questions(month=7, angler=angler.term.coefficient_names[0], session_kind=PLEASURE)
    sessions = session_draws(certain(estimates), questions, DRAWS, seed=2)[0]
    mean = expectation(estimates, questions).mean_g[0]
    for weight in (0.0, 0.5 * mean, mean, 3 * mean):
        share = float(cumulative(weight, mean, estimates.dispersion, estimates.power))
        assert np.mean(sessions <= weight) == pytest.approx(share, abs=4 * np.sqrt(0.25 / DRAWS))


def test_the_chance_of_a_blank_is_their_share_and_larger_where_less_is_caught(estimates: Estimates) -> None:
    questions = Questions(month=[1, 7])
    winter, summer = blank_chances(estimates, questions, DRAWS, seed=3)
    assert winter == np.mean(session_draws(estimates, questions, DRAWS, seed=3)[0] == 0)
    assert winter > summer > 0


def test_doubt_of_the_coefficients_widens_what_a_session_may_bring(estimates: Estimates) -> None:
    questions = Questions(month=1, peg="never seen")
    spread = [
        np.std(np.log1p(session_draws(fit, questions, DRAWS, seed=4)))
        for fit in (certain(estimates), estimates)
    ]
    assert spread[1] > spread[0]


def test_the_same_seed_brings_the_same_sessions(estimates: Estimates) -> None:
    questions = Questions(month=5)
    first, again = (session_draws(estimates, questions, 10, seed=5) for _ in range(2))
    assert np.array_equal(first, again)


def test_a_marginal_mean_of_one_question_is_its_expectation(estimates: Estimates) -> None:
    found = marginal_means(estimates, "hook_bait", BAITS[:2], Questions(month=[6]))
    asked = expectation(estimates, Questions(month=[6, 6], hook_bait=BAITS[:2]))
    np.testing.assert_allclose(found.mean_g, asked.mean_g)
    np.testing.assert_allclose(found.log_se, asked.eta_se)
    np.testing.assert_allclose(np.log(found.upper_g / found.mean_g), NORMAL_95 * asked.eta_se)


def test_a_marginal_mean_is_the_geometric_mean_over_its_reference(estimates: Estimates) -> None:
    months = list(range(1, 13))
    found = marginal_means(estimates, "hook_bait", BAITS[:1], Questions(month=months))
    each = expectation(estimates, Questions(month=months, hook_bait=[BAITS[0]] * 12))
    assert found.mean_g[0] == pytest.approx(np.exp(np.mean(each.eta)))
    assert found.log_se[0] < each.eta_se.max()


def test_an_outlook_is_what_sessions_about_the_same_means_bring(estimates: Estimates) -> None:
    questions = Questions(month=[1, 7], hook_bait=BAITS[0])
    drawn = log_mean_draws(estimates, questions, DRAWS, seed=6)
    outlook = session_outlook(estimates, questions, drawn, seed=6)
    sessions = session_draws(estimates, questions, DRAWS, seed=6)
    np.testing.assert_array_equal(outlook.weights_g, np.quantile(sessions, outlook.levels, axis=1).T)
    counted = np.mean(sessions == 0.0, axis=1)
    np.testing.assert_allclose(outlook.blank, counted, atol=4 * np.sqrt(0.25 / DRAWS))


def test_a_median_session_lies_under_the_mean_and_half_of_sessions_under_it(estimates: Estimates) -> None:
    questions = Questions(month=7)
    drawn = log_mean_draws(estimates, questions, DRAWS, seed=7)
    outlook = session_outlook(estimates, questions, drawn, seed=7, levels=(0.5,))
    assert outlook.weights_g[0, 0] < expectation(estimates, questions).mean_g[0]

import numpy as np
import pytest
from scipy.stats import kstest, norm
from statsmodels.genmod.families import Tweedie

from analytics.catchrate.draws import draw
from analytics.catchrate.scores import coverage, mean_deviance, places, ranked_probability_scores


def test_the_deviance_is_statsmodels() -> None:
    weights, means = np.array([0.0, 0.4, 3.0, 9.0]), np.array([1.0, 0.5, 5.0, 2.0])
    for power in (1.2, 1.5, 1.8):
        assert mean_deviance(weights, means, power) == pytest.approx(
            Tweedie(var_power=power).deviance(weights, means) / 4, rel=1e-12
        )


def test_the_ranked_probability_score_of_a_normal_forecast_is_its_closed_form() -> None:
    # Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102:359, sec. 4.2.
    generator = np.random.default_rng(1)
    y = np.array([-1.5, 0.0, 0.7])
    draws = generator.standard_normal((3, 400_000))
    closed = y * (2 * norm.cdf(y) - 1) + 2 * norm.pdf(y) - 1 / np.sqrt(np.pi)
    assert ranked_probability_scores(y, draws) == pytest.approx(closed, abs=0.005)


def test_the_score_does_not_depend_on_how_many_draws_there_are_on_average() -> None:
    generator = np.random.default_rng(2)
    few = ranked_probability_scores(np.zeros(100_000), generator.standard_normal((100_000, 3)))
    many = (2 * norm.pdf(0) - 1 / np.sqrt(np.pi)).item()
    assert few.mean() == pytest.approx(many, abs=4 * few.std() / np.sqrt(100_000))


def test_places_of_weights_from_the_forecast_itself_are_uniform_blanks_included() -> None:
    generator = np.random.default_rng(3)
    draws = draw(generator, np.full((5000, 41), 0.7), 1.25, 1.55)
    assert (draws[:, 0] == 0).mean() > 0.1
    found = places(generator, draws[:, 0], draws[:, 1:])
    assert kstest(found, "uniform").pvalue > 0.001
    assert coverage(found, 0.9) == pytest.approx(0.9, abs=0.02)
    assert coverage(found, 0.5) == pytest.approx(0.5, abs=0.03)
    assert coverage(places(generator, draws[:, 0], 0.3 * draws[:, 1:]), 0.9) < 0.8

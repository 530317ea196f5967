import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.check import Check, check_fit
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.family import zero_probability
from analytics.catchrate.fit import fit_catch
from tests.simulation.club import simulate_club


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    return simulate_club(6, 900, pegs=20, anglers=20).frame


@pytest.fixture(scope="module")
def check(frame: pd.DataFrame) -> Check:
    estimates = fit_catch(frame)
    assert isinstance(estimates, Estimates)
    return check_fit(estimates, frame)


def test_the_share_of_blanks_is_as_fitted(frame: pd.DataFrame, check: Check) -> None:
    assert check.blank_share_observed == (frame["weight_g"] == 0).mean()
    assert abs(check.blank_share_z) < 4


def test_the_fit_explains_more_than_each_waters_mean_rate(check: Check) -> None:
    assert check.returns == 900
    assert check.deviance_explained == pytest.approx(1 - check.deviance / check.baseline_deviance)
    assert 0.2 < check.deviance_explained < 1


def test_returns_that_the_fit_never_saw_show_up_in_the_check(frame: pd.DataFrame, check: Check) -> None:
    estimates = fit_catch(frame)
    assert isinstance(estimates, Estimates)
    doubtful = frame.assign(weight_g=np.where(frame.index % 3 == 0, 0.0, frame["weight_g"]))
    assert check_fit(estimates, doubtful).blank_share_z > 10


def test_the_chance_of_a_blank_by_hand() -> None:
    # Tweedie p = 1.5, phi = 2: Poisson rate mu^.5 / (2 * .5) = 3 at mu = 9.
    assert zero_probability(np.array([9.0]), 2.0, 1.5)[0] == pytest.approx(np.exp(-3.0))

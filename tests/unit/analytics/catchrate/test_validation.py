import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.estimates import Estimates, Refusal, from_document
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.spec import CatchSpec
from analytics.catchrate.validation import OURS, Validation, forecast, time_ordered_validation
from tests.simulation.club import simulate_club

METHODS = [OURS, "water mean", "peg and month mean", "plain GLM"]


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    return simulate_club(11, 2000, pegs=24, anglers=30).frame


@pytest.fixture(scope="module")
def validation(frame: pd.DataFrame) -> Validation:
    found = time_ordered_validation(frame, CatchSpec(), fit_catch)
    assert isinstance(found, Validation)
    return found


def test_the_model_learns_from_the_first_four_fifths_of_the_days_and_sees_no_later_one(
    frame: pd.DataFrame,
) -> None:
    seen: list[pd.DataFrame] = []

    def spy(early: pd.DataFrame, spec: CatchSpec) -> Estimates | Refusal:
        seen.append(early)
        return Refusal("stopped", "only the rows were wanted")

    assert isinstance(time_ordered_validation(frame, CatchSpec(), spy), Refusal)
    days = np.unique(frame["fished_on"])
    assert seen[0]["fished_on"].nunique() == int(0.8 * len(days))
    assert seen[0]["fished_on"].max() < days[int(0.8 * len(days))]


def test_every_return_is_learned_from_or_forecast(frame: pd.DataFrame, validation: Validation) -> None:
    assert validation.trained + validation.tested == len(frame)
    days = np.unique(frame["fished_on"])
    assert validation.first_test_day == pd.Timestamp(days[int(0.8 * len(days))]).date()
    assert [item.method for item in validation.scores] == METHODS


def test_the_catch_model_forecasts_better_than_anything_simpler(validation: Validation) -> None:
    ours = validation.score(OURS)
    for name in METHODS[1:]:
        assert ours.deviance < validation.score(name).deviance
        assert ours.crps_g < validation.score(name).crps_g


def test_its_intervals_hold_the_share_that_they_say(validation: Validation) -> None:
    ours = validation.score(OURS)
    # Four binomial standard errors; a match day's returns share their luck, which widens it by about a half.
    for share, found in ((0.5, ours.coverage_50), (0.9, ours.coverage_90)):
        assert found == pytest.approx(share, abs=6 * np.sqrt(share * (1 - share) / validation.tested))


def test_a_forecast_that_leaves_out_the_dispersion_would_not_cover(frame: pd.DataFrame) -> None:
    def too_sure(early: pd.DataFrame, spec: CatchSpec) -> Estimates | Refusal:
        estimates = fit_catch(early, spec)
        assert isinstance(estimates, Estimates)
        document = estimates.to_document() | {"dispersion": estimates.dispersion / 6.0}
        return from_document(document, estimates.covariance_factor)

    found = time_ordered_validation(frame, CatchSpec(), too_sure)
    assert isinstance(found, Validation)
    assert found.score(OURS).coverage_90 < 0.8


def test_the_draws_have_the_mean_that_is_served(frame: pd.DataFrame) -> None:
    estimates = fit_catch(frame)
    assert isinstance(estimates, Estimates)
    rows = frame.iloc[:800].copy()
    rows.loc[rows.index[::3], "angler"] = None
    found = forecast(estimates, rows, seed=1)
    ratio = found.draws_g.mean(axis=1) / found.mean_g
    # The draws add half the coefficients' variance, a few per cent.
    assert 0.98 < np.mean(ratio) < 1.12


def test_the_same_seed_gives_the_same_scores(frame: pd.DataFrame, validation: Validation) -> None:
    assert time_ordered_validation(frame, CatchSpec(), fit_catch) == validation


def test_too_few_last_days_are_refused_with_the_number_needed(frame: pd.DataFrame) -> None:
    found = time_ordered_validation(frame.iloc[:40], CatchSpec(), fit_catch)
    assert isinstance(found, Refusal)
    assert (found.code, found.needed) == ("too_few_to_validate", 20)
    nothing = time_ordered_validation(frame.iloc[:0], CatchSpec(), fit_catch)
    assert isinstance(nothing, Refusal)


def test_a_refused_fit_is_passed_on(frame: pd.DataFrame) -> None:
    blank = frame.assign(weight_g=0.0, outcome="blank")
    found = time_ordered_validation(blank, CatchSpec(), fit_catch)
    assert isinstance(found, Refusal) and found.code == "all_blank"

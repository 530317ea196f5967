import subprocess
import sys
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.__main__ import chosen_spec, predictions
from analytics.catchrate.design import learn_design
from analytics.catchrate.estimates import Estimates, Refusal
from analytics.catchrate.fit import fit_catch, problem_of, unit_of
from analytics.catchrate.predict import Questions, expectation
from analytics.catchrate.returns import features_of
from analytics.catchrate.rowwise import predict_rows
from analytics.catchrate.solver import solve
from analytics.catchrate.spec import DidNotWeigh
from tests.simulation.club import simulate_club
from tests.simulation.harder import Harder

SPEC = chosen_spec(None, DidNotWeigh.LEFT_OUT)


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    return simulate_club(5, 800, pegs=12, anglers=12, harder=Harder(two_part_share=0.2)).frame


@pytest.fixture(scope="module")
def estimates(frame: pd.DataFrame) -> Estimates:
    found = fit_catch(frame, SPEC)
    assert isinstance(found, Estimates)
    return found


@pytest.fixture(scope="module")
def club_estimates(frame: pd.DataFrame) -> Estimates:
    """With the match day as the nuisance that it is in a club's answers."""
    found = fit_catch(frame)
    assert isinstance(found, Estimates)
    return found


def _nobody(frame: pd.DataFrame, *columns: str) -> pd.DataFrame:
    """The same rows with nothing recorded in some columns."""
    return frame.assign(**dict.fromkeys(columns, pd.Series(np.nan, frame.index, dtype=object)))


def test_rowwise_prediction_loads_numpy_and_nothing_heavier() -> None:
    code = (
        "import sys, analytics.catchrate.rowwise;"
        "print([name for name in ('pandas', 'scipy', 'pyarrow', 'django') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_fitted_returns_get_the_log_means_that_the_solver_ended_at(
    frame: pd.DataFrame, estimates: Estimates
) -> None:
    design = learn_design(frame, SPEC)
    assert not isinstance(design, Refusal)
    unit_g = unit_of(design.returns)
    solved = solve(problem_of(design, SPEC, unit_g))
    by_part = np.exp(predictions(estimates, frame).eta)
    totals = pd.Series(by_part).groupby(frame["session"].to_numpy()).sum()
    sessions = frame["session"].to_numpy()[design.returns.position]
    assert frame["session"].duplicated().any()
    np.testing.assert_allclose(
        np.log(totals[sessions].to_numpy()), solved.eta + np.log(unit_g), rtol=0, atol=1e-10
    )


def test_a_standard_error_is_that_of_the_row_of_the_design(frame: pd.DataFrame, estimates: Estimates) -> None:
    # The whole row of X for each of a few returns, and x'Vx by one dense product.
    complete = frame.dropna(subset=["angler", "hook_bait", "rig_type"]).head(40)
    features, _ = features_of(complete)
    design = np.zeros((len(complete), len(estimates.covariance_factor)))
    design[:, 0] = 1.0
    for item in estimates.terms:
        assert item.start is not None
        columns = slice(item.start, item.start + item.term.size)
        design[:, columns] = item.term.encode(features).spread(np.eye(item.term.size))
    covariance = estimates.covariance_factor @ estimates.covariance_factor.T
    dense = np.sqrt(np.einsum("ij,jk,ik->i", design, covariance, design))
    found = predict_rows(estimates, features, complete["hours"].to_numpy())
    np.testing.assert_allclose(found.eta_se, dense, rtol=1e-10)
    np.testing.assert_allclose(found.expected_g, np.exp(found.eta), rtol=1e-12)


def test_a_club_and_a_file_get_the_same_answer(frame: pd.DataFrame, club_estimates: Estimates) -> None:
    # A row without an angler is of anyone; so is an angler of whom the club has no return.
    pleasure = frame[~frame["is_match"]].dropna(subset=["hook_bait", "rig_type", "distance_m", "wind_force"])
    pleasure = _nobody(pleasure[pleasure["water_temperature_c"].notna()], "angler")
    asked = Questions(
        month=pleasure["fished_on"].dt.month.tolist(),
        day_of_year=pleasure["fished_on"].dt.day_of_year.tolist(),
        year=pleasure["fished_on"].dt.year.astype(str).tolist(),
        session_kind="pleasure",
        angler="somebody new",
        **{
            name: pleasure[name].tolist()
            for name in ("water", "peg", "hook_bait", "rig_type", "distance_m", "wind_force", "hours")
        },
        water_temperature_c=pleasure["water_temperature_c"].tolist(),
    )
    angler = club_estimates.term("angler")
    assert angler is not None
    by_question, by_row = expectation(club_estimates, asked), predictions(club_estimates, pleasure)
    np.testing.assert_allclose(by_row.eta, by_question.eta, rtol=1e-9)
    np.testing.assert_allclose(by_row.eta_se, by_question.eta_se, rtol=1e-9)
    averaged = by_question.mean_g * np.exp(0.5 * angler.prior_sd**2)
    np.testing.assert_allclose(by_row.expected_g, averaged, rtol=1e-9)


@pytest.mark.parametrize("stranger", [None, "nobody that the club has met"])
def test_a_level_absent_or_unseen_adds_its_variance_and_is_averaged_over(
    frame: pd.DataFrame, estimates: Estimates, stranger: str | None
) -> None:
    pleasure = frame[~frame["is_match"]]
    pegless = pleasure.assign(peg=pd.Series(stranger, pleasure.index, dtype=object))
    peg = estimates.term("peg")
    assert peg is not None and peg.start is not None
    found = predictions(estimates, pegless)
    bare = predictions(_without_variance_of(estimates, "peg"), pegless)
    np.testing.assert_allclose(found.eta, bare.eta, rtol=1e-12)
    np.testing.assert_allclose(found.eta_se**2 - bare.eta_se**2, peg.prior_sd**2, rtol=1e-9)
    np.testing.assert_allclose(found.expected_g / bare.expected_g, np.exp(peg.prior_sd**2 / 2), rtol=1e-12)


def _without_variance_of(estimates: Estimates, name: str) -> Estimates:
    terms = [replace(item, prior_sd=0.0) if item.name == name else item for item in estimates.terms]
    return replace(estimates, terms=tuple(terms))


def test_a_match_day_is_missing_from_matches_alone(frame: pd.DataFrame, estimates: Estimates) -> None:
    nameless = _nobody(frame, "match_day")
    found = predictions(estimates, nameless)
    bare = predictions(_without_variance_of(estimates, "match_day"), nameless)
    match_day = estimates.term("match_day")
    assert match_day is not None
    added = np.where(frame["is_match"], match_day.prior_sd**2, 0.0)
    np.testing.assert_allclose(found.eta_se**2 - bare.eta_se**2, added, atol=1e-12)


def test_a_year_that_the_fit_never_saw_stands_at_the_reference_year(
    frame: pd.DataFrame, estimates: Estimates
) -> None:
    row = frame[frame["fished_on"].dt.year == int(estimates.reference.year)].head(1)
    later = row.assign(fished_on=row["fished_on"] + pd.DateOffset(years=28))  # 28: the same day of the year
    # Water in this year, a random effect, is unseen too: its own effect is taken off.
    water_year = estimates.term("water_year")
    assert water_year is not None
    own = water_year.effects()[f"{row['water'].iloc[0]}/{estimates.reference.year}"][0]
    there, now = predictions(estimates, later), predictions(estimates, row)
    np.testing.assert_allclose(there.eta, now.eta - own, rtol=1e-12)


def test_twice_the_hours_is_twice_the_weight_and_no_hours_is_no_answer(
    frame: pd.DataFrame, estimates: Estimates
) -> None:
    row = frame.head(1)
    hours = np.array([1.0, 2.0, 0.0, np.nan])
    found = predictions(estimates, pd.concat([row] * 4, ignore_index=True).assign(hours=hours))
    assert found.expected_g[1] == pytest.approx(2 * found.expected_g[0])
    for column in (found.eta, found.eta_se, found.expected_g):
        assert np.isfinite(column).tolist() == [True, True, False, False]


def test_a_nuisance_term_counts_as_not_known(frame: pd.DataFrame, club_estimates: Estimates) -> None:
    named = predictions(club_estimates, frame)
    nameless = predictions(club_estimates, _nobody(frame, "match_day"))
    np.testing.assert_array_equal(named.eta, nameless.eta)
    np.testing.assert_array_equal(named.eta_se, nameless.eta_se)

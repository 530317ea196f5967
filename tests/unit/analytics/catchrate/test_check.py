from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from statsmodels.genmod import families

from analytics.catchrate.check import Check, Wall, check_fit, diagnose_fit, dispersion_ratio_se
from analytics.catchrate.draws import draw
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.family import zero_probability
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.fitted import fitted_returns
from analytics.catchrate.residuals import FLAT, NOT_FLAT, NOT_JUDGED
from analytics.catchrate.returns import usable_returns
from analytics.catchrate.spec import CatchSpec, DidNotWeigh
from tests.simulation.club import simulate_club
from tests.simulation.harder import Harder

COVARIATES = ["fitted", "season", "peg order", "year", "hours"]


def fitted(frame: pd.DataFrame, spec: CatchSpec | None = None) -> Estimates:
    estimates = fit_catch(frame, spec)
    assert isinstance(estimates, Estimates)
    return estimates


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    return simulate_club(6, 900, pegs=20, anglers=20).frame


@pytest.fixture(scope="module")
def check(frame: pd.DataFrame) -> Check:
    return check_fit(fitted(frame), frame)


def test_the_share_of_blanks_is_as_fitted(frame: pd.DataFrame, check: Check) -> None:
    assert check.blank_share_observed == (frame["weight_g"] == 0).mean()
    assert abs(check.blank_share_z) < 4


def test_the_fit_explains_more_than_each_waters_mean_rate(check: Check) -> None:
    assert check.returns == 900
    assert check.deviance_explained == pytest.approx(1 - check.deviance / check.baseline_deviance)
    assert 0.2 < check.deviance_explained < 1


def test_returns_that_the_fit_never_saw_show_up_in_the_check(frame: pd.DataFrame, check: Check) -> None:
    estimates = fitted(frame)
    doubtful = frame.assign(weight_g=np.where(frame.index % 3 == 0, 0.0, frame["weight_g"]))
    assert check_fit(estimates, doubtful).blank_share_z > 10


def test_usable_returns_are_checked_like_the_frame_they_came_from(frame: pd.DataFrame, check: Check) -> None:
    estimates = fitted(frame)
    assert check_fit(estimates, usable_returns(frame)) == check
    assert diagnose_fit(estimates, usable_returns(frame)) == diagnose_fit(estimates, frame)


def test_the_share_of_blanks_and_the_residuals_are_of_exact_weights_alone() -> None:
    harder = Harder(did_not_weigh_share=0.4, net_limit_g=20_000, two_part_share=0.2)
    frame = simulate_club(7, 900, pegs=20, anglers=20, harder=harder).frame.reset_index(drop=True)
    estimates = fitted(frame, CatchSpec(did_not_weigh=DidNotWeigh.CENSORED))
    check, diagnosis = check_fit(estimates, frame), diagnose_fit(estimates, frame)
    sessions = frame.drop_duplicates("session")
    exact = sessions["outcome"].isin(["weighed", "blank"])
    assert (check.returns, check.exact) == (len(sessions), exact.sum())
    assert diagnosis.residuals == check.exact < check.returns - 50
    assert check.blank_share_observed == (sessions["outcome"][exact] == "blank").mean()
    known = fitted_returns(estimates, frame)
    weight, mean = known.returns.weight_g[known.exact], known.mean_g[known.exact]
    deviance = families.Tweedie(var_power=estimates.power).deviance(weight, mean)
    assert check.deviance == pytest.approx(deviance, rel=1e-9)
    # In the frame with every row, the influential ones are where their positions say.
    for item in diagnosis.influential:
        assert frame["weight_g"].iloc[item.position] == item.weight_g


def test_each_class_of_returns_is_held_against_its_own_dispersion(frame: pd.DataFrame) -> None:
    # Weights as the fit has them, but every third with three times the dispersion, and said to be so.
    truth = fitted(frame)
    estimated = np.arange(len(frame)) % 3 == 0
    known = fitted_returns(truth, frame)
    phi = known.dispersion * np.where(estimated, 3.0, 1.0)
    weight = draw(np.random.default_rng(1), known.mean_g, phi, truth.power)
    told = frame.assign(weight_g=weight, outcome=np.where(estimated, "estimated", "weighed"))
    apart = check_fit(replace(truth, estimated_dispersion=3.0 * truth.dispersion), told)
    assert abs(apart.dispersion_z) < 4
    assert apart.estimated_pearson_dispersion is not None
    assert 2 < apart.estimated_pearson_dispersion / apart.pearson_dispersion < 4
    assert check_fit(truth, told).dispersion_z > 10


def test_the_offset_is_tested_by_kind_of_session(check: Check) -> None:
    # Every match of this club lasts five hours, which tells nothing of hours.
    assert [item.session_kind for item in check.effort_exponents] == ["pleasure"]
    assert abs(check.effort_exponents[0].z) < 4


def test_the_chance_of_a_blank_by_hand() -> None:
    # Tweedie p = 1.5, phi = 2: Poisson rate mu^.5 / (2 * .5) = 3 at mu = 9.
    assert zero_probability(np.array([9.0]), 2.0, 1.5)[0] == pytest.approx(np.exp(-3.0))


def test_the_dispersion_ratio_is_in_standard_errors_of_drawn_clubs() -> None:
    # Pearson's dispersion of weights drawn with known means: its spread is the one the check states.
    mean, dispersion, power, count = np.linspace(0.5, 6.0, 500), 1.25, 1.5, 1500
    generator = np.random.default_rng(2)
    ratios = [
        np.mean((draw(generator, mean, dispersion, power) - mean) ** 2 / (dispersion * mean**power))
        for _ in range(count)
    ]
    stated = dispersion_ratio_se(mean, dispersion, power)
    assert np.std(ratios) == pytest.approx(stated, rel=0.08)
    assert abs(np.mean(ratios) - 1) < 4 * stated / np.sqrt(count)


def test_residuals_of_a_good_fit_are_flat_against_everything(frame: pd.DataFrame) -> None:
    diagnosis = diagnose_fit(fitted(frame), frame)
    assert [item.covariate for item in diagnosis.flatness] == COVARIATES
    assert {item.verdict for item in diagnosis.flatness} == {FLAT}
    assert abs(diagnosis.residual_mean) < 0.1
    assert 0.85 < diagnosis.residual_sd < 1.05
    assert diagnosis.walls == ()


@pytest.mark.parametrize(
    ("covariate", "change"),
    [
        ("season", lambda frame: np.where(frame["fished_on"].dt.month.isin([6, 7]), 2.0, 1.0)),
        ("year", lambda frame: np.where(frame["fished_on"].dt.year == 2020, 1.8, 1.0)),
        ("peg order", lambda frame: np.exp(0.05 * (frame["peg_order"] - frame["peg_order"].mean()))),
    ],
)
def test_what_the_fit_was_not_told_shows_in_the_residuals(
    frame: pd.DataFrame, covariate: str, change
) -> None:
    spec = CatchSpec().without("peg", "season", "season_distance", "year", "match_day", "hook_bait_month")
    plain = spec.without("water_temperature", "water_year")
    changed = frame.assign(weight_g=frame["weight_g"] * change(frame))
    found = {item.covariate: item for item in diagnose_fit(fitted(changed, plain), changed).flatness}
    assert found[covariate].verdict == NOT_FLAT


def test_without_the_pegs_order_it_is_not_judged(frame: pd.DataFrame) -> None:
    unordered = frame.drop(columns="peg_order")
    found = {item.covariate: item.verdict for item in diagnose_fit(fitted(frame), unordered).flatness}
    assert found["peg order"] == NOT_JUDGED and found["season"] == FLAT


def test_the_same_seed_gives_the_same_diagnosis(frame: pd.DataFrame) -> None:
    estimates = fitted(frame)
    assert diagnose_fit(estimates, frame, seed=5) == diagnose_fit(estimates, frame, seed=5)
    assert diagnose_fit(estimates, frame, seed=5) != diagnose_fit(estimates, frame, seed=6)


def test_a_return_mistyped_by_a_factor_of_ten_leads_the_influential_ones(frame: pd.DataFrame) -> None:
    # A row left out goes before it, so that positions are the frame's and not the design's.
    mistyped = frame.copy()
    mistyped.loc[0, "hours"] = np.nan
    position = int(np.argmin(np.abs(frame["weight_g"] - 12_000.0)))
    mistyped.loc[position, "weight_g"] *= 10.0
    listed = diagnose_fit(fitted(mistyped), mistyped).influential
    assert listed[0].position == position
    assert listed[0].weight_g == mistyped.loc[position, "weight_g"]
    assert listed[0].score == max(item.score for item in listed)
    assert listed[0].residual > 4


def test_a_bait_that_gives_next_to_nothing_stands_at_a_wall(frame: pd.DataFrame) -> None:
    bait = frame["hook_bait"].mode()[0]
    spoilt = frame.assign(weight_g=frame["weight_g"] * np.where(frame["hook_bait"] == bait, 1e-6, 1.0))
    walls = diagnose_fit(fitted(spoilt), spoilt).walls
    assert (walls[0].term, walls[0].level) == ("hook_bait", bait)
    assert walls[0].estimate < -1


def test_a_power_at_the_edge_stands_at_a_wall(frame: pd.DataFrame) -> None:
    edge = fitted(frame, replace(CatchSpec(), power=1.99))
    assert diagnose_fit(edge, frame).walls[0] == Wall("power", "", 1.99)

import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.estimates import Estimates, Refusal, from_document
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.forecast import forecast
from analytics.catchrate.predict import Questions, expectation
from analytics.catchrate.returns import usable_returns
from analytics.catchrate.spec import CatchSpec, DidNotWeigh
from analytics.catchrate.validation import OURS, Validation, time_ordered_validation
from tests.simulation.club import simulate_club
from tests.simulation.harder import Harder

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
    found = forecast(estimates, usable_returns(rows), seed=1)
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


def test_too_few_last_days_are_refused_however_many_fished_them(frame: pd.DataFrame) -> None:
    days = np.unique(frame["fished_on"])[:20]
    crowded = pd.concat([frame[frame["fished_on"].isin(days)]] * 8, ignore_index=True)
    found = time_ordered_validation(crowded, CatchSpec(), fit_catch)
    assert isinstance(found, Refusal)
    assert (found.code, found.needed) == ("too_few_to_validate", 5)


def test_differences_are_those_of_the_scores(validation: Validation) -> None:
    assert [item.method for item in validation.comparisons] == METHODS[1:]
    ours = validation.score(OURS)
    for item in validation.comparisons:
        other = validation.score(item.method)
        assert item.deviance.value == pytest.approx(ours.deviance - other.deviance, rel=1e-9)
        assert item.crps_g.value == pytest.approx(ours.crps_g - other.crps_g, rel=1e-9)
        assert item.deviance.z < -3


def test_coverage_is_told_once_whichever_way_it_is_asked_for(validation: Validation) -> None:
    ours = validation.score(OURS)
    assert validation.calibration.coverage(0.5).found == pytest.approx(ours.coverage_50)
    assert validation.calibration.coverage(0.9).found == pytest.approx(ours.coverage_90)
    assert sum(item.sessions for item in validation.calibration.classes) == validation.tested


def test_beginning_at_the_variances_of_the_whole_ends_where_beginning_from_nothing_does(
    frame: pd.DataFrame, validation: Validation
) -> None:
    """The later days' returns, which were in the whole, tell the early fit nothing."""
    whole = fit_catch(frame)
    assert isinstance(whole, Estimates)

    def early_fit(early: pd.DataFrame, spec: CatchSpec) -> Estimates | Refusal:
        return fit_catch(early, spec, None, whole, warm_effects=False)

    warm = time_ordered_validation(frame, CatchSpec(), early_fit)
    assert isinstance(warm, Validation)
    assert warm.score(OURS).deviance == pytest.approx(validation.score(OURS).deviance, rel=1e-4)
    assert warm.score(OURS).crps_g == pytest.approx(validation.score(OURS).crps_g, rel=1e-3)


def test_a_fit_that_has_run_away_scores_badly_and_breaks_nothing(frame: pd.DataFrame) -> None:
    def away(early: pd.DataFrame, spec: CatchSpec) -> Estimates | Refusal:
        estimates = fit_catch(early, spec)
        assert isinstance(estimates, Estimates)
        document = estimates.to_document() | {"intercept": 2000.0}
        return from_document(document, estimates.covariance_factor)

    found = time_ordered_validation(frame, CatchSpec(), away)
    assert isinstance(found, Validation)
    assert found.comparisons[0].deviance.value > 0


def test_a_refused_fit_is_passed_on(frame: pd.DataFrame) -> None:
    blank = frame.assign(weight_g=0.0, outcome="blank")
    found = time_ordered_validation(blank, CatchSpec(), fit_catch)
    assert isinstance(found, Refusal) and found.code == "all_blank"


@pytest.fixture(scope="module")
def harder_frame() -> pd.DataFrame:
    harder = Harder(two_part_share=0.5, did_not_weigh_share=0.4, net_limit_g=20_000.0)
    return simulate_club(12, 2000, pegs=24, anglers=30, harder=harder).frame.reset_index(drop=True)


def test_sessions_that_were_not_weighed_are_learned_from_but_never_forecast(
    harder_frame: pd.DataFrame,
) -> None:
    sessions = harder_frame.drop_duplicates("session")
    for way in (DidNotWeigh.AS_ZERO, DidNotWeigh.CENSORED):
        found = time_ordered_validation(harder_frame, CatchSpec(did_not_weigh=way), fit_catch)
        assert isinstance(found, Validation)
        late = sessions["fished_on"] >= pd.Timestamp(found.first_test_day)
        weighed = sessions["outcome"].isin(["weighed", "blank"])
        assert found.trained == (~late).sum()
        assert found.tested == (late & weighed).sum() < late.sum() - 20


def test_sessions_of_several_parts_are_forecast_as_one(harder_frame: pd.DataFrame) -> None:
    estimates = fit_catch(harder_frame)
    assert isinstance(estimates, Estimates)
    together = usable_returns(harder_frame.iloc[:600])
    apart = usable_returns(harder_frame.iloc[:600].drop(columns="session"))
    assert together.session is not None
    parts = pd.Series(forecast(estimates, apart, seed=1).mean_g, harder_frame["session"].iloc[apart.position])
    expected = parts.groupby(level=0).sum()
    found = forecast(estimates, together, seed=1)
    known = harder_frame["session"].iloc[together.position]
    exact = ~together.bounded
    assert found.mean_g[exact] == pytest.approx(expected[known].to_numpy()[exact], rel=1e-9)
    assert found.draws_g.shape == (len(together.weight_g), 200)
    assert 0.98 < np.mean(found.draws_g.mean(axis=1) / found.mean_g) < 1.12


def test_conditions_are_asked_as_they_were_recorded(frame: pd.DataFrame) -> None:
    # Every condition of a return reaches the question: its mean is that of the question put by hand.
    estimates = fit_catch(frame)
    assert isinstance(estimates, Estimates)
    recorded = frame.dropna(
        subset=["hook_bait", "rig_type", "wind_force", "water_temperature_c", "distance_m"]
    )
    rows = recorded.iloc[:50]
    asked = Questions(
        month=list(rows["fished_on"].dt.month),
        day_of_year=rows["fished_on"].dt.day_of_year.to_numpy(float),
        session_kind=["match" if match else "pleasure" for match in rows["is_match"]],
        **{name: list(rows[name]) for name in ("water", "peg", "angler", "hook_bait", "rig_type")},
        **{
            name: rows[name].to_numpy(float)
            for name in ("distance_m", "wind_force", "water_temperature_c", "hours")
        },
    )
    found = forecast(estimates, usable_returns(rows), seed=1).mean_g
    assert found == pytest.approx(expectation(estimates, asked).mean_g, rel=1e-12)

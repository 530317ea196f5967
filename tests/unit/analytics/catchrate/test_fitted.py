import numpy as np
import pandas as pd
import pytest

from analytics.catchrate.censoring import interval_score
from analytics.catchrate.estimates import Estimates
from analytics.catchrate.fit import fit_catch
from analytics.catchrate.fitted import (
    chosen_sessions,
    first_parts,
    fitted_means,
    fitted_returns,
    session_hours,
    session_words,
)
from analytics.catchrate.returns import usable_returns
from analytics.catchrate.spec import CatchSpec, DidNotWeigh
from tests.simulation.club import simulate_club
from tests.simulation.harder import Harder


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    harder = Harder(two_part_share=0.4, estimated_share=0.4, did_not_weigh_share=0.3, net_limit_g=25_000)
    return simulate_club(3, 900, pegs=20, anglers=20, harder=harder).frame


@pytest.fixture(scope="module")
def estimates(frame: pd.DataFrame) -> Estimates:
    found = fit_catch(frame, CatchSpec(did_not_weigh=DidNotWeigh.CENSORED))
    assert isinstance(found, Estimates)
    return found


def test_a_sessions_mean_is_the_sum_of_its_parts_as_sessions_of_their_own(
    frame: pd.DataFrame, estimates: Estimates
) -> None:
    weighed = frame[frame["outcome"].isin(["weighed", "estimated", "blank"])].reset_index(drop=True)
    together, apart = usable_returns(weighed), usable_returns(weighed.drop(columns="session"))
    parts = np.empty(len(weighed))
    parts[apart.position] = fitted_means(estimates, apart)
    sums = pd.Series(parts).groupby(weighed["session"]).sum()
    expected = sums[weighed["session"].to_numpy()[together.position]]
    assert together.session is not None and len(together.weight_g) < len(weighed)
    assert fitted_means(estimates, together) == pytest.approx(expected.to_numpy(), rel=1e-12)


def test_the_means_are_those_at_which_the_fit_ended(frame: pd.DataFrame, estimates: Estimates) -> None:
    # The equation of the intercept, which no prior holds: all that weights and bounds pull adds to zero.
    fitted = fitted_returns(estimates, frame)
    mean, phi, p = fitted.mean_g, fitted.dispersion, fitted.power
    score = (fitted.returns.weight_g - mean) * mean ** (1 - p) / phi
    bounded = np.flatnonzero(fitted.returns.bounded)
    lower, upper = fitted.returns.lower_g[bounded], fitted.returns.upper_g[bounded]
    _, score[bounded], _ = interval_score(lower, upper, mean[bounded], phi[bounded], p)
    assert abs(score.sum()) < 1e-4 * np.sqrt(np.sum(score**2))
    assert len(bounded) > 50


def test_a_frame_is_read_as_it_was_fitted(frame: pd.DataFrame, estimates: Estimates) -> None:
    fitted = fitted_returns(estimates, frame)
    assert len(fitted.mean_g) == estimates.rows.used
    assert len(fitted.exact) == estimates.rows.used - estimates.rows.bounded


def test_each_class_of_returns_has_its_dispersion(frame: pd.DataFrame, estimates: Estimates) -> None:
    fitted = fitted_returns(estimates, frame)
    outcome = frame["outcome"].to_numpy()[fitted.returns.position]
    both = sorted({estimates.dispersion, estimates.estimated_dispersion})
    assert len(both) == 2
    assert fitted.dispersion[outcome == "estimated"] == pytest.approx(estimates.estimated_dispersion)
    assert fitted.dispersion[outcome == "weighed"] == pytest.approx(estimates.dispersion)
    blanks = fitted.dispersion[outcome == "blank"]
    assert np.all((blanks >= both[0] * (1 - 1e-12)) & (blanks <= both[1]))
    assert np.any((blanks > both[0] * 1.01) & (blanks < both[1] * 0.99))


def test_hours_are_those_of_all_parts_and_words_those_of_the_first(frame: pd.DataFrame) -> None:
    returns = usable_returns(frame)
    hours = frame.groupby("session")["hours"].sum()
    assert session_hours(returns) == pytest.approx(
        hours[frame["session"].iloc[returns.position]].to_numpy(), rel=1e-12
    )
    baits = frame["hook_bait"].to_numpy()[returns.position]
    assert list(session_words(returns, "hook_bait").words()) == [
        None if pd.isna(bait) else bait for bait in baits
    ]
    assert returns.peg_order[first_parts(returns)] == pytest.approx(
        frame["peg_order"].to_numpy()[returns.position]
    )


def test_chosen_sessions_keep_their_parts_and_their_means(frame: pd.DataFrame, estimates: Estimates) -> None:
    returns = usable_returns(frame)
    chosen = np.sort(np.random.default_rng(1).choice(len(returns.weight_g), 300, replace=False))
    some = chosen_sessions(returns, chosen)
    assert some.weight_g == pytest.approx(returns.weight_g[chosen], nan_ok=True)
    assert session_hours(some) == pytest.approx(session_hours(returns)[chosen])
    assert fitted_means(estimates, some) == pytest.approx(fitted_means(estimates, returns)[chosen], rel=1e-12)
    assert len(some.hours) == len(some.session) == len(some.peg_order) > 300
